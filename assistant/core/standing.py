"""Where a household stands and what comes next, in plain words, so that nobody needs to know the commands."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from datetime import date, timedelta

from assistant.core.answers import in_words
from assistant.core.consultation import (
    FRESH_DAYS,
    Consultation,
    Form,
    Verdict,
    from_plain,
    judge,
    open_questions,
)
from assistant.core.diary import RunRecord, last_relaxed, next_days
from assistant.core.household import Household
from assistant.core.kit_sheet import KitSheet
from assistant.core.reasons import Reason
from assistant.core.strand_test import StrandResult, that_counts, told


@dataclass(frozen=True, slots=True)
class Standing:
    """What is so, line by line, and what comes next: words and the command."""

    lines: tuple[str, ...]
    next_words: str
    next_command: str


def standing(
    form: Form,
    household: Household | None,
    kits: Sequence[KitSheet],
    consultations: Iterable[tuple[Consultation, bool]],
    runs: Sequence[RunRecord],
    today: date,
    strands: Sequence[StrandResult] = (),
) -> Standing:
    """The standing today. `consultations` come with whether each is only begun (True)."""
    if household is None:
        return Standing(
            ("No household yet.",), "Say who is there and who helps whom", "combside household new"
        )
    person = household.person
    lines = [f"{person}'s hair, with {household.helper or 'nobody'} helping."]
    lines += _last(runs, person, today)
    if not kits:
        return Standing((*lines, "No kit sheet yet."), "Copy what the kit's leaflet says", "combside kit new")
    mine = [
        (c, draft) for c, draft in consultations if c.person == person and c.kit in {k.name for k in kits}
    ]
    finished = [c for c, draft in mine if not draft]
    begun = [c for c, draft in mine if draft]
    if not finished:
        if begun:
            return Standing(
                (*lines, f"The consultation of {in_words(begun[-1].asked_on)} is not finished."),
                "Go on with it",
                "combside consult",
            )
        return Standing(
            (*lines, "No consultation yet."), "Find out whether and from when", "combside consult"
        )
    newest = max(finished, key=lambda c: c.asked_on)
    kit = next(k for k in kits if k.name == newest.kit)
    with_kit = f"combside consult --kit '{kit.name}'" if len(kits) > 1 else "combside consult"
    last = last_relaxed(runs, person)
    if last is not None and last.day >= newest.asked_on:
        waits = [d for d in next_days(runs, person, kit) if d.what == "relaxer" and d.day > today]
        if waits:
            return Standing(
                (*lines,),
                f"The next relaxer: not before {in_words(waits[0].day)}. The days for a calendar",
                "combside diary next --calendar days.ics",
            )
        return Standing(
            (*lines, "Another relaxer needs a consultation of its own."),
            "Find out whether and from when",
            with_kit,
        )
    answers, wrong = from_plain(form, newest.answers, newest.asked_on)
    stale = newest.asked_on > today or today - newest.asked_on > timedelta(days=FRESH_DAYS)
    if stale or wrong or open_questions(form, answers, kit):
        lines.append(f"The consultation of {in_words(newest.asked_on)} no longer holds.")
        return Standing(tuple(lines), "Answer again", with_kit)
    result = judge(form, answers, kit, today, asked_on=newest.asked_on, allowed=newest.allowed, person=person)
    if result.verdict in (Verdict.NO, Verdict.ASK):
        lines += [f"Not cleared with {kit.name}."] + [f.words for f in result.findings]
        lines += [f"What would change it: {f.change}." for f in result.findings]
        return Standing(tuple(lines), "When that has changed", with_kit)
    since = "" if result.not_before is None else f" from {in_words(result.not_before)}"
    tested, no = _strand(household, kit, runs, today, strands)
    lines.append(
        f"Cleared{since} with {kit.name}: " + ("strand test next." if not tested else "strand test done.")
    )
    lines += [f.words for f in result.findings]
    if not tested:
        of_kit = f" '{kit.name}'" if len(kits) > 1 else ""
        return Standing(tuple(lines), "Test one strand, by the leaflet", f"combside kit strand{of_kit}")
    lines.append(tested)
    if no:
        return Standing(
            tuple(lines),
            "Ask a licensed professional; with another kit everything is asked anew",
            "combside kit new",
        )
    if result.verdict is Verdict.WAIT:
        return Standing(tuple(lines), "The days until then for a calendar", f"{with_kit} --calendar days.ics")
    if not any(r.kind == "practice" and r.person == person for r in runs):
        return Standing(
            tuple(lines),
            "Walk through it once with conditioner; then combside plan, then combside run",
            "combside practice",
        )
    return Standing(tuple(lines), "See whether it fits the time, then combside run", "combside plan")


def _strand(
    household: Household,
    kit: KitSheet,
    runs: Sequence[RunRecord],
    today: date,
    strands: Sequence[StrandResult],
) -> tuple[str, bool]:
    """What the strand test says, and whether that is a no; "" where none counts today."""
    person = household.the_person()
    last = last_relaxed(runs, person.name)
    mine = [s for s in strands if (s.person, s.kit) == (person.name, kit.name)]
    counts = that_counts(mine, person.hair, today, None if last is None else last.day)
    if counts is None or person.hair is None:
        return "", False
    said = told(counts, kit, person.name, person.hair)
    if isinstance(said, Reason):
        return said.words, True
    return (
        "The strand was not straight in time; the chart rules." if said is None else said.reason.words
    ), False


def _last(runs: Sequence[RunRecord], person: str, today: date) -> list[str]:
    last = last_relaxed(runs, person)
    if last is None:
        return []
    lines = [f"Last relaxer with combside: {in_words(last.day)}, {last.outcome}."]
    if last.incidents:
        lines.append(
            f"Something happened then: combside diary incident {last.id} prints a page for a doctor."
        )
    days = (today - last.day).days
    if 0 <= days < 14:
        lines += list(last.aftercare)
    return lines
