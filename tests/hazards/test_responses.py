"""What the tool says when a hazard of the table shows, word by word where the words matter.

One test a row. Each fails when the response of its row is taken out
(`python -m tests.hazards`). First aid is held to the stems of Regulation (EC)
No 1272/2008, Annex IV, and to ANSI/ISEA Z358.1.
"""

from __future__ import annotations

from datetime import date

from assistant.core.events import DeviceLost, Doubted, Heard, Pressed, Resumed, Ticked
from assistant.core.household import Household, Person
from assistant.core.kit_sheet import ChartRow
from assistant.core.program import Program
from assistant.core.session import Cream, Stance
from tests.hazards.spoken import at, at_step, prepared, spoken, walk
from tests.walker import Walk

MINUTE = 60.0


def test_over_processing() -> None:
    """The clock calls to the water, whatever is being done."""
    w = at(Stance.COVERING)
    w.seconds["cover"] = 10_000.0
    w.to(Stance.RINSE_CALL)
    assert w.state.call is not None
    assert (w.state.call.cause, w.t) == ("clock", w.state.due)
    assert "rinse now go to the sink" in spoken(w)


def test_too_slow_for_the_limit() -> None:
    """Warned of, with the minutes and the zones that are left."""
    w = at(Stance.COVERING)
    w.seconds["cover"] = 10_000.0
    w.to(Stance.RINSE_CALL)
    assert "caution 5 minutes until the water" in spoken(w)
    assert "to go" in spoken(w)


def test_burn_is_told() -> None:
    """IF ON SKIN (or hair): water; cool running water at least 20 minutes (hospital guideline)."""
    w = at(Stance.COVERING)
    said = spoken(w.hear("it_burns"))
    assert "rinse now with cool water" in said
    assert "at least twenty minutes" in said
    assert "call for help" in said


def test_burn_is_not_told() -> None:
    """Asked about, and asked again until somebody answers."""
    w = at(Stance.COVERING)
    w.seconds["cover"] = 10_000.0
    w.go(lambda state: any(aside.kind == "burn" for aside in state.asides))
    assert "any burning" in spoken([w.actions[-1][1]])


def test_nobody_answers() -> None:
    """Alone in the room: the key is offered, then the call itself."""
    w = at(Stance.COVERING)
    w.happen(Ticked(w.t + 6 * MINUTE))
    said = spoken(w)
    assert "if all is well press any key" in said
    assert "nobody answers rinse now" in said
    assert w.state.stance is Stance.RINSE_CALL


def test_eye_with_cream_on_the_head() -> None:
    """IF IN EYES: rinse for several minutes; at least 15 by ANSI/ISEA Z358.1, here 20."""
    said = spoken(at(Stance.COVERING).hear("in_my_eye"))
    assert "eye under the water lids open" in said
    assert "at least twenty minutes" in said
    assert said.index("eye under the water") < said.index("water over the whole head")


def test_eye_with_cream_in_the_bowl() -> None:
    said = spoken(at(Stance.LUMPS).hear("in_my_eye"))
    assert "eye under the water lids open" in said
    assert "call for help now" in said


def test_swallowed() -> None:
    """IF SWALLOWED: rinse mouth, do NOT induce vomiting; call a poison centre."""
    said = spoken(at(Stance.COVERING).hear("swallowed_some"))
    assert "rinse the mouth do not make them vomit" in said
    assert "call a poison centre now" in said


def test_inhaled() -> None:
    """IF INHALED: fresh air, comfortable for breathing."""
    assert "fresh air sit upright" in spoken(at(Stance.COVERING).hear("cannot_breathe"))


def test_splash_on_the_skin() -> None:
    w = at(Stance.COVERING)
    assert "wipe it with the damp cloth now" in spoken(w.hear("cream_on_skin"))
    assert "wipe it" in spoken(w.happen(Ticked(w.t + 40)))


