"""What the simulated people do about what they hear, and that they go by nothing else."""

from __future__ import annotations

import ast
from pathlib import Path

import pytest
import soundfile

import assistant.room
from assistant.core.asks import ASKS
from assistant.ports import RATE
from assistant.room.people import People, says
from tests.room.stage import Stage, ask, speechlike, voice_folder

EXACT = {
    "spread": 0, "reaction_spread": 0, "reaction_s": 1.0, "confirm_s": 4.0, "tick_s": 2.0, "mixing_s": 30.0,
    "zone_min": {"default": 0.5, "crown": 1.0}, "smoothing_s": {"default": 10.0}, "walk_s": 10.0,
    "wetting_s": {"default": 5.0, "nape": 7.0}, "clearing_s": {"default": 20.0},
}  # fmt: skip


def staged(folder: Path, **home: object) -> Stage:
    return Stage(folder, {"pace": EXACT, **home})


def test_every_question_the_session_can_ask_is_understood():
    assert set(People._plans_for) | {"key"} == set(ASKS)


def test_every_answer_has_somebody_to_give_it():
    asked = {name for answers in ASKS.values() for name in answers}
    assert asked <= says("person", alone=False) | says("helper", alone=False)
    assert asked - {"helper_ready"} <= says("person", alone=True)


def test_people_know_nothing_of_the_session():
    """They hear and see; the room imports neither the session nor the program it runs."""
    for path in Path(assistant.room.__file__).parent.glob("*.py"):
        for node in ast.walk(ast.parse(path.read_text(encoding="utf-8"))):
            names = [node.module] if isinstance(node, ast.ImportFrom) else []
            names += [alias.name for alias in node.names] if isinstance(node, ast.Import) else []
            assert not {"assistant.core.session", "assistant.core.program"} & set(names), path.name


# -- hearing ---------------------------------------------------------------------------


def test_a_step_is_done_and_then_answered(tmp_path):
    """4 s of work and 1 s of reaction after the end of the prompt, to the sample."""
    stage = staged(tmp_path)
    stage.play(ask("step:welcome", "confirm"), 1.5)
    stage.run(9.0)
    (said,) = stage.truth.utterances
    assert (said.who, said.text, said.name) == ("person", "next step", "next_step")
    assert said.begin == pytest.approx(1.5 + 4 + 1 + 0.05, abs=0.02)


def test_a_prompt_that_asks_nothing_is_waited_out(tmp_path):
    stage = staged(tmp_path)
    stage.play(ask("note"))
    stage.run(60.0)
    assert stage.truth.utterances == []
    assert stage.truth.played[0].understood


def test_a_prompt_that_was_cut_short_was_not_heard(tmp_path):
    stage = staged(tmp_path)
    stage.play(ask("step:welcome", "confirm"), cut=True)
    stage.run(20.0)
    assert stage.said() == []


@pytest.mark.parametrize("fault", ["speaker_muted", "speaker_lost"])
def test_a_dead_speaker_is_not_heard(tmp_path, fault):
    stage = staged(tmp_path, faults=[{"at": 0, "what": fault}])
    stage.play(ask("step:welcome", "confirm"))
    stage.run(20.0)
    assert stage.said() == []
    assert stage.truth.played[0].over_noise_db == float("-inf")


@pytest.mark.parametrize(("snr_db", "understood"), [(3, True), (-6, False)])
def test_a_prompt_under_the_noise_is_not_understood(tmp_path, snr_db, understood):
    """At the ears the tool is 3 dB over a talker and the noise snr_db under one."""
    stage = staged(tmp_path, noise={"source": "tap", "snr_db": snr_db})
    stage.play(ask("step:welcome", "confirm"), 3.0)
    stage.run(10.0)
    (played,) = stage.truth.played
    assert played.over_noise_db == pytest.approx(3 + snr_db, abs=1.5)
    assert played.understood is understood
    assert (stage.said() == ["next step"]) is understood


