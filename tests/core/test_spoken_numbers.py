"""Minutes become words, one way each, in every language that has them."""

from __future__ import annotations

import pytest
from num2words import num2words

from assistant.core.spoken_numbers import (
    MINUTES,
    MOST_MINUTES,
    minutes_in_words,
    number_in_words,
    ordinal_in_words,
    year_in_words,
)


@pytest.mark.parametrize("language", MINUTES)
def test_minutes_are_those_of_a_library(language: str) -> None:
    """num2words; recognisers want single words, so only the spaces and hyphens may differ."""
    said = {n: minutes_in_words(n, language) for n in range(MOST_MINUTES + 1)}
    assert len(set(said.values())) == len(said)
    for n, words in said.items():
        assert all(word.isalpha() for word in words.split(" "))
        assert words.replace(" ", "") == num2words(n, lang=language).replace("-", "").replace(" ", "")


def test_what_has_no_words_is_refused() -> None:
    """The number and the range are named; a language without numbers is an error."""
    for wrong in (lambda: minutes_in_words(-1), lambda: minutes_in_words(61), lambda: number_in_words(200)):
        with pytest.raises(ValueError, match="words here; they go from 0 to"):
            wrong()
    for wrong in (lambda: ordinal_in_words(0), lambda: ordinal_in_words(32), lambda: year_in_words(1899)):
        with pytest.raises(ValueError, match="words here; they go from 1"):
            wrong()
    with pytest.raises(KeyError):
        minutes_in_words(5, "xx")
