"""What the guard does at a time, as a table; then a whole watch in virtual time. No process, no clock."""

from __future__ import annotations

from dataclasses import replace

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from assistant.core.session import CALL_EVERY_S
from assistant.guard import duty
from assistant.guard.duty import Heir, Main, Mode, Watch, Words

DUE, SINCE = 1000.0, 100.0
SILENT = duty.SILENT_AFTER_S + 1
ARMED = Watch(due=DUE, since=SINCE)
GONE = replace(ARMED, gone=True)
HUNG = replace(ARMED, quiet_s=SILENT)


@pytest.mark.parametrize(
    ("watch", "t", "wanted"),
    [
        # nothing armed
        (Watch(), 0.0, Mode.REST),
        (Watch(quiet_s=SILENT), 50.0, Mode.REST),
        (Watch(gone=True), 50.0, Mode.TELL),
        (Watch(gone=True, said=1), 50.0, Mode.LEAVE),
        # the main program is well
        (ARMED, DUE - 0.001, Mode.REST),
        (ARMED, DUE + duty.CONFIRM_S - 0.001, Mode.REST),
        (ARMED, DUE + duty.CONFIRM_S, Mode.CALL),
        (replace(ARMED, called_at=DUE + 0.2, place="calling"), DUE + 5, Mode.REST),
        (replace(ARMED, called_at=DUE, place="calling"), DUE + duty.CALL_GAP_S, Mode.CALL),
        (replace(ARMED, called_at=200.0, place="calling"), 200.0 + duty.CALL_GAP_S, Mode.CALL),  # by voice
        (replace(ARMED, place="water"), DUE + 500, Mode.REST),
        # it is gone
        (GONE, DUE - 0.001, Mode.TELL),
        (GONE, DUE, Mode.CALL),
        (replace(GONE, place="calling", called_at=300.0), 300.5, Mode.CALL),
        (replace(GONE, place="water"), DUE + 5, Mode.REMIND),
        (replace(GONE, water_at=DUE + 30), DUE + 31, Mode.REMIND),
        (replace(GONE, over=True), DUE + 300, Mode.LEAVE),
        # it hangs
        (HUNG, DUE - 0.001, Mode.TELL),
        (HUNG, DUE, Mode.CALL),
        (replace(ARMED, quiet_s=duty.SILENT_AFTER_S), DUE, Mode.REST),
        (replace(HUNG, place="water"), DUE, Mode.REMIND),
        # another one is in its place
        (replace(GONE, heir=Heir.STARTING, hushed_at=DUE), DUE + 1, Mode.HUSH),
        (replace(GONE, heir=Heir.STARTING, hushed_at=DUE), DUE + duty.HUSH_S, Mode.CALL),
        (replace(GONE, heir=Heir.STARTING, hushed_at=DUE - 0.5), DUE - 0.1, Mode.HUSH),
        (replace(GONE, heir=Heir.STARTING, hushed_at=DUE - 0.5), DUE, Mode.CALL),  # it has not spoken yet
        (replace(GONE, heir=Heir.TOOK_OVER, hushed_at=DUE - 0.5), DUE, Mode.LEAVE),
        (replace(GONE, heir=Heir.TOOK_OVER), DUE + 1, Mode.LEAVE),
        (replace(GONE, mode=Mode.LEAVE), DUE + 1, Mode.LEAVE),
    ],
)  # fmt: skip
def test_the_table(watch: Watch, t: float, wanted: Mode) -> None:
    assert duty.mode(watch, t) is wanted


@given(st.lists(st.tuples(st.floats(0, 5000), st.floats(0, 5000)), min_size=1))
def test_a_deadline_only_comes_nearer(deadlines: list[tuple[float, float]]) -> None:
    watch = Watch()
    for due, since in deadlines:
        watch = duty.armed(watch, due, since)
    assert watch.due == min(due for due, _ in deadlines)
    assert watch.since == min(since for _, since in deadlines)


def test_only_a_recorded_rinse_ends_it() -> None:
    """Beats, calls, keys and another main program without a deadline leave it as it is."""
    watch = duty.called(duty.beaten(ARMED, "calling"), 5.0)
    watch = duty.pressed(duty.pressed(duty.gone(watch), 6.0), 7.0)
    watch = duty.heir_seen(watch, duty.heir_of({"run": "b", "took_over": True, "due": None}, "a", watch), 8.0)
    assert (watch.due, watch.heir) == (DUE, Heir.NONE)
    assert duty.disarmed(watch).due is None


