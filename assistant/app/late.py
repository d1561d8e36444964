"""Ears and a voice that come late: a run that goes on speaks before its recogniser is loaded.

Both are made ready by threads of their own, and not before `load` is called:
that takes the processor for seconds, and the first words must not stutter.
"""

from __future__ import annotations

import threading
from collections.abc import Callable, Iterable, Sequence

from assistant.core.actions import Sentence
from assistant.core.hearing import Hypothesis, LivePhrase
from assistant.ports import Ears, Samples, Voice


class LateVoice:
    """Meets `ports.Voice`. A clip that was not read yet is read when it is asked for: a few milliseconds."""

    def __init__(self, voice: Voice) -> None:
        self._voice = voice

    def prepare(self, sentences: Iterable[Sentence]) -> None:
        self._voice.prepare(sentences)

    def clip(self, sentence: Sentence) -> Samples:
        self._voice.prepare([sentence])
        return self._voice.clip(sentence)


class LateEars:
    """Meets `ports.Ears`. `make` loads the real ones; whatever it raises is told in `problem`.

    Until they are there nothing is heard, and keys answer.
    """

    name = "not loaded yet"

    def __init__(self, make: Callable[[], Ears]) -> None:
        self.problem = ""
        self._make = make
        self._loaded: Ears | None = None
        self._ears: Ears | None = None
        self._phrases: tuple[LivePhrase, ...] = ()
        self._thread: threading.Thread | None = None

    def load(self) -> None:
        """Begin to load. A second time does nothing."""
        if self._thread is None:
            self._thread = threading.Thread(target=self._load, name="ears", daemon=True)
            self._thread.start()

    def _load(self) -> None:
        try:
            self._loaded = self._make()
        except Exception as error:  # whatever it is: the run goes on by keys
            self.problem = str(error) or repr(error)

    def allow(self, phrases: Sequence[LivePhrase]) -> None:
        self._phrases = tuple(phrases)
        if self._ears is not None:
            self._ears.allow(self._phrases)

    def feed(self, heard: Samples, played: Samples, t_end: float) -> list[Hypothesis]:
        if self._ears is None:
            if self._loaded is None:
                return []
            self._ears, self.name = self._loaded, self._loaded.name
            self._ears.allow(self._phrases)
        return self._ears.feed(heard, played, t_end)

    def unknown_words(self, words: Iterable[str]) -> tuple[str, ...]:
        """What the loaded ears lack; nothing is known before."""
        return () if self._loaded is None else self._loaded.unknown_words(words)
