"""Going on with a run that broke off: found, read back, its clock set, and never two at once.

The journal holds all that is needed: its first line the whole program as it was
prepared, then the clocks, then every event. Replaying the events gives the state
the run was in; `clocks.elapsed_across_reboot` says what its clock shows now.
"""

from __future__ import annotations

import contextlib
import hashlib
import json
import os
import queue
import secrets
import threading
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from filelock import FileLock, Timeout
from pydantic import TypeAdapter, ValidationError

from assistant import clocks
from assistant.app.load import Refused
from assistant.clocks import BootClock, Stamp, elapsed_across_reboot
from assistant.core.events import Resumed
from assistant.core.program import Program
from assistant.core.reasons import Reason
from assistant.core.session import Cream, State, advance
from assistant.files import private
from assistant.journal import rfc3339
from assistant.journal.journal import FileJournal, Reading, Record, UnreadableJournal, read
from assistant.journal.record import event_of

LOCK, NOTE = "run.lock", "running.json"
NOTE_S = 1.0
"""How long the start and the end of a run wait for the note to be written, at most."""
TAIL = 1 << 16
"""The end of a journal that is looked at for its end: the last lines of a run are far shorter."""
APART_S, GONE_S = 86_400.0, 366 * 86_400.0
"""Within a run no two events are a day apart, and nobody goes on after a year: a time so far ahead is damage."""
_PROGRAM = TypeAdapter(Program)


class NotThisOne(Exception):
    """A journal that can not be gone on with, and why."""


