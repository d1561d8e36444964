"""The rules that must hold whatever happens, each broken by the mistake it forbids.

Numbers are those of the design's list of invariants.
"""

from __future__ import annotations

import itertools
from dataclasses import replace

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from assistant.core import interrupting
from assistant.core.actions import Arm, Close, Disarm, Drop, Priority, Say
from assistant.core.checks import plain, spoken_with_live_stop
from assistant.core.events import DeviceLost, Doubted, Heard, Noticed, Pressed, Ticked
from assistant.core.hearing import Risk
from assistant.core.interrupting import Queue
from assistant.core.kit_sheet import LimitMeans
from assistant.core.routine import Cover, Mix, Must, ReadBack
from assistant.core.session import (
    CALL_EVERY_S,
    CALL_LEVELS,
    CREAM_OUT,
    HARM,
    KEY_MEANS_CALL_S,
    STOPS,
    WITHDRAW_WITHIN_S,
    Cream,
    Stance,
    advance,
    live_names,
    view,
)
from tests.programs import ROUTINES, kinds, program, reached
from tests.walker import Walk


def walk(name: str = "whole_head", **kit: object) -> Walk:
    return Walk(program(name, **kit))


# -- 1 ---------------------------------------------------------------------------------


@pytest.mark.parametrize("name", ROUTINES)
def test_1_own_timer_and_alarm_come_before_the_cream(name: str) -> None:
    """A timer of their own is read back and the alarm was heard before mixing."""
    steps = program(name).steps
    mix = next(i for i, s in enumerate(steps) if isinstance(s, Mix))
    assert any(isinstance(s, ReadBack) for s in steps[:mix])
    assert any(isinstance(s, Must) and s.plays_alarm for s in steps[:mix])


def test_1_a_wrong_value_read_back_does_not_go_on() -> None:
    w = walk().to(Stance.READ_BACK)
    step = w.state.step
    w.hear("timer_says", "30")
    assert w.state.step == step
    assert w.said()[-1] == "read_back.wrong"
    w.hear("timer_says", "22")
    assert w.state.step == step + 1


def with_limit(minutes: float) -> Walk:
    """A household whose kit gives so many minutes to its hair."""
    made = program()
    rows = tuple(row.model_copy(update={"greatest_minutes": minutes}) for row in made.kit.chart)
    return walk(chart=rows).to(Stance.READ_BACK)


def test_1_a_limit_above_the_usual_is_read_back_in_words_and_told_from_its_neighbours() -> None:
    w = with_limit(45.0)
    assert "by_key.value" not in w.said()
    heard = {p.text: p.slot for p in w.program.live(live_names(w.program, w.state)) if p.name == "timer_says"}
    assert heard["the timer says forty five minutes"] == "45"
    assert {"44", "46", "15", "5"} <= set(heard.values())
    step = w.state.step
    w.hear("timer_says", "46")
    assert w.state.step == step and w.said()[-1] == "read_back.wrong"
    w.hear("timer_says", "45")
    assert w.state.step == step + 1


@pytest.mark.parametrize("minutes", [4.0, 120.0])
def test_1_a_limit_that_no_ear_knows_names_the_key_at_once(minutes: float) -> None:
    """Said with its value, wanted again after a wrong one, and no words are shown that nobody could hear."""
    w = with_limit(minutes)
    last = w.state.last
    assert last[-1].name == "by_key.value" and f"{minutes:g} minutes" in last[-1].sentences[0].text
    assert view(w.program, w.state).answers == ()
    step = w.state.step
    w.hear("timer_says", "40")
    assert w.state.step == step and w.said()[-2:] == ["read_back.wrong", "by_key.value"]
    w.happen(Pressed(w.t + 5, "yes"))
    assert w.state.step == step + 1 and w.state.limit_read_back == minutes * 60


def test_1_the_guard_is_armed_with_the_first_cream() -> None:
    w = walk().to(Stance.COVERING)
    arms = [(t, a.due) for t, a in w.actions if isinstance(a, Arm)]
    assert arms == [(w.state.ledger.began, w.state.due)]


# -- 2 ---------------------------------------------------------------------------------


