"""The ways a free-text recogniser may write one spoken phrase.

"yes please" comes out as "Yes please" or "Yes, please", "twelve minutes" as
"12 minutes", and people say "it's" where the phrase book says "it is". An
engine that scores text scores all of them together. Nothing here touches
sound; called by `ears.moonshine`.
"""

from __future__ import annotations

import re

SHORTER: tuple[tuple[re.Pattern[str], str], ...] = tuple(
    (re.compile(pattern), short)
    for pattern, short in (
        (r"\bit is (?=\w)", "it's "),
        (r"\bi am (?=\w)", "i'm "),
        (r"\bthere is (?=\w)", "there's "),
        (r"\bthere are (?=\w)", "there're "),
        (r"\bdo not\b", "don't"),
        (r"\bcannot\b", "can't"),
    )
)
PAUSED = re.compile(r"^(yes|no|please|wait|helper) (?=\w)")
"""First words after which a comma is often written."""

UNITS = [
    *("zero", "one", "two", "three", "four", "five", "six", "seven", "eight", "nine"),
    *(
        "ten",
        "eleven",
        "twelve",
        "thirteen",
        "fourteen",
        "fifteen",
        "sixteen",
        "seventeen",
        "eighteen",
        "nineteen",
    ),
]
TENS = ["twenty", "thirty", "forty", "fifty", "sixty", "seventy", "eighty", "ninety"]
NUMBER = re.compile(
    rf"\b(?:({'|'.join(TENS)})(?:[ -]({'|'.join(UNITS[1:10])}))?|({'|'.join(reversed(UNITS))}))\b"
)


def in_digits(text: str) -> str:
    """`text` with its number words (0 to 99) as digits: "the timer says 12 minutes"."""

    def value(found: re.Match[str]) -> str:
        tens, unit, small = found.groups()
        if small:
            return str(UNITS.index(small))
        return str(20 + 10 * TENS.index(tens) + (UNITS.index(unit) if unit else 0))

    return NUMBER.sub(value, text)


def written_forms(text: str) -> tuple[str, ...]:
    """Every way `text` (lower case, no full stop) may be written, capitalised, the plainest first."""
    forms = [text]
    for pattern, short in SHORTER:
        forms += [pattern.sub(short, form) for form in forms if pattern.search(form)]
    forms += [PAUSED.sub(r"\1, ", form) for form in forms if PAUSED.match(form)]
    if " minute" in text:  # "go back one" is written as it is said
        forms += [in_digits(form) for form in forms]
    capitals = (re.sub(r"\bi\b", "I", form[:1].upper() + form[1:]) for form in forms)
    return tuple(dict.fromkeys(capitals))
