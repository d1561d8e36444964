"""The second process of a rehearsal: it tells, it calls at the due time until a key, and it leaves to a new program."""

from __future__ import annotations

from collections.abc import Iterable

import numpy as np

from assistant.alarm.find import find_alarms
from assistant.app.failing import SimulatedGuard
from assistant.core.actions import Sentence
from assistant.ports import RATE, Mark
from tests.programs import program

BLOCK = RATE // 50


class Voice:
    """Every sentence is a second of nothing."""

    def prepare(self, sentences: Iterable[Sentence]) -> None:
        """Nothing to make."""

    def clip(self, sentence: Sentence) -> np.ndarray:
        return np.zeros(RATE, dtype=np.float32)


class Stand:
    """A guard whose program is gone since 100 s, and its loudspeaker."""

    def __init__(self, failing: dict[str, float] | None = None) -> None:
        self.failing = failing if failing is not None else {}
        self.guard = SimulatedGuard(program("touch_up"), Voice(), self.failing)  # type: ignore[arg-type]
        self.guard.arm(130.0, 10.0)
        self.guard.beat("")
        self.guard.gone()
        self.at = 100 * RATE
        self.sound = [np.zeros(0, dtype=np.float32)]
        self.marks: list[Mark] = []

    def until(self, t: float) -> Stand:
        while self.at < t * RATE:
            sound, marks = self.guard.sound((self.at + BLOCK) / RATE, self.at, BLOCK)
            self.at += BLOCK
            self.sound.append(sound)
            self.marks += marks
        return self

    def alarms(self) -> list[float]:
        return [100 + t for t in find_alarms(np.concatenate(self.sound), RATE)]

    def began(self, name: str) -> list[float]:
        return [m.at / RATE for m in self.marks if m.what == "begun" and m.prompt.name == name]


def test_it_says_at_once_that_the_program_stopped() -> None:
    stand = Stand().until(120)
    assert stand.began("guard.stopped") == [100.0]
    assert stand.alarms() == []


def test_it_calls_at_the_due_time_and_again() -> None:
    """Found in its sound; the prompt asks for water, as the first program's call does."""
    stand = Stand().until(165)
    calls = stand.began("guard.call")
    assert calls[0] - 130.0 <= 0.1
    assert len(calls) >= 2
    heard = [t for t in stand.alarms() if t >= 129]
    assert abs(heard[0] - calls[0]) < 0.2
    assert {m.prompt.asks for m in stand.marks if m.prompt.name == "guard.call"} == {"water"}
    assert [m.what for m in stand.marks[:2]] == ["begun", "ended"]


def test_a_key_turns_the_call_into_reminders() -> None:
    stand = Stand().until(131)
    stand.guard.pressed(131.0)
    stand.until(200)
    assert len(stand.began("guard.call")) == 1
    assert stand.began("guard.remind")


def test_a_new_program_ends_it_and_one_that_is_killed_says_nothing() -> None:
    stand = Stand().until(110)
    stand.guard.taken_over()
    assert stand.until(150).began("guard.call") == []
    assert Stand({"guard_killed": 200.0}).until(150).marks == []
