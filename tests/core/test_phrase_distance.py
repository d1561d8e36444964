"""How far phrases are apart in sound, against a library, a dictionary and worked examples."""

from __future__ import annotations

import itertools

import pytest
from hypothesis import given
from hypothesis import strategies as st
from rapidfuzz.distance import Levenshtein

from assistant.app.speech import all_words, sounds_of
from assistant.core.checks import book_problems, confusable, pairs_live_together
from assistant.core.hearing import LivePhrase, Risk
from assistant.core.phrase_distance import (
    NEAREST,
    Pair,
    clearer_ways,
    nearest_pairs,
    phonemes,
    phonemes_apart,
    worst_by_meaning,
)
from assistant.core.phrases import PhraseBook
from assistant.ears.pronunciations import pronounceable
from tests.programs import ROUTINES, program, reached


@pytest.mark.parametrize(
    ("one", "other", "apart"), [("kitten", "sitting", 3), ("saturday", "sunday", 3), ("", "abc", 3)]
)
def test_worked_examples_of_the_distance(one: str, other: str, apart: int) -> None:
    """The usual examples of Levenshtein's distance (common knowledge)."""
    assert phonemes_apart(one, other) == phonemes_apart(other, one) == apart


@given(st.text("abcd", max_size=9), st.text("abcd", max_size=9))
def test_the_distance_is_that_of_a_library(one: str, other: str) -> None:
    assert phonemes_apart(one, other) == Levenshtein.distance(one, other)


@pytest.mark.parametrize(
    ("one", "other", "apart"),
    [("back", "black", 1), ("no", "know", 0), ("help me", "helper too", 3), ("left", "right", 3), ("crown", "front", 3)],
)  # fmt: skip
def test_by_the_dictionary(one: str, other: str, apart: int) -> None:
    """CMUdict: B AE K, B L AE K; N OW twice; HH EH L P M IY, HH EH L P ER T UW; L EH F T, R AY T; K R AW N, F R AH N T."""
    sounds = pronounceable([*one.split(), *other.split()])
    assert phonemes_apart(phonemes(one, sounds), phonemes(other, sounds)) == apart


@pytest.mark.parametrize("name", ROUTINES)
def test_no_two_shipped_phrases_that_live_together_are_nearer_than_allowed(name: str) -> None:
    made = program(name)
    sounds = sounds_of(made.book, all_words(made))
    assert confusable(made, reached(name), sounds) == []
    live = made.book.live(made.book.heard, made.zones, (12,))
    pairs = pairs_live_together(made, reached(name), sounds, live, NEAREST + 1)
    assert pairs and {pair.apart for pair in pairs} == {NEAREST}  # so the bound is as high as it can be


def test_a_zone_that_sounds_like_another_is_refused() -> None:
    made = program("touch_up")
    black = made.zones.index("front")
    zones = (*made.zones[:black], "black", *made.zones[black + 1 :])
    sounds = sounds_of(made.book, all_words(made) | {"black"})
    live = made.book.live(["done_with"], zones)
    near = worst_by_meaning(nearest_pairs(live, sounds, NEAREST))
    assert [(pair.apart, {pair.one.slot, pair.other.slot}) for pair in near] == [(1, {"back", "black"})]


def test_clearer_ways_are_further_from_every_way_of_the_other() -> None:
    book = program().book
    live = book.live(["next_step", "yes"], ())
    sounds = sounds_of(book, {word for p in live for word in p.text.split()})
    worst = nearest_pairs(live, sounds)[0]
    assert {worst.one.text, worst.other.text} == {"next", "yes"}
    ways = clearer_ways(worst, live, sounds)
    assert {"next step", "yes please"} <= {way.one.text for way in ways}
    for way, mine in itertools.product(ways, live):
        if mine.name != way.one.name:
            assert (
                phonemes_apart(phonemes(way.one.text, sounds), phonemes(mine.text, sounds))
                >= way.apart
                > worst.apart
            )


def test_numbers_of_one_family_are_left_out() -> None:
    live = program().book.live(["timer_says"], (), (15, 50))
    sounds = pronounceable({word for p in live for word in p.text.split()})
    assert nearest_pairs(live, sounds) == []
    other = LivePhrase("timer says fifty", "other", "", Risk.ANSWER)
    found = nearest_pairs([*live, other], sounds)
    assert {pair.other for pair in found} == {other} and isinstance(found[0], Pair)


def test_what_moves_or_stops_is_never_taught_as_a_single_word() -> None:
    book = program().book
    assert not [p for p in book_problems(book, program().domains()) if "single word" in p.message]
    heard = book.heard["stop_now"].model_copy(update={"ways": ("stop", "stop now")})
    short: PhraseBook = book.model_copy(update={"heard": {**book.heard, "stop_now": heard}})
    (problem,) = [p for p in book_problems(short, program().domains()) if "single word" in p.message]
    assert problem.loc == ("heard", "stop_now", "ways", 0)
