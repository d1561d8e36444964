"""Two knocks on the basin or the table, found by their onsets: "somebody is here", never an answer.

A knock rises within a few milliseconds, is over soon, and is dull: a knuckle
stays on the wood for a millisecond or two, which leaves little above some
kilohertz, where crockery rings. Two or three of them, alike, a short time apart,
with quiet around them, are the sign. While our own voice or the alarm sounds
nothing is taken for a knock. Fed by `app.loop` with the same sound as the
recogniser; figures by `python -m tests.knock_bench`.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from assistant.ports import RATE, Samples

HOP = RATE // 200
"""5 ms from one frame to the next; a frame is two hops long."""
AT_ONCE = 20
"""Frames are looked at so many at a time: nobody waits for this sign."""
KEPT = 440
"""2.2 s of levels: quiet before, three knocks, quiet after."""
SPLIT_HZ = 2500.0
LOWEST_HZ = 150.0
"""Rumble is left out."""

RISE_DB, BEFORE = 8.0, 16
"""A knock stands so far above what was before it, up to 80 ms."""
AROUND = 6
"""No frame within 30 ms is louder than its peak: the room's first reflections may add up to more than the knock."""
OVER_DB, OVER_AFTER = 3.0, 22
"""110 ms after its peak it is so much weaker, and stays so until the next. A tiled room (0.9 s) gives no more."""
QUIET_DB, QUIET_AFTER = 10.0, 50
"""So quiet it is before the first, and from 0.25 s after the last."""
DULL_DB = 6.0
"""So much more below SPLIT_HZ than above."""
FAINTEST_DB = -55.0
"""A peak below this is in another room: a knock on the table of the machine gives far more (our choice)."""
APART = (26, 120)
"""0.13 to 0.6 s from one knock to the next: people knock two to five times a second (common practice, no source)."""
ALIKE_DB = 7.0
SAME_SOUND = 0.75
"""Cosine between their spectra: knocks on one spot excite the same modes."""
ALONE = 100
"""0.5 s of quiet before the first."""
AFTER = 120
"""As long after the last: a longer row is somebody at work."""
FEWEST, MOST = 2, 3
OWN_TAIL = 60
"""For 0.3 s our own voice is still in the room."""

_BINS = np.fft.rfftfreq(2 * HOP, 1 / RATE)
_LOW = (_BINS >= LOWEST_HZ) & (_BINS < SPLIT_HZ)
_HIGH = _BINS >= SPLIT_HZ
_WINDOW = np.hanning(2 * HOP)
_WINDOW = (_WINDOW / np.sqrt(np.sum(_WINDOW**2) * HOP)).astype(
    np.float32
)  # a frame's power is its mean square

Levels = NDArray[np.float64]


