"""The sounds that call: the alarm of the rinse call, a warning, a caution, and a tick that says "understood".

Four, because people tell no more than four apart by ear (NUREG-0700). Made by
formula, the same to the sample every time; finished arrays of mono float32 at
RATE, peak 1 or less. Here no words, no repeating and no device. Called by
`mouth.mixer`, by `alarm.calls` for the second process, and by `alarm.find`.

The alarm borrows the shape of a high-priority burst of IEC 60601-1-8 (and claims
nothing): five pulses and five pulses. Its pulses step between two pitches, so
that it is nobody's smoke (T3, ISO 8201) or carbon monoxide alarm (T4), and its
strong harmonics lie between 500 and 2500 Hz (ISO 7731).
"""

from __future__ import annotations

from functools import lru_cache

import numpy as np
from numpy.typing import NDArray

Samples = NDArray[np.float32]

RATE = 16_000

PULSE_S = 0.14
SPACING_S = 0.09
GROUP_GAP_S = 0.45
LOW_HZ, HIGH_HZ = 520.0, 624.0
"""A minor third, so that four harmonics of either lie below 2500 Hz."""
MELODY = "LLHLH HHLHL"
"""The second group mirrors the first, so that half a burst cannot be taken for the other half."""
HARMONICS_DB = (-2.0, 0.0, 0.0, -2.0, -9.0)
"""A small loudspeaker gives little below 700 Hz, so the second and the third are the strongest."""
RAMP_S = 0.012
PEAK = 0.95


def _pulse(hz: float, seconds: float, harmonics_db: tuple[float, ...]) -> NDArray[np.float64]:
    """A steady tone with soft edges. Schroeder's phases keep its peak low, so that it can be loud."""
    t = np.arange(round(seconds * RATE)) / RATE
    count = len(harmonics_db)
    sound = np.zeros(len(t))
    for k, db in enumerate(harmonics_db, 1):
        sound += 10 ** (db / 20) * np.cos(2 * np.pi * k * hz * t - np.pi * k * (k - 1) / count)
    ramp = np.sin(np.linspace(0, np.pi / 2, round(RAMP_S * RATE))) ** 2
    sound[: len(ramp)] *= ramp
    sound[-len(ramp) :] *= ramp[::-1]
    return sound


def _silence(seconds: float) -> NDArray[np.float64]:
    return np.zeros(round(seconds * RATE))


def _finished(parts: list[NDArray[np.float64]], peak: float) -> Samples:
    sound = np.concatenate(parts)
    finished: Samples = (sound * (peak / np.abs(sound).max())).astype(np.float32)
    finished.flags.writeable = False  # shared by all who ask
    return finished


@lru_cache(maxsize=1)
def alarm() -> Samples:
    """One burst of the rinse call's alarm, 2.6 s. Repeated with its words by whoever sounds it."""
    groups: list[list[NDArray[np.float64]]] = []
    for notes in MELODY.split():
        group: list[NDArray[np.float64]] = []
        for note in notes:
            hz = LOW_HZ if note == "L" else HIGH_HZ
            group += [_pulse(hz, PULSE_S, HARMONICS_DB), _silence(SPACING_S)]
        groups.append(group[:-1])
    first, second = groups
    return _finished([*first, _silence(GROUP_GAP_S), *second], PEAK)


@lru_cache(maxsize=1)
def warning() -> Samples:
    """Act now: three short pulses that rise, 0.7 s."""
    pulses: list[NDArray[np.float64]] = []
    for hz in (700.0, 875.0, 1050.0):
        pulses += [_pulse(hz, 0.16, (0.0, -6.0)), _silence(0.10)]
    return _finished(pulses[:-1], 0.6)


@lru_cache(maxsize=1)
def caution() -> Samples:
    """Act soon: two struck notes that fall and fade, 0.7 s."""
    notes = []
    for hz, seconds in ((880.0, 0.28), (660.0, 0.42)):
        note = _pulse(hz, seconds, (0.0, -14.0))
        notes.append(note * np.exp(-np.arange(len(note)) / (0.11 * RATE)))
    return _finished(notes, 0.5)


@lru_cache(maxsize=1)
def tick() -> Samples:
    """Understood: one soft tick, 0.04 s."""
    note = _pulse(1400.0, 0.04, (0.0,))
    return _finished([note * np.exp(-np.arange(len(note)) / (0.008 * RATE))], 0.25)
