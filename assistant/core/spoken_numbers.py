"""Numbers as words: what a reader says for a number on a timer, for a day of the month, for a year.

English and Korean, as far as combside speaks and hears them. No hyphens:
recognisers' dictionaries hold single words.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping

_TO_NINETEEN = (
    "zero", "one", "two", "three", "four", "five", "six", "seven", "eight", "nine", "ten", "eleven", "twelve",
    "thirteen", "fourteen", "fifteen", "sixteen", "seventeen", "eighteen", "nineteen",
)  # fmt: skip
_TENS = ("", "", "twenty", "thirty", "forty", "fifty", "sixty", "seventy", "eighty", "ninety")
_ORDINALS = {
    "one": "first", "two": "second", "three": "third", "five": "fifth", "eight": "eighth", "nine": "ninth",
    "twelve": "twelfth", "twenty": "twentieth", "thirty": "thirtieth",
}  # fmt: skip
"""The others take "th"."""
_KOREAN_DIGITS = ("영", "일", "이", "삼", "사", "오", "육", "칠", "팔", "구")

MOST_MINUTES = 60
MOST_NUMBER = 199
MOST_DAY = 31
YEARS = range(1900, 2100)


def number_in_words(number: int) -> str:
    """25 is "twenty five", 103 "one hundred and three". Raises ValueError below 0 and above MOST_NUMBER."""
    _within(number, 0, MOST_NUMBER, "number")
    if number >= 100:
        rest = number - 100
        return f"one hundred and {number_in_words(rest)}" if rest else "one hundred"
    if number < 20:
        return _TO_NINETEEN[number]
    tens, rest = divmod(number, 10)
    return f"{_TENS[tens]} {_TO_NINETEEN[rest]}" if rest else _TENS[tens]


def ordinal_in_words(day: int) -> str:
    """A day of the month: 3 is "third", 21 "twenty first". Raises ValueError outside 1 to 31."""
    _within(day, 1, MOST_DAY, "day of a month")
    *before, last = number_in_words(day).split()
    return " ".join([*before, _ORDINALS.get(last, f"{last}th")])


def year_in_words(year: int) -> str:
    """1998 is "nineteen ninety eight", 2005 "two thousand and five", 2026 "twenty twenty six".

    Raises ValueError outside YEARS.
    """
    _within(year, YEARS.start, YEARS.stop - 1, "year")
    century, rest = divmod(year, 100)
    if century == 20 and rest < 10:
        return "two thousand" + (f" and {number_in_words(rest)}" if rest else "")
    if rest == 0:
        return f"{number_in_words(century)} hundred"
    if rest < 10:
        return f"{number_in_words(century)} oh {number_in_words(rest)}"
    return f"{number_in_words(century)} {number_in_words(rest)}"


def minutes_in_words(minutes: int, language: str = "en") -> str:
    """13 is "thirteen", 25 "twenty five"; in Korean the numbers that minutes are counted with (25 is "이십 오").

    Raises ValueError below 0 and above MOST_MINUTES, KeyError for a language without numbers here.
    """
    _within(minutes, 0, MOST_MINUTES, "number of minutes")
    return MINUTES[language](minutes)


def _korean(number: int) -> str:
    """Sino-Korean, a word for the tens and a word for the rest, as recognisers' word lists have them."""
    tens, rest = divmod(number, 10)
    words = []
    if tens:
        words.append("십" if tens == 1 else f"{_KOREAN_DIGITS[tens]}십")
    if rest or not tens:
        words.append(_KOREAN_DIGITS[rest])
    return " ".join(words)


MINUTES: Mapping[str, Callable[[int], str]] = {"en": number_in_words, "ko": _korean}


def _within(number: int, least: int, greatest: int, what: str) -> None:
    if not least <= number <= greatest:
        raise ValueError(f"{number} is no {what} with words here; they go from {least} to {greatest}")
