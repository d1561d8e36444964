"""Ten single words by human voices, chosen among each other: a stand-in for short phrases.

Each engine alone is held against ours at the same share of other words taken
for one of the ten: every engine gets the threshold at which that share of the
other words passes.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence

import numpy as np
from rapidfuzz.distance import Levenshtein

from assistant.core.hearing import LivePhrase, Risk
from assistant.ears.denoise import denoise
from assistant.ears.moonshine import ScoredPhrases
from assistant.ears.moonshine_model import Moonshine
from assistant.ears.priors import Priors
from assistant.ears.sphinx import Sphinx
from assistant.ports import RATE, Samples
from assistant.room import acoustics
from tests.hearing_bench.conditions import PERSON_DB, Condition, arrive
from tests.hearing_bench.curves import POINTS
from tests.hearing_bench.intervals import share
from tests.hearing_bench.material import Recording

FALSE_ACCEPTS = 0.05
PAD_S = 0.35
OURS = "ours"
CURVE = "ten_single_words"
Judge = Callable[[Samples], tuple[str, float]]
"""A sound in, the word and how sure (higher is surer) out."""


def judges(words: Sequence[str]) -> dict[str, Judge]:
    """Every way of hearing `words`, ours first."""
    live = [LivePhrase(w, w, "", Risk.ANSWER) for w in words]
    model = Moonshine()
    scored = ScoredPhrases(model, Priors(model), Sphinx())
    scored.allow(live)
    grammar = Sphinx()
    grammar.allow(live)

    def ours(sound: Samples) -> tuple[str, float]:
        guess = scored.judge(sound)
        return (guess.best.text if guess.best else "", guess.score - guess.accept_at)

    def grammar_alone(sound: Samples) -> tuple[str, float]:
        best = grammar.choose(sound)
        return (best.text if best else "", grammar.per_frame(len(sound)))

    def grammar_cleaned(sound: Samples) -> tuple[str, float]:
        return grammar_alone(denoise(sound))

    def free_text(sound: Samples) -> tuple[str, float]:
        said, _ = model.free_decode(model.encode(sound))
        text = model.tokens.text(said).lower().strip(" .,!?")
        nearest = min(words, key=lambda w: Levenshtein.normalized_distance(w, text))
        return nearest, -Levenshtein.normalized_distance(nearest, text)

    return {
        OURS: ours,
        "pocketsphinx, grammar": grammar_alone,
        "pocketsphinx, grammar, cleaned sound": grammar_cleaned,
        "moonshine, free text, nearest word": free_text,
    }


def measure(
    words: Sequence[Recording],
    others: Sequence[Recording],
    conditions: Sequence[Condition],
    noises: dict[str, Samples],
) -> tuple[dict[str, object], dict[str, object]]:
    """Right share of each engine under each condition, FALSE_ACCEPTS of the other words passing; and our own curve."""
    found: dict[str, object] = {}
    curves: dict[str, object] = {}
    ways = judges(sorted({r.text for r in words}))
    for condition in conditions:
        rng = np.random.default_rng(3)

        def as_heard(
            recording: Recording, condition: Condition = condition, rng: np.random.Generator = rng
        ) -> Samples:
            sound = acoustics.at_level(recording.sound(), PERSON_DB)
            padded = np.pad(sound, int(PAD_S * RATE)).astype(np.float32)
            return arrive(condition, padded, noises, rng)

        theirs = [as_heard(r) for r in others]
        said = [(r.text, as_heard(r)) for r in words]
        row: dict[str, object] = {}
        for name, judge in ways.items():
            surest = [judge(sound)[1] for sound in theirs]
            passing = sorted(surest, reverse=True)
            threshold = passing[int(FALSE_ACCEPTS * len(passing))] if passing else -np.inf
            answers = [(text, *judge(sound)) for text, sound in said]
            right = sum(word == text and sure > threshold for text, word, sure in answers)
            chosen = sum(word == text for text, word, _ in answers)
            row[name] = {
                "right": share(right, len(said)),
                "right_without_threshold": share(chosen, len(said)),
            }
            if name == OURS:
                curves[condition.name] = [
                    {
                        "points": at,
                        "missed": share(sum(sure < at for _, _, sure in answers), len(said)),
                        "wrong": share(sum(w != text and sure >= at for text, w, sure in answers), len(said)),
                        "others_passing": share(sum(sure >= at for sure in surest), len(surest)),
                    }
                    for at in POINTS
                ]
        found[condition.name] = row
    return found, curves
