"""May this hair be relaxed with this kit, and from when?

Rules are data (`routines/consultation/rules.yaml`); here is how they are read
against the answers and the kit sheet. Pure: the day is handed in. Called by the
consultation, by the calendar, and by `run` before anything starts.

Mildness: go < wait < ask < no. Go lets a run start. Wait ends by itself on a known
day. Ask ends only when a professional says yes. No is lifted by nobody's word.
The severest reason is the verdict; a day is promised (`not_before`) only while
nothing says no.
"""

from __future__ import annotations

import math
import string
from collections.abc import Collection, Iterator, Mapping
from dataclasses import dataclass
from datetime import date, timedelta
from enum import Enum
from typing import Annotated, Literal

from pydantic import Field, model_validator

from assistant.core.answers import (
    UNKNOWN,
    Plain,
    Question,
    Value,
    When,
    WrongAnswer,
    add_months,
    holds,
    in_words,
    read,
    shown,
    tokens,
)
from assistant.core.company import ADULT
from assistant.core.kit_sheet import KitSheet, Sheet
from assistant.core.reasons import Reason

SERVED = ("hydroxide", "hydroxide to mix")
"""Product classes the shipped routines are made for."""
FRESH_DAYS = 56
"""Answers older than this are asked again: the shortest time between two relaxers."""

Answers = Mapping[str, Value]
Mark = Literal["leaflet", "published", "common practice"]


class Verdict(str, Enum):
    """What a consultation answers, mildest first."""

    GO = "go"
    WAIT = "wait"
    ASK = "ask"
    NO = "no"

    @property
    def severity(self) -> int:
        return list(Verdict).index(self)


class Wait(Sheet):
    """From the day of an answer on, for so many days, or for what the leaflet asks where that is longer."""

    after: str
    days: Annotated[int, Field(ge=0, le=366)] = 0
    months: Annotated[int, Field(ge=0, le=12)] = 0
    leaflet: Literal["", "relaxer_weeks", "colour_weeks", "braids_weeks", "dandruff_weeks", "wash_days"] = ""
    before_too: bool = Field(default=False, description="the same time before that day as well")


class Rule(Sheet):
    """One rule with its source."""

    id: Annotated[str, Field(pattern=r"^[a-z][a-z_]*$")]
    verdict: Verdict
    when: When = Field(default={}, description="holds where every line does")
    wait: Wait | None = None
    words: Annotated[str, Field(min_length=3, max_length=240)]
    change: Annotated[str, Field(max_length=160)] = ""
    mark: Mark
    source: Annotated[str, Field(min_length=3)]

    @model_validator(mode="after")
    def _whole(self) -> Rule:
        if self.verdict is Verdict.WAIT and self.wait is None:
            raise ValueError(f"rule '{self.id}' says wait and has no wait")
        if self.verdict is not Verdict.GO and not self.change:
            raise ValueError(f"rule '{self.id}' stands in the way and does not say what would change it")
        if self.wait is None and not self.when:
            raise ValueError(f"rule '{self.id}' has neither when nor wait: it would always hold")
        return self


FOLLOWS: dict[str, tuple[str, ...]] = {
    "kit_class": ("hydroxide", "hydroxide to mix", "thio", "bisulfite", "formaldehyde"),
    "kit_served": ("yes", "no"),
    "kit_patch_test": ("yes", "no"),
    "chart_row": ("yes", "no", UNKNOWN),
    "first_relaxer": ("yes", "no"),
    "age_group": (
        "below the leaflet's age", "child without a leaflet's age", "child", "adult", UNKNOWN,
    ),
}  # fmt: skip
"""What follows from the answers and the kit sheet, with every word it can be."""
SLOTS = ("from", "until", "better", "days", "person", "least_age", "kit")


