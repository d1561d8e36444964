"""Making a run's report: everything around the diary's entry is read here, and the page is kept.

Called by `diary report`, when a run has been kept, and at the end of a rehearsal.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from datetime import datetime
from pathlib import Path
from typing import Any

from assistant.app.keep import Kind
from assistant.app.load import load_book
from assistant.core.actions import Action
from assistant.core.diary import RunRecord, last_relaxed, next_days
from assistant.core.diary_entry import from_session
from assistant.core.events import Event
from assistant.core.household import Household
from assistant.core.kit_sheet import KitSheet
from assistant.core.moments import Moment, moments
from assistant.core.phrases import PhraseBook
from assistant.core.program import Program
from assistant.files import household_file, private
from assistant.files.diary_file import load_runs, report_path
from assistant.files.inside import LeavesFolder, inside
from assistant.files.places import runs_folder
from assistant.journal import journal as journals
from assistant.journal.record import UnknownRecord, action_of, event_of
from assistant.screens.report import report_page


def keep_report(record: RunRecord, out: Path | None = None) -> Path:
    """Make the run's report and write it for its owner alone: beside the diary, or to `out`.

    Raises OSError, and BadFile where another file of the household is wrong.
    """
    path = report_path(record.id) if out is None else out
    private.write(path, report_of(record))
    return path


def report_of(record: RunRecord) -> str:
    """The page of one run of the diary. Raises BadFile where another file of the household is wrong."""
    runs = {r.id: r for r in load_runs()} | {record.id: record}
    household = household_file.find_household()
    return report_page(
        record,
        moments=told(record, load_book("en" if household is None else household.language)),
        next_days=next_days(runs.values(), record.person, kit_of(tuple(runs.values()), record.person))
        if record.cream_was_on
        else (),
        contacts=contacts(household),
    )


def told(record: RunRecord, book: PhraseBook) -> tuple[Moment, ...]:
    """What the run's journal says; nothing where it was not kept, was forgotten or can not be read."""
    if not record.journal:
        return ()
    try:
        reading = journals.read(inside(runs_folder(), record.journal), put_aside=False)
    except (LeavesFolder, journals.UnreadableJournal, OSError):
        return ()
    return moments(_happened(reading.records), book, record.began_s)


def _happened(records: Iterable[Mapping[str, object]]) -> Iterable[tuple[float, Event | Action]]:
    for record in records:
        t = record.get("t")
        if isinstance(t, int | float):
            try:
                yield float(t), event_of(record) if "event" in record else action_of(record)
            except UnknownRecord:
                continue  # of a newer version; what is known is still told


def rehearsal_report(
    program: Program,
    happened: Sequence[tuple[Event, tuple[Action, ...]]],
    started: datetime,
    result: Mapping[str, Any],
    kind: Kind = "run",
) -> str:
    """The page of a rehearsal.

    `happened`: every event with what was ordered upon it. `started`: its made-up
    wall time. `result`: what the room measured, as `rehearse` returns it.
    """
    events = [event for event, _ in happened]
    record = from_session(program, events, id="rehearsal", kind=kind, started=started)
    in_order = [(event.t, what) for event, actions in happened for what in (event, *actions)]
    return report_page(
        record,
        moments=moments(in_order, program.book, record.began_s),
        next_days=next_days([record], record.person, program.kit) if record.cream_was_on else (),
        contacts=contacts(program.household),
        rehearsal=True,
        measured={zone: z["counted_s"] for zone, z in result["exposure"].items()},
    )


def contacts(household: Household | None) -> tuple[tuple[str, str], ...]:
    """Whom to call: the household's emergency number first."""
    if household is None:
        return ()
    first = (("Call for help", household.call_for_help),) if household.call_for_help else ()
    return (*first, *((c.name, c.phone) for c in household.contacts))


def kit_of(runs: Sequence[RunRecord], person: str) -> KitSheet | None:
    """The sheet of the kit this person last had, where it is still there; its leaflet's waits count."""
    last = last_relaxed(runs, person)
    kits = [household_file.load_kit(path) for path in household_file.kit_paths()] if last is not None else []
    return next((kit for kit in kits if last is not None and kit.name == last.kit), None)
