"""Asking one question after the other: what is known is not asked, what was answered can be taken back.

Pure: words in, the next question out. The same for keys and for voice.
"""

from __future__ import annotations

from collections.abc import Collection, Iterable, Mapping
from dataclasses import dataclass, field
from datetime import date

from assistant.core.answers import Plain, Question, Value, plain, read
from assistant.core.company import age_on, is_adult
from assistant.core.consultation import (
    SERVED,
    Consultation,
    Finding,
    Form,
    Result,
    Verdict,
    judge,
    open_questions,
    relevant,
)
from assistant.core.diary import RunRecord, last_relaxed
from assistant.core.household import Household
from assistant.core.kit_sheet import KitSheet


@dataclass
class Interview:
    """One person's consultation while it is asked. `known` is not asked: household or diary has it."""

    form: Form
    kit: KitSheet
    person: str
    today: date
    known: dict[str, Value] = field(default_factory=dict)
    answers: dict[str, Value] = field(default_factory=dict)
    allowed: dict[str, str] = field(default_factory=dict)
    refused: set[str] = field(default_factory=set)
    served: Collection[str] = SERVED
    asked_on: date | None = None
    confirmed: bool = False
    """What is known was shown, and what is no longer right taken out."""

    def everything(self) -> dict[str, Value]:
        """Every answer that counts; what was answered here counts before what was known."""
        return relevant(self.form, self.known | self.answers, self.kit, self.served)

    def question(self) -> Question | None:
        """The next question, or None when all are answered."""
        return next(iter(open_questions(self.form, self.known | self.answers, self.kit, self.served)), None)

    def place(self) -> tuple[int, int]:
        """Which question this is, and how many there are as far as can be seen now."""
        done = len([name for name in self.everything() if name in self.answers])
        left = len(open_questions(self.form, self.known | self.answers, self.kit, self.served))
        return done + 1, done + left

    def answer(self, text: str) -> Question:
        """Take `text` for the question at hand. Raises WrongAnswer, and then it is still open."""
        question = self.question()
        assert question is not None
        value = read(question, text, self.today)
        self.answers.pop(question.id, None)  # so that the order is the order of answering
        self.answers[question.id] = value
        return question

    def back(self) -> Question | None:
        """Take the last answer back; its question, or None where nothing was answered here yet."""
        counted = self.everything()
        for name in reversed(list(self.answers)):
            del self.answers[name]
            if name in counted:
                return self.form.get(name)
        return None

    def to_confirm(self) -> list[str]:
        """What is known and counts, and nobody looked at yet."""
        if self.confirmed:
            return []
        counted = self.everything()
        return [name for name in self.known if name in counted and name not in self.answers]

    def ask_again(self, names: Iterable[str]) -> None:
        """These are no longer known; they are asked."""
        for name in names:
            self.known.pop(name, None)

    def result(self) -> Result:
        return judge(
            self.form, self.known | self.answers, self.kit, self.today,
            asked_on=self.asked_on, allowed=self.allowed, served=self.served, person=self.person,
        )  # fmt: skip

    def to_clear(self) -> Finding | None:
        """What a professional might still say yes to and was not asked about here; None under a no."""
        found = self.result()
        if found.verdict is not Verdict.ASK:
            return None
        asks = [f for f in found.findings if f.verdict is Verdict.ASK and f.rule not in self.refused]
        return asks[0] if asks else None

    def kept(self) -> Consultation:
        """As it is kept."""
        return Consultation(
            person=self.person,
            kit=self.kit.name,
            asked_on=self.asked_on or self.today,
            answers={name: plain(value) for name, value in self.everything().items()},
            allowed=self.allowed,
        )


def already_known(
    form: Form, household: Household | None, person: str, runs: Iterable[RunRecord], today: date
) -> dict[str, Value]:
    """What the household's file and the diary tell, so that nobody has to."""
    told: dict[str, Plain | None] = {}
    mine = None if household is None else next((p for p in household.people if p.name == person), None)
    if household is not None and mine is not None:
        there = household.on_the_day_of(person)
        told["age"] = None if mine.born is None else age_on(mine.born, today)
        told["hair"] = mine.hair
        told["hearing"] = mine.hearing
        helper = there.the_helper()
        if helper is None:
            told["helper"] = "nobody"
        elif not is_adult(helper.adult, helper.born, today):
            told["helper"] = "child"
        elif helper.hearing is not None:
            told["helper"] = "adult" if helper.hearing == "well" else "adult who hears badly"
    last = last_relaxed(runs, person)
    if last is not None and last.day <= today:
        told["last_relaxer"] = last.day.isoformat()
        told["last_relaxer_class"] = last.product_class
    return {
        name: read(form.get(name), str(value), today) for name, value in told.items() if value is not None
    }


def from_household(answers: Mapping[str, Value], known: Mapping[str, Value]) -> dict[str, Value]:
    """What is known and was not answered."""
    return {name: value for name, value in known.items() if name not in answers}


def read_allowed(text: str) -> str:
    """Who said yes and when; "" for nobody. Raises ValueError with what would be an answer."""
    if text.casefold() in ("no", "n", "not yet", "nobody", "nobody has", "i don't know", "unknown"):
        return ""
    if len(text) < 4 or not any(c.isalpha() for c in text) or text.casefold() == "yes":
        raise ValueError("Say who said yes and when, such as: the pharmacist on 3 June. Or no.")
    if len(text) > 200:
        raise ValueError("That is longer than 200 characters.")
    return text
