"""What every recogniser in this folder offers, and what it answers. Called by `ears.listening`."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from typing import Protocol

from assistant.core.hearing import LivePhrase
from assistant.ports import Samples


@dataclass(frozen=True, slots=True)
class Guess:
    """What an engine made of one utterance; the fields mean what they mean in `core.hearing.Hypothesis`."""

    best: LivePhrase | None
    score: float
    accept_at: float
    free_gap: float = 0.0
    agreed: bool | None = None
    runner_up: LivePhrase | None = None
    runner_up_gap: float = 0.0


class Engine(Protocol):
    """A recogniser of whole utterances."""

    name: str
    early: bool
    """It may be asked about an utterance that may not be over yet (it keeps nothing of what it was asked)."""

    def allow(self, phrases: Sequence[LivePhrase]) -> None:
        """Only `phrases` may be heard from now on. Raises VocabularyError for a word it lacks."""

    def begin(self) -> None:
        """An utterance begins; whatever `more` was given before is over."""

    def more(self, sound: Samples) -> Guess | None:
        """The next piece of an utterance that is still going on; a Guess when it is already sure."""

    def judge(self, utterance: Samples, *, quick: bool = False) -> Guess:
        """The whole utterance, with some sound before and after it. `quick`: what is not beyond doubt at once will
        be asked about again, so it may be left at nothing."""

    def unknown_words(self, words: Iterable[str]) -> tuple[str, ...]:
        """Those of `words` it can never hear."""


def pick(scored: Sequence[tuple[LivePhrase, float, float]]) -> Guess:
    """The best of (phrase, score, accept_at) and the best of another meaning behind it.

    Phrases of unequal length have unequal thresholds, so the margin over the
    phrase's own threshold does not rank them; the score does.
    """
    ranked = sorted(scored, key=lambda s: -s[1])
    if not ranked or ranked[0][1] == float("-inf"):
        return Guess(None, float("-inf"), 0.0)
    best, score, accept_at = ranked[0]
    for other, behind, _ in ranked[1:]:
        if (other.name, other.slot) != (best.name, best.slot) and behind > float("-inf"):
            return Guess(best, score, accept_at, runner_up=other, runner_up_gap=score - behind)
    return Guess(best, score, accept_at)
