"""Minutes become words, one way each."""

from __future__ import annotations

import pytest

from assistant.core.spoken_numbers import MOST_MINUTES, minutes_in_words


@pytest.mark.parametrize(
    ("minutes", "words"),
    [(0, "zero"), (5, "five"), (13, "thirteen"), (19, "nineteen"), (20, "twenty"), (21, "twenty one"), (40, "forty"),
     (55, "fifty five"), (60, "sixty")],
)  # fmt: skip
def test_a_number_is_said_as_people_say_it(minutes: int, words: str) -> None:
    """English number words (common knowledge, no source)."""
    assert minutes_in_words(minutes) == words


def test_no_two_numbers_sound_the_same() -> None:
    """Each number of minutes has its own words, letters and single spaces only."""
    said = [minutes_in_words(n) for n in range(MOST_MINUTES + 1)]
    assert len(set(said)) == len(said)
    assert all(word.isalpha() for words in said for word in words.split(" "))


@pytest.mark.parametrize("minutes", [-1, MOST_MINUTES + 1])
def test_what_has_no_words_is_refused(minutes: int) -> None:
    """The number and the range are named."""
    with pytest.raises(ValueError, match=f"{minutes} minutes"):
        minutes_in_words(minutes)
