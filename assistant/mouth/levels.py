"""How loud a clip is, where its speech lies, and making all clips alike in both."""

from __future__ import annotations

import math

import numpy as np
from numpy.typing import NDArray

from assistant.ports import RATE, Samples

PROMPT_DB = -20.0
"""Active level of every prompt, dB of full scale."""
PEAK = 0.95
KEEP_S = 0.01
"""Silence left on both sides."""

_FRAME = RATE // 50
_MARGIN_DB = 15.9
"""Speech is active within this margin below its own level (ITU-T P.56, from memory)."""
_SILENT_DB = -40.0
"""What lies this far below the loudest 20 ms, at either end, is no speech."""


def active_db(samples: Samples) -> float:
    """Mean power while somebody speaks, dB of full scale; -inf for silence. Near to ITU-T P.56, method B."""
    power = _powers(samples)
    level = float(power.mean()) if len(power) else 0.0
    if level <= 0:
        return -math.inf
    for _ in range(20):
        active = float(power[power > level / 10 ** (_MARGIN_DB / 10)].mean())
        if math.isclose(active, level):
            break
        level = active
    return 10 * math.log10(level)


def levelled(samples: Samples, level_db: float = PROMPT_DB) -> Samples:
    """The same sound at an active level of `level_db`, or as near below as its peaks allow."""
    peak = float(np.abs(samples).max(initial=0.0))
    if peak == 0:
        return samples
    gain = min(10 ** ((level_db - active_db(samples)) / 20), PEAK / peak)
    return np.asarray(samples * np.float32(gain), dtype=np.float32)


def trimmed(samples: Samples) -> Samples:
    """Without the silence around it; empty when there is nothing else."""
    power = _powers(samples)
    if len(power) == 0 or power.max() <= 0:
        return samples[:0]
    loud = np.flatnonzero(power > power.max() * 10 ** (_SILENT_DB / 10))
    keep = round(KEEP_S * RATE)
    return samples[max(0, int(loud[0]) * _FRAME - keep) : (int(loud[-1]) + 1) * _FRAME + keep]


def _powers(samples: Samples) -> NDArray[np.float64]:
    """Mean power of each whole 20 ms."""
    count = len(samples) // _FRAME
    frames = np.square(samples[: count * _FRAME], dtype=np.float64).reshape(count, _FRAME)
    return np.asarray(frames.mean(axis=1))