def test_a_prompt_that_is_turned_down_is_heard_less_far(tmp_path):
    stage = staged(tmp_path, noise={"source": "tap", "snr_db": 0})
    stage.play(ask("step:welcome", "confirm", level=0.3))
    assert not stage.truth.played[0].understood


def test_nobody_talks_into_the_tool_unless_it_never_ends(tmp_path):
    stage = staged(tmp_path)
    stage.play(ask("step:welcome", "confirm"), 1.0)
    stage.run(4.5)
    stage.play(ask("note"), 4.0)
    end = stage.t
    stage.run(6.0)
    (said,) = stage.truth.utterances
    assert said.begin == pytest.approx(end + 0.4 + 0.05, abs=0.05)


# -- answers ---------------------------------------------------------------------------


def test_asked_again_is_answered_again(tmp_path):
    stage = staged(tmp_path)
    for _ in range(2):
        stage.play(ask("step:welcome", "confirm"))
        stage.run(8.0)
    assert stage.said() == ["next step", "next step"]


def test_an_answer_that_meets_silence_is_repeated(tmp_path):
    stage = staged(tmp_path)
    stage.play(ask("step:welcome", "confirm"))
    stage.run(60.0)
    assert stage.said() == ["next step"] * 3


def test_a_silent_household_answers_when_asked_again(tmp_path):
    stage = staged(tmp_path, mistakes={"silent": 1})
    stage.play(ask("step:welcome", "confirm"))
    stage.run(20.0)
    assert stage.said() == []
    stage.play(ask("step:welcome", "confirm"))
    stage.run(5.0)
    assert stage.said() == ["next step"]


def test_both_answer_for_themselves(tmp_path):
    stage = staged(tmp_path)
    stage.play(ask("step:gloves", "both"))
    stage.run(14.0)
    assert [(u.who, u.name) for u in stage.truth.utterances] == [
        ("person", "person_ready"), ("helper", "helper_ready"),
    ]  # fmt: skip


def test_only_the_one_who_was_not_heard_answers_again(tmp_path):
    stage = staged(tmp_path)
    stage.play(ask("step:gloves", "both"))
    stage.run(14.0)
    stage.play(ask("both.helper", "both"))
    stage.run(4.0)
    assert stage.said()[2:] == ["helper is ready"]


def test_somebody_alone_answers_alone(tmp_path):
    voice = {"voice": {"folder": voice_folder().name}}
    stage = staged(tmp_path, people={"person": voice, "helper": "nobody"})
    stage.play(ask("step:gloves", "both"))
    stage.run(9.0)
    stage.play(ask("cover.first", "cover", zone="nape"))
    stage.run(34.0)
    assert [(u.who, u.name) for u in stage.truth.utterances] == [
        ("person", "person_ready"),
        ("person", "done_with"),
    ]


def test_a_missing_item_is_fetched_before_it_is_there(tmp_path):
    stage = staged(tmp_path, mistakes={"missing_item": 1})
    stage.play(ask("item", "tick", item="gloves"))
    stage.run(5.0)
    stage.play(ask("missing", "tick", item="gloves"))
    stage.run(25.0)
    assert stage.said() == ["we do not have it", "we have it"]


def test_the_value_of_the_timer_is_read_back(tmp_path):
    stage = staged(tmp_path)
    stage.play(ask("step:timer", "read_back", minutes="16"))
    stage.run(9.0)
    assert stage.said() == ["the timer says sixteen minutes"]


def test_lumps_first_then_smooth(tmp_path):
    stage = staged(tmp_path, mistakes={"lumpy_first": 1})
    for _ in range(2):
        stage.play(ask("mix.lumps", "mixed"))
        stage.run(35.0 if not stage.said() else 5.0)
        stage.play(ask("note"))
    assert [(u.who, u.name) for u in stage.truth.utterances] == [("helper", "lumpy"), ("helper", "smooth")]