def test_2_clock_starts_with_the_instruction_to_begin() -> None:
    w = walk().to(Stance.COVERING)
    assert w.state.ledger.began == w.t
    assert w.state.cream is Cream.HEAD


def test_2_an_early_touch_starts_it_earlier() -> None:
    """Cream reported while the strand still works: the clock runs from there."""
    w = walk().to(Stance.STRAND_ON)
    w.hear("started", "crown")
    assert w.state.ledger.began == w.t
    assert w.state.stance is Stance.COVERING
    assert w.state.due is not None


@pytest.mark.parametrize("how", ["started", "done_with"])
def test_2_a_zone_left_out_and_begun_after_all_is_rinsed_in_time(how: str) -> None:
    """Whether it is reported begun or done: it is in the ledger, in the rinse, and never out of the deadline."""
    w = walk().to(Stance.COVERING)
    w.hear("leave_out", "hairline")
    assert w.state.left_out == ("hairline",)
    at_hand = w.state.ledger.get("crown")
    w.hear(how, "hairline", after=60)
    assert w.state.left_out == ()
    exposure = w.state.ledger.get("hairline")
    assert exposure is not None
    assert at_hand is not None
    if how == "done_with":
        assert exposure.first == at_hand.first  # nobody said when: the earliest it can have been
    else:
        assert w.state.todo[0] == "hairline"
    plan = w.program.rinse_plan(w.state.ledger, w.state.left_out, w.state.limit.seconds)
    assert plan is not None
    assert "hairline" in plan.order


def test_2_started_after_covering_asks_for_no_zone_again() -> None:
    w = walk().to(Stance.COVERING)
    w.hear("leave_out", "hairline")
    w.to(Stance.SMOOTHING)
    w.hear("started", "hairline")
    assert w.state.stance is Stance.SMOOTHING
    assert w.state.todo[-1] == "hairline"
    w.to_end()
    assert w.state.outcome == "finished"
    exposure = w.state.ledger.get("hairline")
    assert exposure is not None
    assert exposure.clear is not None


def test_2_wait_holds_instructions_never_exposure() -> None:
    w = walk().to(Stance.COVERING)
    due, began = w.state.due, w.state.ledger.began
    w.hear("wait")
    w.go(lambda s: s.stance is Stance.RINSE_CALL)
    assert w.state.ledger.began == began
    assert w.state.due == due
    assert w.state.call is not None and due is not None
    assert w.state.call.since <= due


# -- 3 ---------------------------------------------------------------------------------


def test_3_the_strand_can_only_lower_the_limit() -> None:
    w = walk().to(Stance.STRAND_WORKS)
    since = w.t
    w.happen(Heard(since + 15.5 * 60, "strand_straight"))
    assert w.state.limit.seconds == 15 * 60
    assert "strand" in w.state.limit.reason.words
    slow = walk().to(Stance.STRAND_WORKS)
    slow.happen(Ticked(slow.t + 40 * 60))
    assert slow.state.limit == program().limit


@settings(max_examples=40, deadline=None)
@given(st.lists(st.floats(1, 120), max_size=30), st.sampled_from(list(LimitMeans)))
def test_3_a_deadline_only_comes_nearer(gaps: list[float], means: LimitMeans) -> None:
    """Whatever is started, reported or left out, in whatever order, Arm never names a later time."""
    w = walk(limit_means=means).to(Stance.COVERING)
    for i, gap in enumerate(gaps):
        if w.state.stance is not Stance.COVERING:
            break
        zone = w.program.zones[i % len(w.program.zones)]
        name = ("done_with", "started", "leave_out")[i % 3]
        w.happen(Heard(w.t + gap, name, zone))
    dues = [a.due for _, a in w.actions if isinstance(a, Arm)]
    assert dues == sorted(dues, reverse=True)
    assert len(dues) >= 1


# -- 4 ---------------------------------------------------------------------------------