class Form(Sheet):
    """Questions and rules, checked against each other."""

    schema_version: Literal[1] = Field(default=1, alias="schema")
    cautions: tuple[str, ...] = Field(description="said beside every result")
    questions: Annotated[tuple[Question, ...], Field(min_length=1)]
    rules: Annotated[tuple[Rule, ...], Field(min_length=1)]

    @model_validator(mode="after")
    def _fits_together(self) -> Form:
        for what, ids in (
            ("questions", [q.id for q in self.questions]),
            ("rules", [r.id for r in self.rules]),
        ):
            if len(set(ids)) != len(ids):
                raise ValueError(f"two {what} have the same id")
        for owner, when in self._conditions():
            for block in when if isinstance(when, tuple) else (when,):
                for name, words in block.items():
                    for word in set(words) - self._possible(name, owner):
                        raise ValueError(f"'{owner}' asks whether {name} is '{word}', which it never is")
        for rule in self.rules:
            if rule.wait is not None and self.get(rule.wait.after).kind != "date":
                raise ValueError(f"rule '{rule.id}' waits after '{rule.wait.after}', which is no day")
            for text in (rule.words, rule.change):
                for _, slot, _, _ in string.Formatter().parse(text):
                    if slot is not None and slot not in SLOTS and slot not in FOLLOWS:
                        self.get(slot)
        return self

    def _conditions(self) -> Iterator[tuple[str, When]]:
        yield from ((q.id, q.only_if) for q in self.questions)
        yield from ((r.id, r.when) for r in self.rules)

    def _possible(self, name: str, owner: str) -> set[str]:
        if name in FOLLOWS:
            return set(FOLLOWS[name])
        question = self.get(name, owner)
        free = {"date": {"date"}, "number": {"number"}, "words": {"named"}}.get(question.kind, set())
        return {*question.values, UNKNOWN, *free}

    def get(self, name: str, owner: str = "a rule") -> Question:
        """The question of this id. Raises ValueError where there is none."""
        for question in self.questions:
            if question.id == name:
                return question
        raise ValueError(f"{owner} speaks of '{name}', which nobody asks")


@dataclass(frozen=True, slots=True)
class Finding:
    """A reason with what it does: stands in the way until `until`, or is only said (go)."""

    rule: str
    verdict: Verdict
    words: str
    mark: str
    source: str
    change: str = ""
    until: date | None = None

    @property
    def reason(self) -> Reason:
        return Reason(self.rule, self.words, self.mark)


@dataclass(frozen=True, slots=True)
class Result:
    """The answer: `findings` stand in the way, severest first; `notes` are only said."""

    verdict: Verdict
    not_before: date | None
    findings: tuple[Finding, ...]
    notes: tuple[Finding, ...]


class Consultation(Sheet):
    """Answers as they are kept: whose, for which kit, given when."""

    schema_version: Literal[1] = Field(default=1, alias="schema")
    person: Annotated[str, Field(min_length=1, max_length=40)]
    kit: Annotated[str, Field(min_length=1, max_length=80)]
    asked_on: date
    answers: dict[str, str | int | tuple[str, ...]]
    allowed: dict[str, Annotated[str, Field(min_length=2, max_length=200)]] = Field(
        default={}, description="rules that say ask, and which professional said yes, and when"
    )


def follows(answers: Answers, kit: KitSheet, served: Collection[str] = SERVED) -> dict[str, tuple[str, ...]]:
    """What follows from the kit sheet and the answers so far (the names are those of FOLLOWS)."""
    hair, age = answers.get("hair"), answers.get("age")
    row = UNKNOWN if hair == UNKNOWN else "yes" if any(r.hair == hair for r in kit.chart) else "no"
    facts: dict[str, tuple[str, ...]] = {
        "kit_class": (kit.product_class,),
        "kit_served": ("yes" if kit.product_class in served else "no",),
        "kit_patch_test": ("no" if kit.patch_test_hours is None else "yes",),
    }
    if hair is not None:
        facts["chart_row"] = (row,)
    if "last_relaxer" in answers:
        facts["first_relaxer"] = ("yes" if answers["last_relaxer"] == "never" else "no",)
    if age is not None:
        facts["age_group"] = (_age_group(age, kit.least_age),)
    return facts


def _age_group(age: Value, least: int | None) -> str:
    if not isinstance(age, int):
        return UNKNOWN
    if least is not None and age < least:
        return "below the leaflet's age"
    if age >= ADULT:
        return "adult"
    return "child" if least is not None else "child without a leaflet's age"


def relevant(
    form: Form, answers: Answers, kit: KitSheet, served: Collection[str] = SERVED
) -> dict[str, Value]:
    """The answers to questions that these answers and this kit make somebody ask; the rest is left out."""
    facts = follows(answers, kit, served)
    kept: dict[str, Value] = {}
    for question in form.questions:
        if question.id in answers and holds(question.only_if, facts):
            kept[question.id] = answers[question.id]
            facts[question.id] = tokens(question, answers[question.id])
    return kept