def test_the_strand_is_straight_when_it_is(tmp_path):
    stage = staged(tmp_path, hair={"straight_after_min": 2})
    stage.play(ask("step:strand", "confirm"))
    stage.run(8.0)
    for _ in range(3):
        stage.play(ask("strand.check", "strand"), 1.0)
        stage.run(4.0)
        stage.play(ask("strand.more"), 1.0)
        stage.run(54.0)
    names = [u.name for u in stage.truth.utterances if u.name.startswith("strand")]
    assert names == ["strand_not_yet", "strand_not_yet", "strand_straight"]


def test_no_where_the_home_says_no_until_it_was_put_right(tmp_path):
    stage = staged(tmp_path, says_no_to=["alarm"])
    stage.play(ask("step:alarm", "yes_no"))
    stage.run(4.0)
    stage.play(ask("halted", "carry_on"))
    stage.run(25.0)
    stage.play(ask("step:alarm", "yes_no"))
    stage.run(4.0)
    assert [u.name for u in stage.truth.utterances] == ["no", "carry_on", "yes"]


def test_the_truth_about_what_was_said(tmp_path):
    stage = staged(tmp_path)
    stage.play(ask("step:welcome", "confirm"))
    stage.run(7.5)
    stage.play(ask("doubt", "doubt", phrase="next step"))
    stage.run(4.0)
    stage.play(ask("doubt", "doubt", phrase="not yet"))
    stage.run(7.0)
    assert [u.name for u in stage.truth.utterances] == ["next_step", "yes", "no", "next_step"]


def test_wording_is_taught_fixed_or_mixed(tmp_path):
    stage = staged(tmp_path, wording={"fixed": {"done_with": "{zone} is done"}, "other_ways": 1})
    stage.play(ask("step:welcome", "confirm"))
    stage.run(8.0)
    stage.play(ask("cover.first", "cover", zone="back left"))
    stage.run(34.0)
    assert stage.said()[0] in ("next", "go to the next step")
    assert stage.said()[1] == "back left is done"


# -- keys ------------------------------------------------------------------------------


def test_an_offered_key_is_pressed_instead_of_speaking(tmp_path):
    stage = staged(tmp_path)
    stage.play(ask("step:welcome", "confirm"))
    stage.run(8.0)
    stage.play(ask("step:welcome", "confirm"))
    stage.play(ask("by_key", "key"))
    stage.run(8.0)
    assert stage.keys == ["yes"]
    assert stage.said() == ["next step"]
    assert [(k.key, k.who) for k in stage.truth.keys] == [("yes", "person")]


def test_a_key_offered_during_the_work_is_pressed_when_it_is_done(tmp_path):
    stage = staged(tmp_path)
    stage.play(ask("cover.first", "cover", zone="crown"))
    stage.run(10.0)
    stage.play(ask("by_key", "key"))
    stage.run(30.0)
    assert stage.keys == []
    stage.run(25.0)
    assert stage.keys == ["yes"]


def test_the_second_answer_has_the_second_key(tmp_path):
    stage = staged(tmp_path, says_no_to=["scalp"])
    stage.play(ask("step:scalp", "yes_no"))
    stage.run(4.0)
    stage.play(ask("by_key", "key"))
    stage.run(4.0)
    assert stage.keys == ["no"]


def test_a_burn_check_by_key_is_answered_by_key(tmp_path):
    stage = staged(tmp_path)
    stage.play(ask("burn_check.key", "any_burning"))
    stage.run(4.0)
    assert stage.keys == ["yes"]


def test_keys_nobody_asked_for(tmp_path):
    stage = staged(tmp_path, off_script=[{"at": 2, "who": "helper", "press": "stop"}])
    stage.run(3.0)
    assert stage.keys == ["stop"]


# -- hands -----------------------------------------------------------------------------


