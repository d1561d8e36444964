"""Journals of runs that broke off, as a run that was killed leaves them."""

from __future__ import annotations

from collections.abc import Iterable
from datetime import timedelta
from pathlib import Path

from assistant import clocks
from assistant.app.resume import about
from assistant.clocks import BootClock
from assistant.core.events import Event
from assistant.core.program import Program
from assistant.core.session import State, advance
from assistant.journal.journal import FileJournal
from assistant.journal.record import of_action, of_event


def records(program: Program, events: Iterable[Event]) -> list[tuple[dict[str, object], State]]:
    """Every line that a run with these events writes, and the state once its event is in the journal."""
    found, state = [], State()
    for event in events:
        state, actions = advance(program, state, event)
        lines: list[dict[str, object]] = [of_event(event)]
        lines += [of_action(action, event.t) for action in actions]
        found += [(line, state) for line in lines]
    return found


def left_behind(path: Path, program: Program, events: list[Event], ago_s: float) -> None:
    """A journal at `path` whose run clock showed the last event's time `ago_s` seconds ago."""
    last_s, boot_s, wall = events[-1].t, BootClock().now(), clocks.wall_now()

    def told(run_s: float) -> timedelta:
        return timedelta(seconds=last_s + ago_s - run_s)

    at = {"run_s": 0.0}
    journal = FileJournal.begin(
        path, lambda: wall - told(at["run_s"]), {**about(program), "kind": "run"}, sync=lambda handle: None
    )
    clock = {"boot": clocks.boot_id(), "boot_s": boot_s - last_s - ago_s, "run_s": 0.0}
    journal.write({"clock": clock})
    for record, _ in records(program, events):
        at["run_s"] = float(str(record["t"]))
        journal.write(record)
    journal.close()