def test_later_harm_while_the_bowl_is_away() -> None:
    """Skin that burns from the open bowl."""
    said = spoken(at(Stance.LUMPS).hear("it_burns"))
    assert "cool running water on it at least twenty minutes" in said
    assert "take off clothes with cream on them" in said


def test_overlap_on_relaxed_lengths() -> None:
    """New growth only (dermatology, secondary source); the lengths are coated."""
    said = spoken(at(Stance.COVERING))
    assert "never over relaxed hair" in said
    assert "coat the relaxed lengths" in said


def test_wrong_class_or_colour_before() -> None:
    """Hydroxide over another straightener, bleach, metallic dye, henna: not relaxed (secondary source)."""
    w = at_step("history")
    assert "no metallic dye" in spoken(w)
    assert "not with this kit the hair can break" in spoken(w.hear("no"))
    assert w.state.stance is Stance.CLOSED


def test_metallic_salts_on_the_strand() -> None:
    w = at(Stance.STRAND_WORKS)
    assert "not on this head" in spoken(w.hear("strand_bad"))
    w.hear("next_step")
    assert w.state.stance is Stance.CLOSED


def test_metal_in_the_bowl() -> None:
    assert "no metal in the bowl" in spoken(at(Stance.MIXING))


def test_broken_scalp() -> None:
    """Scalp abrasion, irritation: do not proceed (vocational curriculum)."""
    w = at_step("scalp")
    assert "not today broken skin burns deeper" in spoken(w.hear("no"))
    assert w.state.stance is Stance.CLOSED


def test_too_soon_after_the_last() -> None:
    w = at_step("last_relaxer")
    assert "hair relaxed too soon can break" in spoken(w.hear("no"))
    assert w.state.stance is Stance.CLOSED


def test_hair_too_quick_for_the_kit() -> None:
    w = at(Stance.STRAND_WORKS)
    assert "this hair is too quick for this kit" in spoken(w.happen(Heard(w.t + MINUTE, "strand_straight")))
    assert w.state.stance is Stance.AWAY


def test_wrong_neutraliser() -> None:
    assert "neutralising shampoo only no other" in spoken(at(Stance.LATHER))


def test_cream_left_in_the_hair() -> None:
    """An indicator that still shows colour adds a lather (secondary source)."""
    w = at(Stance.FOAM)
    step = w.state.step
    assert "then there is cream left one more lather" in spoken(w.hear("still_colour"))
    assert w.state.step == step


def test_water_not_everywhere() -> None:
    w = at(Stance.RINSE_CALL)
    w.hear("water_running")
    assert "the water can not have reached every zone" in spoken(w.hear("runs_clear"))
    assert w.state.cream is Cream.HEAD


def test_rinse_ends_too_early() -> None:
    w = at(Stance.RINSE_CALL)
    w.hear("water_running")
    assert "keep rinsing" in spoken(w.happen(Ticked(w.t + 50)))


CHILD = Household(
    people=(Person(name="Cy", adult=False, born=date(2012, 3, 1), hair="fine"), Person(name="Bo")),
    person="Cy",
    helper="Bo",
)


def test_a_child() -> None:
    """The leaflet's least age rules."""
    refused = prepared(CHILD, today=date(2026, 1, 1))
    assert isinstance(refused, tuple)
    assert any("not below the age of 18" in reason.words for reason in refused if reason.rule == "age")


def test_a_child_is_asked() -> None:
    """Where the leaflet allows it, nobody answers for the child but the child."""
    made = prepared(CHILD, today=date(2026, 1, 1), least_age=12)
    assert isinstance(made, Program)
    w = Walk(made).to(Stance.COVERING)
    w.seconds["cover"] = 10_000.0
    w.go(lambda state: any(aside.kind == "burn" for aside in state.asides))
    assert "cy any burning" in spoken([w.actions[-1][1]])