def open_questions(
    form: Form, answers: Answers, kit: KitSheet, served: Collection[str] = SERVED
) -> tuple[Question, ...]:
    """Questions still to be asked, as far as can be seen from the answers so far, in their order."""
    facts = follows(answers, kit, served)
    kept = relevant(form, answers, kit, served)
    facts |= {name: tokens(form.get(name), value) for name, value in kept.items()}
    return tuple(q for q in form.questions if q.id not in kept and holds(q.only_if, facts))


def judge(
    form: Form,
    answers: Answers,
    kit: KitSheet,
    today: date,
    *,
    asked_on: date | None = None,
    allowed: Mapping[str, str] | None = None,
    served: Collection[str] = SERVED,
    person: str = "the person",
) -> Result:
    """The result for `today` of answers given on `asked_on` (default: today).

    `allowed` names rules that say ask and who said yes. Raises ValueError while
    a question is open: nobody is cleared by what was not asked.
    """
    still = open_questions(form, answers, kit, served)
    if still:
        raise ValueError(f"not everything was asked yet: {', '.join(q.id for q in still)}")
    case = _Case(
        form, relevant(form, answers, kit, served), kit, asked_on or today, allowed or {}, served, person
    )
    day, found = today, dict[str, Finding]()
    while True:
        waits = [f for f in case.findings(day) if f.verdict is not Verdict.GO]
        found |= {f.rule: f for f in waits if f.rule not in found}
        ends = [f.until for f in waits if f.until is not None]
        if not ends:
            break
        day = max(ends)
    notes = tuple(f for f in case.findings(day) if f.verdict is Verdict.GO)
    inway = tuple(sorted(found.values(), key=lambda f: -f.verdict.severity))
    verdict = max((f.verdict for f in inway), key=lambda v: v.severity, default=Verdict.GO)
    dated = verdict in (Verdict.WAIT, Verdict.ASK) and day > today
    return Result(verdict, day if dated else None, inway, notes)


@dataclass(frozen=True, slots=True)
class _Case:
    """One set of answers, ready to be asked about any day."""

    form: Form
    answers: dict[str, Value]
    kit: KitSheet
    asked_on: date
    allowed: Mapping[str, str]
    served: Collection[str]
    person: str

    def findings(self, day: date) -> list[Finding]:
        facts = follows(self.answers, self.kit, self.served)
        facts |= {name: tokens(self.form.get(name), value) for name, value in self.answers.items()}
        return [f for rule in self.form.rules if holds(rule.when, facts) for f in self._of(rule, day)]

    def _of(self, rule: Rule, day: date) -> Iterator[Finding]:
        slots = self._slots()
        mark, source, until = str(rule.mark), rule.source, None
        if rule.wait is not None:
            since = self._since(rule.wait)
            if since is None:
                return
            days, by_leaflet = self._days(rule.wait)
            until = add_months(since, rule.wait.months) + timedelta(days=days)
            begins = since - timedelta(days=days) if rule.wait.before_too else date.min
            if not begins < day < until:
                return
            if by_leaflet:
                mark, source = "leaflet", f"the kit's leaflet; it asks for more than this: {rule.source}"
            slots |= {"from": in_words(since), "until": in_words(until), "days": str(days)}
            slots["better"] = in_words(add_months(since, 2))
        words = rule.words.format_map(slots)
        verdict = rule.verdict
        if verdict is Verdict.ASK and rule.id in self.allowed:
            verdict = Verdict.GO
            words += f" Allowed by {self.allowed[rule.id]}."
        yield Finding(rule.id, verdict, words, mark, source, rule.change.format_map(slots), until)

    def _since(self, wait: Wait) -> date | None:
        """The day a wait counts from; what nobody remembers counts from the day it was asked."""
        value = self.answers.get(wait.after)
        if isinstance(value, date):
            return value
        return self.asked_on if value == UNKNOWN and not wait.before_too else None

    def _days(self, wait: Wait) -> tuple[int, bool]:
        """The later of the rule's days and the leaflet's, and whether that is the leaflet's."""
        asked: float | None = getattr(self.kit.waits, wait.leaflet) if wait.leaflet else None
        if asked is None:
            return wait.days, False
        days = math.ceil(asked * (7 if wait.leaflet.endswith("weeks") else 1))
        return max(wait.days, days), days > wait.days

    def _slots(self) -> dict[str, str]:
        slots = {q.id: "" for q in self.form.questions}
        slots |= {name: shown(value) for name, value in self.answers.items()}
        slots |= {name: words[0] for name, words in follows(self.answers, self.kit, self.served).items()}
        slots |= {"person": self.person, "kit": self.kit.name, "least_age": str(self.kit.least_age)}
        return slots


