"""The sound check in a bathroom made of samples, where what is true is known; and once on real audio devices."""

from __future__ import annotations

import json
import os
import subprocess
import sys
from collections.abc import Callable
from datetime import date
from functools import cache
from pathlib import Path

import numpy as np
import pytest
import scipy.signal
import soundfile
import soxr

from assistant.alarm.tone import alarm
from assistant.app.load import load_book
from assistant.app.sound_figures import ALARM_ON_S, Take, Takes, Track, result
from assistant.app.sound_room import DeviceGone
from assistant.app.soundcheck import PHRASES, Pace, Places, check, sentences
from assistant.core.audibility import (
    OCTAVES_HZ,
    SIGNAL_OCTAVES_HZ,
    a_weighted_level_db,
    alarm_margin,
    levels,
    speech_intelligibility_from_ratios,
)
from assistant.core.hearing import Hypothesis, LivePhrase, Risk
from assistant.core.phrases import PhraseBook
from assistant.core.sound_check import SoundCheck
from assistant.ears.choose import open_ears
from assistant.files.places import cache_folder
from assistant.mouth.prompts import Prompts
from assistant.ports import RATE, Ears, Samples
from assistant.room.acoustics import through
from tests.app.bathroom import LATENCY_S, Bathroom
from tests.sound_server import sound_server

TODAY = date(2024, 3, 1)
LEVELS_ONLY = Pace(noise_s=2.0, phrases=False)
ZONES = ("back", "crown")


class Deaf:
    """Ears for checks in which nobody speaks."""

    name = "deaf"

    def allow(self, phrases: object) -> None:
        """Nothing is heard anyway."""

    def feed(self, heard: Samples, played: Samples, t_end: float) -> list[Hypothesis]:
        return []

    def unknown_words(self, words: object) -> tuple[str, ...]:
        return ()


@cache
def book() -> PhraseBook:
    return load_book()


@cache
def voice() -> Prompts:
    made = Prompts(cache_folder() / "prompts")
    made.prepare(sentences(book()))
    return made


@cache
def track() -> Track:
    person, helper = (voice().clip(s) for s in book().sentences("check.sample", {}, with_helper=True))
    return Track(person, helper)


def checked(room: Bathroom, pace: Pace = LEVELS_ONLY, ears: Ears | None = None) -> SoundCheck:
    """The whole walk through a check."""
    return check(room, ears or Deaf(), voice(), book(), ZONES, room, TODAY, pace=pace)


Spoil = Callable[[Samples, bool], Samples]
"""What a bad microphone makes of a sound; with the tap on or off."""


def measured(
    room: Bathroom,
    spoil: Spoil = lambda sound, tap_on: sound,
    *,
    sound: Samples | None = None,
    places: Places | None = None,
) -> SoundCheck:
    """Only the takes of a check: two noises and what is heard of `sound` (the track) in them."""
    arrived = through(track().sound if sound is None else sound, room.impulse)
    late = np.concatenate(
        [np.zeros(round(LATENCY_S * RATE), np.float32), arrived, np.zeros(RATE, np.float32)]
    )
    played = np.concatenate([track().sound, np.zeros(len(late), np.float32)])[: len(late)]
    takes = []
    for tap_on, noise in ((False, room.true_noise(False)), (True, room.true_noise(True))):
        before, meanwhile = noise[: 3 * RATE], noise[3 * RATE : 3 * RATE + len(late)]
        takes += [spoil(before, tap_on), Take(spoil(late + meanwhile, tap_on), played)]
    where = places or Places()
    return result(
        Takes(takes[0], takes[1], takes[2], takes[3]), track(), today=TODAY, device=room.device,
        microphone_m=where.microphone_m, heads_m=where.heads_m,
    )  # fmt: skip


def names(made: SoundCheck) -> set[str]:
    return {finding.name for finding in made.findings}


# -- what is measured against what is true -----------------------------------------------------


