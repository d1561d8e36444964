"""`combside plan`: can this head be done by these people within this limit, and what would help."""

from __future__ import annotations

import argparse
import json
import sys
from collections.abc import Mapping
from datetime import date
from pathlib import Path

from rich.console import Console
from rich.text import Text

from assistant.app import load
from assistant.app.learned import Learned, load_learned
from assistant.cli import status
from assistant.cli.progress import Progress
from assistant.cli.today import a_day, add_today, today_of
from assistant.core import growth
from assistant.core.diary import last_relaxed
from assistant.core.household import Household
from assistant.core.plan import Plan, plan
from assistant.core.program import Program
from assistant.files.complaint import BadFile, Complaint
from assistant.files.diary_file import load_runs
from assistant.files.household_file import find_household, find_kit, kit_paths
from assistant.files.places import routines_folder
from assistant.files.yaml_file import read
from assistant.screens.harmless import harmless
from assistant.screens.plan_picture import bars, minutes, percent, svg


def add_to(commands: argparse._SubParsersAction[argparse.ArgumentParser]) -> None:
    command = commands.add_parser(
        "plan",
        help="can this head be done within the limit, and when must the rinse be called",
        description="Draws up the clock plan and the chance of staying within every limit. Under 90 %, "
        "it says what would make it fit. Exit status 1: it does not fit as it is.",
        epilog="examples: combside plan touch_up --kit my_kit.yaml --household us.yaml;  "
        "combside plan touch_up --last-relaxer 2024-11-02;  combside plan --picture plan.svg",
    )
    command.add_argument(
        "routine",
        nargs="?",
        default=load.DEFAULT_ROUTINE,
        help="a shipped routine or a file (default: %(default)s)",
    )
    command.add_argument(
        "--kit",
        help="your kit sheet: a file or its name (default: your only one)",
    )
    command.add_argument(
        "--household", type=Path, help="your household file (default: your own, or the invented one)"
    )
    command.add_argument(
        "--last-relaxer",
        type=a_day,
        metavar="DAY",
        help="for new growth (default: the last run in the diary)",
    )
    command.add_argument("--picture", type=Path, metavar="P.svg", help="write the plan as a picture")
    command.add_argument("--json", action="store_true", help="print the plan as JSON")
    add_today(command)
    command.set_defaults(carry_out=carry_out)


def carry_out(chosen: argparse.Namespace) -> int:
    household, today, runs = household_of(chosen), today_of(chosen), load_runs()
    kit = find_kit(chosen.kit) if chosen.kit or kit_paths() else routines_folder() / load.EXAMPLE_KIT
    try:
        program, known = load_learned(load.find_routine(chosen.routine), kit, household, today)
    except load.Refused as refused:
        if chosen.json:
            print(json.dumps(refused_as_json(refused), indent=2))
        raise
    with Progress("planning", first="counting the chance in many tries"):
        made = plan(program, learned_from=known.pace_words)
    last = last_relaxed(runs, household.person)
    relaxed = chosen.last_relaxer or (last.day if last is not None else None)
    grown = growth_since(relaxed, today) if relaxed is not None else None
    if chosen.picture is not None:
        write_picture(chosen.picture, svg(made, program.routine.title))
    if chosen.json:
        print(json.dumps(as_json(program, made, grown, known), indent=2))
    else:
        show(program, made, grown, known)
        if chosen.picture is not None:
            print(f"\npicture: {chosen.picture}")
    return status.DONE if made.fits else status.NO


def household_of(chosen: argparse.Namespace) -> Household:
    """The one that is named, or their own, or the invented one. Raises BadFile."""
    if chosen.household is None:
        own = find_household()
        if own is not None:
            return own
    return read(chosen.household or routines_folder() / load.EXAMPLE_HOUSEHOLD).into(Household)


def growth_since(last: date, today: date) -> growth.Growth:
    """Raises BadFile for a relaxer that lies ahead."""
    try:
        return growth.since(last, today)
    except ValueError as error:
        hint = "give the day of the last relaxer"
        raise BadFile([Complaint("--last-relaxer", 0, 0, str(error), hint)]) from error


def write_picture(path: Path, text: str) -> None:
    """Raises BadFile when it can not be written there."""
    try:
        path.write_text(text, encoding="utf-8")
    except OSError as error:
        raise BadFile(
            [Complaint(str(path), 0, 0, f"the picture can not be written: {error.strerror}")]
        ) from error