def from_plain(
    form: Form, kept: Mapping[str, Plain], asked_on: date
) -> tuple[dict[str, Value], dict[str, str]]:
    """Answers as they stand in a file, and beside them what is wrong with which (by question id)."""
    answers: dict[str, Value] = {}
    wrong: dict[str, str] = {}
    for name, given in kept.items():
        try:
            question = form.get(name)
        except ValueError:
            wrong[name] = f"nobody asks '{name}'"
            continue
        text = ", ".join(given) if isinstance(given, tuple) else str(given)
        try:
            answers[name] = read(question, text, asked_on)
        except WrongAnswer as error:
            wrong[name] = str(error)
    return answers, wrong


def still_go(
    form: Form,
    kept: Consultation | None,
    kit: KitSheet,
    today: date,
    *,
    person: str,
    again: Mapping[str, str] | None = None,
    last_run: date | None = None,
    there: Answers | None = None,
    served: Collection[str] = SERVED,
) -> tuple[Reason, ...]:
    """Nothing where a run may start today, or every reason why not.

    `again` holds today's answers, in words, to the questions that are asked
    again on the day (the scalp); `last_run` is the day this person last had
    cream on the head, from the diary: one consultation is good for one run.
    `there`: what the household's file says of who is there today; it counts before
    what was answered then.
    """

    def no(rule: str, words: str) -> tuple[Reason, ...]:
        return (Reason(rule, words, "household"),)

    if kept is None:
        return no(
            "no consultation", f"There is no consultation for {person} and this kit yet: combside consult"
        )
    if (kept.person, kept.kit) != (person, kit.name):
        return no("other consultation", f"That consultation is for {kept.person} and the kit '{kept.kit}'.")
    if kept.asked_on > today:
        return no(
            "clock",
            f"The consultation is of {in_words(kept.asked_on)}, which is still to come. Set the clock.",
        )
    if today - kept.asked_on > timedelta(days=FRESH_DAYS):
        return no(
            "old consultation",
            f"The consultation is of {in_words(kept.asked_on)}. Ask again: combside consult",
        )
    if last_run is not None and last_run >= kept.asked_on:
        return no(
            "used consultation", f"There was a run on {in_words(last_run)} since. Ask again: combside consult"
        )
    answers, wrong = from_plain(form, kept.answers, kept.asked_on)
    for question in form.questions:
        if question.again:
            text = (again or {}).get(question.id)
            if text is None:
                return no("asked again", f"To be asked again today: {question.ask}")
            try:
                answers[question.id] = read(question, text, today)
            except WrongAnswer as error:
                return no("asked again", str(error))
    answers |= there or {}
    if wrong or open_questions(form, answers, kit, served):
        return no("open questions", "Some answers are missing or no longer fit this kit: combside consult")
    result = judge(
        form, answers, kit, today, asked_on=kept.asked_on, allowed=kept.allowed, served=served, person=person
    )
    return tuple(f.reason for f in result.findings)


def other_hair(answers: Answers, treats: str, person: str) -> tuple[Reason, ...]:
    """Why a routine for hair that is `treats` is not for this hair: relaxed hair is never relaxed again."""
    never = answers.get("last_relaxer") == "never"
    if treats == "new growth" and never:
        words = f"This routine is for new growth; {person}'s hair was never relaxed. Take one for hair that never was."
        return (Reason("routine", words, "published"),)
    if treats == "never relaxed" and not never:
        words = f"This routine is for hair that was never relaxed; {person}'s was. New growth only, never over relaxed hair."
        return (Reason("routine", words, "published"),)
    return ()
