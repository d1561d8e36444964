"""`combside practice`: the whole walk with conditioner instead of cream, which measures pace and way to the tap."""

from __future__ import annotations

import argparse
from pathlib import Path

from assistant.app import load
from assistant.app.keep import keep
from assistant.app.learned import Learned, learn, load_learned
from assistant.app.speech import check_with_dictionary
from assistant.cli import status
from assistant.cli.device_options import add_devices
from assistant.cli.glance_options import add_glance
from assistant.cli.today import add_today, today_of
from assistant.cli.walking import own_household, walk
from assistant.core.diary import RunRecord, ZonePace, seconds_in_words
from assistant.core.pace import ZoneTime, usable
from assistant.core.practice import practise, walked
from assistant.files.diary_file import load_runs
from assistant.files.household_file import find_kit, kit_paths
from assistant.files.places import routines_folder
from assistant.screens.harmless import harmless


def add_to(commands: argparse._SubParsersAction[argparse.ArgumentParser]) -> None:
    command = commands.add_parser(
        "practice",
        help="the whole walk with conditioner instead of cream; it measures your pace",
        description="PRACTICE, with conditioner only: leave the kit shut. The same walk by voice, the same zones, the same "
        "clock. It measures how long these hands take for a parting and how long it is to the water; plan and run count "
        "with it from then on.",
        epilog="examples: combside practice touch_up;  combside rehearse touch_up --practice",
    )
    command.add_argument(
        "routine",
        nargs="?",
        default=load.DEFAULT_ROUTINE,
        help="a shipped routine or a file (default: %(default)s)",
    )
    command.add_argument(
        "--kit", help="the kit sheet, where you have several (default: yours, or the example)"
    )
    add_devices(command)
    add_glance(command)
    add_today(command)
    command.set_defaults(carry_out=carry_out)


def carry_out(chosen: argparse.Namespace) -> int:
    household, routine, today = own_household(), load.find_routine(chosen.routine), today_of(chosen)
    program, _ = load_learned(routine, kit_of(chosen.kit), household, today, with_strand=False)
    check_with_dictionary(program, routine)
    program = practise(program)
    print("PRACTICE, with conditioner only. Leave the kit shut and out of the room.")
    outcome, journal = walk(program, chosen, "practice")
    record = keep(program, journal, kind="practice")
    for line in told(record, learn(household, load_runs(), today)):
        print(line)
    return status.DONE if outcome == "finished" else status.NO


def kit_of(name: str | None) -> Path:
    """The household's kit sheet, or the example where there is none yet: no cream is opened. Raises BadFile."""
    return find_kit(name) if name or kit_paths() else routines_folder() / load.EXAMPLE_KIT


def told(record: RunRecord, known: Learned) -> tuple[str, ...]:
    """What was measured, and what is believed now."""
    worked = [p for p in record.pace if p.part != "smooth"]
    lines = [f"practice {record.outcome}: {len(worked)} zones timed"]
    lines += [
        f"  {harmless(p.zone)}: {seconds_in_words(p.seconds)} for {p.partings} partings; "
        f"{seconds_in_words(p.expected_s)} were expected{'' if counts(p) else ' (too far from it to count)'}"
        for p in worked
    ]
    way = walked(record)
    if way is None:
        lines.append("  the way to the water was not measured: no water ran, or it was said too soon")
    else:
        lines.append(
            f"  to the water {seconds_in_words(way.to_the_water)}, rinsing {seconds_in_words(way.rinsing)}"
        )
    lines.append(f"pace: {known.pace.factor:.2f} times the first guess; {known.pace_words}")
    lines.append(f"way to the water: {known.walk_words}")
    lines.append(f"In the diary as {record.id}. Next: combside plan {record.routine}")
    return tuple(lines)


def counts(timed: ZonePace) -> bool:
    """Whether the pace learns from it."""
    return bool(usable([ZoneTime(timed.zone, timed.seconds, timed.partings, timed.expected_s)]))
