"""The consultation with its files: what is known, what is answered, what is kept; the gate before a run."""

from __future__ import annotations

from collections.abc import Mapping
from datetime import date
from pathlib import Path
from typing import Annotated, Literal

from pydantic import Field

from assistant.core.answers import Value, holds
from assistant.core.consultation import (
    FRESH_DAYS,
    Consultation,
    Form,
    Verdict,
    follows,
    from_plain,
    judge,
    open_questions,
    other_hair,
    still_go,
)
from assistant.core.diary import last_relaxed
from assistant.core.interview import Interview, already_known, from_household
from assistant.core.kit_sheet import KitSheet, Sheet
from assistant.core.reasons import Reason
from assistant.files import consultation_file, diary_file, household_file
from assistant.files.complaint import BadFile, Complaint
from assistant.files.places import routines_folder
from assistant.files.yaml_file import Document, load
from assistant.files.yaml_file import read as read_yaml

RULES = "consultation/rules.yaml"
TODAY = ("age", "hearing", "helper")
"""What the household's file says better than an answer of weeks ago."""


class AnswersFile(Sheet):
    """A consultation answered in a file."""

    schema_version: Literal[1] = Field(1, alias="schema")
    person: Annotated[str, Field(max_length=40)] = ""
    asked_on: date | None = Field(None, description="the day of the answers, where that is not today")
    answers: dict[str, str | int | tuple[str, ...]] = Field(
        description="the questions' names and what is answered"
    )
    allowed: dict[str, Annotated[str, Field(min_length=2, max_length=200)]] = Field(
        {}, description="rules that say ask, and which professional said yes, and when"
    )


def load_form() -> Form:
    """The shipped questions and rules. Raises BadFile."""
    return load(routines_folder() / RULES, Form)


def begin(kit: KitSheet, person: str | None, today: date) -> Interview:
    """A consultation for `person` (None: the household file's person), what is known filled in."""
    form = load_form()
    household = household_file.find_household()
    name = person or (household.person if household is not None else "the person")
    if household is not None and person is not None and person not in [p.name for p in household.people]:
        known = ", ".join(p.name for p in household.people)
        raise BadFile(
            [Complaint(person, 0, 0, f"'{person}' is not of this household", f"there are: {known}")]
        )
    return Interview(
        form, kit, name, today, already_known(form, household, name, diary_file.load_runs(), today)
    )


def draft_of(interview: Interview) -> Consultation | None:
    """A consultation of this person for this kit that was begun and not finished."""
    return consultation_file.load_consultation(interview.person, interview.kit.name, draft=True)


def take_up(interview: Interview, draft: Consultation) -> int:
    """Go on where it was left; how many answers were kept. On another day the daily questions come again."""
    answers, _ = from_plain(interview.form, draft.answers, draft.asked_on)
    again = {q.id for q in interview.form.questions if q.again and draft.asked_on != interview.today}
    kept = {n: v for n, v in answers.items() if n not in again}
    # What nobody remembered counts from the day that was said; asked on another day it would count anew.
    if draft.asked_on != interview.today:
        kept = {n: v for n, v in kept.items() if v != "unknown"}
    interview.answers |= kept
    interview.allowed |= draft.allowed
    return len(kept)


def keep(interview: Interview, *, draft: bool = False) -> Path:
    """Raises OSError."""
    return consultation_file.save_consultation(interview.kept(), draft=draft)


def from_file(path: Path, kit: KitSheet, person: str | None, today: date) -> Interview:
    """A consultation answered in a file; what is missing there and known from the household is filled in.

    Raises BadFile, each wrong answer at its place and every missing one by name.
    """
    document = read_yaml(path)
    told = document.into(AnswersFile)
    interview = begin(kit, person or _known_person(told.person), today)
    if told.person and person is None:
        interview.person = told.person
    asked_on = told.asked_on or today
    if asked_on > today:
        raise BadFile([document.complain(("asked_on",), "this day is still to come", f"today is {today}")])
    answers, wrong, complaints = read_answers(interview.form, document, told, asked_on)
    interview.known = from_household(answers, interview.known)
    interview.answers = answers
    interview.allowed = dict(told.allowed)
    interview.asked_on = asked_on
    missing = [
        q
        for q in open_questions(interview.form, interview.known | answers, kit, interview.served)
        if q.id not in wrong
    ]
    complaints += [
        document.complain(
            ("answers",),
            f"'{q.id}' is not answered: {worded(q.ask, interview.person)}",
            "'unknown' is an answer",
        )
        for q in missing
    ]
    if complaints:
        raise BadFile(complaints)
    return interview