@pytest.mark.parametrize("name", ROUTINES)
def test_4_every_stop_phrase_from_every_state_in_one_event(name: str) -> None:
    """From each reachable state with cream out: bowl or strand: put away or first aid; head: the rinse branch."""
    made, tried = program(name), 0
    for found in reached(name).values():
        state = found.state
        if state.cream not in CREAM_OUT or state.stance is Stance.CLOSED:
            continue
        assert set(STOPS) <= set(live_names(made, state))
        for phrase in STOPS:
            after, _ = advance(made, state, Heard(state.t, phrase))
            tried += 1
            if state.cream is Cream.HEAD:
                assert after.stance in (Stance.RINSE_CALL, Stance.RINSING), (state.stance, phrase)
            elif phrase in HARM:
                assert after.stance is Stance.CARE, (state.stance, phrase)
            else:
                assert after.stance is Stance.AWAY or state.stance is Stance.CARE, (state.stance, phrase)
    assert tried > 100


def test_4_eye_is_flushed_while_the_head_is_rinsed() -> None:
    w = walk().to(Stance.COVERING)
    actions = w.hear("in_my_eye")
    words = " ".join(plain(a) for a in actions if isinstance(a, Say))
    assert words.index("eye under the water") < words.index("water over the whole head")
    assert "call for help" in words


@pytest.mark.parametrize(
    ("phrase", "must_say"),
    [
        (
            "swallowed_some",
            ("rinse the mouth", "do not make them vomit", "poison centre"),
        ),  # P301+P330+P331, CLP Annex IV
        (
            "in_my_eye",
            ("eye under the water", "at least twenty minutes"),
        ),  # above ANSI/ISEA Z358.1's 15 minutes
        (
            "it_burns",
            ("cool", "water", "at least twenty minutes"),
        ),  # cool running water at least 20 minutes, hospital guideline
        ("cannot_breathe", ("fresh air",)),  # P304+P340, CLP Annex IV
    ],
)
def test_4_first_aid_words(phrase: str, must_say: tuple[str, ...]) -> None:
    """Stems of the precautionary statements of Regulation (EC) No 1272/2008, Annex IV, are in what is spoken."""
    for stance in (Stance.LUMPS, Stance.COVERING):
        w = walk().to(stance)
        words = " ".join(plain(a) for a in w.hear(phrase) if isinstance(a, Say))
        for stem in must_say:
            assert stem in words, (stance, phrase, words)
    assert "acid" not in words
    assert "vinegar" not in words  # never neutralise a burn with acid


def test_4_eye_flush_lasts_at_least_15_minutes() -> None:
    """ANSI/ISEA Z358.1: at least 15 minutes; here 20 and until help says stop, though the hair ran clear long before."""
    w = walk().to(Stance.COVERING)
    w.hear("in_my_eye")
    w.hear("water_running", after=10)
    began = w.t
    w.hear("runs_clear", after=200)
    assert w.state.stance is Stance.RINSING
    w.go(lambda s: s.stance is not Stance.RINSING)
    assert w.t - began >= 15 * 60
    assert w.state.cream is Cream.RINSED


@pytest.mark.parametrize("late", ["before water", "under water"])
def test_4_a_later_harm_takes_no_first_aid_away(late: str) -> None:
    """A burn, then something else: the burn's twenty minutes of water still stand."""
    w = walk().to(Stance.COVERING)
    w.hear("it_burns")
    if late == "before water":
        w.hear("swallowed_some")
        w.hear("water_running", after=10)
    else:
        w.hear("water_running", after=10)
        w.hear("swallowed_some")
    w.hear("runs_clear", after=200)
    w.hear("help_says_stop", after=5)
    assert w.state.stance is Stance.RINSING
    assert w.said()[-1] == "care.too_soon"
    w.hear("help_says_stop", after=20 * 60)
    assert w.state.stance is not Stance.RINSING
    assert "after_harm" in w.said()


@pytest.mark.parametrize("later", ["stop_now", "rinse_now", "swallowed_some", "key"])
def test_4_first_aid_before_the_cream_goes_on_is_not_cut_short(later: str) -> None:
    """Cream from the bowl in an eye: nothing said or pressed after it takes the twenty minutes away."""
    w = walk().to(Stance.LUMPS)
    w.hear("in_my_eye")
    told = w.t
    w.happen(Pressed(w.t + 60, "stop")) if later == "key" else w.hear(later, after=60)
    assert w.state.stance is Stance.CARE
    w.hear("help_says_stop", after=60)
    w.hear("next_step", after=60)
    assert w.state.stance is Stance.CARE
    w.happen(Heard(told + 20 * 60 + 1, "help_says_stop"))
    assert w.state.stance is Stance.CLOSED


