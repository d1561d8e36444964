"""How loud a sound is to a person: the A-weighting, for a frequency and for samples.

Pure: numbers in, decibels out. Levels are relative to what the caller holds 0 dB
to be (full scale for samples). Called by whoever judges whether a prompt or the
alarm can be heard.
"""

from __future__ import annotations

import math
from typing import Any

import numpy as np
from numpy.typing import NDArray

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
