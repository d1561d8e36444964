"""`combside kit strand`: the test on one strand before the day, walked through or told; its result is kept.

Its options stand in `kit`; this is imported only when it is asked for, for the recognisers take seconds.
"""

from __future__ import annotations

import argparse
import json
from pathlib import Path

from pydantic import ValidationError

from assistant.app import load
from assistant.app.consult import may_test_strand
from assistant.app.keep import keep
from assistant.app.learned import load_learned, strand_that_counts
from assistant.cli import status
from assistant.cli.asking import Back, Stopped, Terminal
from assistant.cli.today import today_of
from assistant.cli.walking import own_household, walk
from assistant.clocks import wall_now
from assistant.core import strand_test
from assistant.core.household import Household
from assistant.core.kit_sheet import KitSheet
from assistant.core.reasons import Reason
from assistant.core.strand_test import StrandResult
from assistant.core.strand_walk import walk_strand
from assistant.files.complaint import BadFile, Complaint
from assistant.files.diary_file import load_runs
from assistant.files.household_file import find_kit, load_kit
from assistant.files.strand_file import load_strand, save_strand, strand_folder
from assistant.screens.harmless import harmless

HARMED = {
    "broke": "it came off, or snapped when it was pulled",
    "gummed": "it felt gummy, or stretched and stayed long",
    "changed colour": "it is of another colour now",
    "not told": "one of these, or something else that is wrong with it",
}


def carry_out(chosen: argparse.Namespace) -> int:
    household, today = own_household(), today_of(chosen)
    kit_path = find_kit(chosen.name)
    kit = load_kit(kit_path)
    if kit.example:
        words = "This is the invented example kit. Copy your own kit's leaflet: combside kit new."
        raise load.Refused([Reason("kit sheet", words, "leaflet")])
    if chosen.outcome is not None:
        by_hand = told(chosen, household, kit)
        save_strand(by_hand, f"{wall_now():%Y-%m-%dT%H-%M-%S-%f}")
        return show(chosen, household, kit_path)
    refused = may_test_strand(household.person, kit, today)
    if refused:
        raise load.Refused(refused)
    routine = load.find_routine(chosen.routine)
    program, _ = load_learned(routine, kit_path, household, today, with_strand=False)
    program = walk_strand(program)
    _, journal = walk(program, chosen, "strand test")
    record = keep(program, journal, kind="strand test")
    result = load_strand(record.id)
    if result is None:
        print("No strand was tested to an end; nothing was kept but the diary entry.")
        return status.NO
    if result.outcome == "harmed":
        save_strand(result.model_copy(update={"outcome": which_harm(Terminal())}), record.id)
    return show(chosen, household, kit_path)


def told(chosen: argparse.Namespace, household: Household, kit: KitSheet) -> StrandResult:
    """The test as it was told on the command line. Raises BadFile and Refused."""
    person = household.the_person()
    if person.hair is None:
        words = f"The household file does not say what hair {person.name} has."
        raise load.Refused([Reason("hair", words, "household")])
    if chosen.minutes is None:
        raise BadFile([Complaint("--outcome", 0, 0, "how many minutes was it on?", "give --minutes too")])
    try:
        return StrandResult(
            person=person.name, kit=kit.name, hair=person.hair, on=today_of(chosen),
            outcome=chosen.outcome, minutes=chosen.minutes,
        )  # fmt: skip
    except ValidationError as error:
        wrong = error.errors()[0]["msg"].removeprefix("Value error, ")
        raise BadFile([Complaint("--minutes", 0, 0, wrong, "minutes from 1 to 240")]) from None


def which_harm(terminal: Terminal) -> str:
    """What was wrong with the strand; "harmed" where nobody is there to say it."""
    try:
        said = terminal.one_of("What was wrong with the strand?", HARMED, default="not told")
    except (Stopped, Back):
        said = "not told"
    return "harmed" if said == "not told" else said


def show(chosen: argparse.Namespace, household: Household, kit_path: Path) -> int:
    """What counts now. Status 1 where the strand says no, or leaves no time to work."""
    kit, person, today = load_kit(kit_path), household.the_person(), today_of(chosen)
    counts = strand_that_counts(household, kit, load_runs(), today)
    said = (
        None
        if counts is None or person.hair is None
        else strand_test.told(counts, kit, person.name, person.hair)
    )
    if counts is None:
        no, words = True, "This test is kept and does not count today: it has to be newer than the last run."
    elif isinstance(said, Reason):
        no, words = True, said.words
    elif said is not None and (short := too_short(chosen, household, kit_path)):
        no, words = True, short
    elif said is not None:
        no, words = False, f"{said.reason.words} That is the limit, at most."
    else:
        no, words = False, f"Not straight after {counts.minutes:g} minutes: the chart's time stays the limit."
    if chosen.json:
        kept = None if counts is None else counts.model_dump(mode="json", by_alias=True)
        print(json.dumps({"ok": not no, "counts": kept, "words": words}, indent=2, ensure_ascii=False))
    else:
        print(harmless(words))
        print(
            "Ask a licensed professional before anything else."
            if no
            else "Next: combside practice, or combside plan"
        )
        print(f"The tests lie in {strand_folder()}; what was typed wrong may be mended there.")
    return status.NO if no else status.DONE


def too_short(chosen: argparse.Namespace, household: Household, kit_path: Path) -> str:
    """Why the strand's time leaves none to work in; "" where it does, or something else is in the way."""
    try:
        load_learned(load.find_routine(chosen.routine), kit_path, household, today_of(chosen))
    except load.Refused as refused:
        return next((r.words for r in refused.reasons if r.rule == "too short"), "")
    return ""