@pytest.mark.parametrize(("tap_db", "gain"), [(-45.0, 0.2), (-25.0, 0.2), (-45.0, 0.02), (-30.0, 0.005)])
def test_levels_are_measured_within_1_db(tap_db: float, gain: float) -> None:
    """Loud and quiet taps and loudspeakers, down to an alarm that drowns; the truth is computed without the check."""
    room = Bathroom(tap_db=tap_db, speaker_gain=gain)
    made = checked(room) if gain == 0.2 else measured(room)
    noise = room.true_noise()
    heard_alarm = room.true_alarm()
    as_pulses = 10 * np.log10(len(heard_alarm) / RATE / (10 * 0.14))  # ten pulses of 0.14 s carry all of it
    truth = a_weighted_level_db(heard_alarm, RATE) + as_pulses - a_weighted_level_db(noise, RATE)
    assert made.alarm_over_noise_db == pytest.approx(truth, abs=1.0)
    assert made.noise_on_db == pytest.approx(a_weighted_level_db(noise, RATE), abs=1.0)
    for octave in made.octaves:
        if octave.hz in SIGNAL_OCTAVES_HZ:
            true_alarm = levels(heard_alarm, RATE, ALARM_ON_S).at(octave.hz)
            assert octave.alarm_db == pytest.approx(true_alarm, abs=1.0)
            assert octave.noise_on_db == pytest.approx(levels(noise, RATE).at(octave.hz), abs=1.5)
    by_hand = alarm_margin(levels(heard_alarm, RATE, ALARM_ON_S), levels(noise, RATE))
    assert made.alarm_over_threshold_db == pytest.approx(by_hand.octave_db, abs=1.5)
    assert (made.verdict == "no") == (not by_hand.stands_out)


def test_the_index_is_that_of_the_true_sounds() -> None:
    """The intelligibility of the prompts, computed from them and the noise themselves."""
    room = Bathroom(tap_db=-28.0)
    made = measured(room)
    arrived = through(np.concatenate([track().person, track().helper]), room.impulse)
    truth = speech_intelligibility_from_ratios(levels(arrived, RATE), levels(room.true_noise(), RATE), RATE)
    assert 0.2 < truth < 0.8
    assert made.sii == pytest.approx(truth, abs=0.03)
    assert made.sii_range is not None and made.sii_range[0] <= made.sii <= made.sii_range[1]
    assert made.sii_tap_off is not None and made.sii_tap_off > 0.9


def test_the_delay_is_the_rooms() -> None:
    """The made device's latency and the flight to the microphone (0.8 m of 343 m/s)."""
    made = measured(Bathroom())
    assert made.delay_ms == pytest.approx(1000 * (LATENCY_S + 0.8 / 343), abs=1.0)
    assert made.echo_lag_ms == pytest.approx(made.delay_ms, abs=1.0)


def test_heads_farther_away_hear_less() -> None:
    """Five times as far as the microphone: 14 dB less, as in the open air."""
    near = measured(Bathroom())
    far = measured(Bathroom(), places=Places(0.3, 1.5))
    assert near.alarm_over_noise_db is not None and far.alarm_over_noise_db is not None
    assert near.alarm_over_noise_db - far.alarm_over_noise_db == pytest.approx(13.98, abs=0.1)
    assert far.loss_to_heads_db == pytest.approx(13.98, abs=0.01)


def test_the_mend_is_the_missing_level() -> None:
    """Turned up by what it says, the alarm stands out."""
    quiet = Bathroom(tap_db=-30.0, speaker_gain=0.005)
    made = measured(quiet)
    assert made.verdict == "no"
    assert made.short_db is not None
    words = next(mend for mend in made.mends if mend.startswith("Turn the speaker up"))
    db = int(words.split(" about ")[1].split()[0])
    assert made.short_db < db <= made.short_db + 1
    louder = measured(Bathroom(tap_db=-30.0, speaker_gain=0.005 * 10 ** ((db + 0.5) / 20)))
    assert louder.verdict == "good"


# -- the people ---------------------------------------------------------------------------------


def test_says_three_hears_three() -> None:
    """Real ears, the real decision: heard with the tap off and nearly drowned with it on; then keys, said beforehand."""
    room = Bathroom(tap_db=-24.0)
    made = checked(room, Pace(noise_s=2.0), open_ears(cache=cache_folder()))
    assert (made.phrases_said, made.phrases_heard) == (len(PHRASES), 3)
    assert [p.phrase for p in made.phrases] == [book().taught(name) for name in PHRASES] * 2
    assert made.phrases_heard_tap_on is not None and made.phrases_heard_tap_on < 2
    assert made.verdict == "with keys"
    assert "With the tap on answer by any key or the pedal." in made.mends