def test_cream_is_on_from_the_first_touch_to_the_last(tmp_path):
    stage = staged(tmp_path)
    stage.play(ask("cover.first", "cover", zone="crown"), 2.0)
    stage.run(64.0)
    deeds = stage.truth.zones["crown"]
    assert (deeds.first, deeds.last) == (pytest.approx(2.0), pytest.approx(62.0))
    assert stage.said("helper") == ["done with crown"]
    stage.play(ask("cover.next", "cover", zone="crown", next_zone="nape"), 2.0)
    begun = stage.t
    stage.run(33.0)
    assert stage.truth.zones["nape"].first == pytest.approx(begun)
    assert stage.truth.zones["nape"].last == pytest.approx(begun + 30)
    assert stage.said("helper")[-1] == "done with nape"


def test_hands_begin_before_they_are_told(tmp_path):
    stage = staged(tmp_path, pace={**EXACT, "early_start_s": 5.0})
    stage.run(10.0)
    stage.play(ask("cover.first", "cover", zone="crown"), 2.0)
    stage.run(60.0)
    assert stage.truth.zones["crown"].first == pytest.approx(7.0)
    assert stage.truth.zones["crown"].last == pytest.approx(67.0)
    assert stage.truth.cream_on() == pytest.approx(7.0)


def test_a_zone_is_not_begun_while_hands_are_on_another(tmp_path):
    stage = staged(tmp_path, pace={**EXACT, "early_start_s": 30.0})
    stage.run(40.0)
    stage.play(ask("cover.first", "cover", zone="crown"), 2.0)
    stage.run(64.0)
    stage.play(ask("cover.next", "cover", zone="crown", next_zone="nape"), 2.0)
    stage.run(3.0)
    assert stage.truth.zones["nape"].first >= stage.truth.zones["crown"].last


def test_done_is_reported_late(tmp_path):
    stage = staged(tmp_path, pace={**EXACT, "late_report_s": 9.0})
    stage.play(ask("cover.first", "cover", zone="crown"), 2.0)
    stage.run(80.0)
    assert stage.truth.zones["crown"].last == pytest.approx(62.0)
    assert stage.truth.utterances[0].begin == pytest.approx(62 + 9 + 1 + 0.05, abs=0.02)


def test_the_wrong_zone_is_reported(tmp_path):
    stage = staged(tmp_path, mistakes={"wrong_zone": 1})
    stage.play(ask("cover.first", "cover", zone="crown"), 2.0)
    stage.run(64.0)
    assert stage.truth.utterances[0].name == "done_with"
    assert stage.truth.utterances[0].slot in ("back left", "nape")


def test_the_rinse_call_stops_the_work_and_brings_water(tmp_path):
    """Reaction 1 s, walk 10 s, then zone after zone 5 s (nape 7 s), then 20 s each until clear."""
    stage = staged(tmp_path)
    stage.play(ask("cover.first", "cover", zone="nape"), 2.0)
    stage.run(34.0)
    stage.play(ask("cover.next", "cover", zone="nape", next_zone="crown"), 2.0)
    stage.run(10.0)
    stage.play(ask("call", "water", about="call", alarm=True), 2.0)
    heard = stage.t
    stage.run(10.9)
    assert not stage.room._people.tap_on
    stage.run(0.2)
    assert stage.room._people.tap_on
    stage.run(3.0)
    assert stage.said("person") == ["water is running"]
    stage.play(ask("rinsing", "clear", about="rinse"))
    stage.run(54.0)
    nape, crown = stage.truth.zones["nape"], stage.truth.zones["crown"]
    assert crown.last == pytest.approx(heard)
    tap = heard + 11
    assert (nape.wet, crown.wet) == (pytest.approx(tap), pytest.approx(tap + 7))
    assert (nape.clear, crown.clear) == (pytest.approx(tap + 12 + 20), pytest.approx(tap + 12 + 40))
    assert stage.said("person") == ["water is running", "it runs clear"]
    assert not stage.room._people.tap_on
    assert stage.said("helper") == ["done with nape"]


