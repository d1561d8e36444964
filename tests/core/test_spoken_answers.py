"""Answers by voice: each question's phrases, what they mean, and how they are said back."""

from __future__ import annotations

import calendar
from datetime import date

import pytest
from dateutil.parser import parse
from dateutil.relativedelta import relativedelta
from num2words import num2words

from assistant.app.consult import load_form
from assistant.core.answers import UNKNOWN, Question, read
from assistant.core.spoken_answers import ANSWER, BY_KEY, day_in_words, hearable, phrases, said_back, years
from assistant.core.spoken_numbers import MOST_NUMBER, YEARS, number_in_words, ordinal_in_words, year_in_words

TODAY = date(2026, 5, 20)
QUESTIONS = load_form().questions


def question(kind: str, **more: object) -> Question:
    return Question.model_validate(
        {"id": "when", "kind": kind, "ask": "When?", "why": "Because.", "unknown": "Then ask."} | more
    )


def meaning(asked: Question, today: date = TODAY) -> dict[str, str]:
    return {phrase.text: phrase.slot for phrase in phrases(asked, today) if phrase.name == ANSWER}


def test_numbers_ordinals_and_years_are_those_of_a_library() -> None:
    """num2words, hyphens and commas left out; it has no words for years with "oh" in them but the same ones."""

    def theirs(number: int, to: str) -> str:
        return str(num2words(number, to=to)).replace("-", " ").replace(",", "")

    assert all(number_in_words(n) == theirs(n, "cardinal") for n in range(MOST_NUMBER + 1))
    assert all(ordinal_in_words(n) == theirs(n, "ordinal") for n in range(1, 32))
    assert all(year_in_words(n) == str(num2words(n, to="year")).replace("-", " ") for n in YEARS)


@pytest.mark.parametrize("asked", QUESTIONS, ids=lambda q: q.id)
def test_every_phrase_is_an_answer_and_every_answer_has_a_phrase(asked: Question) -> None:
    """What is heard is read like what is typed; each word of a list, and "I don't know", can be said."""
    said = meaning(asked)
    values = {slot: read(asked, slot, TODAY) for slot in said.values()}
    assert set(asked.values) | {UNKNOWN} <= set(values)
    assert all(said_back(asked, value).strip() for value in values.values())
    assert any(phrase.name == BY_KEY for phrase in phrases(asked, TODAY))


@pytest.mark.parametrize("past", [True, False, None])
@pytest.mark.parametrize("today", [TODAY, date(2024, 2, 29), date(2027, 1, 1), date(2026, 12, 31)])
def test_days_are_those_of_a_library(past: bool | None, today: date) -> None:
    """Spans: dateutil's relativedelta. Names of days: dateutil's parser for day and month, and no day of that
    name that the question allows lies nearer."""
    said = meaning(question("date", past=past), today)
    for text, slot in said.items():
        day = None if slot == UNKNOWN else date.fromisoformat(slot)
        if day is None:
            continue
        assert past is None or (day <= today if past else day >= today), text
        if "ago" in text or text.startswith("in "):
            count, unit = text.removeprefix("in ").removesuffix(" ago").rsplit(" ", 1)
            n = (
                1
                if count in ("a", "one")
                else next(k for k in range(2, 40) if num2words(k).replace("-", " ") == count)
            )
            span = relativedelta(**{unit.removesuffix("s") + "s": n})  # type: ignore[arg-type]
            assert day == (today - span if "ago" in text else today + span), text
        elif text not in ("today", "yesterday", "tomorrow"):
            there = parse(f"{day.day} {calendar.month_name[day.month]} 2024").date()
            assert (day.month, day.day) == (there.month, there.day)
            assert calendar.month_name[day.month].lower() in text
            assert num2words(day.day, to="ordinal").replace("-", " ") in text
            near = [day + relativedelta(years=y) for y in (-4, -1, 1, 4)]
            for other in near:
                if (other.month, other.day) == (day.month, day.day) and abs(other - today) < abs(day - today):
                    assert past is not None and ((other > today) if past else (other < today)), (text, other)
    names = {slot[5:] for slot in said.values() if slot != UNKNOWN}
    assert len(names) == 366  # every day of a leap year has a name


@pytest.mark.parametrize(
    ("text", "slot"),
    [("the third of may", "2026-05-03"), ("may third", "2026-05-03"), ("the twenty first of may", "2025-05-21"),
     ("two months ago", "2026-03-20"), ("a week ago", "2026-05-13"), ("yesterday", "2026-05-19"),
     ("the twenty ninth of february", "2024-02-29"), ("i don't know", UNKNOWN)],
)  # fmt: skip
def test_worked_examples_of_days_that_were(text: str, slot: str) -> None:
    """By the calendar of 2026 (common knowledge, no source)."""
    assert meaning(question("date", past=True))[text] == slot


def test_a_day_is_said_back_with_its_year_and_the_year_can_be_put_right() -> None:
    """Said back, then taken apart again: the same day; "last year" moves it a year back."""
    asked = question("date", past=True)
    for slot in meaning(asked).values():
        if slot == UNKNOWN:
            continue
        day = date.fromisoformat(slot)
        words = day_in_words(day).split()
        at = next(i for i, word in enumerate(words) if word in calendar.month_name)
        year = " ".join(words[at + 1 :])
        month = list(calendar.month_name).index(words[at])
        number = next(n for n in range(1, 32) if ordinal_in_words(n) == " ".join(words[1 : at - 1]))
        assert (year_in_words(day.year), month, number) == (year, day.month, day.day)
    right = {phrase.text: phrase.slot for phrase in years(asked, date(2026, 5, 3), TODAY)}
    assert right["last year"] == right["twenty twenty five"] == "2025-05-03"
    assert "next year" not in right
    leap = {phrase.slot for phrase in years(asked, date(2024, 2, 29), TODAY)}
    assert leap == {f"{year}-02-29" for year in range(1996, 2025, 4)}


def test_several_words_are_heard_together_and_what_stands_alone_stays_alone() -> None:
    asked = question("several", values={"sound": "a", "red": "b", "sore": "c"}, alone=("sound",))
    said = meaning(asked)
    assert said["sore and red"] == "sore and red"
    assert read(asked, said["sore and red"], TODAY) == ("red", "sore")
    assert said["number two"] == said["it is red"] == "red"
    assert not any("sound" in text and "and" in text.split() for text in said)


def test_what_a_recogniser_cannot_hear_is_left_out_or_refused() -> None:
    """A hard word is told by its number; a question that would lose an answer is refused by name."""
    asked = question("one", values={"thio": "a", "lye": "b"})
    kept = hearable(phrases(asked, TODAY), lambda words: ("thio",))
    assert {p.slot for p in kept if p.name == ANSWER} == {"thio", "lye", UNKNOWN}
    assert not any("thio" in p.text.split() for p in kept)
    with pytest.raises(ValueError, match="no way to hear thio"):
        hearable(phrases(asked, TODAY), lambda words: ("thio", "number"))
