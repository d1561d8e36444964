"""A question and what counts as an answer to it.

Each answer is a value, never a tick, and "I don't know" is one of them. Here
from words to a value; what follows from the value is `core.consultation`.
"""

from __future__ import annotations

import difflib
import re
from collections.abc import Mapping
from datetime import date, timedelta
from typing import Annotated, Literal

from pydantic import Field, model_validator

from assistant.core.kit_sheet import Sheet

Value = str | int | date | tuple[str, ...]
Plain = str | int | tuple[str, ...]
"""A value as it stands in a file: days as 2024-02-29."""
When = dict[str, tuple[str, ...]] | tuple[dict[str, tuple[str, ...]], ...]

UNKNOWN = "unknown"
DONT_KNOW = (
    "unknown", "i don't know", "i dont know", "don't know", "dont know", "do not know", "i do not know",
    "not sure", "no idea", "dunno",
)  # fmt: skip
MONTHS = (
    "January", "February", "March", "April", "May", "June", "July", "August", "September", "October",
    "November", "December",
)  # fmt: skip
YEARS_BACK, YEARS_AHEAD = 100, 2
LONGEST_WORDS = 200

_RELATIVE = re.compile(r"(?:(in) )?(\d{1,4}|an?|one) (day|week|month|year)s?( ago)?")


class WrongAnswer(ValueError):
    """What was said is no answer; the message explains it."""


class Question(Sheet):
    """One question of the consultation."""

    id: Annotated[str, Field(pattern=r"^[a-z][a-z_]*$")]
    kind: Literal["one", "several", "date", "number", "words"]
    ask: Annotated[str, Field(min_length=3, max_length=160)]
    why: Annotated[str, Field(min_length=3, max_length=300)]
    values: dict[str, str] = Field(default={}, description="words that may be answered, each explained")
    alone: tuple[str, ...] = Field(default=(), description="of several words, those that stand alone")
    past: bool | None = Field(default=None, description="true: a day up to today; false: a day from today on")
    least: int = 0
    greatest: int = 0
    unknown: Annotated[str, Field(min_length=3, max_length=160)]
    only_if: When = Field(default={}, description="asked only where these answers were given")
    again: bool = Field(default=False, description="asked again on the day of the run")

    @model_validator(mode="after")
    def _answerable(self) -> Question:
        if self.kind in ("one", "several") and len(self.values) < 2:
            raise ValueError(f"question '{self.id}' needs at least two values to choose from")
        return self


def in_words(day: date) -> str:
    """ "29 February 2024"."""
    return f"{day.day} {MONTHS[day.month - 1]} {day.year}"


def add_months(day: date, months: int) -> date:
    """The same day of the month so many calendar months on, or that month's last day where it is shorter."""
    years, month = divmod(day.month - 1 + months, 12)
    year = day.year + years
    first_of_next = date(year + (month == 11), (month + 1) % 12 + 1, 1)
    last = (first_of_next - timedelta(days=1)).day
    return date(year, month + 1, min(day.day, last))


def read(question: Question, text: str, today: date) -> Value:
    """What `text` answers. Raises WrongAnswer, with what would be an answer."""
    said = " ".join(text.strip().split())
    plain = said.casefold().rstrip(".!").replace("\u2019", "'")
    if not plain:
        raise WrongAnswer(f"There was no answer. {expected(question)}")
    if plain in DONT_KNOW:
        return UNKNOWN
    if question.kind == "one":
        return _choice(question, plain)
    if question.kind == "several":
        return _choices(question, plain)
    if plain in question.values:
        return plain
    if question.kind == "number":
        return _number(question, plain)
    if re.fullmatch("[0-9]{1,2}", plain) and 1 <= int(plain) <= len(question.values):
        return list(question.values)[int(plain) - 1]
    if question.kind == "date":
        return _day(question, plain, today)
    if len(said) > LONGEST_WORDS:
        raise WrongAnswer(f"That is longer than {LONGEST_WORDS} characters. Name the most important.")
    if plain in ("yes", "y", "some", "a few", "no", "n", "none"):
        if plain in ("no", "n"):
            return next(iter(question.values))
        raise WrongAnswer(f"Which? {expected(question)}")
    if not any(c.isalpha() for c in said):
        raise WrongAnswer(f"'{said}' names nothing. {expected(question)}")
    return said


def expected(question: Question) -> str:
    """What may be answered, in a sentence."""
    words = ", ".join(f"'{value}'" for value in question.values)
    dont = "'I don't know'"
    if question.kind == "date":
        day = "a day such as 2024-02-29, 'yesterday' or '6 weeks ago'"
        if question.past is False:
            day = "a day such as 2024-02-29 or 'in 3 weeks'"
        return f"Answer with {day}, {words + ', ' if words else ''}or {dont}."
    if question.kind == "number":
        return f"Answer with a whole number from {question.least} to {question.greatest}, or {dont}."
    if question.kind == "words":
        return f"Name it in your own words, or answer {words} or {dont}."
    more = " Several may be given with commas between them." if question.kind == "several" else ""
    return f"Answer {words} or {dont}.{more}"