@pytest.mark.parametrize(
    ("note", "wanted"),
    [
        ({}, Heir.NONE),
        ({"run": "a"}, Heir.NONE),
        ({"run": "b"}, Heir.STARTING),
        ({"run": "b", "took_over": True, "due": DUE}, Heir.TOOK_OVER),
        ({"run": "b", "took_over": True, "due": DUE - 60}, Heir.TOOK_OVER),
        ({"run": "b", "took_over": True, "due": DUE + 60}, Heir.NONE),
        ({"run": "b", "took_over": True, "due": None}, Heir.NONE),
        ({"run": "b", "took_over": True, "due": "soon"}, Heir.NONE),
        ({"run": "b", "took_over": True, "due": None, "rinsed": True}, Heir.TOOK_OVER),
    ],
)
def test_who_takes_over_knows_what_the_guard_knows(note: dict[str, object], wanted: Heir) -> None:
    assert duty.heir_of(note, "a", GONE) is wanted


def test_a_guard_that_slept_with_the_machine_does_not_blame_the_main_program() -> None:
    watch = duty.look(ARMED, 200.0)
    watch = duty.look(watch, 800.0)
    assert watch.main is Main.WELL
    for k in range(20):
        watch = duty.look(watch, 800.0 + k * 0.25)
    assert watch.main is Main.SILENT


def watched(watch: Watch, begin: float, end: float) -> list[tuple[float, Words]]:
    """What is said from `begin` to `end`, looking whenever it wants to look."""
    said, t = [], begin
    while t < end:
        watch = duty.look(watch, t)
        watch, words = duty.next_words(watch, t)
        if words is not None:
            said.append((t, words))
        t += max(0.001, duty.next_look(watch, t, 0.25))
    return said


def test_gone_before_the_call_it_tells_the_time_and_then_calls_again_and_again_louder() -> None:
    said = watched(GONE, DUE - 90, DUE + 40)
    assert [t for t, _ in said] == pytest.approx(
        [DUE - 90, DUE - 30, *(DUE + k * CALL_EVERY_S for k in range(4))], abs=0.01
    )
    assert said[0][1].clips == ("stopped", "on_14", "left_1", "start")
    assert said[1][1].clips == ("on_15", "left_0")
    calls = [words for _, words in said[2:]]
    assert all(words.clips[0] == "call" for words in calls)
    assert [words.level for words in calls] == [1.0, 1.25, 1.6, 1.6]


def test_a_call_that_nobody_confirms_sounds_after_the_stated_wait() -> None:
    first, words = watched(ARMED, DUE - 1, DUE + 4)[0]
    assert first == pytest.approx(DUE + duty.CONFIRM_S, abs=0.005)
    assert words.clips[0] == "call"


def test_a_key_before_the_call_is_nothing_and_after_it_ends_the_call_not_the_reminders() -> None:
    watch, _ = duty.next_words(duty.look(GONE, DUE - 300), DUE - 300)
    assert duty.pressed(watch, DUE - 299) == watch
    watch = duty.look(watch, DUE)
    watch = duty.look(duty.pressed(watch, DUE + 20), DUE + 20)
    assert watch.mode is Mode.REMIND
    watch = duty.look(duty.pressed(watch, DUE + 21), DUE + 21)
    assert watch.mode is Mode.REMIND
    late = DUE + 20 + duty.CLEAR_LEAST_S
    assert duty.look(duty.pressed(watch, late), late).mode is Mode.LEAVE


@settings(max_examples=30, deadline=None)
@given(
    st.floats(0, 400),
    st.sampled_from(["gone", "hung"]),
    st.lists(st.floats(0, 400), max_size=4),
)
def test_whenever_the_main_program_ends_the_call_comes_at_the_deadline(
    ends: float, how: str, keys: list[float]
) -> None:
    """It ends at any time before the deadline, whatever keys are pressed before: the call comes then, not later."""
    watch, t, first = duty.armed(Watch(), 500.0, 0.0), 0.0, None
    presses = sorted(keys)
    while first is None and t < 600:
        if t < ends:
            watch = duty.beaten(watch, "")
        elif how == "gone":
            watch = duty.gone(watch)
        while presses and presses[0] <= t:
            watch = duty.pressed(watch, presses.pop(0))
        watch = duty.look(watch, t)
        watch, words = duty.next_words(watch, t)
        first = t if words is not None and "call" in words.clips else None
        t += max(0.001, duty.next_look(watch, t, 0.25))
    assert first == pytest.approx(500.0, abs=0.005)
