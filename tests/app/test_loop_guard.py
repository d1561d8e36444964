"""The loop and its guard: what it is told, that its loss is said, and a run that refuses to begin without one."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest

from assistant.app.loop import SLEPT_S, Loop
from assistant.app.run import Devices, run
from assistant.core.actions import Say, Sentence
from assistant.core.events import DeviceLost, Resumed
from assistant.core.session import Stance
from assistant.ears.keys import Keys
from assistant.ears.microphone import Microphone
from assistant.guard.absent import AbsentGuard
from assistant.guard.process import NoGuard
from assistant.ports import Mark, Samples
from assistant.screens.none import NoScreen
from tests.app.test_loop import NONE, Ears, Order
from tests.ports.journals import MemoryJournal
from tests.programs import program
from tests.walker import Walk


def guarded(stance: Stance = Stance.COVERING) -> tuple[Loop, AbsentGuard, Order]:
    guard, order = AbsentGuard(), Order()
    loop = Loop(program(), Ears(), order, MemoryJournal(), guard, NoScreen())  # type: ignore[arg-type]
    loop.begin(0.0)
    loop.state = Walk(program()).to(stance).state
    loop.t = loop.state.t
    order.notes.clear()
    return loop, guard, order


def said(order: Order) -> list[str]:
    return [what.name for _, what in order.notes if isinstance(what, Say)]


def test_the_guard_is_told_where_the_run_is_and_that_the_call_sounds() -> None:
    loop, guard, order = guarded()
    due = loop.state.due
    assert due is not None
    loop.turn(loop.t + 0.05, NONE, NONE, [])
    assert guard.place == ""
    while loop.t < due:
        loop.turn(min(due, loop.t + 10.0), NONE, NONE, [])
    assert (guard.place, guard.calls) == ("calling", 0)
    call = next(what for _, what in reversed(order.notes) if isinstance(what, Say) and what.alarm)
    loop.turn(due + 0.1, NONE, NONE, [Mark(call, "begun", 0)])
    assert guard.calls == 1
    loop.turn(due + 1.0, NONE, NONE, [], keys=["yes"])
    loop.turn(due + 1.1, NONE, NONE, [])
    assert guard.place == "water"


def test_a_call_from_a_loudspeaker_that_is_lost_is_confirmed_to_nobody() -> None:
    loop, guard, order = guarded(Stance.RINSE_CALL)
    loop.turn(loop.t + 0.1, NONE, NONE, [], devices=[DeviceLost(loop.t + 0.1, "speaker")])
    loop.turn(loop.t + 13.0, NONE, NONE, [])
    call = next(what for _, what in order.notes if isinstance(what, Say) and what.alarm)
    loop.turn(loop.t + 0.1, NONE, NONE, [Mark(call, "begun", 0)])
    assert guard.calls == 0


def test_a_guard_that_is_gone_is_said_at_once_and_once_and_that_another_stands() -> None:
    loop, guard, order = guarded()
    guard.problem = "the second process is gone"
    for _ in range(3):
        loop.turn(loop.t + 0.05, NONE, NONE, [])
    assert said(order) == ["lost.guard"]
    guard.problem = ""
    for _ in range(3):
        loop.turn(loop.t + 0.05, NONE, NONE, [])
    assert said(order) == ["lost.guard", "device.back"]
    assert loop.state.lost == ()


def test_a_machine_that_slept_says_first_how_long_cream_has_been_on() -> None:
    """Ten minutes asleep with the lid shut: the clock went on, and the deadline goes to the guard again."""
    loop, guard, order = guarded()
    guard.due.clear()
    loop.turn(loop.t + 600.0, NONE, NONE, [])
    assert said(order)[0] == "resumed.cream"
    assert guard.due == [loop.state.due]
    loop, _, order = guarded()
    loop.turn(loop.t + SLEPT_S, NONE, NONE, [])
    assert "resumed.cream" not in said(order)


def test_a_run_goes_on_from_the_state_it_was_in() -> None:
    loop, guard, order = guarded()
    state = replace(loop.state, lost=("guard",))
    loop.resume(state, state.t + 30.0)
    assert said(order)[0] == "resumed.cream"
    assert guard.armed == state.due
    assert Resumed(state.t + 30.0).t == loop.state.t


class Beep:
    """A voice that beeps."""

    def prepare(self, sentences: object) -> None:
        """Nothing to make."""

    def clip(self, sentence: Sentence) -> Samples:
        return np.full(160, 0.1, np.float32)


def test_no_guard_no_cream(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """A second process without a loudspeaker can call nobody: nothing is begun, and it is said why."""
    monkeypatch.setenv("COMBSIDE_HOME", str(tmp_path))
    monkeypatch.setenv("PULSE_SERVER", "unix:/nowhere")
    journal = tmp_path / "runs" / "run.jsonl"
    devices = Devices(Ears(), Beep(), NoScreen(), Keys(), Microphone("pulse"), journal, "pulse")  # type: ignore[arg-type]
    with pytest.raises(NoGuard, match="no loudspeaker of its own"):
        run(program(), devices)
    assert not journal.exists()
