"""How far phrases are apart in sound, and which pairs of a phrase book lie nearest.

The distance of two phrases is the number of phonemes in which they differ: the
Levenshtein distance, every change counting one. Measured with the carried engine on
the shipped phrases (2 voices, quiet and pink noise at 5 dB): this count goes with the
margin by which the right phrase wins (rank correlation 0.48); the same count as a
share of the phrase's length does not (0.01), nor do weights for sounds of one kind
help (0.43). A long common beginning takes nothing away and adds nothing. Pairs by
their distance, wrong choices at 5 dB in the worse voice: 3 phonemes 13 % (of 174),
4 to 5 2 % (858), 6 to 8 0.6 % (5074), 9 and more 0.04 % (24 002); in quiet none.

Pronunciations are handed in: the core knows no dictionary. Called by `core.checks`.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import dataclass

from assistant.core.hearing import LivePhrase, Risk

NEAREST = 3
"""Phrases that are live together and mean different things differ in at least so many phonemes.

Two would be "black" beside "back"; "back" and "nape", "crown" and "front", the sides
left and right differ in three, and the trade has no other words for them.
"""
NEAR = 4
"""Pairs below this are shown as the weak ones."""


@dataclass(frozen=True, slots=True)
class Pair:
    """Two phrases with different meanings; `apart` is the number of phonemes in which they differ."""

    apart: int
    one: LivePhrase
    other: LivePhrase


def phonemes(text: str, pronunciations: Mapping[str, Sequence[str]]) -> tuple[str, ...]:
    """The phonemes of a phrase, stress marks left out. Raises KeyError with the word that has none."""
    return tuple(p.rstrip("012") for word in text.split() for p in pronunciations[word])


def phonemes_apart(one: Sequence[str], other: Sequence[str]) -> int:
    """The least number of phonemes to put in, take out or change to make one of the other."""
    before = list(range(len(other) + 1))
    for i, a in enumerate(one, 1):
        row = [i]
        for j, b in enumerate(other, 1):
            row.append(min(before[j] + 1, row[j - 1] + 1, before[j - 1] + (a != b)))
        before = row
    return before[-1]


def nearest_pairs(
    live: Sequence[LivePhrase],
    pronunciations: Mapping[str, Sequence[str]],
    below: float = float("inf"),
    together: Callable[[str, str], bool] = lambda one, other: True,
) -> list[Pair]:
    """Pairs with different meanings less than `below` phonemes apart, the nearest first.

    `together` says of two phrase names whether they may be heard at the same time.
    Numbers of one family are left out: a read-back that is wrong is asked again,
    never believed.
    """
    sounds = [phonemes(p.text, pronunciations) for p in live]
    pairs = []
    for i, a in enumerate(live):
        for j in range(i + 1, len(live)):
            b = live[j]
            if abs(len(sounds[i]) - len(sounds[j])) >= below or _meaning(a) == _meaning(b):
                continue
            if a.name == b.name and (a.slot.isdigit() or b.slot.isdigit()):
                continue
            if not together(a.name, b.name):
                continue
            apart = phonemes_apart(sounds[i], sounds[j])
            if apart < below:
                pairs.append(Pair(apart, a, b))
    return sorted(pairs, key=lambda pair: (pair.apart, pair.one.text, pair.other.text))


def worst_by_meaning(pairs: Iterable[Pair]) -> list[Pair]:
    """Of each two meanings the nearest pair alone, and two zones once for all that is said of zones; order as in `pairs`."""
    seen: dict[frozenset[tuple[str, str]], Pair] = {}
    for pair in pairs:
        meanings = frozenset({_meaning(pair.one), _meaning(pair.other)})
        if pair.one.name == pair.other.name:
            meanings = frozenset({("", pair.one.slot), ("", pair.other.slot)})
        seen.setdefault(meanings, pair)
    return list(seen.values())


def clearer_ways(
    pair: Pair, live: Sequence[LivePhrase], pronunciations: Mapping[str, Sequence[str]]
) -> list[Pair]:
    """Other ways of saying either of a pair that are further from every way of the other, the clearest first.

    `one` of each is the clearer way, `other` the way of the other meaning that is nearest to it.
    """
    found = []
    for mine, theirs in ((pair.one, pair.other), (pair.other, pair.one)):
        others = [p for p in live if _meaning(p) == _meaning(theirs)]
        for way in live:
            if _meaning(way) != _meaning(mine):
                continue
            own = phonemes(way.text, pronunciations)
            nearest = min(
                (Pair(phonemes_apart(own, phonemes(p.text, pronunciations)), way, p) for p in others),
                key=lambda p: p.apart,
            )
            if nearest.apart > pair.apart:
                found.append(nearest)
    return sorted(found, key=lambda p: (-p.apart, p.one.text))


def too_short_to_teach(live: Iterable[LivePhrase], taught: Mapping[str, str]) -> list[LivePhrase]:
    """Phrases that stop or move something on and are taught as a single word: a short word alone is badly heard."""
    return [
        p
        for p in live
        if p.risk in (Risk.STOP, Risk.ADVANCE) and p.text == taught.get(p.name) and len(p.text.split()) < 2
    ]


def _meaning(phrase: LivePhrase) -> tuple[str, str]:
    return phrase.name, phrase.slot
