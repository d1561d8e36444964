"""Vosk, for whoever has a model of it: the grammar of the moment, partial results, word confidences.

Words that the model lacks would be dropped from the grammar in silence, so
they are an error when phrases are allowed. Called by `ears.choose`.
"""

from __future__ import annotations

import json
from collections.abc import Iterable, Sequence
from pathlib import Path

import numpy as np
import vosk

from assistant.core.hearing import LivePhrase
from assistant.ears.engine import Guess
from assistant.ears.vocabulary import VocabularyError
from assistant.ports import RATE, Samples

NOT_A_PHRASE = "[unk]"
"""What English models put for any other word; a model without it forces all speech into the phrases."""
POINTS = 10.0
"""A score is ten times the mean word confidence: the hearing decision's margins are whole points (up to 3 for a stop
phrase over our own voice), and a confidence, at most 0.4 above its threshold, could never have reached them."""
ACCEPT_AT = 6.0
"""A word outside the grammar takes a phrase far below (first value, common practice)."""
STABLE_SAMPLES = RATE // 5
"""A partial result that is a whole phrase and unchanged for 200 ms counts (2 of 105 wrong, 60 ms after the
end)."""


class Vosk:
    """Meets `Engine`."""

    def __init__(self, folder: Path) -> None:
        """Raises ValueError when `folder` holds no model. Loading takes some seconds."""
        vosk.SetLogLevel(-1)
        if not (folder / "am").is_dir() and not (folder / "final.mdl").is_file():
            raise ValueError(f"{folder} holds no Vosk model (no folder am, no file final.mdl)")
        self.name = f"vosk {folder.resolve().name}"
        self._model = vosk.Model(str(folder))
        self.early = False  # its own partial results are quicker
        self._recogniser: vosk.KaldiRecognizer | None = None
        self._meaning: dict[str, LivePhrase] = {}
        self._partial, self._stable = "", 0

    def allow(self, phrases: Sequence[LivePhrase]) -> None:
        meaning = {p.text: p for p in phrases}
        missing = self.unknown_words(w for text in meaning for w in text.split())
        if missing:
            raise VocabularyError(self.name, missing)
        if meaning.keys() != self._meaning.keys():
            other = () if self.unknown_words([NOT_A_PHRASE]) else (NOT_A_PHRASE,)
            grammar = json.dumps([*meaning, *other], ensure_ascii=False)
            self._recogniser = vosk.KaldiRecognizer(self._model, RATE, grammar) if meaning else None
            if self._recogniser is not None:
                self._recogniser.SetWords(True)
        self._meaning = meaning
        self.begin()

    def begin(self) -> None:
        if self._recogniser is not None:
            self._recogniser.Reset()
        self._partial, self._stable = "", 0

    def more(self, sound: Samples) -> Guess | None:
        """A Guess once the partial result is a whole phrase, stable, and the start of no other."""
        if self._recogniser is None or len(sound) == 0:
            return None
        if self._recogniser.AcceptWaveform(_bytes(sound)):  # it found an end of its own
            return _sure(self._guess(self._recogniser.Result()))
        partial = str(json.loads(self._recogniser.PartialResult())["partial"])
        self._stable = self._stable + len(sound) if partial == self._partial else 0
        self._partial = partial
        longer = any(text.startswith(partial + " ") for text in self._meaning)
        if partial not in self._meaning or longer or self._stable < STABLE_SAMPLES:
            return None
        return _sure(self._final())

    def partial(self) -> str:
        """The words heard so far of the utterance that is going on."""
        return self._partial

    def judge(self, utterance: Samples, *, quick: bool = False) -> Guess:
        if self._recogniser is None:
            return Guess(None, float("-inf"), ACCEPT_AT)
        self.begin()
        self._recogniser.AcceptWaveform(_bytes(utterance))
        return self._final()

    def unknown_words(self, words: Iterable[str]) -> tuple[str, ...]:
        return tuple(w for w in dict.fromkeys(words) if self._model.vosk_model_find_word(w) < 0)

    def _final(self) -> Guess:
        if self._recogniser is None:
            return Guess(None, float("-inf"), ACCEPT_AT)
        guess = self._guess(self._recogniser.FinalResult())
        self.begin()
        return guess

    def _guess(self, answer: str) -> Guess:
        result = json.loads(answer)
        words = result.get("result", [])
        phrase = self._meaning.get(str(result.get("text", "")))
        if phrase is None or not words:
            return Guess(None, float("-inf"), ACCEPT_AT)
        return Guess(phrase, POINTS * float(np.mean([w["conf"] for w in words])), ACCEPT_AT)


def _sure(guess: Guess) -> Guess | None:
    return guess if guess.best is not None and guess.score >= guess.accept_at else None


def _bytes(sound: Samples) -> bytes:
    return (np.clip(sound, -1.0, 1.0) * 32767).astype("<i2").tobytes()
