"""How loud the room is now, while people talk in it now and then: the level that is there between their words.

Fed with what the microphone gives; what is heard while something of ours sounds
does not count. Called by a run, to say that it has become louder than at the
sound check and to let prompts follow.
"""

from __future__ import annotations

from collections import deque

import numpy as np

from assistant.core.audibility import a_weighted_level_db
from assistant.ports import RATE, Samples

PIECE_S = 0.25
KEPT_S = 10.0
LEAST_S = 1.5
"""With less than this nothing is said."""
BETWEEN = 20.0
"""Percentile of the pieces that counts as the noise: talk leaves more than a fifth of 10 s free (our choice)."""


class RoomNoise:
    """The A-weighted level of the room, dB of full scale, comparable with a sound check's."""

    def __init__(self) -> None:
        self._left: Samples = np.zeros(0, np.float32)
        self._pieces: deque[float] = deque(maxlen=round(KEPT_S / PIECE_S))

    def feed(self, heard: Samples, sounding: bool) -> None:
        """`sounding`: something of ours plays, or has just ended."""
        if sounding:
            self._left = self._left[:0]
            return
        self._left = np.concatenate([self._left, heard])
        size = round(PIECE_S * RATE)
        while len(self._left) >= size:
            piece, self._left = self._left[:size], self._left[size:]
            self._pieces.append(max(a_weighted_level_db(piece, RATE), -100.0))

    def level_db(self) -> float | None:
        """None until enough was heard."""
        if len(self._pieces) < LEAST_S / PIECE_S:
            return None
        return float(np.percentile(list(self._pieces), BETWEEN))