def test_4_help_ends_an_eye_flush_only_after_its_least_time() -> None:
    """At least 20 minutes and until help says stop, counted from the report of the eye, not from the first water."""
    w = walk().to(Stance.RINSE_CALL)
    w.hear("water_running")
    w.hear("in_my_eye", after=300)
    told = w.t
    w.hear("runs_clear", after=100)
    w.hear("help_says_stop", after=15 * 60)
    assert w.state.stance is Stance.RINSING
    w.happen(Heard(told + 20 * 60 + 1, "help_says_stop"))
    assert w.state.stance is not Stance.RINSING


# -- 5 ---------------------------------------------------------------------------------


def test_5_the_call_repeats_and_grows_until_acknowledged() -> None:
    w = walk().to(Stance.RINSE_CALL)
    w.happen(Ticked(w.t + 300))
    calls = [(t, a) for t, a in w.actions if isinstance(a, Say) and a.name == "call"]
    assert len(calls) > 20
    levels = [a.level for _, a in calls]
    assert levels[:3] == list(CALL_LEVELS)
    assert levels[0] == 1.0, "never quieter than what the sound check promised"
    assert levels == sorted(levels)
    assert all(a.alarm and a.priority is Priority.RINSE_CALL for _, a in calls)


@pytest.mark.parametrize("how", ["voice", "yes", "no", "again", "stop"])
def test_5_voice_and_every_key_acknowledge(how: str) -> None:
    w = walk().to(Stance.RINSE_CALL)
    w.hear("water_running") if how == "voice" else w.happen(Pressed(w.t + KEY_MEANS_CALL_S, how))
    assert w.state.stance is Stance.RINSING


@pytest.mark.parametrize("how", ["yes", "no", "again", "stop"])
def test_5_a_key_pressed_as_the_call_begins_does_not_silence_it(how: str) -> None:
    """A pedal pressed twice: the first asked for the rinse, the second came 0.14 s later, before anybody had heard it."""
    w = walk().to(Stance.RINSE_CALL)
    w.happen(Pressed(w.t + 0.14, how))
    assert w.state.stance is Stance.RINSE_CALL
    before = w.said().count("call")
    w.happen(Ticked(w.t + CALL_EVERY_S))
    assert w.said().count("call") == before + 1
    w.happen(Pressed(w.t + 0.1, how))
    assert w.state.stance is Stance.RINSING


def test_5_reminders_never_give_up_until_clear() -> None:
    w = walk().to(Stance.RINSE_CALL)
    w.hear("water_running")
    w.happen(Ticked(w.t + 3600))
    reminders = [a for _, a in w.actions if isinstance(a, Say) and a.name == "remind"]
    assert len(reminders) >= 3600 // 45 - 1
    assert all(a.level < 1 for a in reminders)
    w.hear("runs_clear")
    assert any(isinstance(a, Disarm) for _, a in w.actions)
    before = len([n for n in w.said() if n == "remind"])
    w.happen(Ticked(w.t + 600))
    assert len([n for n in w.said() if n == "remind"]) == before


def test_5_the_call_comes_before_the_limit_with_the_walk() -> None:
    """Water can have started on every zone within the limit when people go at once."""
    for means in LimitMeans:
        w = walk(limit_means=means).to(Stance.RINSE_CALL)
        water = w.program.household.water
        wet = w.t + water.walk_seconds
        for zone in w.program.zones:
            due = w.state.ledger.due(zone, w.state.limit.seconds, means)
            if w.state.ledger.get(zone) is None or due is None:
                continue
            assert wet <= due
            wet += water.wetting_seconds_a_zone


def test_5_a_second_press_is_not_taken_for_clear_water() -> None:
    w = walk().to(Stance.RINSE_CALL)
    w.happen(Pressed(w.t + KEY_MEANS_CALL_S, "yes"))
    w.happen(Pressed(w.t + 0.3, "yes"))
    assert w.state.stance is Stance.RINSING
    assert w.state.cream is Cream.HEAD


