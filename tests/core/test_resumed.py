"""Going on after a time in which nobody could be heard: clocks count, silence does not, and the time is said first."""

from __future__ import annotations

import pytest

from assistant.core.actions import Arm, Say
from assistant.core.events import DeviceLost, Resumed, Ticked
from assistant.core.session import Cream, Stance, State, advance
from tests.programs import ROUTINES, kinds, program
from tests.walker import Walk


def gone_on(walk: Walk, after_s: float, after: str = "start") -> tuple[State, list[Say]]:
    state, actions = advance(walk.program, walk.state, Resumed(walk.t + after_s, after))
    return state, [action for action in actions if isinstance(action, Say)]


@pytest.mark.parametrize("name", ROUTINES)
@pytest.mark.parametrize("away_s", [5.0, 3600.0])
def test_with_cream_on_the_first_words_say_how_long_and_what_to_do(name: str, away_s: float) -> None:
    """In every state there is: the time on the clock, or first aid where somebody is hurt."""
    made, seen = program(name), 0
    for found in kinds(name):
        state = found.state
        if state.cream is not Cream.HEAD or state.stance is Stance.CARE:
            continue
        after, actions = advance(made, state, Resumed(state.t + away_s))
        said = [action for action in actions if isinstance(action, Say)]
        began = state.ledger.began
        assert began is not None
        on = made.on_for(after.t - began)
        first = [sentence.text for sentence in said[0].sentences]
        if after.call is not None and after.call.harms:
            continue
        assert first[0] == f"Warning. Cream has been on for {on}."
        assert "sink" in first[1] or "water" in first[1]
        assert Arm(state.due or 0.0) in actions
        seen += 1
    assert seen > 10


def test_a_call_that_fell_due_meanwhile_is_sounded_at_once() -> None:
    walk = Walk(program()).to(Stance.COVERING)
    assert walk.state.due is not None
    state, said = gone_on(walk, walk.state.due - walk.t + 60.0)
    assert state.stance is Stance.RINSE_CALL
    assert (said[0].name, said[0].alarm) == ("resumed.call", True)


def test_silence_while_nobody_could_be_heard_brings_no_call_forward() -> None:
    """Killed right after a burn check was asked: asked again at once, and the ladder begins anew."""
    walk = Walk(program()).to(Stance.COVERING)
    while not walk.state.asides:
        walk.happen(Ticked(max(walk.t, walk.state.timers[0][0])))
    state, _ = gone_on(walk, 60.0)
    assert state.stance is Stance.COVERING
    state, actions = advance(walk.program, state, Ticked(state.t + 0.05))
    assert "burn_check" in [action.name for action in actions if isinstance(action, Say)]
    assert [aside.question.tries for aside in state.asides] == [0]


def test_standing_times_have_passed_meanwhile() -> None:
    walk = Walk(program()).to(Stance.LATHER_STANDS)
    state, said = gone_on(walk, 3600.0)
    assert state.stance is Stance.LATHER_OUT
    assert [prompt.name for prompt in said] == ["resumed", "lather.out"]


@pytest.mark.parametrize("stance", [Stance.MIXING, Stance.STRAND_WORKS, Stance.COVERING, Stance.RINSING])
def test_weeks_away_take_no_longer_than_a_minute(stance: Stance) -> None:
    """Nothing that repeats itself is made up for: few things happen, however long it was."""
    walk = Walk(program()).to(stance)
    state, said = gone_on(walk, 60 * 86_400.0)
    assert state.t == walk.t + 60 * 86_400.0
    assert len(said) <= 4
    assert state.stance is not Stance.CLOSED


def test_devices_are_new_after_a_start_and_the_old_ones_after_a_sleep() -> None:
    walk = Walk(program()).to(Stance.MIXING)
    walk.happen(DeviceLost(walk.t + 1, "microphone"))
    assert gone_on(walk, 1.0)[0].lost == ()
    assert gone_on(walk, 1.0, "sleep")[0].lost == ("microphone",)


def test_a_run_that_never_began_begins() -> None:
    state, actions = advance(program(), State(), Resumed(3.0))
    assert state.stance is not Stance.READY
    assert actions