def tokens(question: Question, value: Value) -> tuple[str, ...]:
    """What rules match: the words themselves, or "date", "number", "named"."""
    if isinstance(value, tuple):
        return value
    if isinstance(value, date):
        return ("date",)
    if isinstance(value, int):
        return ("number",)
    return (value if value == UNKNOWN or value in question.values else "named",)


def shown(value: Value) -> str:
    """A value as it stands in a sentence."""
    if isinstance(value, date):
        return in_words(value)
    return (
        " and ".join(value) if isinstance(value, tuple) else "not known" if value == UNKNOWN else str(value)
    )


def plain(value: Value) -> Plain:
    """A value as it is kept in a file."""
    return value.isoformat() if isinstance(value, date) else value


def holds(when: When, facts: Mapping[str, tuple[str, ...]]) -> bool:
    """Every line of one block holds; a line holds where one of its words is among the fact's."""
    blocks = when if isinstance(when, tuple) else (when,)
    return any(
        all(set(words) & set(facts.get(name, ())) for name, words in block.items()) for block in blocks
    )


def _choice(question: Question, plain: str) -> str:
    values = list(question.values)
    if plain in values:
        return plain
    if plain in ("y", "n"):
        plain = {"y": "yes", "n": "no"}[plain]
        if plain in values:
            return plain
    if plain.isascii() and plain.isdigit() and 1 <= int(plain[:4]) <= len(values) and len(plain) < 4:
        return values[int(plain) - 1]
    begun = [v for v in values if v.startswith(plain)]
    if len(begun) == 1 and len(plain) >= 3:
        return begun[0]
    near = difflib.get_close_matches(plain, values, n=1, cutoff=0.6)
    meant = f" Did you mean '{near[0]}'?" if near else ""
    raise WrongAnswer(f"'{plain[:60]}' is not one of the answers.{meant} {expected(question)}")


def _choices(question: Question, plain: str) -> tuple[str, ...]:
    parts = [part.strip() for part in re.split(r",|;|\band\b", plain) if part.strip()]
    if not parts:
        raise WrongAnswer(f"There was no answer. {expected(question)}")
    if any(part in DONT_KNOW for part in parts):
        raise WrongAnswer("'I don't know' stands alone. Leave the rest out, or leave it out.")
    found = tuple(dict.fromkeys(_choice(question, part) for part in parts))
    single = [value for value in found if value in question.alone]
    if single and len(found) > 1:
        raise WrongAnswer(
            f"'{single[0]}' and '{next(v for v in found if v != single[0])}' can not both be true."
        )
    return tuple(value for value in question.values if value in found)


def _number(question: Question, plain: str) -> int:
    if not re.fullmatch(r"[0-9]{1,6}", plain):
        raise WrongAnswer(f"'{plain[:60]}' is no whole number. {expected(question)}")
    number = int(plain)
    if not question.least <= number <= question.greatest:
        raise WrongAnswer(f"{number} can not be. {expected(question)}")
    return number


def _day(question: Question, plain: str, today: date) -> date:
    day = day_from(plain, today)
    if day is None:
        near = difflib.get_close_matches(plain, list(question.values), n=1, cutoff=0.6)
        meant = f" Did you mean '{near[0]}'?" if near else ""
        raise WrongAnswer(f"'{plain[:60]}' is no day that can be read.{meant} {expected(question)}")
    if question.past is True and day > today:
        raise WrongAnswer(f"{in_words(day)} is still to come; this is about what was. {expected(question)}")
    if question.past is False and day < today:
        raise WrongAnswer(f"{in_words(day)} is over; this is about what is to come. {expected(question)}")
    if not today.year - YEARS_BACK <= day.year <= today.year + YEARS_AHEAD:
        raise WrongAnswer(f"{in_words(day)} is too far away. {expected(question)}")
    return day


def day_from(words: str, today: date) -> date | None:
    """A day in words: 2024-02-29, today, yesterday, 6 weeks ago, in 3 days. None where it is none."""
    named = {"today": 0, "now": 0, "yesterday": -1, "tomorrow": 1}
    if words in named:
        return _moved(today, named[words], "day")
    if re.fullmatch(r"\d{4}-\d{2}-\d{2}", words, re.ASCII):
        try:
            return date.fromisoformat(words)
        except ValueError:
            return None
    told = _RELATIVE.fullmatch(words)
    if told is None or bool(told[1]) == bool(told[4]):
        return None
    count = int(told[2]) if told[2].isdigit() else 1
    return _moved(today, count if told[1] else -count, told[3])


def _moved(today: date, count: int, unit: str) -> date | None:
    try:
        if unit in ("month", "year"):
            return add_months(today, count * (12 if unit == "year" else 1))
        return today + timedelta(days=count * (7 if unit == "week" else 1))
    except (ValueError, OverflowError):
        return None