def as_json(
    program: Program, made: Plan, grown: growth.Growth | None, known: Learned
) -> Mapping[str, object]:
    """The plan for machines. Times in minutes after the first cream."""
    found: dict[str, object] = {
        "routine": program.routine.name,
        "fits": made.fits,
        "chance": round(made.chance, 4),
        "limit_min": in_minutes(made.limit),
        "limit_reason": made.limit_words,
        "limit_means": program.kit.limit_means.value,
        "rinse_call_min": in_minutes(made.rinse_call),
        "warnings_min": [in_minutes(w) for w in made.warnings],
        "done_min": in_minutes(made.done),
        "done_likely_min": [in_minutes(d) for d in made.done_likely],
        "slack_min": in_minutes(made.slack),
        "binding_zone": made.binding_zone,
        "rinse_order": list(made.rinse_order),
        "zones": [
            {
                "name": z.name,
                "partings": z.partings,
                "start_min": in_minutes(z.start),
                "end_min": in_minutes(z.end),
                "due_min": in_minutes(z.due),
                "slack_min": in_minutes(z.slack),
            }
            for z in made.zones
        ],
        "options": [{"what": o.what, "chance": round(o.chance, 4), "fits": o.fits} for o in made.options],
        "notes": list(made.notes),
        "walk_s": round(known.household.water.walk_seconds, 1),
        "walk_reason": known.walk_words,
        "example_kit": program.kit.example,
    }
    if grown is not None:
        found["growth"] = {
            "days": grown.days,
            "expected_cm": round(grown.expected_cm, 2),
            "range_cm": [round(grown.least_cm, 2), round(grown.most_cm, 2)],
            "enough": grown.enough,
            "overlap_risk": grown.overlap_risk,
            "words": grown.words,
        }
    return found


def refused_as_json(refused: load.Refused) -> Mapping[str, object]:
    """No plan at all, for machines."""
    reasons = [{"rule": r.rule, "words": r.words, "mark": r.mark} for r in refused.reasons]
    return {"fits": False, "chance": 0.0, "zones": [], "options": [], "reasons": reasons}


def in_minutes(seconds: float) -> float:
    return round(seconds / 60, 3)


def show(program: Program, made: Plan, grown: growth.Growth | None, known: Learned) -> None:
    """The plan for people."""
    console = Console(highlight=False, markup=False, emoji=False, soft_wrap=True)
    if program.kit.example:
        console.print(Text("AN INVENTED EXAMPLE KIT: never use its times on a head.", "bold"))
    answer = Text("It fits", "bold green") if made.fits else Text("It does not fit as it is", "bold red")
    console.print(
        answer.append(f": chance {percent(made.chance)} of doing all of it within every limit", "none"),
        end="\n\n",
    )
    for line in bars(made, min(console.width, 100), unicode=writes_unicode()):
        console.print(line)
    console.print()
    console.print(f"{'zone':<14}{'partings':>8}{'start':>8}{'end':>8}{'limit':>8}{'slack':>8}")
    for z in made.zones:
        mark = "  binding" if z.name == made.binding_zone else ""
        console.print(
            f"{harmless(z.name):<14}{z.partings:>8}{minutes(z.start):>8}{minutes(z.end):>8}{minutes(z.due):>8}"
            f"{minutes(z.slack):>8}{mark}"
        )
    early, late = made.done_likely
    console.print(f"\nlimit       {made.limit / 60:g} min: {harmless(made.limit_words)}")
    console.print(f"rinse call  {minutes(made.rinse_call)} after the first cream")
    console.print(
        f"work done   {minutes(made.done)} expected; {minutes(early)} to {minutes(late)} in 4 of 5 cases"
    )
    console.print(f"warnings    {', '.join(minutes(w) for w in made.warnings)}")
    console.print(f"rinse order {harmless(', '.join(made.rinse_order))}")
    console.print(f"to the tap  {known.walk_words}")
    for note in made.notes:
        console.print(harmless(note))
    if made.options:
        console.print("\nWith one change:" if made.anything_fits else "\nNone of this makes it fit:")
        for option in made.options:
            console.print(
                f"  {percent(option.chance):>4}  {'fits' if option.fits else '    '}  {harmless(option.what)}"
            )
    if not made.anything_fits:
        console.print(
            "\nNo: not this head, with these hands, within this limit. Ask a licensed professional."
        )
    if grown is not None:
        console.print(f"\n{grown.words}")


def writes_unicode() -> bool:
    try:
        "█▓░┃┆".encode(sys.stdout.encoding or "ascii")
    except (UnicodeError, LookupError):
        return False
    return True