class Knocks:
    """Takes the microphone's sound in pieces of any length, gives the times of double knocks."""

    def __init__(self) -> None:
        self._sound = np.zeros(HOP, np.float32)  # what is not yet in a whole frame
        self._own = np.zeros(HOP, bool)
        self._end = 0  # frames taken so far; the last one kept ends there
        self._low = np.full(KEPT, -np.inf)
        self._high = np.full(KEPT, -np.inf)
        self._spectra = np.zeros((KEPT, int(_LOW.sum())))
        self._ours = np.zeros(KEPT, bool)
        self._peaks: list[int] = []  # frames of knocks of the row that is going on

    def feed(self, heard: Samples, played: Samples, t_end: float) -> list[float]:
        """The time of the last knock of every sign that is complete now, on the clock of `t_end`.

        `heard`, `played` as for `ports.Ears.feed`. Raises ValueError where their lengths differ.
        """
        if len(heard) != len(played):
            raise ValueError(f"{len(heard)} samples heard, {len(played)} played in the same time")
        self._sound = np.concatenate([self._sound, np.asarray(heard, np.float32)])
        self._own = np.concatenate([self._own, np.asarray(played) != 0])
        found: list[float] = []
        while len(self._sound) >= (AT_ONCE + 1) * HOP:
            self._take()
            rest = len(self._sound) - HOP  # samples behind the last frame kept
            found += [t_end - (rest + (self._end - peak) * HOP) / RATE for peak in self._signs()]
        return found

    def _take(self) -> None:
        """The next frames' levels, dB of full scale."""
        count = (AT_ONCE + 1) * HOP
        sound = self._sound[:count]
        frames = np.lib.stride_tricks.sliding_window_view(sound, 2 * HOP)[::HOP]
        power = np.abs(np.fft.rfft(frames * _WINDOW, axis=1)) ** 2
        low = 10 * np.log10(power[:, _LOW].sum(axis=1) + 1e-12)
        high = 10 * np.log10(power[:, _HIGH].sum(axis=1) + 1e-12)
        ours = self._own[HOP:count].reshape(AT_ONCE, HOP).any(axis=1)
        self._low = np.concatenate([self._low[AT_ONCE:], low])
        self._high = np.concatenate([self._high[AT_ONCE:], high])
        self._spectra = np.concatenate([self._spectra[AT_ONCE:], np.sqrt(power[:, _LOW])])
        self._ours = np.concatenate([self._ours[AT_ONCE:], ours])
        self._sound, self._own = self._sound[AT_ONCE * HOP :], self._own[AT_ONCE * HOP :]
        self._end += AT_ONCE

    def _signs(self) -> list[int]:
        """Add the knocks that can be told by now to the row; the last knock of each row that is over and is a sign."""
        signs = []
        last = KEPT - OVER_AFTER - AROUND
        for at in range(last - AT_ONCE, last):
            if not self._is_knock(at):
                continue
            peak = self._end - KEPT + at
            if self._peaks and peak - self._peaks[-1] > APART[1]:
                self._peaks = []
            self._peaks.append(peak)
        if self._peaks and self._end - self._peaks[-1] > AFTER + OVER_AFTER:
            if self._is_sign():
                signs.append(self._peaks[-1])
            self._peaks = []
        return signs

    def _is_knock(self, at: int) -> bool:
        low = self._low
        level = low[at]
        return bool(
            level >= FAINTEST_DB
            and level - low[at - BEFORE : at - AROUND].max() >= RISE_DB
            and level >= low[at - AROUND : at + AROUND + 1].max()
            and low[at + OVER_AFTER - AROUND : at + OVER_AFTER].max() <= level - OVER_DB
            and level - self._high[at - 1 : at + 2].max() >= DULL_DB
        )

    def _is_sign(self) -> bool:
        """Two or three alike, a knock's time apart, quiet before, between and after, and none of it ours."""
        if not FEWEST <= len(self._peaks) <= MOST:
            return False
        at = [peak - (self._end - KEPT) for peak in self._peaks]
        first, last = at[0] - ALONE, at[-1] + AFTER
        if first < 0 or self._ours[max(0, first - OWN_TAIL) : last].any():
            return False
        gaps = np.diff(at)
        levels = self._low[at]
        if gaps.min() < APART[0] or gaps.max() > APART[1] or np.ptp(levels) > ALIKE_DB:
            return False
        shapes = self._spectra[at] / np.linalg.norm(self._spectra[at], axis=1, keepdims=True)
        if (shapes @ shapes.T).min() < SAME_SOUND:
            return False
        whole, level = np.maximum(self._low, self._high), levels.min()
        spaces = [(first, at[0] - AROUND, QUIET_DB), (at[-1] + QUIET_AFTER, last, QUIET_DB)]
        spaces += [
            (a + OVER_AFTER, b - AROUND, OVER_DB)
            for a, b in zip(at, [*at[1:], at[-1] + QUIET_AFTER], strict=True)
        ]
        return all(whole[a:b].max(initial=-np.inf) <= level - by for a, b, by in spaces)
