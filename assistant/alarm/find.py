"""Finds the rinse call's alarm in a recording, by its sound alone.

A matched filter: the recording is correlated with one burst, both cut down to
the alarm's band, and each value divided by the energy of the piece it was taken
from, so that the level of the recording does not matter. Long recordings go
through in blocks by FFT. It knows nothing of when a call was due. Called by
whoever measures what a rehearsal or a real run really sounded like.
"""

from __future__ import annotations

from collections.abc import Iterator

import numpy as np
import scipy.fft
import scipy.signal
from numpy.typing import NDArray

from assistant.alarm.tone import RATE, alarm

BAND_HZ = (480.0, 2600.0)
"""All strong harmonics. Sound outside cannot drown the alarm here."""
MATCH = 0.26
"""The least likeness that counts (1 = nothing but the alarm).

Measured: 17 minutes of read speech, talk and household noise reach 0.094, the other sounds of `alarm.tone`
0.074, a T3 or T4 pattern at the very pitch 0.17, a steady buzz there 0.25. The alarm in white noise 10 dB
louder has 0.41 to 0.29 in rooms of 0.4 to 0.9 s reverberation.
"""
BLOCK = 1 << 18
APART_S = 4.0
"""Nearer than this a burst shifted by some pulses, or its echo, can look like another; calls are 5 s apart."""


def find_alarms(recording: NDArray[np.float32], rate: int = RATE) -> list[float]:
    """When bursts begin, seconds from the start of `recording` (mono, `rate` a second), in order.

    Good to 10 ms, the common period of its two pitches. A burst that is cut short is found when enough of
    it sounds. Raises ValueError for a rate below 6 kHz, which cannot carry it.
    """
    return [t for t, _ in matches(recording, rate)]


def matches(
    recording: NDArray[np.float32], rate: int = RATE, least: float = MATCH
) -> list[tuple[float, float]]:
    """As `find_alarms`, each with its likeness, 0 to 1: the root of its share of the sound in the band."""
    if rate < 6000:
        raise ValueError(f"a rate of {rate} a second cannot carry the alarm")
    found: list[tuple[float, float]] = []
    for begin, step, likeness in _blocks(recording, rate):
        for at in np.flatnonzero(likeness > least):
            found.append((begin + float(at) * step, float(likeness[at])))
    return _peaks(found)


def _peaks(found: list[tuple[float, float]]) -> list[tuple[float, float]]:
    """The best of each cluster: pulses shifted against each other look alike as well, but less."""
    kept: list[tuple[float, float]] = []
    for t, value in sorted(found, key=lambda pair: -pair[1]):
        if all(abs(t - other) > APART_S for other, _ in kept):
            kept.append((t, value))
    return sorted(kept)


def _blocks(recording: NDArray[np.float32], rate: int) -> Iterator[tuple[float, float, NDArray[np.float32]]]:
    """For overlapping blocks: their begin (s), the step (s), the likeness at each step.

    Of each block's spectrum only the band is kept and turned back into a complex
    signal at the band's own low rate: a sixth of the work, and an envelope without
    ripple.
    """
    template = _at_rate(rate)
    block = BLOCK * max(1, rate // RATE)
    low, high = (round(hz * block / rate) for hz in BAND_HZ)
    size = scipy.fft.next_fast_len(high - low)
    step = block / rate / size
    width = int(np.ceil(len(template) / rate / step))
    wanted = np.conj(scipy.fft.rfft(template, block)[low:high])
    template_energy = float(np.sum(np.abs(wanted) ** 2)) / size
    usable = size - width
    hop = int(usable * step * rate)
    for begin in range(0, max(1, len(recording)), hop):
        piece = recording[begin : begin + block]
        spectrum = scipy.fft.rfft(piece, block)[low:high]
        sound = np.abs(scipy.fft.ifft(spectrum, size)) ** 2
        alike = np.abs(scipy.fft.ifft(spectrum * wanted, size))
        energy = np.concatenate([[0.0], np.cumsum(sound, dtype=np.float64)])
        around = energy[width : width + usable] - energy[:usable]
        # what is far weaker than the rest of its block is rounding, not sound
        around = np.maximum(around, energy[-1] * 1e-9 + 1e-20)
        yield begin / rate, step, (alike[:usable] / np.sqrt(around * template_energy)).astype(np.float32)


def _at_rate(rate: int) -> NDArray[np.float32]:
    """The burst at another rate."""
    burst = alarm()
    if rate == RATE:
        return burst
    return np.asarray(scipy.signal.resample(burst, round(len(burst) * rate / RATE)), dtype=np.float32)
