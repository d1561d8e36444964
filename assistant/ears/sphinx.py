"""pocketsphinx beside the default engine: which of the live phrases, never whether.

It carries a US English model and is quick (a hundredth of real time), good at
choosing among a few phrases and bad at rejecting what is none of them. So it is
asked where two phrases are near, among those alone. Called by `ears.moonshine`
and `ears.choose`.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence

import numpy as np
from pocketsphinx import Decoder

from assistant.core.hearing import LivePhrase
from assistant.ears.pronunciations import ADDED
from assistant.ears.vocabulary import VocabularyError
from assistant.ports import RATE, Samples


class Sphinx:
    """One decoder with a grammar of the phrases allowed now."""

    name = "pocketsphinx, grammar of the moment"

    def __init__(self) -> None:
        self._decoder = Decoder(lm=None, cmn="batch", loglevel="FATAL", samprate=float(RATE), dither=False)
        for word, sounds in ADDED.items():
            self._decoder.add_word(word, " ".join(sounds), True)
        self._meaning: dict[str, LivePhrase] = {}

    def allow(self, phrases: Sequence[LivePhrase]) -> None:
        """Raises VocabularyError for a word without a pronunciation."""
        meaning = {p.text: p for p in phrases}
        missing = self.unknown_words(w for text in meaning for w in text.split())
        if missing:
            raise VocabularyError(self.name, missing)
        if meaning and meaning.keys() != self._meaning.keys():
            ways = " | ".join(meaning)
            self._decoder.add_jsgf_string("live", f"#JSGF V1.0; grammar live; public <live> = {ways};")
            self._decoder.activate_search("live")
        self._meaning = meaning

    def choose(self, utterance: Samples) -> LivePhrase | None:
        """The live phrase that is nearest to the whole utterance; None when it found no way through."""
        if not self._meaning:
            return None
        self._decoder.start_utt()
        self._decoder.process_raw(_bytes(utterance), False, True)
        self._decoder.end_utt()
        return self._found()

    def per_frame(self, samples: int) -> float:
        """How well the last choice fitted: its log score by the hundredth of a second of `samples`."""
        hypothesis = self._decoder.hyp()
        if hypothesis is None or hypothesis.score <= 0.0:
            return float("-inf")
        return float(np.log(hypothesis.score)) / max(1, samples * 100 // RATE)

    def unknown_words(self, words: Iterable[str]) -> tuple[str, ...]:
        return tuple(w for w in dict.fromkeys(words) if self._decoder.lookup_word(w) is None)

    def _found(self) -> LivePhrase | None:
        hypothesis = self._decoder.hyp()
        return self._meaning.get(hypothesis.hypstr) if hypothesis is not None else None


def _bytes(sound: Samples) -> bytes:
    return (np.clip(sound, -1.0, 1.0) * 32767).astype("<i2").tobytes()
