"""How loud a sound is to a person, whether an alarm stands out of a noise, and how much of speech is left in it.

The A-weighting (IEC 61672-1), octave bands, the criteria for danger signals of
ISO 7731 and the speech intelligibility index of ANSI S3.5 by its octave method.

Pure: numbers in, decibels out. Levels are relative to what the caller holds 0 dB
to be (full scale for samples). Called by whoever judges whether a prompt or the
alarm can be heard.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

OCTAVES_HZ = (63, 125, 250, 500, 1000, 2000, 4000, 8000)
"""Names of the octave bands; their exact middles are 1000 x 10^(3n/10) Hz (base ten, IEC 61260, from memory)."""

SIGNAL_OCTAVES_HZ = (500, 1000, 2000)
"""Where a danger signal has its main components: 500 to 2500 Hz (ISO 7731, as quoted in secondary pages)."""
A_MARGIN_DB = 15.0
"""A danger signal stands out when its A-weighted level is more than this over the noise's (ISO 7731, from memory)."""
OCTAVE_MARGIN_DB = 10.0
"""Or when it is more than this over the masked threshold in an octave (ISO 7731, as quoted in secondary pages)."""
MASKING_SLOPE_DB = 7.5
"""Noise masks the next higher octave by its threshold less this (ISO 7731, from memory)."""

SPEECH_OCTAVES_HZ = (250, 500, 1000, 2000, 4000, 8000)
IMPORTANCE = (0.0617, 0.1671, 0.2373, 0.2648, 0.2142, 0.0549)
"""What each of SPEECH_OCTAVES_HZ adds to being understood (ANSI S3.5-1997, octave method)."""
NORMAL_SPEECH_DB = (34.75, 34.27, 25.01, 17.32, 9.33, 1.13)
"""Spectrum level of speech at normal effort, 1 m away, dB (ANSI S3.5-1997, from memory; its examples hold with it)."""
OWN_NOISE_DB = (-3.90, -9.70, -12.50, -17.70, -25.90, -7.10)
"""Spectrum level of the ear's own noise at the threshold of hearing (as NORMAL_SPEECH_DB)."""

LEAST_RISE_DB = 1.0
"""A sound that lifts a noise by less than this can not be told from the noise's own ups and downs."""
FRAME_S = 0.25

POLES_HZ = (20.598997, 107.65265, 737.86223, 12194.217)
"""f1 to f4 of the closed form (IEC 61672-1, annex E, from memory)."""


def a_weighting_db(hz: float) -> float:
    """The A-weighting at `hz`: 0 at 1 kHz, -inf at 0. Raises ValueError below 0 Hz."""
    if hz < 0:
        raise ValueError(f"a frequency is 0 Hz or more, not {hz:g}")
    if hz == 0:
        return -math.inf
    return 20 * math.log10(float(_response(np.array([hz]))[0]) / _AT_1_KHZ)


def a_weighted_level_db(samples: NDArray[np.float32], rate: int) -> float:
    """Level of the A-weighted sound, dB: the mean square of `samples` (mono, `rate` a second), 0 dB for 1.0.

    A sine of full scale at 1 kHz has -3.01 dB. -inf for silence and for no samples.
    """
    if len(samples) == 0:
        return -math.inf
    power = np.abs(np.fft.rfft(np.asarray(samples, dtype=np.float64))) ** 2
    power[1:] *= 2  # each bin but the first, and the last of an even count, stands for two
    if len(samples) % 2 == 0:
        power[-1] /= 2
    hz = np.fft.rfftfreq(len(samples), 1 / rate)
    weights = (_response(hz) / _AT_1_KHZ) ** 2
    mean_square = float(np.dot(power, weights)) / len(samples) ** 2
    return 10 * math.log10(mean_square) if mean_square > 0 else -math.inf


def _response(hz: NDArray[np.floating[Any]]) -> NDArray[np.float64]:
    """The closed form's amplitude, not yet 1 at 1 kHz."""
    f1, f2, f3, f4 = POLES_HZ
    s = np.square(hz)
    below = (s + f1**2) * np.sqrt((s + f2**2) * (s + f3**2)) * (s + f4**2)
    return np.asarray(f4**2 * s**2 / below, dtype=np.float64)


