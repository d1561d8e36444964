"""A room for a consultation by voice: whoever is asked answers from a list, by mouth or by keyboard.

Meets `app.sound_room.Room` and `app.interview_by_voice.Keyboard`; with `FakeEars`
nothing sounds and what is said is heard as it is, with real ears it is heard.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Sequence

import numpy as np

from assistant.app.interview_by_voice import Stopped
from assistant.core.actions import Sentence
from assistant.core.answers import Question
from assistant.core.hearing import Hypothesis, LivePhrase
from assistant.core.sound_check import Device
from assistant.ports import RATE, Samples

BLOCK = RATE // 20
ANSWERS_AFTER_S = 0.6


class AnsweringRoom:
    """After each prompt the next of `answers` comes: "> ..." is typed, "..." is silence, all else is said."""

    device = Device(microphone="a made microphone", speaker="a made loudspeaker")

    def __init__(self, answers: Iterable[str], sound_of: Callable[[str], Samples]) -> None:
        self._answers = list(answers)
        self._sound_of = sound_of
        self._tape: Samples = np.zeros(0, np.float32)
        self._mouth: Samples = np.zeros(0, np.float32)
        self._line: str | None = None
        self._turn = False
        self.saying = ""
        self.shown: list[str] = []

    # -- the room --------------------------------------------------------------------------

    def play(self, sound: Samples) -> None:
        self._tape = np.concatenate([self._tape, sound]).astype(np.float32)
        self._turn = True

    def silent(self) -> bool:
        return len(self._tape) == 0

    def read(self) -> tuple[Samples, Samples]:
        played, self._tape = padded(self._tape[:BLOCK]), self._tape[BLOCK:]
        heard, self._mouth = padded(self._mouth[:BLOCK]), self._mouth[BLOCK:]
        return heard, played

    # -- whoever answers -------------------------------------------------------------------

    def wants_answer(self) -> None:
        """Called when somebody listens: the next answer, once for each time that was spoken."""
        if not self._turn or len(self._mouth) or self._line is not None:
            return
        self._turn = False
        if not self._answers:
            raise Stopped
        answer = self._answers.pop(0)
        if answer.startswith(">"):
            self._line = answer[1:].strip()
        elif answer != "...":
            self.saying = answer
            pause = np.zeros(round(ANSWERS_AFTER_S * RATE), np.float32)
            self._mouth = np.concatenate([pause, self._sound_of(answer)]).astype(np.float32)

    # -- the keyboard and the screen ---------------------------------------------------------

    def line(self) -> str | None:
        if self.silent():
            self.wants_answer()
        line, self._line = self._line, None
        return line

    def show(self, text: str) -> None:
        self.shown.append(text)

    def explain(self, question: Question) -> None:
        self.shown.append(question.id)


class FakeEars:
    """Hears what is being said in the room as it is, when its sound has ended."""

    name = "fake"

    def __init__(self, room: AnsweringRoom) -> None:
        self._room = room
        self._live: Sequence[LivePhrase] = ()
        self._begun: float | None = None

    def allow(self, phrases: Sequence[LivePhrase]) -> None:
        self._live = phrases

    def feed(self, heard: Samples, played: Samples, t_end: float) -> list[Hypothesis]:
        if heard.any():
            self._begun = t_end if self._begun is None else self._begun
            return []
        if self._begun is None or not self._room.saying:
            return []
        begun, self._begun = self._begun, None
        said, self._room.saying = self._room.saying, ""
        best = next((p for p in self._live if p.text == said), None)
        margin = 5.0 if best is not None else -20.0
        return [Hypothesis(begun, t_end, best, margin, 0.0, level_db=-30.0)]

    def unknown_words(self, words: Iterable[str]) -> tuple[str, ...]:
        return ()


class FakeVoice:
    """A moment of sound for every sentence."""

    def prepare(self, sentences: Iterable[Sentence]) -> None:
        pass

    def clip(self, sentence: Sentence) -> Samples:
        return np.full(RATE // 10, 0.01, np.float32)


def padded(block: Samples) -> Samples:
    return np.concatenate([block, np.zeros(BLOCK - len(block), np.float32)]).astype(np.float32)


def a_moment(text: str) -> Samples:
    """A sound that stands for `text` and takes as long as it."""
    return np.full(round(0.07 * len(text) * RATE), 0.02, np.float32)