def test_alarm_is_not_heard() -> None:
    w = at_step("alarm")
    assert "not with an alarm that is not heard" in spoken(w.hear("no"))
    assert w.state.stance is Stance.HALTED
    assert w.state.cream is Cream.SHUT


def test_loudspeaker_is_gone() -> None:
    w = at(Stance.COVERING)
    said = spoken(w.happen(DeviceLost(w.t + 1, "speaker")))
    assert "watch the screen and your own timer" in said


def test_own_timer_is_set_wrong() -> None:
    w = at(Stance.READ_BACK)
    step = w.state.step
    assert "your timer must show" in spoken(w.hear("timer_says", "40"))
    assert w.state.step == step


def test_misheard_command() -> None:
    w = at(Stance.COVERING)
    zone = w.state.todo[0]
    said = spoken(w.happen(Doubted(w.t + 1, "done_with", zone)))
    assert f"did you say done with {zone}" in said
    assert w.state.todo[0] == zone


def test_false_alarm_by_voice() -> None:
    """Taken back only by word and key together, and said so."""
    w = at(Stance.COVERING)
    w.hear("rinse_now")
    w.hear("false_alarm", after=3)
    said = spoken(w.happen(Pressed(w.t + 2, "yes")))
    assert "the rinse is taken back the clock still runs" in said


def test_not_heard_at_all() -> None:
    w = at(Stance.COVERING)
    said = spoken(w.happen(DeviceLost(w.t + 1, "microphone")))
    assert "i can not hear you the clock runs on" in said
    assert "answer by any key or the pedal" in said


def test_power_cut_or_crash() -> None:
    """10: on the way again, first how long cream has been on and what to do."""
    w = at(Stance.COVERING)
    said = spoken(w.happen(Resumed(w.t + 5 * MINUTE)))
    assert said.startswith("warning cream has been on for")
    assert "go to the sink if you are not sure" in said


def test_second_clock_stops() -> None:
    w = at(Stance.COVERING)
    assert "my second clock has stopped" in spoken(w.happen(DeviceLost(w.t + 1, "guard")))


def test_disk_is_full() -> None:
    w = at(Stance.COVERING)
    said = spoken(w.happen(DeviceLost(w.t + 1, "journal")))
    assert "i can not write this down the clock runs on" in said


def test_battery_runs_out() -> None:
    assert "plug this machine into the mains" in spoken(at_step("power"))


def test_contact_lenses_and_jewellery() -> None:
    said = spoken(at_step("metal_off"))
    assert "contact lenses out" in said
    assert "all metal off" in said


def test_tap_fails() -> None:
    assert "a bottle of water as a backup" in spoken(at(Stance.BOTH))


def test_torn_glove() -> None:
    assert "gloves for both and a spare pair" in spoken(at(Stance.BOTH))


def test_bare_hands() -> None:
    said = spoken(at_step("gloves"))
    assert "from now on the cream is open" in said
    assert "gloves on both of you" in said


def test_hot_water() -> None:
    w = at(Stance.RINSE_CALL)
    assert "warm water not hot" in spoken(w.hear("water_running"))


def test_stopped_with_an_open_bowl() -> None:
    said = spoken(at(Stance.LUMPS).hear("stop_now"))
    assert "lid on the bowl and away with it" in said
    assert "nothing goes on the head" in said


def test_begun_before_told() -> None:
    w = at(Stance.STRAND_ON)
    said = spoken(w.hear("started", w.program.zones[0]))
    assert "has cream the clock runs from now" in said
    assert w.state.ledger.began == w.t


def test_scrubbed_or_pressed_afterwards() -> None:
    said = spoken(walk().to_end())
    assert "no hot pressing no scratching" in said
    assert "see a doctor" in said


def test_limit_shorter_than_the_work() -> None:
    """A kit whose time leaves nothing to work in is not begun."""
    refused = prepared(chart=(ChartRow(hair="coarse", greatest_minutes=3),))
    assert isinstance(refused, tuple)
    assert "too short" in {reason.rule for reason in refused}