def test_the_zones_that_the_call_names_get_water_first(tmp_path):
    stage = staged(tmp_path)
    for zone in ("nape", "crown"):
        stage.play(ask("cover.first", "cover", zone=zone), 1.0)
        stage.run(5.0)
    stage.play(ask("call", "water", about="call"), 2.0)
    stage.play(ask("call.order", about="call", zone="crown", next_zone="nape"), 2.0)
    stage.run(20.0)
    assert stage.truth.zones["crown"].wet < stage.truth.zones["nape"].wet


def test_a_call_that_sounds_on_is_answered_again_at_the_water(tmp_path):
    stage = staged(tmp_path)
    stage.play(ask("cover.first", "cover", zone="crown"), 1.0)
    for _ in range(4):
        stage.play(ask("call", "water", about="call"), 2.0)
        stage.run(6.0)
    assert stage.said("person").count("water is running") >= 2
    assert len([u for u in stage.truth.zones.values() if u.wet is not None]) == 1


def test_a_call_taken_back_on_the_way_brings_no_water(tmp_path):
    stage = staged(tmp_path)
    stage.play(ask("cover.first", "cover", zone="crown"), 1.0)
    stage.run(5.0)
    stage.play(ask("call", "water", about="call"), 1.0)
    stage.run(3.0)
    stage.play(ask("cover.first", "cover", zone="crown"), 1.0)
    stage.run(30.0)
    assert not stage.room._people.tap_on
    assert stage.truth.zones["crown"].wet is None


def test_a_burn_check_does_not_stop_the_work(tmp_path):
    stage = staged(tmp_path)
    stage.play(ask("cover.first", "cover", zone="crown"), 1.0)
    stage.run(20.0)
    stage.play(ask("burn_check", "any_burning"), 1.0)
    stage.run(4.0)
    stage.play(ask("well"), 1.0)
    stage.run(37.0)
    assert stage.said() == ["all is well", "done with crown"]
    assert stage.truth.zones["crown"].last == pytest.approx(61.0)


# -- off-script ------------------------------------------------------------------------


def test_a_burn_is_said_at_its_moment_into_whatever_is_being_said(tmp_path):
    moment = "10 s after cover:crown"
    stage = staged(tmp_path, off_script=[{"at": moment, "say": "my skin burns"}])
    stage.play(ask("cover.first", "cover", zone="crown"), 1.0)
    stage.run(9.5)
    stage.play(ask("note"), 3.0)
    (said,) = stage.truth.utterances
    assert (said.name, said.begin) == ("it_burns", pytest.approx(11.05, abs=0.02))


def test_a_burn_is_said_until_the_tool_takes_it_in(tmp_path):
    stage = staged(tmp_path, off_script=[{"at": 1, "say": "my skin burns"}])
    stage.run(25.0)
    assert stage.said() == ["my skin burns"] * 3
    stage.play(ask("call.it_burns", "water"), 2.0)
    stage.run(60.0)
    assert stage.said().count("my skin burns") == 3
    stage.play(ask("burn_check", "any_burning"))
    stage.run(4.0)
    assert stage.said()[-1] == "my skin burns"


def test_talk_comes_at_random_times_and_is_no_phrase(tmp_path):
    (tmp_path / "talk").mkdir()
    soundfile.write(tmp_path / "talk" / "weather.wav", speechlike(1, 1.5), RATE)
    (tmp_path / "talk" / "index.csv").write_text("file,voice,text\nweather.wav,any,the weather is nice\n")
    stage = staged(tmp_path, mistakes={"talk_per_min": 6}, off_script=[{"at": 3, "talk": "weather"}])
    stage.run(300.0)
    assert {(u.text, u.name) for u in stage.truth.utterances} == {("the weather is nice", "")}
    assert 15 <= len(stage.truth.utterances) <= 50
    with pytest.raises(ValueError, match="no talk clip 'sports'; there are weather"):
        staged(tmp_path, off_script=[{"at": 3, "talk": "sports"}])
