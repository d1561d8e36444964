"""`combside rehearse`: a simulated person and helper walk through a routine, by voice, faster than real time."""

from __future__ import annotations

import argparse
import json
import sys
from pathlib import Path

from assistant.app import load
from assistant.app.keep import Kind
from assistant.app.rehearse import BEGINS, Rehearsal, rehearse
from assistant.app.report import rehearsal_report
from assistant.app.speech import check_with_dictionary, open_speech
from assistant.cli import status
from assistant.cli.glance_options import add_glance, shown_on
from assistant.cli.progress import Progress, WalkProgress
from assistant.cli.rehearsal_table import show
from assistant.core.actions import Action
from assistant.core.events import Event
from assistant.core.household import Household
from assistant.core.practice import practise
from assistant.files import private
from assistant.files.places import routines_folder
from assistant.files.yaml_file import BadFile, read
from assistant.room.home import Home
from assistant.screens.harmless import harmless


def add_to(commands: argparse._SubParsersAction[argparse.ArgumentParser]) -> None:
    command = commands.add_parser(
        "rehearse",
        help="walk a simulated household through a routine, with real speech and hearing",
        description="A simulated household hears the real prompts and answers with real audio. No microphone, no loudspeaker, "
        "no cream: nothing can go wrong but the tool.",
        epilog="examples: combside rehearse;  combside rehearse touch_up --home my_home.yaml --mixdown listen.wav",
    )
    command.add_argument(
        "routine",
        nargs="?",
        default=load.DEFAULT_ROUTINE,
        help="a shipped routine or a file (default: %(default)s)",
    )
    command.add_argument(
        "--home", type=Path, help="who is there and what goes wrong (default: the invented household)"
    )
    command.add_argument("--kit", type=Path, help="a kit sheet (default: the invented example kit)")
    command.add_argument("--household", type=Path, help="a household file (default: the invented one)")
    command.add_argument("--summary", type=Path, metavar="S.json", help="write what was measured")
    command.add_argument("--journal", type=Path, metavar="J.jsonl", help="keep the journal")
    command.add_argument(
        "--mixdown", type=Path, metavar="M.wav", help="keep the sound of the room, and a transcript beside it"
    )
    command.add_argument(
        "--report", type=Path, metavar="R.html", help="write the report of it, as after a run, as a page"
    )
    command.add_argument(
        "--json", action="store_true", help="print what was measured as JSON instead of a table"
    )
    command.add_argument(
        "--practice", action="store_true", help="the practice walk: conditioner instead of cream"
    )
    command.add_argument("--quiet", action="store_true", help="do not show the walk, only its result")
    add_glance(command)
    command.set_defaults(carry_out=carry_out)


def carry_out(chosen: argparse.Namespace) -> int:
    home_path: Path = chosen.home or routines_folder() / "homes" / "default.yaml"
    document = read(home_path)
    home = document.into(Home)
    household = read(chosen.household or routines_folder() / load.EXAMPLE_HOUSEHOLD).into(Household)
    if home.people.helper == "nobody":
        household = household.model_copy(update={"helper": None})
    routine = load.find_routine(chosen.routine)
    program = load.load_program(routine, chosen.kit or routines_folder() / load.EXAMPLE_KIT, household)
    with Progress("making prompts", first="reading the routine, opening the recogniser") as tell:
        check_with_dictionary(program, routine)
        if chosen.practice:
            program = practise(program)
        speech = open_speech(program, tell=tell)
    people = {"person": household.person, "helper": household.helper or ""}
    quiet = chosen.quiet or chosen.json
    what = "conditioner" if chosen.practice else "cream"
    watch = WalkProgress(Progress("rehearsing")) if quiet else None
    happened: list[tuple[Event, tuple[Action, ...]]] = []
    with shown_on(chosen, people=people, rehearsal=True, what=what, quiet=watch) as shown:
        plan = Rehearsal(
            program,
            home,
            home_path.parent,
            speech.ears,
            speech.voice,
            shown.screen,
            speech.prompt_db,
            chosen.summary,
            chosen.journal,
            chosen.mixdown,
            on_event=lambda event, actions, _: happened.append((event, actions)),
        )
        try:
            result = rehearse(plan)
        except ValueError as error:
            raise BadFile([document.complain((), str(error), "see the page about home files")]) from error
    if chosen.report is not None:
        kind: Kind = "practice" if chosen.practice else "run"
        private.write(chosen.report, rehearsal_report(program, happened, BEGINS, result, kind))
    if chosen.json:
        print(json.dumps(result, indent=2))
    else:
        show(result, sys.stdout)
        if chosen.report is not None:
            print(f"The report is in {harmless(str(chosen.report))}")
    good = bool(result["finished"]) and result["late_calls"] == 0
    return status.DONE if good else status.NO
