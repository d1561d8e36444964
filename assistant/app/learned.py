"""What this household has shown so far, put into a Program: its pace, its way to the tap, its strand tests.

The diary and the strand tests are read here and nowhere else before a plan or
a run. Called by `plan`, `run`, `practice` and the strand test.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass, replace
from datetime import date
from pathlib import Path

from assistant.app import load
from assistant.core import pace, practice
from assistant.core.diary import RunRecord, last_relaxed, zone_times
from assistant.core.household import Household
from assistant.core.kit_sheet import KitSheet
from assistant.core.pace import Belief
from assistant.core.practice import Walked
from assistant.core.program import Program
from assistant.core.strand_test import StrandResult, that_counts
from assistant.files.diary_file import load_runs
from assistant.files.household_file import load_kit
from assistant.files.strand_file import load_strands


@dataclass(frozen=True, slots=True)
class Learned:
    """What is believed of these hands and this way to the water, each with its reason in words."""

    household: Household
    pace: Belief
    pace_words: str
    walk_words: str
    strand: StrandResult | None = None


def learn(household: Household, runs: Iterable[RunRecord], today: date) -> Learned:
    """From the diary: the pace of whoever does this head, and the slowest walk of the practice runs."""
    every = tuple(runs)
    mine = [r for r in every if hands(r.person, r.helper) == hands(household.person, household.helper)]
    times = zone_times(mine, today)
    walks = [w for r in every if (w := practice.walked(r)) is not None]
    known = practice.with_walk(household, walks)
    return Learned(
        known,
        pace.learned(times, Belief.within(household.pace.within_factor)),
        pace.learned_from(times),
        walk_words(known, walks),
    )


def hands(person: str, helper: str | None) -> str:
    """Whose pace a run shows: the helper's, or one's own on one's own head."""
    return f"helper {helper}" if helper is not None else f"alone {person}"


def walk_words(household: Household, walks: list[Walked]) -> str:
    """Where the walk to the water comes from."""
    seconds = f"{household.water.walk_seconds:.0f} s"
    if not walks:
        return f"{seconds}, as the household's file has it; a practice run measures it"
    if len(walks) == 1:
        return f"{seconds}, as the practice run measured it"
    return f"{seconds}, the slowest of {len(walks)} practice runs"


def load_learned(
    routine: Path, kit: Path, household: Household, today: date, *, with_strand: bool = True
) -> tuple[Program, Learned]:
    """The Program with everything learned in it; without the strand test where no cream is opened.

    Raises BadFile or Refused.
    """
    runs = load_runs()
    known = learn(household, runs, today)
    if with_strand:
        known = replace(known, strand=strand_that_counts(household, load_kit(kit), runs, today))
    program = load.load_program(
        routine, kit, known.household, strand=known.strand, pace=known.pace, today=today
    )
    return program, known


def strand_that_counts(
    household: Household, kit: KitSheet, runs: Iterable[RunRecord], today: date
) -> StrandResult | None:
    """The strand test of today's person that counts with this kit. Raises BadFile."""
    person = household.the_person()
    last = last_relaxed(runs, person.name)
    results = load_strands(person.name, kit.name)
    return that_counts(results, person.hair, today, None if last is None else last.day)
