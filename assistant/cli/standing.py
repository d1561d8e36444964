"""What `combside` alone says: where this household stands and what comes next."""

from __future__ import annotations

from datetime import date

from assistant.app.consult import load_form
from assistant.cli import status
from assistant.cli.asking import Terminal
from assistant.core.consultation import Consultation
from assistant.core.standing import Standing, standing
from assistant.files import consultation_file, diary_file, household_file


def show(today: date | None = None) -> int:
    """Print it. Status 0: there is always a next step. Raises BadFile where a file is wrong."""
    found = found_for(today or date.today())
    terminal = Terminal()
    for line in found.lines:
        terminal.say(line)
    terminal.say()
    terminal.say(f"Next: {found.next_words}.")
    print(f"  {found.next_command}")
    terminal.say()
    terminal.say(
        "Without hair, cream or microphone: combside rehearse. All commands: combside --help. The "
        "kit's own leaflet always rules."
    )
    return status.DONE


def found_for(day: date) -> Standing:
    household = household_file.find_household()
    kits = [household_file.load_kit(path) for path in household_file.kit_paths()]
    kept: list[tuple[Consultation, bool]] = []
    for kit in kits:
        for draft in (False, True):
            one = (
                None
                if household is None
                else consultation_file.load_consultation(household.person, kit.name, draft=draft)
            )
            kept += [(one, draft)] if one is not None else []
    return standing(load_form(), household, kits, kept, diary_file.load_runs(), day)
