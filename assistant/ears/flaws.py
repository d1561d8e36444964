"""What is wrong with a microphone, seen in what it gave: silence, a frozen value, clipping, hum, half the band.

Samples in, answers out. What a flaw means for a run is decided elsewhere. Called
by the sound check.
"""

from __future__ import annotations

import numpy as np
import scipy.signal

from assistant.ports import RATE, Samples

SILENT_DB = -90.0
"""A converter's own noise is louder than this: what is quieter was switched off, or cut out by software
(16 bits alone give -101 dB, common practice, no source)."""
FROZEN_S = 0.5
"""The same value for so long, or the same block again and again, is no sound."""
BLOCK_S = 0.02
FULL = 0.985
CLIPPED_RUN = 3
"""So many samples in a row at the very top are a clipped peak."""
HUM_OVER_DB = 15.0
"""A mains line stands so far over what lies beside it."""
HUM_LEAST_DB = -65.0
"""Quieter hum disturbs nobody (our choice)."""
NARROW_DB = 35.0
"""A band of which so much less comes back than of the one below was cut off by the link."""


def silent(heard: Samples) -> bool:
    """Nothing at all comes from this microphone."""
    return len(heard) == 0 or level_db(heard) < SILENT_DB


def frozen(heard: Samples) -> bool:
    """It gives a value that stands still, or one block over and over. Digital silence is `silent`, not this."""
    if silent(heard):
        return False
    steady = round(FROZEN_S * RATE)
    changes = np.flatnonzero(np.diff(heard))
    edges = np.concatenate([[-1], changes, [len(heard) - 1]])
    longest = int(np.argmax(np.diff(edges)))
    begin, end = edges[longest] + 1, edges[longest + 1] + 1
    if end - begin >= steady and abs(float(heard[begin])) > 10 ** (SILENT_DB / 20):
        return True
    size = round(BLOCK_S * RATE)
    blocks = heard[: len(heard) // size * size].reshape(-1, size)
    same = np.all(blocks[1:] == blocks[:-1], axis=1) & np.any(blocks[1:] != 0, axis=1)
    return bool(same.sum() * size >= steady)


def clipped(heard: Samples) -> int:
    """How many peaks were cut off: runs of CLIPPED_RUN samples and more near full scale, all alike."""
    top = np.concatenate([[False], np.abs(heard) >= FULL, [False]])
    edges = np.flatnonzero(np.diff(top.astype(np.int8)))
    return int(np.sum(edges[1::2] - edges[::2] >= CLIPPED_RUN))


def hum(heard: Samples) -> tuple[int, float] | None:
    """The mains frequency that hums (50 or 60 Hz) and its level in dB, its first four multiples together; or None.

    Wants 2 s of a quiet room.
    """
    size = 2 * RATE
    if len(heard) < size:
        return None
    hz, power = scipy.signal.welch(heard, RATE, window="blackmanharris", nperseg=size, scaling="spectrum")
    found = {}
    for mains in (50, 60):
        lines = []
        for harmonic in (mains, 2 * mains, 3 * mains, 4 * mains):
            line = float(power[np.abs(hz - harmonic) <= 1].max())
            beside = power[(np.abs(hz - harmonic) >= 4) & (np.abs(hz - harmonic) <= 12)]
            if line > float(np.median(beside)) * 10 ** (HUM_OVER_DB / 10):
                lines.append(line)
        if lines and 10 * np.log10(sum(lines)) > HUM_LEAST_DB:
            found[mains] = float(10 * np.log10(sum(lines)))
    if not found:
        return None
    loudest = max(found, key=lambda mains: found[mains])
    return loudest, found[loudest]


def narrow(heard: Samples, played: Samples) -> bool:
    """What was played above 4 kHz did not come back though what is just below did: a link of telephone quality.

    `heard` holds `played`, in a quiet room, wherever in it.
    """

    def through_db(low: float, high: float) -> float:
        return _band_db(heard, low, high) - _band_db(played, low, high)

    return through_db(4300, 6500) < through_db(1500, 3300) - NARROW_DB


def _band_db(sound: Samples, low: float, high: float) -> float:
    hz, power = scipy.signal.welch(sound, RATE, window="blackmanharris", nperseg=1024)
    return float(10 * np.log10(power[(hz >= low) & (hz < high)].sum() * len(sound) + 1e-20))


def level_db(sound: Samples) -> float:
    """Level of the mean square without what stands still, 0 dB for 1.0."""
    moving = np.asarray(sound, np.float64) - float(np.mean(sound, dtype=np.float64))
    return float(10 * np.log10(np.mean(moving**2) + 1e-20))