# -- 6 ---------------------------------------------------------------------------------


@pytest.mark.parametrize("name", ROUTINES)
def test_6_after_a_call_by_the_clock_nothing_leads_back_to_cream(name: str) -> None:
    """Explored: from every state that such a call or a rinse stands in, no event reaches a step that puts cream on."""
    made = program(name)
    found = reached(name)
    begins = [k for k, r in found.items() if r.state.call is not None and not r.state.call.by_voice]
    begins += [k for k, r in found.items() if r.state.cream is Cream.RINSED]
    assert begins
    seen, waiting = set(begins), list(begins)
    while waiting:
        for there in found[waiting.pop()].leads_to:
            if there in found and there not in seen:
                seen.add(there)
                waiting.append(there)
    for key in seen:
        state = found[key].state
        assert not isinstance(made.steps[state.step], Cover | Mix) or state.call is not None, state.stance
        assert state.stance is not Stance.COVERING


def test_6_a_call_by_voice_is_taken_back_by_key_and_word_within_15_s() -> None:
    for first in ("word", "key"):
        w = walk().to(Stance.COVERING)
        zone, due = w.state.todo, w.state.due
        w.hear("rinse_now")
        assert w.state.stance is Stance.RINSE_CALL
        for how in (first, "key" if first == "word" else "word"):
            w.hear("false_alarm", after=3) if how == "word" else w.happen(Pressed(w.t + 3, "yes"))
        assert w.state.stance is Stance.COVERING
        assert w.state.todo == zone
        assert w.state.due == due
        assert "taken_back" in w.said()
        w.to(Stance.RINSE_CALL)  # and the clock's own call still comes
        assert w.state.call is not None
        assert w.state.call.cause in ("clock", "planned")


def test_6_neither_word_nor_key_alone_nor_too_late() -> None:
    w = walk().to(Stance.COVERING)
    w.hear("rinse_now")
    w.hear("false_alarm")
    assert w.state.stance is Stance.RINSE_CALL
    w.happen(Pressed(w.t + WITHDRAW_WITHIN_S, "yes"))
    assert w.state.stance is Stance.RINSING
    by_clock = walk().to(Stance.RINSE_CALL)
    by_clock.hear("false_alarm")
    by_clock.happen(Pressed(by_clock.t + 1, "yes"))
    assert by_clock.state.stance is Stance.RINSING


# -- 7 ---------------------------------------------------------------------------------


@pytest.mark.parametrize("name", ROUTINES)
def test_7_a_doubtful_hearing_never_advances(name: str) -> None:
    made = program(name)
    for found in kinds(name):
        state = found.state
        for phrase in live_names(made, state):
            if made.book.heard[phrase].risk is Risk.STOP:
                continue
            slot = made.zones[0] if made.book.heard[phrase].slot() == "zone" else ""
            after, _ = advance(made, replace(state, timers=()), Doubted(state.t, phrase, slot))
            assert (after.stance, after.step, after.item, after.todo) == (
                state.stance,
                state.step,
                state.item,
                state.todo,
            )


def test_7_a_doubt_is_asked_about_and_yes_does_it() -> None:
    w = walk().to(Stance.COVERING)
    zone = w.state.todo[0]
    w.happen(Doubted(w.t + 1, "done_with", zone))
    assert w.said()[-1] == "doubt"
    w.hear("yes")
    assert zone not in w.state.todo
    w.happen(Doubted(w.t + 1, "done_with", w.state.todo[0]))
    todo = w.state.todo
    w.hear("no")
    assert w.state.todo == todo