_AT_1_KHZ = float(_response(np.array([1000.0]))[0])


# -- octave bands --------------------------------------------------------------------------


@dataclass(frozen=True, slots=True)
class Levels:
    """A sound's level in each of OCTAVES_HZ and as a whole, A-weighted; dB, -inf where there is none."""

    octaves_db: tuple[float, ...]
    a_db: float

    def at(self, hz: int) -> float:
        """The level of the octave named `hz`."""
        return self.octaves_db[OCTAVES_HZ.index(hz)]

    def raised(self, db: float) -> Levels:
        """The same sound `db` louder."""
        return Levels(tuple(level + db for level in self.octaves_db), self.a_db + db)

    def at_least(self, floor_db: float) -> Levels:
        """No level under `floor_db`: what lies there was not measured."""
        return Levels(tuple(max(level, floor_db) for level in self.octaves_db), max(self.a_db, floor_db))

    def without(self, noise: Levels) -> Levels:
        """What is left of this mixture when the power of `noise` is taken out; -inf where nothing is."""
        pairs = zip(self.octaves_db, noise.octaves_db, strict=True)
        return Levels(tuple(_less(both, n) for both, n in pairs), _less(self.a_db, noise.a_db))


def octave_edges_hz(hz: int) -> tuple[float, float]:
    """Where the octave named `hz` begins and ends."""
    middle = 1000 * 10 ** (0.3 * round(math.log2(hz / 1000)))
    return middle / 10**0.15, middle * 10**0.15


def levels(samples: NDArray[np.float32], rate: int, seconds: float | None = None) -> Levels:
    """Levels of `samples` (mono, `rate` a second), 0 dB for a mean square of 1.0.

    A steady sound without `seconds`: it goes on before and after. With `seconds`
    it is all there is, edges and gaps included, and its energy is spread over that
    time: so pulses get the level they have while they sound. The highest octave
    holds what lies below half the rate.
    """
    size = round(FRAME_S * rate) // 4 * 4
    hop = size // 4
    sound = np.asarray(samples, dtype=np.float64)
    if seconds is not None or len(sound) < size:
        sound = np.concatenate([np.zeros(size), sound, np.zeros(size + hop)])
    energy, frames = _spectrum(sound, size, hop)
    if seconds is not None:
        energy *= hop / (seconds * rate)
    elif len(samples) < size:
        energy *= hop / max(1, len(samples))
    else:
        energy /= frames
    hz = np.fft.rfftfreq(size, 1 / rate)
    found = [
        _db(float(energy[(hz >= low) & (hz < high)].sum())) for low, high in map(octave_edges_hz, OCTAVES_HZ)
    ]
    return Levels(tuple(found), _db(float(np.dot(energy, (_response(hz) / _AT_1_KHZ) ** 2))))