@dataclass(frozen=True, slots=True)
class Found:
    """A run that broke off. `state` is the one it was in, `elapsed_s` what its clock showed when it was read.

    `zero_s`: the boot clock's time at 0 s of the run clock; it goes on from there.
    `lost` are the numbers of lines that could not be read, `torn` where a torn last
    line was put aside to.
    """

    journal: Path
    program: Program
    state: State
    elapsed_s: float
    zero_s: float
    lost: tuple[int, ...] = ()
    torn: Path | None = None

    @property
    def cream_on(self) -> bool:
        return self.state.cream is Cream.HEAD

    def told(self) -> str:
        """What is known of it, in words."""
        minutes, where = int(self.elapsed_s // 60), self.program.steps[self.state.step].title
        words = f"A run broke off: {self.program.routine.name}, at '{where}', begun {minutes} minutes ago."
        if self.cream_on and self.state.ledger.began is not None:
            on = self.program.on_for(self.elapsed_s - self.state.ledger.began)
            words += f" Cream has been on for {on}."
        elif self.state.cream in (Cream.BOWL, Cream.STRAND):
            words += " Cream is mixed; none was on the head."
        else:
            words += " No cream is on."
        if self.torn is not None:
            words += f" A torn last line was put aside: {self.torn}."
        if self.lost and self.torn is None:
            words += f" Lines that can not be read: {', '.join(map(str, self.lost))}."
        return words


# -- what a journal has to hold ------------------------------------------------------


def about(program: Program) -> dict[str, object]:
    """What a run's first line says beside what every journal's does: the program, whole, and its sum."""
    plain = _PROGRAM.dump_python(program, mode="json", by_alias=True)
    return {
        "routine": program.routine.name,
        "kit": program.kit.name,
        "rehearsal": False,
        "program": plain,
        "sha256": _sum(plain),
    }


def _sum(plain: object) -> str:
    return hashlib.sha256(json.dumps(plain, sort_keys=True).encode()).hexdigest()


def clock_record(run_s: float) -> dict[str, object]:
    """The clocks side by side, once each time the program starts: the run clock shows `run_s`."""
    return {"clock": {"boot": clocks.boot_id(), "boot_s": BootClock().now(), "run_s": run_s}}


# -- reading one back ----------------------------------------------------------------


def unfinished(folder: Path) -> Path | None:
    """The newest run in `folder` that has no end, or None. Rehearsals are no runs."""
    for path in sorted(folder.glob("*.jsonl"), reverse=True):
        with contextlib.suppress(OSError, ValueError):
            if not ended(path) and _begun(path):
                return path
    return None


def ended(path: Path) -> bool:
    """It was closed, by itself or by somebody. Raises OSError."""
    with path.open("rb") as file:
        file.seek(max(0, path.stat().st_size - TAIL))
        tail = file.read()
    return b'"action":"Close"' in tail or b'\n{"closed":' in tail


def _begun(path: Path) -> bool:
    """A run of this kind in which something happened."""
    with path.open("rb") as file:
        header, first = json.loads(file.readline()), file.readline()
    return bool(first) and isinstance(header, dict) and header.get("kind") == "run" and "program" in header


def read_back(path: Path) -> Found:
    """The run in the journal at `path`; a torn last line is put aside first. Raises NotThisOne and OSError."""
    try:
        reading = read(path)
    except UnreadableJournal as error:
        raise NotThisOne(str(error)) from error
    program = program_of(reading)
    state, strange = replayed(program, reading)
    last, boot_s = last_stamp(reading), BootClock().now()
    elapsed = state.t
    if last is not None:
        elapsed = max(elapsed, elapsed_across_reboot(last, clocks.wall_now(), clocks.boot_id(), boot_s))
    lost = (*reading.broken_lines, *strange)
    return Found(path, program, state, elapsed, boot_s - elapsed, lost, reading.torn)


def program_of(reading: Reading) -> Program:
    """The program of a journal's first line. Raises NotThisOne."""
    plain = reading.header.get("program")
    if _sum(plain) != reading.header.get("sha256"):
        raise NotThisOne("its first line is damaged: the program does not have its sum")
    try:
        return _PROGRAM.validate_json(json.dumps(plain))
    except (ValidationError, ValueError) as error:
        raise NotThisOne("it was written by another version: its program can not be read") from error


def replayed(program: Program, reading: Reading) -> tuple[State, tuple[int, ...]]:
    """The state after every event of `reading`, and which records (their place) are no event of this version."""
    state, strange = State(), []
    for number, record in enumerate(reading.records, 2):
        if "event" in record:
            try:
                event = event_of(record)
                if event.t - state.t > (GONE_S if isinstance(event, Resumed) else APART_S):
                    raise ValueError("a time that can not be")
                state, _ = advance(program, state, event)
            except Exception:  # only a damaged journal has one: what is before and after it counts
                strange.append(number)
    return state, tuple(strange)


def last_stamp(reading: Reading) -> Stamp | None:
    """The last recorded moment on every clock; None in a journal that never told its clocks."""
    clock: dict[str, Any] | None = None
    run_s, at = 0.0, None
    for record in reading.records:
        told = record.get("clock")
        if isinstance(told, dict):
            clock = told
            run_s = _number(told.get("run_s"), run_s)
        run_s, at = max(run_s, _number(record.get("t"), run_s)), _moment(record) or at
    if clock is None or at is None:
        return None
    boot = clock.get("boot")
    boot_s = _number(clock.get("boot_s"), 0.0) + run_s - _number(clock.get("run_s"), 0.0)
    return Stamp(at, boot if isinstance(boot, str) else None, boot_s, run_s)


def _number(value: object, otherwise: float) -> float:
    return float(value) if isinstance(value, int | float) and not isinstance(value, bool) else otherwise


def _moment(record: Record) -> Any:
    with contextlib.suppress(ValueError):
        return rfc3339.read(str(record.get("at")))
    return None


def mark_closed(path: Path) -> None:
    """The run at `path` stays as it is and is not offered again. Raises OSError."""
    journal, _ = FileJournal.resume(path, clocks.wall_now)
    try:
        journal.write({"closed": "left as it was"})
    finally:
        journal.close()


# -- never two at once ---------------------------------------------------------------


class Note:
    """What a running main program says of itself, for the guard of one that is gone.

    Written by a thread of its own: no disk holds up a run.
    """

    def __init__(self, path: Path) -> None:
        self.path = path
        self.run = secrets.token_hex(8)
        self._texts: queue.SimpleQueue[str | None] = queue.SimpleQueue()
        self._written = threading.Event()
        self._thread = threading.Thread(target=self._write, name="note", daemon=True)
        self._thread.start()
        self._say(took_over=False)
        self._written.wait(NOTE_S)

    def took_over(self, due: float | None, rinsed: bool) -> None:
        """From now on this run calls: `due` on the boot clock, None without a deadline; `rinsed`: it is recorded."""
        self._say(took_over=True, due=due, rinsed=rinsed)

    def close(self) -> None:
        """Nothing more is said; what was, is written, if the disk takes it soon."""
        self._texts.put(None)
        self._thread.join(NOTE_S)

    def _say(self, **more: object) -> None:
        self._texts.put(json.dumps({"run": self.run, "pid": os.getpid(), **more}) + "\n")

    def _write(self) -> None:
        while (text := self._texts.get()) is not None:
            with contextlib.suppress(OSError):  # then an old guard goes on calling, which is the safe side
                private.write(self.path, text)
            self._written.set()


@contextmanager
def alone(folder: Path) -> Iterator[Note]:
    """This process is the only one that runs here. Raises Refused when another one does, and OSError."""
    private.make_folder(folder)
    lock = FileLock(folder / LOCK, mode=0o600)
    try:
        lock.acquire(timeout=0)
    except Timeout:
        pid = ""
        with contextlib.suppress(OSError, ValueError, AttributeError):
            pid = f" (process {json.loads((folder / NOTE).read_text('utf-8')).get('pid')})"
        raise Refused(
            [
                Reason(
                    "already running",
                    f"A run is going on already{pid}, and it keeps the time. Answer there. "
                    "If it does not answer any more, end that process and start again: the time is kept.",
                    "this run",
                )
            ]
        ) from None
    note = Note(folder / NOTE)
    try:
        yield note
    finally:
        note.close()
        lock.release()
