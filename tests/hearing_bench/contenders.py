"""The recognisers that are compared, each as it would be used: a stream in, decisions out."""

from __future__ import annotations

from collections import deque
from collections.abc import Sequence
from typing import Protocol

import numpy as np
import pocketsphinx

from assistant.core.hearing import LivePhrase, Verdict, decide
from assistant.ears.choose import open_ears
from assistant.ears.listening import Listening
from assistant.ears.sphinx import Sphinx
from assistant.ports import RATE, Samples

Decision = tuple[float, float, Verdict, LivePhrase | None, float]
"""Begin and end on the stream's clock (s), the verdict, the phrase, and how far above its threshold."""


class Contender(Protocol):
    """Takes a stream piece by piece."""

    name: str

    def fresh(self, phrases: Sequence[LivePhrase]) -> None:
        """A new stream begins, with these phrases live."""

    def feed(self, heard: Samples, played: Samples, t_end: float) -> list[Decision]: ...


class Ours:
    """The real ears and the real hearing decision."""

    def __init__(self, ears: Listening | None = None) -> None:
        self._first = ears or open_ears()
        self._ears = self._first
        self.name = self._first.name

    def fresh(self, phrases: Sequence[LivePhrase]) -> None:
        self._ears = self._first.fresh()
        self._ears.allow(phrases)

    def feed(self, heard: Samples, played: Samples, t_end: float) -> list[Decision]:
        return [
            (h.t_begin, h.t_end, decide(h), h.best, h.score - h.accept_at)
            for h in self._ears.feed(heard, played, t_end)
        ]


class Plain:
    """pocketsphinx as it comes: one grammar of the live phrases, its own end-pointing, what it finds is believed.

    Whoever builds on it alone gets this; no echo is taken out.
    """

    name = "pocketsphinx as it comes"

    def __init__(self) -> None:
        self._grammar = Sphinx()
        self._live: Sequence[LivePhrase] = ()

    def fresh(self, phrases: Sequence[LivePhrase]) -> None:
        self._grammar.allow(phrases)
        self._endpointer = pocketsphinx.Endpointer(sample_rate=RATE)
        self._left = np.zeros(0, np.int16)
        self._sound: list[bytes] = []
        self._begin = 0.0
        self._ready: deque[Decision] = deque()

    def feed(self, heard: Samples, played: Samples, t_end: float) -> list[Decision]:
        self._left = np.concatenate([self._left, (np.clip(heard, -1, 1) * 32767).astype(np.int16)])
        size = self._endpointer.frame_bytes // 2
        found: list[Decision] = []
        while len(self._left) >= size:
            frame, self._left = self._left[:size], self._left[size:]
            speech = self._endpointer.process(frame.tobytes())
            if speech is not None:
                self._sound.append(speech)
            if self._sound and not self._endpointer.in_speech:
                pcm = np.frombuffer(b"".join(self._sound), np.int16)
                sound: Samples = (pcm / 32768).astype(np.float32)
                self._sound = []
                phrase = self._grammar.choose(sound)
                verdict = Verdict.SOMEBODY if phrase is None else Verdict.BELIEVE
                begin, end = self._endpointer.speech_start, self._endpointer.speech_end
                found.append((begin, end, verdict, phrase, 0.0))
        return found
