"""Each claim is quiet on a good run and loud on its planted breach."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import replace

import pytest

from assistant.core import session
from assistant.core.actions import Action, Arm, Drop, Priority, Say, Sentence
from assistant.core.events import DeviceLost, Doubted, Event, Heard, Ticked
from assistant.core.exposure import Ledger
from assistant.core.session import Aside, Call, Cream, Question, Stance, State
from tests.programs import program
from tests.simulate.claims import CLAIMS, Past, Seen, Watch
from tests.walker import Walk

PROGRAM = program("touch_up")
CAUTION = Say("warn", (Sentence("Caution. One minute until the water."),), Priority.CAUTION)


def standing(stance: Stance) -> State:
    return Walk(PROGRAM).to(stance).state


COVERING, CALLING = standing(Stance.COVERING), standing(Stance.RINSE_CALL)
T = COVERING.t


def seen(
    before: State,
    after: State,
    event: Event | None = None,
    actions: Sequence[Action] = (),
    **past: object,
) -> Seen:
    known: dict[str, object] = {"armed": [before.due] if before.due is not None else []}
    return Seen(
        PROGRAM,
        before,
        before,
        event or Ticked(before.t),
        actions,
        after,
        Past(**{**known, **past}),  # type: ignore[arg-type]
    )


def step(name: str) -> int:
    return next(i for i, s in enumerate(PROGRAM.steps) if s.id == name)


def burn(since: float) -> Aside:
    return Aside("burn", Question("any_burning", CAUTION), since)


def prompt(name: str, **changes: object) -> Say:
    return replace(Say(name, (Sentence("Words."),)), **changes)


SHUT = State()
BREACHES: dict[str, Seen] = {
    "armed_while_cream_is_on": seen(COVERING, replace(COVERING, due=None)),
    "own_timer_and_alarm_first": seen(SHUT, replace(SHUT, cream=Cream.BOWL, step=step("mix"))),
    "clock_never_starts_later": seen(
        COVERING, replace(COVERING, ledger=replace(COVERING.ledger, began=T + 60))
    ),
    "a_touch_is_never_forgotten": seen(COVERING, replace(COVERING, ledger=Ledger((), T))),
    "zone_at_hand_counts": seen(COVERING, replace(COVERING, ledger=Ledger((), T))),
    "limit_only_comes_down": seen(
        COVERING, replace(COVERING, limit=replace(COVERING.limit, seconds=PROGRAM.limit.seconds + 1))
    ),
    "deadline_only_comes_nearer": seen(COVERING, COVERING, actions=[Arm((COVERING.due or 0.0) + 1)]),
    "deadline_leaves_time_to_walk": seen(COVERING, replace(COVERING, due=T + COVERING.limit.seconds)),
    "every_stop_phrase_is_live": seen(COVERING, replace(COVERING, stance=Stance.READY)),
    "a_stop_phrase_is_obeyed_at_once": seen(COVERING, COVERING, Heard(T, "it_burns")),
    "stop_phrases_would_be_obeyed": seen(COVERING, replace(COVERING, stance=Stance.READY, t=0.0)),
    "first_aid_is_not_cut_short": seen(
        CALLING, replace(CALLING, stance=Stance.LATHER), water_until=CALLING.t + 60
    ),
    "the_call_repeats": seen(CALLING, replace(CALLING, timers=())),
    "the_call_grows": seen(CALLING, CALLING, actions=[prompt("call", about="call", asks="water")]),
    "only_water_ends_the_call": seen(CALLING, replace(CALLING, stance=Stance.LATHER)),
    "nothing_leads_back_to_cream": seen(CALLING, COVERING, called_by_clock=True),
    "a_call_is_taken_back_by_key_and_word": seen(CALLING, replace(CALLING, call=None)),
    "doubt_changes_nothing": seen(
        COVERING, replace(COVERING, todo=COVERING.todo[1:]), Doubted(T, "done_with", COVERING.todo[0])
    ),
    "cautions_come_first": seen(SHUT, SHUT, actions=[prompt("step:mix")]),
    "what_is_said_can_be_said_again": seen(
        SHUT, SHUT, actions=[prompt("cover.next", sentences=(Sentence("{zone} next."),))]
    ),
    "what_is_asked_is_heard": seen(
        COVERING,
        replace(COVERING, asides=(burn(T),)),
        actions=[CAUTION, Drop(CAUTION.about)],
    ),
    "a_lost_device_is_said": seen(COVERING, COVERING, DeviceLost(T, "microphone")),
    "burning_is_asked_about": seen(
        COVERING, replace(COVERING, timers=tuple(t for t in COVERING.timers if t[1] != "burn check"))
    ),
    "only_silence_brings_the_call_forward": seen(
        replace(COVERING, asides=(burn(T - 50),), sign=T - 10), replace(CALLING, call=Call("nobody", T))
    ),
    "words_of_the_call_do_nothing": seen(CALLING, replace(CALLING, timers=()), Heard(CALLING.t, "rinse_now")),
    "no_alarm_fatigue": seen(
        COVERING, COVERING, actions=[CAUTION], by_itself={(CAUTION.name, CAUTION.slots): T - 20}
    ),
    "there_is_a_way_out": seen(COVERING, replace(COVERING, stance=Stance.FOAM, cream=Cream.RINSED)),
}


@pytest.mark.parametrize("claim", CLAIMS, ids=lambda claim: claim.__name__)
def test_a_planted_breach_is_found(claim: Callable[[Seen], str], monkeypatch: pytest.MonkeyPatch) -> None:
    breach = BREACHES[claim.__name__]
    if claim.__name__ == "there_is_a_way_out":
        monkeypatch.setitem(session.TABLE, Stance.FOAM, {})  # type: ignore[arg-type]
    assert claim(breach)


def test_a_good_run_breaks_no_claim() -> None:
    """Every event of a willing household's way to the end."""
    w, watch, state = Walk(PROGRAM).to_end(), Watch(PROGRAM), State()
    for event in w.events:
        before = state
        state, actions = session.advance(PROGRAM, before, event)
        assert watch.look(before, event, actions, state) == ()
    assert watch.past.rinsed
