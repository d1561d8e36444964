"""From a sound that was played to the same sound as it was heard: how late, how loud, how fast.

The sound that was played is divided out of what was heard (a regularised
deconvolution, which is cross-correlation with every frequency given its due), so
speech and tones will do, without a chirp of its own. Called by the sound check.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import scipy.fft
import scipy.linalg
import scipy.ndimage
import scipy.signal
from numpy.typing import NDArray

from assistant.ports import RATE, Samples

CLEAR = 8.0
"""The direct sound stands this many times over the rest, or it was not found."""
DIRECT_SHARE, DIRECT_WITHIN_S = 0.5, 0.02
"""Before the highest peak the first one that is not much lower is the direct sound: an echo may be louder."""
WEAK = 10.0
"""Frequencies of which the played sound has less than so many times its middle one tell less and less. Tried from
0.001 of the loudest to 1 of the middle one, in three rooms: this found the direct sound to a sample wherever any did."""
COPY_S = 0.001
"""No room is over within so short a time."""
LEAST_FACTOR, GREATEST_FACTOR = 0.45, 2.3
STEPS_AN_OCTAVE = 1440


@dataclass(frozen=True, slots=True)
class Arrival:
    """`lag`: samples from the sound's begin in one recording to its begin in the other. `clear`: how far it stands out."""

    lag: int
    clear: float

    @property
    def found(self) -> bool:
        return self.clear >= CLEAR


def arrival(played: Samples, heard: Samples, least_s: float, most_s: float) -> Arrival:
    """Where in `heard` the sound `played` begins, between `least_s` (may be negative) and `most_s` after the begin."""
    if not np.any(played) or not np.any(heard):
        return Arrival(0, 0.0)
    size = scipy.fft.next_fast_len(len(played) + len(heard), real=True)
    source = scipy.fft.rfft(np.asarray(played, np.float64), size)
    power = np.abs(source) ** 2
    response = scipy.fft.irfft(
        scipy.fft.rfft(np.asarray(heard, np.float64), size)
        * np.conj(source)
        / (power + WEAK * np.median(power)),
        size,
    )
    lags = np.arange(round(least_s * RATE), round(most_s * RATE) + 1)
    within = np.abs(response[lags % size])
    highest = int(np.argmax(within))
    before = within[max(0, highest - round(DIRECT_WITHIN_S * RATE)) : highest + 1]
    first = int(np.flatnonzero(before >= DIRECT_SHARE * within[highest])[0])
    at = highest + 1 - len(before) + first
    usual = float(np.sqrt(np.mean(within**2)))
    return Arrival(int(lags[at]), float(within[highest]) / usual if usual else 0.0)


def pitch_factor(played: Samples, heard: Samples, quiet: Samples) -> tuple[float, float]:
    """By what factor everything is heard higher than it was played, and how alike the two then are, 0 to 1.

    1 where the rates agree; 0.919 where 48000 samples a second are taken for 44100. `quiet` is the room
    without the sound. Good to 0.1 %.
    """
    steps = np.arange(-STEPS_AN_OCTAVE * 5, STEPS_AN_OCTAVE * 3) / STEPS_AN_OCTAVE
    grid = 800 * 2.0**steps
    one = _shape(_spectrum(played), grid)
    other = _shape(np.maximum(_spectrum(heard) - 2 * _spectrum(quiet), 0), grid)
    if not one.any() or not other.any():
        return 1.0, 0.0
    alike = scipy.signal.correlate(other, one) / np.sqrt(float(one @ one) * float(other @ other))
    shifts = scipy.signal.correlation_lags(len(other), len(one))
    factors = 2.0 ** (shifts / STEPS_AN_OCTAVE)
    allowed = (factors >= LEAST_FACTOR) & (factors <= GREATEST_FACTOR)
    best = int(np.argmax(np.where(allowed, alike, -1)))
    return float(factors[best]), float(alike[best])


def _spectrum(sound: Samples) -> NDArray[np.float64]:
    _, power = scipy.signal.welch(sound, RATE, nperseg=RATE // 8, noverlap=0, nfft=RATE)
    return np.asarray(power, dtype=np.float64)


def _shape(power: NDArray[np.float64], grid: NDArray[np.float64]) -> NDArray[np.float64]:
    """A spectrum on a scale of pitches, its hills made alike and its mean taken out."""
    hz = np.arange(len(power)) * RATE / 2 / (len(power) - 1)
    shape = np.interp(grid, hz, power, right=0.0) ** 0.25
    shape = shape - scipy.ndimage.uniform_filter1d(shape, STEPS_AN_OCTAVE // 2)
    return np.asarray(np.maximum(shape, 0.0))


def gain_db(before: Samples, after: Samples, within_s: float = 0.1) -> float | None:
    """How much louder a sound is in `after` than in `before`, whatever noise lies over `after`; dB.

    Both begin at about the same place of the sound, to `within_s`. None when the sound is not in `after`.
    """
    reach = round(within_s * RATE)
    energy = float(np.sum(np.square(before, dtype=np.float64)))
    if energy == 0:
        return None
    padded = np.concatenate([np.zeros(reach), np.asarray(after, np.float64), np.zeros(reach)])
    shared = scipy.signal.correlate(padded, np.asarray(before, np.float64), mode="valid", method="fft")
    gain = float(np.max(shared)) / energy
    by_chance = float(np.sqrt(np.mean(np.square(after, dtype=np.float64)) / energy))
    return 20 * float(np.log10(gain)) if gain > max(6 * by_chance, 1e-5) else None


def copied_share(played: Samples, heard: Samples, lag: int) -> float:
    """How much of the energy of `heard` is `played` without any room: through a filter no longer than COPY_S, 0 to 1.

    `lag` is where it begins in `heard`.
    """
    reach = round(COPY_S * RATE / 2)
    begin = max(0, lag)
    after = np.asarray(heard[begin : begin + len(played)], np.float64)
    before = np.asarray(played[: len(after)], np.float64)
    energy = float(after @ after)
    if energy == 0 or not before.any():
        return 0.0
    count = 2 * reach + 1
    own = scipy.signal.correlate(before, before, method="fft")[len(before) - 1 :][:count]
    shared = scipy.signal.correlate(after, before, method="fft")
    middle = len(before) - 1
    wanted = shared[middle - reach : middle + reach + 1]
    own[0] *= 1 + 1e-9
    taps = scipy.linalg.solve_toeplitz(own, wanted)
    return float(taps @ wanted) / energy