def read_answers(
    form: Form, document: Document, told: AnswersFile, asked_on: date
) -> tuple[dict[str, Value], dict[str, str], list[Complaint]]:
    """The answers, what is wrong with which, and every complaint at its place; what is missing is not looked at."""
    answers, wrong = from_plain(form, told.answers, asked_on)
    complaints = []
    for name, words in wrong.items():
        known = [q.id for q in form.questions]
        hint = "" if name in known else f"there are {', '.join(known)}"
        complaints.append(document.complain(("answers", name), words, hint))
    if answers.get("last_relaxer") == "never" and answers.get("last_relaxer_class", "unknown") != "unknown":
        words = "never relaxed, and yet a class of relaxer is given"
        complaints.append(
            document.complain(("answers", "last_relaxer_class"), words, "one of the two is wrong")
        )
    rules = {rule.id: rule for rule in form.rules}
    for name in told.allowed:
        place = ("allowed", name)
        if name not in rules:
            complaints.append(document.complain(place, f"there is no rule '{name}'"))
        elif rules[name].verdict.value != "ask":
            hint = "only what says ask can be allowed"
            complaints.append(document.complain(place, f"nobody's yes lifts '{name}'", hint))
    return answers, wrong, complaints


def _known_person(name: str) -> str | None:
    """A name from an answers file need not be of the household."""
    household = household_file.find_household()
    return name if household is not None and name in [p.name for p in household.people] else None


def worded(text: str, person: str) -> str:
    """A question's words with the person's name."""
    return text.replace("{person}", person)


def template(form: Form, kit: KitSheet, person: str) -> str:
    """An answers file to fill in: every question with its words and its answers, nothing answered yet."""
    lines = [
        "# Answers for combside consult --answers. Put one of the words behind each colon; unknown is "
        "an answer.",
        "schema: 1",
    ]
    lines += [f"person: {person}", "answers:"]
    facts = follows({}, kit)
    for question in form.questions:
        if not holds(question.only_if, facts) and "kit_patch_test" in question.only_if:
            continue
        lines += ["", f"  # {worded(question.ask, person)}", f"  # {question.why}"]
        if question.only_if:
            lines.append(
                "  # Only where what was answered before makes it a question; leave it out otherwise."
            )
        lines += [f"  #   {value}: {words}" for value, words in question.values.items()]
        if question.kind == "date":
            lines.append("  #   or a day: 2024-02-29")
        if question.kind == "number":
            lines.append(f"  #   a whole number from {question.least} to {question.greatest}")
        if question.kind == "words":
            lines.append("  #   or your own words")
        lines.append(f"  {'# ' if question.only_if else ''}{question.id}: ")
    lines += [
        "",
        "# Rules that said ask, and who said yes: {medicines: the pharmacist on 3 June}",
        "allowed: {}",
    ]
    return "\n".join(lines) + "\n"


# -- the gate before a run ---------------------------------------------------------------


def again_today(form: Form) -> tuple[tuple[str, str, tuple[str, ...]], ...]:
    """What a run asks again on the day: name, words, and the words that may be answered."""
    return tuple((q.id, q.ask, tuple(q.values)) for q in form.questions if q.again)


def may_test_strand(person: str, kit: KitSheet, today: date) -> tuple[Reason, ...]:
    """Nothing where cream may go on one strand: a wait may still run, a no and an ask may not stand.

    Raises BadFile.
    """
    kept = consultation_file.load_consultation(person, kit.name)
    form = load_form()
    words = f"There is no consultation for {person} and this kit that holds today: combside consult"
    none = (Reason("no consultation", words, "household"),)
    if kept is None or not 0 <= (today - kept.asked_on).days <= FRESH_DAYS:
        return none
    answers, wrong = from_plain(form, kept.answers, kept.asked_on)
    if wrong or open_questions(form, answers, kit):
        return none
    found = judge(
        form, answers, kit, today, asked_on=kept.asked_on, allowed=kept.allowed, person=person
    ).findings
    return tuple(f.reason for f in found if f.verdict in (Verdict.NO, Verdict.ASK))


def may_run(
    person: str, kit: KitSheet, today: date, again: Mapping[str, str], *, treats: str | None = None
) -> tuple[Reason, ...]:
    """Nothing where a run may start today; or every reason why not.

    `again`: today's answers in words to what is asked again, {"scalp": "sound"}.
    `treats`: which hair the routine is for, as it says itself. Raises BadFile for a consultation or a diary that can not be read.
    """
    kept = consultation_file.load_consultation(person, kit.name)
    runs, form, household = diary_file.load_runs(), load_form(), household_file.find_household()
    last = last_relaxed(runs, person)
    known = already_known(form, household, person, runs, today)
    there = {name: known[name] for name in TODAY if name in known}
    reasons = still_go(
        form,
        kept,
        kit,
        today,
        person=person,
        again=again,
        last_run=None if last is None else last.day,
        there=there,
    )
    if reasons or kept is None or treats is None:
        return reasons
    answers, _ = from_plain(form, kept.answers, kept.asked_on)
    return other_hair(answers, treats, person)