def test_7_a_zone_done_that_was_never_begun_is_asked_about() -> None:
    """However sure the ears are: "crown" was taken for "front", 14 above the threshold and 8 ahead."""
    w = walk().to(Stance.COVERING)
    crown, other = w.state.todo[:2]
    at_hand = w.state.ledger.get(crown)
    assert at_hand is not None
    w.hear("done_with", other)
    assert w.said()[-1] == "doubt"
    w.hear("no")
    assert w.state.todo[:2] == (crown, other) and w.state.ledger.get(other) is None
    w.hear("done_with", other)
    w.hear("yes")
    assert other not in w.state.todo
    late = w.state.ledger.get(other)
    assert late is not None and late.first == at_hand.first, "nobody said when: the earliest it can have been"
    w.hear("done_with", crown)
    assert w.said()[-1] != "doubt" and crown not in w.state.todo
    third = w.state.todo[1]
    w.hear("started", third)
    w.hear("done_with", third)
    assert third not in w.state.todo, "one that was begun is believed"


def test_7_water_in_doubt_twice_is_offered_by_key_and_silences_no_call() -> None:
    w = walk().to(Stance.RINSE_CALL)
    heard = [
        [a.name for a in w.happen(Doubted(w.t + 3, "water_running")) if isinstance(a, Say)] for _ in "ab"
    ]
    assert heard == [["doubt"], ["doubt", "by_key"]]
    assert w.state.stance is Stance.RINSE_CALL and w.state.call is not None and w.state.call.times == 1
    w.happen(Ticked(w.state.call.since + 12.0))
    assert w.said()[-2] == "call", "it goes on sounding"
    w.happen(Pressed(w.t + 1, "yes"))
    assert w.state.stance is Stance.RINSING


@pytest.mark.parametrize("phrase", ["done_with", "cream_on_skin"])
def test_8_what_is_asked_again_beside_the_step_is_heard_again(phrase: str) -> None:
    """Through the queue the loudspeaker plays from: the drop of the old question leaves the new one in it."""
    w = walk().to(Stance.COVERING)
    queue, event = Queue(), Heard if phrase == "cream_on_skin" else Doubted
    for _ in "ab":
        for action in w.happen(event(w.t + 3, phrase, w.state.todo[0] if event is Doubted else "")):
            if isinstance(action, Say):
                queue = interrupting.say(queue, action).queue
            elif isinstance(action, Drop):
                queue = interrupting.drop(queue, action.about).queue
        assert w.state.asides[-1].question.prompt in (queue.playing, *queue.waiting)


def test_7_somebody_is_there_is_never_an_answer() -> None:
    for stance in (Stance.CONFIRM, Stance.MUST, Stance.COVERING, Stance.RINSE_CALL):
        w = walk().to(stance)
        before = replace(w.state, sign=0.0, t=0.0)
        w.happen(Noticed(w.t, "knock"))
        assert replace(w.state, sign=0.0, t=0.0) == before


# -- 8 ---------------------------------------------------------------------------------


@pytest.mark.parametrize("name", ROUTINES)
def test_8_cautions_come_before_what_they_are_about(name: str) -> None:
    w = walk(name).to_end()
    said = w.said()
    for step in w.program.steps:
        if step.caution and f"step:{step.id}" in said:
            assert said.index(f"step:{step.id}:caution") < said.index(f"step:{step.id}")


def test_8_what_was_said_can_be_said_again() -> None:
    w = walk().to(Stance.MUST)
    last = w.state.last
    actions = w.hear("say_again")
    assert actions == last


# -- 12 --------------------------------------------------------------------------------


@pytest.mark.parametrize("device", ["microphone", "recogniser", "speaker", "voice", "journal"])
def test_12_a_lost_device_is_said_and_the_clock_goes_on(device: str) -> None:
    w = walk().to(Stance.COVERING)
    due = w.state.due
    actions = w.happen(DeviceLost(w.t + 1, device, "unplugged"))
    assert [a.name for a in actions if isinstance(a, Say)] == [f"lost.{device}"]
    w.happen(Ticked(w.t + 3600))
    assert w.state.stance is Stance.RINSE_CALL
    assert w.state.call is not None
    assert due is not None
    assert w.state.call.since <= due
    if device in ("microphone", "recogniser"):
        assert "burn_check.key" in w.said()
        assert "burn_check" not in w.said()  # nobody is asked to say what can not be heard


# -- 13 --------------------------------------------------------------------------------


def burn_check(w: Walk) -> Walk:
    w.seconds["cover"] = 10_000.0
    return w.go(lambda s: any(a.kind == "burn" for a in s.asides))


