"""Which phrases answer a question by voice, what each of them means, and the words to say it back.

One small grammar a question. A phrase's `slot` is its meaning in the words that
`core.answers.read` takes (a word of the question's, digits, a day as 2024-02-29),
so that an answer by voice and one by keys end in the same value. A spoken day
without a year is the nearest one that the question allows; `said_back` names
the year, and `years` is the grammar for putting it right. English. Pure; called by
whoever asks by voice.
"""

from __future__ import annotations

import itertools
from collections.abc import Callable, Iterable, Iterator, Sequence
from datetime import date

from assistant.core.answers import (
    MONTHS,
    UNKNOWN,
    YEARS_BACK,
    Question,
    Value,
    WrongAnswer,
    day_from,
    read,
)
from assistant.core.hearing import LivePhrase, Risk
from assistant.core.spoken_numbers import number_in_words, ordinal_in_words, year_in_words

ANSWER, BY_KEY = "answer", "answer_by_key"
"""The names of the phrases: an answer, and the wish to type it."""
DONT_KNOW = ("i don't know", "i do not know", "i am not sure", "we don't know")
TYPE_IT = ("let me type it", "i will type it", "let us type it")
FROM_THE_LIST = ("number {n}", "answer number {n}")
MOST_BACK = {"day": 31, "week": 30, "month": 24, "year": 20}
"""Spans that are said ("six weeks ago"); what lies further back is told by its day or year."""
LONGEST_SAID_YEARS = 30
MOST_TOGETHER = 2
"""So many words of a list are heard in one answer."""


def phrases(question: Question, today: date) -> tuple[LivePhrase, ...]:
    """All that may be said to `question` on `today`."""
    said: dict[str, str] = {}
    for text, slot in _answers(question, today):
        said.setdefault(text, slot)
    answers = [LivePhrase(text, ANSWER, slot, Risk.ANSWER) for text, slot in said.items()]
    answers += [LivePhrase(text, ANSWER, UNKNOWN, Risk.ANSWER) for text in DONT_KNOW if text not in said]
    return (*answers, *(LivePhrase(text, BY_KEY, "", Risk.ANSWER) for text in TYPE_IT))


def hearable(
    said: Sequence[LivePhrase], unknown_words: Callable[[Iterable[str]], tuple[str, ...]]
) -> tuple[LivePhrase, ...]:
    """`said` without what this recogniser can never hear; a hard word of a list is still told by its number.

    Raises ValueError with the answers that no way is left for.
    """
    missing = set(unknown_words({word for phrase in said for word in phrase.text.split()}))
    kept = tuple(phrase for phrase in said if not missing & set(phrase.text.split()))
    lost = {phrase.slot for phrase in said} - {phrase.slot for phrase in kept}
    if lost:
        raise ValueError(f"no way to hear {', '.join(sorted(lost))}: {', '.join(sorted(missing))} unknown")
    return kept


def years(question: Question, day: date, today: date) -> tuple[LivePhrase, ...]:
    """The grammar for "Which year?": the same day in every year that the question allows."""
    found = []
    for year in range(today.year + 2, today.year - LONGEST_SAID_YEARS - 1, -1):
        other = _on(year, day.month, day.day)
        if other is None or not _allowed(question, other, today):
            continue
        ways = [year_in_words(year), f"in {year_in_words(year)}"]
        ways += {0: ["this year"], 1: ["last year"], -1: ["next year"]}.get(today.year - year, [])
        found += [LivePhrase(way, ANSWER, other.isoformat(), Risk.ANSWER) for way in ways]
    return tuple(found)


def said_back(question: Question, value: Value) -> str:
    """`value` in words that can be spoken: "the third of May twenty twenty six", "thirty four", "not known"."""
    if value == UNKNOWN:
        return "not known"
    if isinstance(value, date):
        return day_in_words(value)
    if isinstance(value, int):
        return number_in_words(value)
    return " and ".join(value) if isinstance(value, tuple) else value


def day_in_words(day: date) -> str:
    """ "the third of May twenty twenty six". Raises ValueError for a year without words (before 1900)."""
    return f"the {ordinal_in_words(day.day)} of {MONTHS[day.month - 1]} {year_in_words(day.year)}"


def _answers(question: Question, today: date) -> Iterator[tuple[str, str]]:
    """Each way with its slot."""
    values = list(question.values)
    for value in values:
        yield from ((way, value) for way in _ways(value))
    if question.kind in ("one", "several"):
        for n, value in enumerate(values, 1):
            yield from ((way.format(n=number_in_words(n)), value) for way in FROM_THE_LIST)
    if question.kind == "several":
        together = [value for value in values if value not in question.alone]
        for some in itertools.permutations(together, MOST_TOGETHER):
            yield " and ".join(some), " and ".join(some)
    elif question.kind == "number":
        for n in range(question.least, question.greatest + 1):
            words = number_in_words(n)
            yield f"{words} year{'s' * (n != 1)} old", str(n)
            yield words, str(n)
    elif question.kind == "date":
        yield from _days(question, today)


def _ways(value: str) -> tuple[str, ...]:
    """A word of a list in whole phrases, and as it is: one short word alone is badly heard."""
    by_word = {
        "yes": ("yes it is", "yes there is", "yes please", "the answer is yes", "yes"),
        "no": ("no it is not", "no there is not", "no not at all", "the answer is no", "no"),
        "none": ("none at all", "there is none", "the answer is none", "none"),
        "never": ("never at all", "it was never done", "the answer is never", "never"),
    }
    return by_word.get(value, (f"it is {value}", f"the answer is {value}", value))


def _days(question: Question, today: date) -> Iterator[tuple[str, str]]:
    """Spans, and days by their name; only those that the question allows."""
    told: list[tuple[str, date | None]] = [
        (word, day_from(word, today)) for word in ("today", "yesterday", "tomorrow")
    ]
    for unit, most in MOST_BACK.items():
        for n in range(1, most + 1):
            counts = (f"a {unit}", f"one {unit}") if n == 1 else (f"{number_in_words(n)} {unit}s",)
            for count in counts:
                told.append((f"{count} ago", day_from(f"{n} {unit}s ago", today)))
                told.append((f"in {count}", day_from(f"in {n} {unit}s", today)))
    for month, day in itertools.product(range(1, 13), range(1, 32)):
        nearest = _nearest(question, month, day, today)
        told.append((f"the {ordinal_in_words(day)} of {MONTHS[month - 1].lower()}", nearest))
        told.append((f"{MONTHS[month - 1].lower()} {ordinal_in_words(day)}", nearest))
    for text, when in told:
        if when is not None and _allowed(question, when, today):
            yield text, when.isoformat()


def _nearest(question: Question, month: int, day: int, today: date) -> date | None:
    """The nearest such day that the question allows (29 February: of a leap year); of two alike the one that was."""
    around = (_on(year, month, day) for year in range(today.year - 8, today.year + 9))
    fit = [found for found in around if found is not None and _allowed(question, found, today)]
    return min(fit, key=lambda found: (abs((found - today).days), found), default=None)


def _on(year: int, month: int, day: int) -> date | None:
    try:
        return date(year, month, day)
    except ValueError:
        return None


def _allowed(question: Question, day: date, today: date) -> bool:
    """Whether the question takes this day, by its own reading."""
    if day.year < today.year - YEARS_BACK:
        return False
    try:
        read(question, day.isoformat(), today)
    except WrongAnswer:
        return False
    return True
