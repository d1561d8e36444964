"""Octave levels against scipy's own spectrum and against what can be computed by hand."""

from __future__ import annotations

import itertools
import math

import numpy as np
import pytest
import scipy.signal

from assistant.core.audibility import OCTAVES_HZ, Levels, a_weighted_level_db, levels, octave_edges_hz

RATE = 16_000


def noise(seconds: float, seed: int = 1) -> np.ndarray:
    return (0.1 * np.random.default_rng(seed).standard_normal(round(seconds * RATE))).astype(np.float32)


def test_octaves_meet_and_double() -> None:
    """Base ten (IEC 61260, from memory): each begins where the one below ends, at 10^0.3 times the frequency."""
    edges = [octave_edges_hz(hz) for hz in OCTAVES_HZ]
    assert all(low == pytest.approx(before[1]) for before, (low, _) in itertools.pairwise(edges))
    assert octave_edges_hz(1000) == (pytest.approx(707.9, abs=0.1), pytest.approx(1412.5, abs=0.1))


@pytest.mark.parametrize("hz", OCTAVES_HZ[:-1])
def test_a_tone_is_in_its_octave_alone(hz: int) -> None:
    """A sine of full scale has -3.01 dB there; what the window spills lies 60 dB lower."""
    tone = np.sin(2 * np.pi * hz * np.arange(2 * RATE) / RATE).astype(np.float32)
    found = levels(tone, RATE)
    assert found.at(hz) == pytest.approx(-3.01, abs=0.05)
    assert all(found.at(other) < -60 for other in OCTAVES_HZ if other != hz)


def test_octaves_of_a_noise_are_scipys() -> None:
    """scipy.signal.welch's density, summed over the same bands, to 0.2 dB."""
    coloured = scipy.signal.lfilter([1.0], [1.0, -0.9], noise(10)).astype(np.float32)
    hz, density = scipy.signal.welch(coloured, RATE, nperseg=RATE)
    found = levels(coloured, RATE)
    for name in OCTAVES_HZ:
        low, high = octave_edges_hz(name)
        band = (hz >= low) & (hz < high)
        assert found.at(name) == pytest.approx(
            10 * math.log10(density[band].sum() * (hz[1] - hz[0])), abs=0.2
        )


def test_the_weighted_level_is_that_of_the_whole_spectrum() -> None:
    """The same by frames as by one transform over all of it."""
    sound = noise(3)
    assert levels(sound, RATE).a_db == pytest.approx(a_weighted_level_db(sound, RATE), abs=0.05)


def test_pulses_have_the_level_they_sound_with() -> None:
    """A tone that is on for a quarter of the time, spread over that quarter, has the tone's own level."""
    on = (np.arange(4 * RATE) // (RATE // 8)) % 4 == 0
    tone = np.sin(2 * np.pi * 1000 * np.arange(4 * RATE) / RATE) * on
    assert levels(tone.astype(np.float32), RATE, seconds=1.0).at(1000) == pytest.approx(-3.01, abs=0.1)


def test_one_sound_out_of_a_mixture() -> None:
    """Power is taken out: 20.0 dB and 16.9 dB in 21.7 dB; what lifts nothing is nothing."""
    both, one = Levels((21.7,) * 8, 21.7), Levels((16.9,) * 8, 16.9)
    assert both.without(one).a_db == pytest.approx(19.96, abs=0.01)
    assert one.raised(0.5).without(one).octaves_db == (-math.inf,) * 8


def test_silence_and_nothing() -> None:
    assert levels(np.zeros(RATE, np.float32), RATE).a_db == -math.inf
    assert levels(np.zeros(0, np.float32), RATE).octaves_db == (-math.inf,) * 8
    assert levels(np.zeros(RATE, np.float32), RATE).at_least(-100.0).octaves_db == (-100.0,) * 8
