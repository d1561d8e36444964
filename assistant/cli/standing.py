"""What `combside` alone says: where this household stands and what comes next."""

from __future__ import annotations

import sys
from datetime import date

from assistant.app import resume
from assistant.app.consult import load_form
from assistant.app.keep import keep_missed
from assistant.cli import status
from assistant.cli.asking import Terminal
from assistant.core.consultation import Consultation
from assistant.core.standing import Standing, standing
from assistant.files import consultation_file, diary_file, household_file, strand_file
from assistant.files.places import runs_folder


def show(today: date | None = None) -> int:
    """Print it. Status 0: there is always a next step. Raises BadFile where a file is wrong."""
    for record in keep_missed():
        print(f"entered in the diary now: {record.id}, {record.kind} {record.outcome}", file=sys.stderr)
    found = broken_off() or found_for(today or date.today())
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


def broken_off() -> Standing | None:
    """A run that has no end comes before everything else."""
    path = resume.unfinished(runs_folder())
    if path is None:
        return None
    try:
        told = resume.read_back(path).told()
    except resume.NotThisOne as error:
        told = f"A run broke off, and it can not be gone on with: {error}."
    return Standing(
        (told, "If cream is on, rinse now."), "Go on with it, or close it with --close", "combside run"
    )


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
    strands = [
        one
        for kit in kits
        for one in (() if household is None else strand_file.load_strands(household.person, kit.name))
    ]
    return standing(load_form(), household, kits, kept, diary_file.load_runs(), day, strands)