def test_every_phrase_that_is_asked_for_is_taught_by_its_prompt() -> None:
    for name in PHRASES:
        assert book().said[f"check.say.{name}"].person == (f"Say: {book().taught(name)}.",)


def test_nobody_answers_and_the_check_ends() -> None:
    """Every wait has an end: no key, no voice, no phrase."""
    room = Bathroom(talk_db=None)
    room.pressed = lambda: False  # type: ignore[method-assign]
    made = checked(room, Pace(noise_s=1.0, answer_s=0.5, ready_s=0.5))
    assert (made.phrases_heard, made.phrases_heard_tap_on) == (0, 0)
    assert {p.verdict for p in made.phrases} == {"nothing"}


class Parrot(Deaf):
    """Ears that take what the tool says for the phrase that was asked for, told 0.4 s after its end as ears do."""

    def __init__(self) -> None:
        self.ended = 0.0

    def feed(self, heard: Samples, played: Samples, t_end: float) -> list[Hypothesis]:
        if played.any():
            self.ended = t_end
        if not self.ended or t_end < self.ended + 0.4:
            return []
        said = [LivePhrase(book().taught(name), name, "", Risk.ANSWER) for name in PHRASES]
        found = [Hypothesis(self.ended - 0.8, self.ended, phrase, 9.0, 1.0) for phrase in said]
        self.ended = 0.0
        return found


def test_its_own_voice_is_no_answer() -> None:
    made = checked(Bathroom(talk_db=None), Pace(noise_s=1.0, answer_s=0.8), Parrot())
    assert (made.phrases_heard, made.phrases_heard_tap_on) == (0, 0)


def test_a_tap_that_was_not_turned_on_proves_nothing() -> None:
    made = checked(Bathroom(tap_works=False))
    assert made.verdict == "no"
    assert names(made) == {"tap"}


# -- bad devices ----------------------------------------------------------------------------------


def muted(sound: Samples, tap_on: bool) -> Samples:
    return np.zeros_like(sound)


def stuck(sound: Samples, tap_on: bool) -> Samples:
    return np.full_like(sound, 0.01)


def freezing(sound: Samples, tap_on: bool) -> Samples:
    return np.concatenate([sound[: 2 * RATE], np.full(max(0, len(sound) - 2 * RATE), sound[2 * RATE])])


def looping(sound: Samples, tap_on: bool) -> Samples:
    block = 0.01 * np.random.default_rng(1).standard_normal(320)
    return np.resize(block, len(sound)).astype(np.float32)


def overdriven(sound: Samples, tap_on: bool) -> Samples:
    return np.clip(sound * 8, -1, 1)


def gated(sound: Samples, tap_on: bool) -> Samples:
    return np.where(np.convolve(np.abs(sound), np.ones(320) / 320, "same") > 0.01, sound, 0).astype(
        np.float32
    )


def humming(sound: Samples, tap_on: bool) -> Samples:
    t = np.arange(len(sound)) / RATE
    hum = 0.01 * np.sin(2 * np.pi * 50 * t) + 0.004 * np.sin(2 * np.pi * 150 * t)
    return np.asarray(sound + hum, np.float32)


def following(sound: Samples, tap_on: bool) -> Samples:
    return sound * np.float32(0.25 if tap_on else 1.0)


def telephone(sound: Samples, tap_on: bool) -> Samples:
    return np.asarray(soxr.resample(soxr.resample(sound, RATE, 8_000), 8_000, RATE), np.float32)


@pytest.mark.parametrize(
    ("spoil", "found", "verdict"),
    [
        (muted, "silent microphone", "no"),
        (stuck, "silent microphone", "no"),
        (freezing, "frozen microphone", "no"),
        (looping, "frozen microphone", "no"),
        (gated, "noise cut out", "no"),
        (overdriven, "clipping", "good"),
        (humming, "hum", "good"),
        (following, "level follows", "good"),
        (telephone, "half the band", "good"),
    ],
)
def test_a_bad_microphone_is_named(spoil: Spoil, found: str, verdict: str) -> None:
    made = measured(Bathroom(tap_db=-50.0), spoil)
    assert names(made) == {found}
    assert made.verdict == verdict
    assert made.mends


