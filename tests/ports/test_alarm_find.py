"""Alarms are found in recordings by their sound, in noise, echo and speech; and nothing else is."""

from __future__ import annotations

import numpy as np
import pyroomacoustics
import pytest
from numpy.typing import NDArray
from scipy.signal import fftconvolve, resample_poly

from assistant.alarm import tone
from assistant.alarm.find import find_alarms, matches

RATE = 16_000
Sound = NDArray[np.float32]
EXACT_S = 0.011
NEAR_S = 0.05


def noise(seconds: float, level: float, seed: int = 1) -> Sound:
    made = np.random.default_rng(seed).standard_normal(round(seconds * RATE), dtype=np.float32)
    return made * np.float32(level)


def with_alarms(sound: Sound, at: list[float], gain: float, alarm: Sound | None = None) -> Sound:
    burst = tone.alarm() if alarm is None else alarm
    mixed = sound.copy()
    for t in at:
        begin = round(t * RATE)
        mixed[begin : begin + len(burst)] += burst[: len(mixed) - begin] * np.float32(gain)
    return mixed


def in_a_room(sound: Sound, reverberation_s: float) -> Sound:
    """As heard 2.5 m away in a small tiled room."""
    size = [2.5, 3.0, 2.4]
    absorption, order = pyroomacoustics.inverse_sabine(reverberation_s, size)
    room = pyroomacoustics.ShoeBox(
        size, fs=RATE, materials=pyroomacoustics.Material(absorption), max_order=min(order, 25)
    )
    room.add_source([0.5, 0.5, 1.0])
    room.add_microphone([2.0, 2.5, 1.5])
    room.compute_rir()
    return fftconvolve(sound, np.asarray(room.rir[0][0])).astype(np.float32)


def voiced(seconds: float, seed: int) -> Sound:
    """Something like a voice: a gliding buzz of harmonics in syllables."""
    rng = np.random.default_rng(seed)
    t = np.arange(round(seconds * RATE)) / RATE

    def wander(every: float, low: float, high: float) -> NDArray[np.float64]:
        turns = np.arange(0, seconds + 1, every)
        return np.interp(t, turns, rng.uniform(low, high, len(turns)))

    phase = 2 * np.pi * np.cumsum(wander(0.3, 120, 240)) / RATE
    syllables = wander(0.11, 0, 1)
    return (sum(np.cos(k * phase) / k for k in range(1, 15)) * syllables * 0.1).astype(np.float32)


@pytest.mark.parametrize("gain", [1.0, 0.1, 0.001])
def test_found_at_any_level(gain: float) -> None:
    """In a quiet recording the level does not matter, down to a 16-bit file's last bits."""
    at = [3.0, 15.123, 27.5]
    recording = with_alarms(np.zeros(35 * RATE, np.float32), at, gain)
    recording = np.rint(recording * 32767).astype(np.int16).astype(np.float32) / 32767
    assert find_alarms(recording) == pytest.approx(at, abs=EXACT_S)


@pytest.mark.parametrize("over_noise_db", [10, 0, -10, -12])
def test_found_in_noise(over_noise_db: float) -> None:
    at = [3.0, 15.123, 27.5]
    level = float(tone.alarm().std()) * 0.05 * 10 ** (-over_noise_db / 20)
    assert find_alarms(with_alarms(noise(35, level), at, 0.05)) == pytest.approx(at, abs=NEAR_S)


@pytest.mark.parametrize("over_noise_db", [60, 0, -6])
@pytest.mark.parametrize("reverberation_s", [0.4, 0.7, 0.9])
def test_found_with_the_echo_of_a_room(reverberation_s: float, over_noise_db: float) -> None:
    """Found once each, in silence too, where its echo stands alone."""
    heard = in_a_room(tone.alarm(), reverberation_s)
    at = [3.0, 15.1]
    level = float(heard[: 3 * RATE].std()) * 10 ** (-over_noise_db / 20)
    assert find_alarms(with_alarms(noise(25, level), at, 1.0, heard)) == pytest.approx(at, abs=0.1)


def test_found_while_somebody_speaks() -> None:
    at = [3.0, 15.1]
    talk = voiced(25, 2)
    gain = float(talk.std() / tone.alarm().std())
    assert find_alarms(with_alarms(talk, at, gain)) == pytest.approx(at, abs=NEAR_S)


def test_only_a_part_is_found() -> None:
    """A call acknowledged in the middle of its tone did sound."""
    part = tone.alarm()[: len(tone.alarm()) // 2]
    recording = with_alarms(noise(20, 0.001), [5.0], 0.1, part)
    assert find_alarms(recording) == pytest.approx([5.0], abs=NEAR_S)


@pytest.mark.parametrize("rate", [8_000, 44_100, 48_000])
def test_found_at_other_rates(rate: int) -> None:
    at = [3.0, 15.125]
    recording = with_alarms(noise(25, 0.01), at, 0.1)
    other = resample_poly(recording, rate, RATE).astype(np.float32)
    assert find_alarms(other, rate) == pytest.approx(at, abs=NEAR_S)


def test_a_rate_that_cannot_carry_it_is_refused() -> None:
    with pytest.raises(ValueError, match="4000"):
        find_alarms(np.zeros(100, np.float32), 4000)


@pytest.mark.parametrize("seconds", [0.0, 0.1, 2.0, 16.384, 17.0])
def test_nothing_in_silence(seconds: float) -> None:
    assert find_alarms(np.zeros(round(seconds * RATE), np.float32)) == []


@pytest.mark.parametrize("begin", [0.0, 13.0, 13.9, 14.5, 16.0, 27.4])
def test_found_wherever_it_lies(begin: float) -> None:
    """At the very start, across the seams of the blocks, at the very end."""
    recording = with_alarms(np.zeros(30 * RATE, np.float32), [begin], 0.1)
    assert find_alarms(recording) == pytest.approx([begin], abs=EXACT_S)


def test_nothing_but_the_alarm_is_found() -> None:
    """Noise, something like speech, and our own other sounds; the margin is kept too."""
    gap = np.zeros(RATE // 2, np.float32)
    ours = np.concatenate([tone.warning(), gap, tone.caution(), gap, tone.tick(), gap] * 6)
    assert matches(np.concatenate([noise(120, 0.1), voiced(60, 3), ours]), least=0.15) == []


def test_a_long_noisy_recording() -> None:
    """75 minutes, the alarm 10 dB under the noise: each found at its time, nothing else."""
    at = [600.0, 612.0, 2_701.25, 4_480.5]
    level = float(tone.alarm().std()) * 0.05 * 10**0.5
    assert find_alarms(with_alarms(noise(75 * 60, level), at, 0.05)) == pytest.approx(at, abs=NEAR_S)
