"""What the microphone hears: levels, determinism, blocks of any length, devices that fail."""

from __future__ import annotations

import numpy as np
import pytest
import soundfile

from assistant.core.events import DeviceBack, DeviceLost
from assistant.core.hearing import LivePhrase, Risk
from assistant.ports import RATE
from assistant.room.acoustics import TALK_DB, active_level_db, at_level
from assistant.room.home import Home
from assistant.room.room import Room
from assistant.room.voices import MissingSound, synthesise
from tests.room.stage import ZONES, Stage, ask, phrases, speechlike, voice_folder

DEAF = {"floor_db": None}
EXACT = {"spread": 0, "reaction_spread": 0, "reaction_s": 1.0, "confirm_s": 2.0}
SAY_AT_ONE = [{"at": 1, "say": "how much time is left"}]


def power_db(samples: np.ndarray) -> float:
    power = float(np.mean(np.square(samples, dtype=float)))
    return 10 * np.log10(power) if power else -np.inf


def test_a_quiet_room_is_silent_without_a_floor(tmp_path):
    assert not Stage(tmp_path, {"room": DEAF}).run(1.0).any()


def test_the_microphones_own_noise_has_its_level(tmp_path):
    assert power_db(Stage(tmp_path, {"room": {"floor_db": -70}}).run(3.0)) == pytest.approx(-70, abs=0.2)


def test_a_person_has_the_talk_level_at_the_microphone(tmp_path):
    heard = Stage(tmp_path, {"room": DEAF, "off_script": SAY_AT_ONE}).run(4.0)
    assert active_level_db(heard) == pytest.approx(TALK_DB, abs=0.5)


def test_twice_as_far_is_6_db_quieter(tmp_path):
    levels = []
    for metres in (0.8, 1.6):
        person = {"voice": {"folder": voice_folder().name}, "distance_m": metres}
        people = {"person": person, "helper": "nobody"}
        stage = Stage(tmp_path, {"people": people, "room": DEAF, "off_script": SAY_AT_ONE})
        levels.append(active_level_db(stage.run(4.0)))
    assert levels[0] - levels[1] == pytest.approx(20 * np.log10(2), abs=0.5)


@pytest.mark.parametrize("snr_db", [10, 3])
@pytest.mark.parametrize("source", ["tap", "fan.flac"])
def test_the_noise_is_as_far_below_active_speech_as_asked(tmp_path, snr_db, source):
    """Within 1 dB, with the speech of a real synthesiser."""
    soundfile.write(tmp_path / "fan.flac", np.random.default_rng(3).normal(0, 0.2, 44_100), 22_050)
    voice = {"person": {"voice": {"espeak": "en-us"}}, "helper": "nobody"}
    off_script = [{"at": 2, "say": "how much time is left"}]
    noise = {"source": source, "snr_db": snr_db}
    spoken = Stage(tmp_path, {"people": voice, "room": DEAF, "off_script": off_script}).run(5.0)
    noisy = Stage(tmp_path, {"people": voice, "room": DEAF, "noise": noise}).run(5.0)
    measured = active_level_db(spoken) - power_db(noisy[RATE:])
    assert measured == pytest.approx(snr_db, abs=1.0)


@pytest.mark.parametrize("echo_db", [0, 6, -12])
def test_the_echo_is_as_loud_as_asked(tmp_path, echo_db):
    """Within 1 dB, with a prompt of a real synthesiser."""
    prompt = at_level(
        synthesise("espeak", "en-us", "Part off the crown. When it is covered, say so."), TALK_DB
    )
    stage = Stage(tmp_path, {"room": {**DEAF, "echo_db": echo_db}})
    heard = stage.play(ask("hello"), sound=prompt)
    assert active_level_db(heard) == pytest.approx(TALK_DB + echo_db, abs=1.0)


def test_the_level_of_prompts_is_taken_into_account(tmp_path):
    """The mixer may play at any level: echo_db stands against what a prompt has there."""
    stage = Stage(tmp_path, {"room": DEAF})
    louder = Room(
        stage.room._home, zones=ZONES, phrases=phrases(), fixtures=tmp_path, beside=tmp_path, prompt_db=-16.0
    )
    sound = at_level(speechlike(7, 2.0), -16.0)
    assert active_level_db(louder.turn(len(sound) / RATE, sound, [])) == pytest.approx(TALK_DB, abs=1.0)


def a_busy_minute(folder, *, seed=3, block=320) -> tuple[Stage, np.ndarray]:
    home = {
        "seed": seed,
        "noise": {"source": "tap", "when": "tap on"},
        "wording": {"other_ways": 0.5},
        "off_script": [{"at": 4, "who": "helper", "say": "where are we"}],
    }
    stage = Stage(folder, home, block=block)
    heard = [stage.play(ask("one", "confirm"), 1.6), stage.run(19.2), stage.play(ask("call", "water"), 1.6)]
    return stage, np.concatenate([*heard, stage.run(38.4)])


