"""The embedded default engine: the phrases allowed now, scored under the carried English model.

Score = log probability of the phrase given the sound, less three quarters of
what the model would give it on mere noise. Here scores and thresholds; the
model is in `ears.moonshine_model`, noise in `ears.priors`, and what to do with a
score is decided in `core.hearing`. Called by `ears.choose`.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import replace

import numpy as np
from numpy.typing import NDArray

from assistant.core.hearing import LivePhrase, Risk
from assistant.ears.denoise import denoise
from assistant.ears.engine import Guess, pick
from assistant.ears.moonshine_model import PRIOR_SHARE, Encoded, Ids, Moonshine, phrase_rows, prefix_tree
from assistant.ears.priors import Priors, noise_clips, phrase_scores
from assistant.ears.sphinx import Sphinx
from assistant.ears.vocabulary import VocabularyError
from assistant.ports import Samples

ACCEPT_AT = {1: 5.0, 2: 3.0}
ACCEPT_LONG = 1.0
"""By the number of words: tuned on half of the negatives to 1 % false accepts (synthetic phrases)."""
LEAST_OF_POSSIBLE = 0.55
"""A short common word cannot reach 5 ("no" at most 4.7), so it needs this share of its prior instead."""
WORTH_FINISHING = 4.0
"""A phrase this far under its threshold is not asked about either."""
FREE_SHARE = 0.25
"""How much of the prior is taken off when a phrase is compared with the free decode."""
SURELY_SAID = -3.0
"""A log probability above this leaves a free decode next to nothing to be better by; it is not run."""
FAR_AHEAD, FAR_ABOVE, NEARLY_FREE = 4.0, 4.0, -6.0
"""Inside all three no choice was wrong (246 phrases in quiet, 238 with tap noise at 10 dB)."""
WORTH_A_SECOND_LOOK = 3.0
"""What is no further under its threshold than this is scored again on the cleaned sound, unless it is beyond doubt."""
WORTH_ASKING = 2.0
NEAR, NEAR_A_WORD = 6.0, 8.0
"""Phrases this close to the best one (to a single word) are near: the grammar engine is asked to choose among them."""
FREE_NOISE_CLIPS, FREE_NOISE_S = 2, 1.7
"""One white and one pink clip: of a prior that counts a quarter, so that the gap is within 0.3 of what 24 clips give."""


class ScoredPhrases:
    """Meets `Engine`. Scoring takes some 50 ms an utterance on one core with a hundred phrases allowed."""

    def __init__(
        self, model: Moonshine | None = None, priors: Priors | None = None, second: Sphinx | None = None
    ) -> None:
        """`second` is asked to choose among near phrases; None asks nobody."""
        self.name = "moonshine tiny-en, allowed phrases scored"
        self.early = True
        self._model = model or Moonshine()
        self._priors = priors or Priors(self._model)
        self._second = second
        self._noise: list[Encoded] = []
        self._free_priors: dict[Ids, float] = {}
        self.allow(())

    def allow(self, phrases: Sequence[LivePhrase]) -> None:
        missing = self.unknown_words(word for phrase in phrases for word in phrase.text.split())
        if missing:
            raise VocabularyError(self.name, missing)
        self._live = tuple(dict.fromkeys(phrases))
        texts = [p.text for p in self._live]
        found = self._priors.of(texts)
        self._rows, self._owner = phrase_rows(self._model.tokens, texts)
        self._prior = np.array([p.whole for p in found])
        self._accept = np.array([accept_at(t, p.whole) for t, p in zip(texts, found, strict=True)])
        forms = np.bincount(self._owner, minlength=len(texts))
        needs = (
            self._accept + PRIOR_SHARE * self._prior - np.log(forms) - WORTH_FINISHING
            if texts
            else self._accept
        )
        along = [row for p in found for row in p.along]
        self._tree = prefix_tree(self._rows, [float(needs[o]) for o in self._owner], along)

    def begin(self) -> None:
        return  # the model hears whole utterances only

    def more(self, sound: Samples) -> Guess | None:
        return None

    def judge(self, utterance: Samples, *, quick: bool = False) -> Guess:
        if not self._live:
            return Guess(None, float("-inf"), 0.0)
        heard = self._model.encode(utterance)
        sums = self._sums(heard)
        guess = self._pick(sums)
        if guess.best is None or guess.score < guess.accept_at - (0.0 if quick else WORTH_A_SECOND_LOOK):
            return guess
        guess = self._against_free(guess, heard, sums)
        if guess.best is None or beyond_doubt(guess):
            return guess
        if quick:
            return Guess(None, float("-inf"), 0.0)
        clean = denoise(utterance)
        cleaned = self._sums(self._model.encode(clean))
        other = self._pick(cleaned)
        both = self._pick((sums + cleaned) / 2)
        agreed = other.best is not None and _same(guess.best, other.best)
        if guess.best.risk is Risk.STOP and guess.score >= guess.accept_at:
            clearer = both.best is not None and _same(guess.best, both.best) and both.score > guess.score
            return replace(both if clearer else guess, agreed=agreed)
        both = replace(self._against_free(both, heard, sums), agreed=None if agreed else False)
        return self._arbitrated(both, (sums + cleaned) / 2, utterance, clean)

    def _sums(self, heard: Encoded) -> NDArray[np.float64]:
        """Log probability of each live phrase, whichever way it is written."""
        rows = self._model.score_rows(heard, self._tree, len(self._rows))
        return phrase_scores(rows, self._owner, len(self._live))

    def _arbitrated(self, guess: Guess, sums: NDArray[np.float64], sound: Samples, clean: Samples) -> Guess:
        """`guess` after the grammar engine chose among the near phrases alone.

        Where it names the same, that settles it (52 of 53 right beside a tap; two looks at
        one sound err together). Where it names another, there is doubt, no more: of six
        single words by people for which it did so to both sounds it was wrong in all.
        Where it finds no way through, nothing changes.
        """
        if self._second is None or guess.best is None or guess.score < guess.accept_at - WORTH_ASKING:
            return guess
        scores = sums - PRIOR_SHARE * self._prior
        reach = NEAR if " " in guess.best.text else NEAR_A_WORD
        near = [p for p, score in zip(self._live, scores, strict=True) if guess.score - score < reach]
        if all(_same(guess.best, p) for p in near):
            return guess
        self._second.allow(near)
        named = self._second.choose(clean) or self._second.choose(sound)
        return guess if named is None else replace(guess, agreed=_same(named, guess.best))

    def _pick(self, sums: NDArray[np.float64]) -> Guess:
        scores = sums - PRIOR_SHARE * self._prior
        return pick(list(zip(self._live, map(float, scores), map(float, self._accept), strict=True)))

    def _against_free(self, guess: Guess, heard: Encoded, sums: NDArray[np.float64]) -> Guess:
        """`guess` with its gap to the free decode, where that is asked for."""
        best = guess.best
        if best is None or best.risk is Risk.STOP or guess.score < guess.accept_at:
            return guess
        number = self._live.index(best)
        return replace(guess, free_gap=self._free_gap(heard, float(sums[number]), float(self._prior[number])))

    def unknown_words(self, words: Iterable[str]) -> tuple[str, ...]:
        """None for the model itself, which spells; those the second engine lacks."""
        return self._second.unknown_words(words) if self._second is not None else ()

    def _free_gap(self, heard: Encoded, own: float, prior: float) -> float:
        """How much worse the phrase is than the free decode, each less a quarter of its prior; at most 0."""
        if own >= SURELY_SAID:
            return own
        said, free = self._model.free_decode(heard)
        return min(0.0, (own - FREE_SHARE * prior) - (free - FREE_SHARE * self._free_prior(said)))

    def _free_prior(self, said: Ids) -> float:
        if said not in self._free_priors:
            if not self._noise:
                clips = noise_clips(FREE_NOISE_CLIPS, (FREE_NOISE_S, FREE_NOISE_S))
                self._noise = [self._model.encode(clip) for clip in clips]
            self._free_priors[said] = self._model.score_one(self._noise, said)
        return self._free_priors[said]


def _same(one: LivePhrase, other: LivePhrase) -> bool:
    return (one.name, one.slot) == (other.name, other.slot)


def beyond_doubt(guess: Guess) -> bool:
    """Nothing speaks against it, so that a second look is not needed (it takes as long as the first)."""
    ahead = guess.runner_up is None or guess.runner_up_gap >= FAR_AHEAD
    return ahead and guess.score - guess.accept_at >= FAR_ABOVE and guess.free_gap >= NEARLY_FREE


def accept_at(text: str, prior: float) -> float:
    """The score at which a phrase counts as said."""
    words = len(text.split())
    if words == 1:
        return min(ACCEPT_AT[1], -LEAST_OF_POSSIBLE * prior)
    return ACCEPT_AT.get(words, ACCEPT_LONG)
