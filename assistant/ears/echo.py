"""Our own voice in the microphone: taken out as far as it goes, and the rest told apart.

`Canceller` subtracts what the loudspeaker played (pyaec, the Speex adaptive
filter). `Leak` learns how loud, in each band, what is left of it can be, so that
the endpoint does not take it for a person. `is_ours` tells of an utterance
whether it is what we played after all. Called by `ears.listening`, only while
something plays and shortly after.
"""

from __future__ import annotations

import ctypes
from importlib import import_module
from types import ModuleType

import numpy as np
from numpy.typing import NDArray

from assistant.ears.bands import BANDS, FRAME, QUIETEST_DB, Levels
from assistant.ports import RATE, Samples

FILTER_S = 0.16
"""How long an echo is followed; a bathroom's is mostly over by then, and a longer filter learns more
slowly."""
TAIL_S = 0.4
"""How long after the last sample of our voice it may still be heard."""
FADE_DB = 1.0
"""What is left fades this much a frame (50 dB a second, a reverberation time of 1.2 s: a tiled room, common
practice)."""


START_DB, LEAST_DB = 0.0, -40.0
"""Before anything is learnt, all that is no louder than what was played counts as our own."""
UNLEARNT, REMEMBERED, EVERY = 8, 400, 50
"""Frames: taken as START_DB at first, remembered (8 s of our voice), and between two looks at them."""
HIGHEST = 0.97
"""Of what was left, this share counts as possible. Measured on 48 prompts and 54 phrases over prompts (room
of 0.35 s, echo -6 to -20 dB): 0.97 gave no utterance of our own and 50 phrases right; 0.95 gave 3 and 51;
0.9 gave 25 and 54."""
RISE_DB = 0.5
"""A look (a second of our voice) raises what counts as possible by no more: a word of a person that was taken for ours
would otherwise hide the next ones, too (three in a row, of 54 said over prompts)."""
LOUD_DB = -57.0
"""Played bands under this teach nothing: what is left of them is noise."""
NOISY_DB = 6.0
ADDED, SMOOTHED = 1.25, 0.8
"""Sound that comes out 1 dB louder than it went in was added, not taken out; both powers are smoothed over some 0.1 s.
When a loudspeaker falls silent the filter goes on subtracting what it foresees, and our own "Warning" came out of it
as loud as a person ("it is burning")."""


LIKE_OURS, THAN_BY_CHANCE = 0.17, 2.0
"""A sound this like ours is ours, whatever words are in it, when it is so much more so than by chance. Of 377 stop
phrases that were heard over prompts none was above 0.14 (echo as loud as the person and softer, a tap beside it); of 334
pieces of prompts that nothing took out, in two rooms, with a tap or without, 95 % were 0.2 to 0.6, and so was what was
left of them in a rehearsal. A vowel is somewhat like the tones of the alarm, but at any delay."""
LATEST_S, CHANCE_S = 0.3, (0.4, 0.7)
"""An echo comes no later than this after it was played; at these delays what is alike is so by chance."""
WHITER = 0.95
"""Pre-emphasis, so that a vowel of one voice is not like any other's (common practice)."""


def is_ours(sound: Samples, played: Samples) -> bool:
    """Whether `sound` goes as what was `played` up to LATEST_S before it. `played` ends with `sound`."""
    like = likeness(sound, played)[::-1]  # by delay
    soon = like[: int(LATEST_S * RATE)].max(initial=0.0)
    chance = like[int(CHANCE_S[0] * RATE) : int(CHANCE_S[1] * RATE)].max(initial=0.0)
    return bool(soon >= LIKE_OURS and soon >= THAN_BY_CHANCE * chance)


