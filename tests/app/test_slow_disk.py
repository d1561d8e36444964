"""A disk that hangs or fails: calls go out at once, the rest after a short while, and no line is left out."""

from __future__ import annotations

import threading
import time
from collections.abc import Iterator
from datetime import datetime, timezone

import pytest

from assistant.app.loop import Loop
from assistant.core.actions import Priority, Say
from assistant.core.events import Heard
from assistant.core.session import Stance
from assistant.guard.absent import AbsentGuard
from assistant.journal.patient import PatientJournal
from assistant.ports import Behind
from assistant.screens.none import NoScreen
from tests.app.test_loop import Ears, Order
from tests.ports.journals import FailingJournal, MemoryJournal
from tests.programs import program
from tests.walker import Walk

WAIT_S = 0.05
NOON = datetime(2026, 1, 1, 12, tzinfo=timezone.utc)


class HangingJournal(MemoryJournal):
    """Its disk takes a record only while `free` is set: until then `write` does not come back."""

    def __init__(self) -> None:
        super().__init__()
        self.free = threading.Event()
        self.free.set()

    def write(self, record: dict[str, object]) -> None:
        assert self.free.wait(20.0)
        super().write(record)


@pytest.fixture
def disk() -> Iterator[HangingJournal]:
    made = HangingJournal()
    yield made
    made.free.set()


def took(begin: float) -> float:
    return time.perf_counter() - begin


def test_a_write_waits_for_a_slow_disk_as_long_as_is_stated_and_then_not_again(disk: HangingJournal) -> None:
    seconds = iter(range(100))
    journal = PatientJournal(disk, lambda: NOON.replace(second=next(seconds)), WAIT_S)
    journal.write({"n": 0})
    assert [r["n"] for r in disk.records] == [0]
    disk.free.clear()
    began = time.perf_counter()
    with pytest.raises(Behind, match="slow"):
        journal.write({"n": 1})
    assert WAIT_S <= took(began) < WAIT_S + 0.5
    began = time.perf_counter()
    for n in range(2, 50):
        with pytest.raises(Behind):
            journal.write({"n": n})
    assert took(began) < 48 * WAIT_S
    disk.free.set()
    journal.close()
    assert [r["n"] for r in disk.records] == list(range(50))
    assert [str(r["at"])[17:19] for r in disk.records] == [
        f"{n:02}" for n in range(50)
    ]  # when it was handed over


def test_what_a_full_disk_would_not_take_is_kept_and_told() -> None:
    disk = FailingJournal(full=True)
    journal = PatientJournal(disk, lambda: NOON, WAIT_S)
    for n in range(3):
        with pytest.raises(Behind, match="No space left"):
            journal.write({"n": n})
    disk.full = False
    journal.close()
    assert [r["n"] for r in disk.records] == [0, 1, 2]


def test_a_disk_that_takes_nothing_more_does_not_hold_up_the_end(
    disk: HangingJournal, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr("assistant.journal.patient.CLOSE_S", WAIT_S)
    journal = PatientJournal(disk, lambda: NOON, WAIT_S)
    disk.free.clear()
    with pytest.raises(Behind):
        journal.write({"n": 0})
    with pytest.raises(OSError, match="1 lines were not written"):
        journal.close()


def test_9_while_the_disk_hangs_the_call_goes_out_at_once_and_a_step_after_a_moment(
    disk: HangingJournal,
) -> None:
    order, made = Order(), program()
    loop = Loop(made, Ears(), order, PatientJournal(disk, lambda: NOON, WAIT_S), AbsentGuard(), NoScreen())  # type: ignore[arg-type]
    loop.begin(0.0)
    disk.free.clear()
    began = time.perf_counter()
    loop.happen(Heard(5.0, "next_step"))
    assert took(began) < WAIT_S + 0.5  # the disk would take forever
    said = [what.name for _, what in order.notes if isinstance(what, Say)]
    assert said[-1] == "lost.journal"
    assert loop.state.step == 1

    loop.state = Walk(made).to(Stance.COVERING).state
    order.notes.clear()
    began = time.perf_counter()
    loop.happen(Heard(loop.state.t + 1, "rinse_now"))
    assert took(began) < WAIT_S + 0.5
    first = next(what for _, what in order.notes if isinstance(what, Say))
    assert first.priority is Priority.RINSE_CALL

    disk.free.set()
    loop.journal.close()
    events = [r for r in disk.records if "event" in r]
    assert [r["event"] for r in events] == ["Begun", "Heard", "DeviceLost", "Heard", "DeviceLost"]


def test_the_journal_works_again_is_said_once(disk: HangingJournal) -> None:
    order = Order()
    loop = Loop(
        program(), Ears(), order, PatientJournal(disk, lambda: NOON, WAIT_S), AbsentGuard(), NoScreen()
    )  # type: ignore[arg-type]
    loop.begin(0.0)
    disk.free.clear()
    loop.happen(Heard(5.0, "next_step"))
    assert loop.state.lost == ("journal",)
    disk.free.set()
    for k in range(200):
        if not loop.state.lost:
            break
        loop.happen(Heard(6.0 + k, "how_long"))
        threading.Event().wait(0.005)
    said = [what.name for _, what in order.notes if isinstance(what, Say)]
    assert said.count("device.back") == 1
    assert said.count("lost.journal") == 1


def test_a_disk_that_fails_to_the_end_ends_the_run_all_the_same() -> None:
    order = Order(fails=True)
    loop = Loop(program(), Ears(), order, order, AbsentGuard(), NoScreen())  # type: ignore[arg-type]
    loop.begin(0.0)
    for event in Walk(program()).to_end().events[1:]:
        loop.happen(event)
    assert loop.closing
