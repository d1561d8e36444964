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

from assistant.core.hearing import LivePhrase, Risk
from assistant.ears.denoise import denoise
from assistant.ears.engine import Guess, pick
from assistant.ears.moonshine_model import PRIOR_SHARE, Encoded, Ids, Moonshine, phrase_rows, prefix_tree
from assistant.ears.priors import Priors, noise_clips, phrase_scores
from assistant.ears.sphinx import Sphinx
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
FREE_NOISE_CLIPS, FREE_NOISE_S = 2, 1.7
"""One white and one pink clip: of a prior that counts a quarter, so that the gap is within 0.3 of what 24 clips give."""


class ScoredPhrases:
    """Meets `Engine`. Scoring takes some 50 ms an utterance on one core with a hundred phrases allowed."""

    def __init__(
        self, model: Moonshine | None = None, priors: Priors | None = None, second: Sphinx | None = None
    ) -> None:
        """`second` is asked to agree where a wrong phrase is costly; None asks nobody."""
        self.name = "moonshine tiny-en, allowed phrases scored"
        self._model = model or Moonshine()
        self._priors = priors or Priors(self._model)
        self._second = second
        self._noise: list[Encoded] = []
        self._free_priors: dict[Ids, float] = {}
        self.allow(())

    def allow(self, phrases: Sequence[LivePhrase]) -> None:
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
        if self._second is not None:
            self._second.allow(self._live)

    def begin(self) -> None:
        return  # the model hears whole utterances only

    def more(self, sound: Samples) -> Guess | None:
        return None

    def judge(self, utterance: Samples) -> Guess:
        if not self._live:
            return Guess(None, float("-inf"), 0.0)
        heard = self._model.encode(utterance)
        rows = self._model.score_rows(heard, self._tree, len(self._rows))
        sums = phrase_scores(rows, self._owner, len(self._live))
        scores = sums - PRIOR_SHARE * self._prior
        guess = pick(list(zip(self._live, map(float, scores), map(float, self._accept), strict=True)))
        best = guess.best
        if best is None or best.risk is Risk.STOP or guess.score < guess.accept_at:
            return guess
        number = self._live.index(best)
        guess = replace(
            guess, free_gap=self._free_gap(heard, float(sums[number]), float(self._prior[number]))
        )
        if self._second is not None and best.risk is Risk.ADVANCE and not beyond_doubt(guess):
            other = self._second.choose(denoise(utterance))
            guess = replace(
                guess, agreed=other is not None and other.name == best.name and other.slot == best.slot
            )
        return guess

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


def beyond_doubt(guess: Guess) -> bool:
    """Nothing speaks against it, so that a second engine need not be asked (it takes as long as the
    first)."""
    ahead = guess.runner_up is None or guess.runner_up_gap >= FAR_AHEAD
    return ahead and guess.score - guess.accept_at >= FAR_ABOVE and guess.free_gap >= NEARLY_FREE


def accept_at(text: str, prior: float) -> float:
    """The score at which a phrase counts as said."""
    words = len(text.split())
    if words == 1:
        return min(ACCEPT_AT[1], -LEAST_OF_POSSIBLE * prior)
    return ACCEPT_AT.get(words, ACCEPT_LONG)