def _spectrum(sound: NDArray[np.float64], size: int, hop: int) -> tuple[NDArray[np.float64], int]:
    """Mean squares at each frequency, added up over frames of `size` every `hop`; and how many frames there were.

    Under a smooth window, so that a strong hum does not spill into other octaves;
    at four frames a frame length the windows' squares add to a constant.
    """
    frames = np.lib.stride_tricks.sliding_window_view(sound, size)[::hop]
    window = np.sin(np.pi * np.arange(size) / size) ** 2
    energy = np.zeros(size // 2 + 1)
    for begin in range(0, len(frames), 256):  # a minute of sound needs no more memory than sixteen seconds
        energy += (np.abs(np.fft.rfft(frames[begin : begin + 256] * window, axis=1)) ** 2).sum(axis=0)
    energy[1:-1] *= 2
    return energy / (float(np.sum(window**2)) * size), len(frames)


def _db(power: float) -> float:
    return 10 * math.log10(power) if power > 0 else -math.inf


def _less(both_db: float, noise_db: float) -> float:
    if both_db == -math.inf or both_db < noise_db + LEAST_RISE_DB:
        return -math.inf
    return 10 * math.log10(10 ** (both_db / 10) - 10 ** (noise_db / 10))


# -- a danger signal in noise ---------------------------------------------------------------


@dataclass(frozen=True, slots=True)
class Margin:
    """How far an alarm stands out: A-weighted over the noise, and over the masked threshold in its best octave."""

    a_db: float
    octave_db: float
    octave_hz: int

    @property
    def short_db(self) -> float:
        """By how much the alarm must be raised for either criterion; 0 or less: none, it stands out."""
        return min(A_MARGIN_DB - self.a_db, OCTAVE_MARGIN_DB - self.octave_db)

    @property
    def stands_out(self) -> bool:
        return self.short_db < 0


def masked_threshold_db(noise_octaves_db: Sequence[float]) -> tuple[float, ...]:
    """Below which level a sound drowns, octave by octave from the lowest (ISO 7731, from memory)."""
    found: list[float] = []
    for noise in noise_octaves_db:
        found.append(max(noise, found[-1] - MASKING_SLOPE_DB) if found else noise)
    return tuple(found)


def alarm_margin(alarm: Levels, noise: Levels) -> Margin:
    """ISO 7731's two criteria for an alarm by itself (without the noise) in a noise."""
    threshold = Levels(masked_threshold_db(noise.octaves_db), noise.a_db)
    over = {hz: alarm.at(hz) - threshold.at(hz) for hz in SIGNAL_OCTAVES_HZ}
    best = max(over, key=lambda hz: over[hz])
    return Margin(alarm.a_db - noise.a_db, over[best], best)


# -- speech in noise ------------------------------------------------------------------------


def speech_intelligibility(
    speech_db: Sequence[float], noise_db: Sequence[float], threshold_db: Sequence[float] = (0.0,) * 6
) -> float:
    """The index of ANSI S3.5-1997 by its octave method, 0 to 1.

    Six spectrum levels each (dB for 1 Hz, in SPEECH_OCTAVES_HZ); `threshold_db` the
    listener's hearing loss.
    """
    bands = zip(speech_db, noise_db, threshold_db, NORMAL_SPEECH_DB, OWN_NOISE_DB, IMPORTANCE, strict=True)
    total = 0.0
    for speech, noise, loss, normal, own, importance in bands:
        too_loud = min(1.0, 1 - (speech - normal - 10) / 160)
        heard = min(1.0, max(0.0, (speech - max(noise, own + loss) + 15) / 30))
        total += importance * too_loud * heard
    return total


def _width_db(hz: int, highest_hz: float = math.inf) -> float:
    low, high = octave_edges_hz(hz)
    return 10 * math.log10(min(high, highest_hz) - low)


def _sum_db(levels_db: Sequence[float]) -> float:
    power = sum(10 ** (level / 10) for level in levels_db)
    return 10 * math.log10(power) if power > 0 else -math.inf


NORMAL_LEVEL_DB = _sum_db(
    [level + _width_db(hz) for level, hz in zip(NORMAL_SPEECH_DB, SPEECH_OCTAVES_HZ, strict=True)]
)
"""Unweighted level of somebody who talks normally, 1 m away, dB: NORMAL_SPEECH_DB over all its octaves."""


def speech_intelligibility_from_ratios(
    speech: Levels, noise: Levels, rate: int, speech_level_db: float = NORMAL_LEVEL_DB
) -> float:
    """The index when only the ratio of speech to noise is known.

    The method wants absolute levels. So this assumes that the speech reaches the
    ear at `speech_level_db` (unweighted, all octaves; default: as loud as somebody
    who talks normally at 1 m) and puts the noise where the ratio says. In a noise
    that drowns the ear's own the assumption hardly matters; in quiet it does.
    Above half the `rate` the noise is taken to go on as it is below, the speech to end.
    """
    raise_db = speech_level_db - _sum_db([speech.at(hz) for hz in SPEECH_OCTAVES_HZ])
    if not math.isfinite(raise_db):
        return 0.0
    return speech_intelligibility(
        [speech.at(hz) + raise_db - _width_db(hz) for hz in SPEECH_OCTAVES_HZ],
        [noise.at(hz) + raise_db - _width_db(hz, rate / 2) for hz in SPEECH_OCTAVES_HZ],
    )
