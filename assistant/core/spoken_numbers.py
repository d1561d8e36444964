"""Numbers of minutes as English words: what a reader says for a number on a timer."""

from __future__ import annotations

_TO_NINETEEN = (
    "zero", "one", "two", "three", "four", "five", "six", "seven", "eight", "nine", "ten", "eleven", "twelve",
    "thirteen", "fourteen", "fifteen", "sixteen", "seventeen", "eighteen", "nineteen",
)  # fmt: skip
_TENS = ("", "", "twenty", "thirty", "forty", "fifty", "sixty")

MOST_MINUTES = 60


def minutes_in_words(minutes: int) -> str:
    """13 is "thirteen", 25 is "twenty five" (no hyphen: recognisers' dictionaries hold single words).

    Raises ValueError below 0 and above MOST_MINUTES.
    """
    if not 0 <= minutes <= MOST_MINUTES:
        raise ValueError(f"{minutes} minutes have no words here; they go from 0 to {MOST_MINUTES}")
    if minutes < 20:
        return _TO_NINETEEN[minutes]
    tens, rest = divmod(minutes, 10)
    return f"{_TENS[tens]} {_TO_NINETEEN[rest]}" if rest else _TENS[tens]