def test_a_level_that_follows_is_allowed_for() -> None:
    """Turned down by 12 dB with the tap on, noise and alarm alike: the ratio is that of a fair microphone."""
    fair, made = measured(Bathroom(tap_db=-35.0)), measured(Bathroom(tap_db=-35.0), following)
    assert made.level_change_db == pytest.approx(-12.04, abs=0.3)
    assert made.alarm_over_noise_db == pytest.approx(fair.alarm_over_noise_db, abs=0.3)


def test_a_device_that_goes_away_is_the_result() -> None:
    def gone(block: Samples, room: Bathroom) -> Samples:
        if room._at > 6 * RATE:
            raise DeviceGone("microphone", "nothing came for 2.5 s")
        return block

    made = checked(Bathroom(spoil=gone))
    assert names(made) == {"no microphone"}
    assert made.findings[0].words == "The microphone does not work: nothing came for 2.5 s."
    assert made.device == Bathroom.device


@pytest.mark.parametrize("factor", [44_100 / 48_000, 48_000 / 44_100, 0.5, 0.996])
def test_a_wrong_rate_is_heard_by_its_pitch(factor: float) -> None:
    """Taken at one rate and read at another, everything comes back higher or lower by their ratio."""
    made = measured(Bathroom(), sound=soxr.resample(track().sound, RATE, RATE / factor))
    assert names(made) == {"wrong rate"}
    told = float(made.findings[0].words.split("%")[0].split()[-1])
    assert told == pytest.approx(100 * abs(factor - 1), abs=0.1)
    assert made.verdict == "no"
    assert made.alarm_over_noise_db is None


def test_clocks_as_usual_are_no_finding() -> None:
    """A loudspeaker and a microphone with clocks of their own, 0.02 % apart."""
    assert not names(measured(Bathroom(), sound=soxr.resample(track().sound, 100_000, 100_020)))


def test_the_loudspeakers_own_signal_is_no_room() -> None:
    room = Bathroom()
    room.impulse = np.array([0.0, 0.5], np.float32)
    made = measured(room)
    assert names(made) == {"no room"}
    assert made.verdict == "no"


def test_an_alarm_that_is_not_played_is_not_found() -> None:
    assert names(measured(Bathroom(), sound=np.zeros_like(track().sound))) == {"alarm not heard"}


def test_figures_are_whole() -> None:
    """Eight octaves, no figure that JSON can not hold, and nothing found in a good room."""
    made = measured(Bathroom())
    assert tuple(octave.hz for octave in made.octaves) == OCTAVES_HZ
    assert json.loads(made.model_dump_json(by_alias=True))["schema"] == 1
    assert not made.findings


# -- real devices -----------------------------------------------------------------------------------


def test_on_real_devices_a_known_noise_is_measured(tmp_path: Path) -> None:
    """A virtual loudspeaker whose monitor is the microphone, with a noise of known level in it: within 1 dB."""
    white = np.random.default_rng(8).standard_normal(60 * RATE)
    noise = (0.03 * scipy.signal.lfilter([1.0], [1.0, -0.8], white)).astype(np.float32)
    soundfile.write(tmp_path / "noise.wav", noise, RATE, subtype="FLOAT")
    with sound_server(tmp_path) as environment:
        here = {**environment, "HOME": os.environ["HOME"], "PULSE_SOURCE": "loudspeaker.monitor"}
        tap = subprocess.Popen(
            ["paplay", "--device=loudspeaker", str(tmp_path / "noise.wav")], env=environment
        )
        try:
            done = subprocess.run(
                [sys.executable, "-m", "tests.app.soundcheck_here"],
                env=here, capture_output=True, text=True, timeout=60, cwd=Path(__file__).parents[2],
            )  # fmt: skip
        finally:
            tap.kill()
            tap.wait()
    made = json.loads(done.stdout)
    truth = levels(alarm(), RATE, ALARM_ON_S).a_db - levels(noise, RATE).a_db
    assert made["alarm_over_noise_db"] == pytest.approx(truth, abs=1.0)
    assert 0 < made["delay_ms"] < 400
    assert made["echo_lag_ms"] >= 0  # or the echo canceller would be told of a sound after its echo