def test_the_same_seed_gives_the_same_samples(tmp_path):
    first, second = a_busy_minute(tmp_path), a_busy_minute(tmp_path)
    assert np.array_equal(first[1], second[1])
    assert first[0].truth.utterances == second[0].truth.utterances
    assert len(first[0].truth.utterances) >= 3


def test_another_seed_gives_others(tmp_path):
    assert not np.array_equal(a_busy_minute(tmp_path)[1], a_busy_minute(tmp_path, seed=4)[1])


@pytest.mark.parametrize("block", [160, 800, 3200])
def test_what_people_do_does_not_depend_on_the_length_of_a_block(tmp_path, block):
    assert (
        a_busy_minute(tmp_path, block=block)[0].truth.utterances
        == a_busy_minute(tmp_path)[0].truth.utterances
    )


def test_the_tap_is_heard_only_while_it_runs(tmp_path):
    stage = Stage(
        tmp_path, {"room": DEAF, "noise": {"source": "tap", "when": "tap on"}, "pace": {"walk_s": 5}}
    )
    assert not stage.run(2.0).any()
    stage.play(ask("call", "water"))
    assert not stage.run(60.0)[-RATE:].any()
    tapped = Stage(tmp_path, {"room": DEAF, "noise": {"source": "tap", "when": [[1, 2]]}}).run(3.0)
    assert not tapped[: RATE - 320].any()
    assert power_db(tapped[RATE + RATE // 4 : 2 * RATE - 320]) == pytest.approx(TALK_DB - 10, abs=2)
    assert not tapped[2 * RATE + RATE // 4 :].any()


def test_a_microphone_that_is_silent_says_nothing_and_hears_nothing(tmp_path):
    stage = Stage(tmp_path, {"faults": [{"at": 1, "what": "microphone_silent", "for_s": 1}]})
    heard = stage.run(3.0)
    assert heard[: RATE - 320].any()
    assert heard[2 * RATE :].any()
    assert not heard[RATE : 2 * RATE - 320].any()
    assert stage.room.devices() == []
    assert [(what, begins) for _, what, begins in stage.truth.faults] == [
        ("microphone_silent", True), ("microphone_silent", False),
    ]  # fmt: skip


def test_a_lost_microphone_is_told_and_comes_back(tmp_path):
    stage = Stage(tmp_path, {"faults": [{"at": "1 s after start", "what": "microphone_lost", "for_s": 1}]})
    stage.run(1.5)
    (lost,) = stage.room.devices()
    assert isinstance(lost, DeviceLost)
    assert lost.device == "microphone"
    assert lost.t == pytest.approx(1.0, abs=0.021)
    stage.run(1.0)
    (back,) = stage.room.devices()
    assert isinstance(back, DeviceBack)


def test_a_muted_speaker_makes_no_echo(tmp_path):
    stage = Stage(tmp_path, {"room": DEAF, "faults": [{"at": 0, "what": "speaker_muted"}]})
    assert not stage.play(ask("hello")).any()


def test_a_zone_that_is_not_of_this_routine_is_refused(tmp_path):
    with pytest.raises(ValueError, match="no zone 'fringe' in this routine; there are crown"):
        Stage(tmp_path, {"off_script": [{"at": "cover:fringe", "say": "wait"}]})


def test_wording_for_an_unknown_phrase_is_refused(tmp_path):
    with pytest.raises(ValueError, match="no phrase 'nextstep'"):
        Stage(tmp_path, {"wording": {"fixed": {"nextstep": "next"}}})


def test_fixed_wording_with_another_placeholder_is_refused(tmp_path):
    with pytest.raises(ValueError, match=r"can hold \{zone\} and no other"):
        Stage(tmp_path, {"wording": {"fixed": {"timer_says": "it says {minutes}"}}})


def test_missing_sounds_are_told_before_the_rehearsal(tmp_path, monkeypatch):
    """Without a synthesiser to stand in, a folder must hold whatever may be said."""
    monkeypatch.setattr("assistant.room.voices.installed", lambda synthesiser: False)
    folder = tmp_path / "voice"
    folder.mkdir()
    soundfile.write(folder / "next_step.wav", speechlike(1, 1.0), RATE)
    home = Home.model_validate({"people": {"person": {"voice": {"folder": "voice"}}, "helper": "nobody"}})
    live = (
        LivePhrase("next step", "next_step", "", Risk.ADVANCE),
        LivePhrase("yes please", "yes", "", Risk.ANSWER),
    )
    with pytest.raises(MissingSound, match=r"1 sounds are not in .*'yes please'"):
        Room(home, zones=ZONES, phrases=live, fixtures=tmp_path, beside=tmp_path)