def test_13_an_unanswered_burn_check_climbs_and_only_silence_rinses() -> None:
    w = burn_check(walk().to(Stance.COVERING))
    for _ in range(8):
        w.happen(Ticked(max(w.t, w.state.timers[0][0])))
    asked = [n for n in w.said() if n.startswith("burn_check")]
    assert asked[:4] == ["burn_check", "burn_check.louder", "burn_check.tone", "burn_check.key"]
    assert w.state.call is not None
    assert w.state.call.cause == "nobody"


def test_13_any_sign_of_somebody_keeps_the_rinse_back() -> None:
    w = burn_check(walk().to(Stance.COVERING))
    w.happen(Noticed(w.t + 5, "speech"))
    for _ in range(6):
        if w.state.stance is not Stance.COVERING or not any(a.kind == "burn" for a in w.state.asides):
            break
        w.happen(Ticked(max(w.t, w.state.timers[0][0])))
    assert w.state.stance is Stance.COVERING


def test_13_a_key_answers_a_burn_check() -> None:
    w = burn_check(walk().to(Stance.COVERING))
    todo = w.state.todo
    w.happen(Pressed(w.t + 1, "yes"))
    assert not any(a.kind == "burn" for a in w.state.asides)
    assert w.state.todo == todo


# -- 14 --------------------------------------------------------------------------------


@pytest.mark.parametrize("name", ROUTINES)
def test_14_no_prompt_contains_a_stop_phrase_that_could_act_on_it(name: str) -> None:
    assert spoken_with_live_stop(program(name), reached(name)) == []


def test_14_the_words_of_the_rinse_call_do_nothing_in_its_own_state() -> None:
    w = walk().to(Stance.RINSE_CALL)
    before = w.state
    assert w.hear("rinse_now") == ()
    assert replace(w.state, t=0.0, sign=0.0) == replace(before, t=0.0, sign=0.0)


@pytest.mark.parametrize("name", ROUTINES)
def test_14_commands_are_taught_by_name_before_mixing_only(name: str) -> None:
    made = program(name)
    mix = next(i for i, s in enumerate(made.steps) if isinstance(s, Mix))
    taught = [made.book.taught(n) for n in made.book.heard if not made.book.heard[n].slot()]
    for step in made.steps[mix:]:
        for text in (*step.caution, *step.say, *step.helper):
            for phrase in taught:
                if len(phrase.split()) > 1:
                    assert phrase not in text.lower(), (step.id, phrase)


# -- 15 --------------------------------------------------------------------------------


def test_15_cautions_of_the_clock_are_at_least_a_minute_apart() -> None:
    w = walk()
    w.seconds["cover"] = 10_000.0
    w.to(Stance.COVERING).to(Stance.RINSE_CALL)
    warned = [
        t
        for t, a in w.actions
        if isinstance(a, Say) and a.name.startswith("warn") and a.priority is Priority.CAUTION
    ]
    assert len(warned) == 3
    assert all(b - a >= 60 for a, b in itertools.pairwise(warned))


@pytest.mark.parametrize("name", ROUTINES)
def test_the_whole_way_ends_well(name: str) -> None:
    """Answering willingly leads to the end: rinsed, every zone clear, one Close."""
    w = walk(name).to_end()
    assert w.state.outcome == "finished"
    assert [a for _, a in w.actions if isinstance(a, Close)] == [Close("finished")]
    assert {z.zone for z in w.state.ledger.zones} == set(w.program.zones)
    assert all(z.clear is not None for z in w.state.ledger.zones)
    assert all(z.wet is not None and z.wet - z.first <= w.state.limit.seconds for z in w.state.ledger.zones)


@pytest.mark.parametrize("name", ROUTINES)
def test_by_keys_alone(name: str) -> None:
    """Any key for yes goes all the way: voice is never the only way."""
    w = walk(name)
    w.go(lambda s: True)
    for _ in range(3000):
        if w.state.stance is Stance.CLOSED:
            break
        if w.question() is not None:
            w.happen(Pressed(w.t + 5, "yes"))
        else:
            w.happen(Ticked(max(w.t, w.state.timers[0][0])))
    assert w.state.outcome == "finished"
