"""The embedded default engine: the phrases allowed now, scored under the carried English model.

Score = log probability of the phrase given the sound, less three quarters of
what the model would give it on mere noise. Here scores and thresholds; the
model is in `ears.moonshine_model`, noise in `ears.priors`, and what to do with a
score is decided in `core.hearing`. Called by `ears.choose`.
"""

from __future__ import annotations

import re
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
GOES_ON = -1.5
"""An ending less likely than this: more was said after the phrase ("carry on luggage"). Never so of 320 steps that were
believed, in quiet and beside a tap at 10 and 5 dB; so of 13 % of the believed sentences that only sound like one."""
SURE_OF_OTHERS, A_LITTLE_OFF = 5.0, 1.0
"""A log probability under 5 times that of the free decode less 1: the model is sure of other words ("done with the
crowd": -10.7 under 5 x (-0.1 - 1)). Beside noise it is sure of nothing. With 4 times one more of 117 steps beside a tap
at 10 dB and 2 more of 121 sound-alikes, with 6 one fewer and 6 fewer."""
MAYBE_OTHERS, HALF_SURE = -2.0, -2.0
"""So far behind the free decode, and that no less likely: the grammar engine chooses between the two. In quiet it named
the free one for 82 of 121 sound-alikes and 2 of 91 steps. All three together doubt 69 % of the sound-alikes that were
believed in quiet and 16 % beside a tap at 10 dB; of the steps 2 of 137, 3 of 117, and none of 66 at 5 dB; of
others, which set the next constant alone, 1 of 88 in quiet and 3 of 88 beside a tap (before it 2 and 5)."""
SOUNDS_THE_SAME = ("start to ", "started ")
"""What the model writes by itself for words that sound the same: 3 of the 7 steps that were doubted without this."""
OTHER_WORDS = -100.0
"""The gap to the free decode where it is known that other words were said: no score stands against it."""
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
        guess = self._against_free(guess, heard, sums, utterance)
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
        if both.best == guess.best and guess.score >= guess.accept_at:
            both = replace(both, free_gap=guess.free_gap)  # that is about the raw sound, so the same
        else:
            both = self._against_free(both, heard, sums, utterance)
        both = replace(both, agreed=None if agreed else False)
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

    def _against_free(self, guess: Guess, heard: Encoded, sums: NDArray[np.float64], sound: Samples) -> Guess:
        """`guess` with its gap to the free decode, where that is asked for.

        A step that was not said, but something that sounds like it, costs most: there it
        is also asked whether other words were said, or more.
        """
        best = guess.best
        if best is None or best.risk is Risk.STOP or guess.score < guess.accept_at:
            return guess
        number = self._live.index(best)
        own = float(sums[number])
        step = best.risk is Risk.ADVANCE
        if step and own < GOES_ON and self._ending(heard, number) < GOES_ON:
            return replace(guess, free_gap=OTHER_WORDS)
        if own >= SURELY_SAID:  # next to nothing to be better by
            return replace(guess, free_gap=own)
        said, free = self._model.free_decode(heard)
        if step and self._others_said(best, own, self._model.tokens.text(said), free, sound):
            return replace(guess, free_gap=OTHER_WORDS)
        return replace(guess, free_gap=self._free_gap(own, float(self._prior[number]), said, free))

    def _ending(self, heard: Encoded, number: int) -> float:
        """Log probability that what is said ends with the phrase, given its words; by its likeliest written form."""
        tree = prefix_tree(
            [row for row, owner in zip(self._rows, self._owner, strict=True) if owner == number]
        )
        whole = [(so_far, ending) for node, so_far, ending in self._model.walk(heard, tree) if node.ends]
        return max(whole)[1]

    def _others_said(self, best: LivePhrase, own: float, text: str, free: float, sound: Samples) -> bool:
        """Whether the free decode, `text`, is what was said instead of `best`."""
        words = re.sub("[^a-z0-9']", " ", text.lower()).split()
        said = " ".join(words).replace(*SOUNDS_THE_SAME)
        if (
            not said
            or f"{best.text} ".startswith(f"{said} ")
            or any(p.text == said and _same(p, best) for p in self._live)
        ):
            return False
        if own < SURE_OF_OTHERS * (free - A_LITTLE_OFF):
            return True
        if self._second is None or own - free >= MAYBE_OTHERS or free < HALF_SURE:
            return False
        if self._second.unknown_words(said.split()):
            return False
        self._second.allow([best, replace(best, text=said)])
        named = self._second.choose(sound)
        return named is not None and named.text == said

    def unknown_words(self, words: Iterable[str]) -> tuple[str, ...]:
        """None for the model itself, which spells; those the second engine lacks."""
        return self._second.unknown_words(words) if self._second is not None else ()

    def _free_gap(self, own: float, prior: float, said: Ids, free: float) -> float:
        """How much worse the phrase is than the free decode, each less a quarter of its prior; at most 0."""
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
