"""Keeping a run: from its journal to its entry in the diary.

Called when a run or a practice run has ended, however it ended, and for a
journal that was left behind by one that could not end. The journal alone
decides, so that a run and its replay give the same entry; what happened in
memory counts only where the disk did not take all of it.
"""

from __future__ import annotations

import contextlib
from collections.abc import Sequence
from datetime import datetime, timedelta
from pathlib import Path
from typing import Literal, cast, get_args

from assistant.app.resume import NotThisOne, ended, program_of
from assistant.core.diary import RunRecord
from assistant.core.diary_entry import from_session
from assistant.core.events import Event
from assistant.core.program import Program
from assistant.core.strand_walk import result_of
from assistant.files.diary_file import diary_folder, save_run
from assistant.files.places import runs_folder
from assistant.files.strand_file import save_strand
from assistant.journal import journal as journals
from assistant.journal import rfc3339
from assistant.journal.record import UnknownRecord, event_of

Kind = Literal["run", "practice", "strand test"]


def keep(
    program: Program,
    journal: Path,
    *,
    kind: Kind,
    events: Sequence[Event] = (),
    started: datetime | None = None,
) -> RunRecord:
    """Write the diary entry of the run whose journal this is, and its strand test; the same journal is never entered twice.

    `program` is the one that ran. `events` and `started` (the wall time of 0 s on
    the run clock) are what the run had in memory; they count where the journal can
    not be read or holds less. Raises OSError where the diary can not be written,
    and UnreadableJournal where the journal can not be read and nothing was in memory.
    """
    happened, begun = whole(journal, events, started)
    record = _entry(program, happened, journal, kind, begun)
    save_run(record)
    result = None if kind == "practice" else result_of(program, happened, record.day)
    if result is not None:
        save_strand(result, record.id)
    return record


def entry(
    program: Program,
    journal: Path,
    *,
    kind: Kind,
    events: Sequence[Event] = (),
    started: datetime | None = None,
) -> RunRecord:
    """The entry that `keep` writes. Raises UnreadableJournal."""
    happened, begun = whole(journal, events, started)
    return _entry(program, happened, journal, kind, begun)


def _entry(
    program: Program, events: Sequence[Event], journal: Path, kind: Kind, started: datetime
) -> RunRecord:
    return from_session(program, events, id=journal.stem, kind=kind, started=started, journal=journal.name)


def whole(
    journal: Path, events: Sequence[Event] = (), started: datetime | None = None
) -> tuple[Sequence[Event], datetime]:
    """What the journal tells, or what was in memory where that is more. Raises UnreadableJournal."""
    try:
        written, begun = told(journal)
    except (journals.UnreadableJournal, OSError) as error:
        if started is None:
            raise journals.UnreadableJournal(str(error)) from error
        return events, started
    return written if len(written) >= len(events) else events, begun


def told(journal: Path) -> tuple[tuple[Event, ...], datetime]:
    """Everything that happened, in order, and the wall time of 0 s on the run clock.

    A line that can not be read is passed over, as when a run goes on. Raises UnreadableJournal and OSError.
    """
    return _told(journal, journals.read(journal, put_aside=False))


def _told(journal: Path, reading: journals.Reading) -> tuple[tuple[Event, ...], datetime]:
    events = []
    for record in reading.records:
        with contextlib.suppress(UnknownRecord):
            events += [event_of(record)] if "event" in record else []
    for record in reading.records:
        clock = record.get("clock")
        run_s = clock.get("run_s") if isinstance(clock, dict) else record.get("t")
        if isinstance(run_s, int | float):
            with contextlib.suppress(ValueError):
                began = rfc3339.read(str(record.get("at"))) - timedelta(seconds=run_s)
                return tuple(events), began
    raise journals.UnreadableJournal(f"{journal} does not say when it was begun")


def keep_missed() -> tuple[RunRecord, ...]:
    """Enter what ended and was not entered: the program was gone before it could, or the run was closed later.

    A journal that can not be read, and one of a run that may still go on, is left alone; practice and a
    strand test do not go on. Raises OSError.
    """
    known = {path.stem for path in diary_folder().glob("*.json")}
    found = []
    for path in sorted(runs_folder().glob("*.jsonl")):
        if path.stem not in known:
            with contextlib.suppress(NotThisOne, journals.UnreadableJournal, ValueError):
                program, kind = whose(path)
                if kind != "run" or ended(path):
                    found.append(keep(program, path, kind=kind))
    return tuple(found)


def whose(journal: Path) -> tuple[Program, Kind]:
    """The program that ran, and what for, from the journal's first line. Raises NotThisOne and UnreadableJournal."""
    reading = journals.read(journal, put_aside=False)
    kind = reading.header.get("kind")
    if kind not in get_args(Kind):
        raise NotThisOne(f"{journal} is of no run")
    return program_of(reading), cast(Kind, kind)
