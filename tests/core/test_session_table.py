"""Every state the routines can be in, against every event there is: what is in the row acts, what is not changes nothing."""

from __future__ import annotations

from dataclasses import replace

import pytest

from assistant.core.actions import Say
from assistant.core.events import (
    Begun,
    DeviceBack,
    DeviceLost,
    Doubted,
    Event,
    Heard,
    Noticed,
    Pressed,
    Resumed,
    Spoken,
    Ticked,
)
from assistant.core.session import STOPS, TABLE, Cream, Stance, State, advance, live_names, row, view
from tests.programs import ROUTINES, kinds, program, reached


def every_event(name: str, state: State) -> list[Event]:
    """One event of every kind, a second from now, and each phrase of the book."""
    made, t = program(name), state.t + 1.0
    zone = state.todo[0] if state.todo else made.zones[0]
    slots = {"zone": zone, "minutes": "21", "": ""}
    heard: list[Event] = [Heard(t, phrase, slots[entry.slot()]) for phrase, entry in made.book.heard.items()]
    doubted: list[Event] = [
        Doubted(t, phrase, slots[entry.slot()]) for phrase, entry in made.book.heard.items()
    ]
    keys: list[Event] = [Pressed(t, key) for key in ("yes", "no", "again", "stop")]
    devices = ("microphone", "recogniser", "speaker", "voice", "journal", "guard")
    return [
        *heard,
        *doubted,
        *keys,
        *(DeviceLost(t, device) for device in devices),
        *(DeviceBack(t, device) for device in devices),
        Begun(t),
        Resumed(t),
        Resumed(t + 600, "sleep"),
        Ticked(t),
        Ticked(t + 60),
        Ticked(t + 3600),
        Noticed(t),
        Spoken(t, state.question.prompt.name if state.question else "nothing"),
    ]


@pytest.mark.parametrize("name", ROUTINES)
def test_every_state_takes_every_event(name: str) -> None:
    """No event in any reachable state raises, and each leaves a state that can be shown and listened to."""
    made, pairs = program(name), 0
    for found in kinds(name):
        for event in every_event(name, found.state):
            after, actions = advance(made, found.state, event)
            assert after.t == event.t
            assert view(made, after).where
            assert set(live_names(made, after)) <= set(made.book.heard)
            for action in actions:
                if isinstance(action, Say):
                    assert action.sentences, f"{action.name} has no words"
            pairs += 1
    assert pairs > 5000


@pytest.mark.parametrize("name", ROUTINES)
def test_a_trigger_that_is_not_in_the_row_changes_nothing(name: str) -> None:
    """Refusals are silent: same state but for the time and the sign of somebody being there, and no action."""
    made, refused = program(name), 0
    for found in kinds(name):
        state = replace(found.state, timers=(), asides=())
        for phrase in made.book.heard:
            if phrase in row(state):
                continue
            event = Heard(state.t + 1.0, phrase, "")
            after, actions = advance(made, state, event)
            assert actions == ()
            assert replace(after, t=state.t, sign=state.sign) == state
            refused += 1
    assert refused > 500


@pytest.mark.parametrize("name", ROUTINES)
def test_exploration_reaches_every_step_and_stance(name: str) -> None:
    found = reached(name)
    steps = {r.state.step for r in found.values()}
    assert steps == set(range(len(program(name).steps)))
    stances = {r.state.stance for r in found.values()}
    assert stances == set(Stance) - {
        Stance.READY,
        Stance.STANDING,
    }  # no shipped routine has a plain 'stand' step


def test_the_clock_never_goes_back() -> None:
    """An earlier event is refused and names both times."""
    with pytest.raises(ValueError, match="never goes back"):
        advance(program(), State(t=10.0), Ticked(9.0))


def test_every_handler_is_named_in_the_book() -> None:
    """No phrase of the book is dead, none of the table is missing from the book."""
    book = program().book.heard
    used = {trigger for live in TABLE.values() for trigger in live}
    assert {name for name in book if name not in used} == set()
    plain = {
        t
        for t in used
        if not t.startswith(("timer:", "key_")) and t not in ("begun", "doubted", "lost", "back")
    }
    assert plain <= set(book)


def test_stop_phrases_of_the_table_are_those_of_the_book() -> None:
    book = program().book.heard
    assert {name for name, entry in book.items() if entry.risk == "stop"} == set(STOPS)


def test_nothing_is_heard_once_closed() -> None:
    assert live_names(program(), State(stance=Stance.CLOSED, cream=Cream.RINSED)) == ()
