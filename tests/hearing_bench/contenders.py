"""The recognisers that are compared, each as it would be used: a stream in, decisions out."""

from __future__ import annotations

from collections import deque
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Protocol

import numpy as np
import pocketsphinx

from assistant.core.hearing import Hypothesis, LivePhrase, Verdict, decide
from assistant.core.loudness import Loudness
from assistant.ears.choose import open_ears
from assistant.ears.listening import Listening
from assistant.ears.sphinx import Sphinx
from assistant.ports import RATE, Samples


@dataclass(frozen=True, slots=True)
class Decision:
    """Begin and end on the stream's clock (s), the verdict, the phrase, and how far above its threshold.

    `heard` is what was decided on, where the decision is ours.
    """

    begin: float
    end: float
    verdict: Verdict
    phrase: LivePhrase | None
    margin: float
    heard: Hypothesis | None = None


def decided(heard: Hypothesis, softest_db: float = float("-inf")) -> Decision:
    """Our decision on what was heard."""
    verdict = decide(heard, softest_db)
    return Decision(heard.t_begin, heard.t_end, verdict, heard.best, heard.score - heard.accept_at, heard)


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
        self._loudness = Loudness()

    def feed(self, heard: Samples, played: Samples, t_end: float) -> list[Decision]:
        """As the loop does: what is believed shows how loud the people here are."""
        found = []
        for hypothesis in self._ears.feed(heard, played, t_end):
            decision = decided(hypothesis, self._loudness.softest_db)
            if decision.verdict is Verdict.BELIEVE:
                self._loudness = self._loudness.after(hypothesis.level_db)
            found.append(decision)
        return found


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
                found.append(Decision(begin, end, verdict, phrase, 0.0))
        return found