def likeness(sound: Samples, played: Samples) -> NDArray[np.float64]:
    """How much `sound` goes as each stretch of `played` that is as long, 0 to 1: the normalised correlation.

    By numpy: scipy.signal has one, and takes up to a second more until the ears hear after a start.
    """
    heard, ours = _whiter(sound), _whiter(played)
    shifts = len(ours) - len(heard) + 1
    if len(heard) < FRAME or shifts < 1 or not ours.any():
        return np.zeros(max(1, shifts))
    size = 1 << (len(ours) + len(heard)).bit_length()
    product = np.fft.rfft(ours, size) * np.conj(np.fft.rfft(heard, size))
    along = np.abs(np.fft.irfft(product, size)[:shifts])
    energy = np.concatenate([[0.0], np.cumsum(ours**2)])
    under = energy[len(heard) :][:shifts] - energy[:shifts]
    loud = under > 1e-3 * under.max()  # where next to nothing was played nothing is alike
    like: NDArray[np.float64] = np.where(
        loud, along / np.sqrt(np.where(loud, under, 1.0) * np.dot(heard, heard) + 1e-12), 0.0
    )
    return like


def _whiter(sound: Samples) -> NDArray[np.float64]:
    whole = sound.astype(np.float64)
    whiter: NDArray[np.float64] = whole[1:] - WHITER * whole[:-1]
    return whiter


class Canceller:
    """Echo cancelling in frames of 20 ms. What it learnt stays from prompt to prompt.

    Without pyaec (it has no wheel for some machines) the sound passes as it is
    and `Leak` learns that more is left.
    """

    def __init__(self) -> None:
        self._library = _pyaec()
        if self._library is not None:
            self._aec = self._library.Aec(FRAME, int(FILTER_S * RATE), RATE, False)
        self._out = np.zeros(FRAME, np.int16)
        self._power_in = self._power_out = 0.0

    def clean(self, heard: Samples, played: Samples) -> Samples:
        """One frame of the microphone without what is known of `played`; as it is while that would only add to it."""
        if self._library is None:
            return heard
        mic, speaker = _pcm(heard), _pcm(played)
        self._library.lib.AecCancelEcho(self._aec._aec, _at(mic), _at(speaker), _at(self._out), FRAME)
        clean: Samples = self._out.astype(np.float32) / np.float32(32768)
        self._power_in += (1 - SMOOTHED) * (float(np.dot(heard, heard)) - self._power_in)
        self._power_out += (1 - SMOOTHED) * (float(np.dot(clean, clean)) - self._power_out)
        return heard if self._power_out > ADDED * self._power_in else clean


def _pyaec() -> ModuleType | None:
    try:
        return import_module("pyaec")
    except (ImportError, OSError, AttributeError):  # the last when its library does not load
        return None


class Leak:
    """The most that cancelling leaves of our voice, in each band, below what was played."""

    def __init__(self) -> None:
        self._left = np.full((REMEMBERED, BANDS), np.nan, np.float32)  # a ring
        self._left[:UNLEARNT] = START_DB
        self._gain = np.full(BANDS, START_DB, np.float32)
        self._reach = np.full(BANDS, QUIETEST_DB, np.float32)
        self._count = UNLEARNT

    def most(self, played: Levels) -> Levels:
        """dB in each band that our voice may leave in the frame during which `played` (8 levels) sounds."""
        self._reach = np.maximum(played, self._reach - np.float32(FADE_DB))
        most: Levels = self._reach + self._gain
        return most

    def learn(self, cleaned: Levels, noise: Levels) -> None:
        """What was left in the frame last asked about, when nobody spoke in it."""
        loud = self._reach > LOUD_DB
        if not loud.any():
            return
        left = np.where(cleaned > noise + NOISY_DB, cleaned - self._reach, LEAST_DB)
        self._left[self._count % REMEMBERED] = np.where(loud, np.maximum(left, LEAST_DB), np.nan)
        self._count += 1
        if self._count % EVERY == 0:
            sounded = ~np.isnan(self._left).all(axis=0)  # an alarm has nothing in some bands
            found = np.nanquantile(self._left[:, sounded], HIGHEST, axis=0)
            self._gain[sounded] = np.minimum(found, self._gain[sounded] + RISE_DB)


def _pcm(sound: Samples) -> NDArray[np.int16]:
    return (np.clip(sound, -1.0, 1.0) * 32767).astype(np.int16)


def _at(pcm: NDArray[np.int16]) -> ctypes._Pointer[ctypes.c_int16]:
    return pcm.ctypes.data_as(ctypes.POINTER(ctypes.c_int16))
