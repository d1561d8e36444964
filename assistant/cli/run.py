"""`combside run`: the real thing, with the user's own kit sheet, household and consultation."""

from __future__ import annotations

import argparse
import sys
from pathlib import Path

from assistant.app import load
from assistant.app.consult import again_today, load_form, may_run
from assistant.app.run import Devices, run
from assistant.app.speech import check_with_dictionary, open_speech
from assistant.cli import status
from assistant.cli.progress import Progress
from assistant.clocks import wall_now
from assistant.core.reasons import Reason
from assistant.ears.keys import Keys
from assistant.ears.microphone import Microphone
from assistant.files.household_file import find_household, find_kit, load_kit
from assistant.files.places import runs_folder
from assistant.screens.terminal import TerminalScreen


def add_to(commands: argparse._SubParsersAction[argparse.ArgumentParser]) -> None:
    command = commands.add_parser(
        "run",
        help="the real thing: needs your own kit sheet, household and a consultation that says go",
        description="Walks the two of you through the whole routine by voice. Keys and a foot switch work beside the voice: "
        "any key is yes, n is no, a is again, s is stop.",
        epilog="example: combside run touch_up",
    )
    command.add_argument(
        "routine",
        nargs="?",
        default=load.DEFAULT_ROUTINE,
        help="a shipped routine or a file (default: %(default)s)",
    )
    command.add_argument("--kit", help="the kit sheet, where you have several")
    command.add_argument(
        "--answer",
        action="append",
        default=[],
        metavar="NAME=WORD",
        help="today's answer to what is asked again",
    )
    command.add_argument("--vosk-model", type=Path, help="a Vosk model folder")
    command.add_argument("--microphone", help="input device, by sounddevice's name")
    command.add_argument("--speaker", help="output device, by sounddevice's name")
    command.set_defaults(carry_out=carry_out)


def carry_out(chosen: argparse.Namespace) -> int:
    household = find_household()
    if household is None:
        raise load.Refused(
            [Reason("household", "There is no household yet: combside household new.", "household")]
        )
    kit_path = find_kit(chosen.kit)
    kit = load_kit(kit_path)
    if kit.example:
        raise load.Refused(
            [
                Reason(
                    "kit sheet",
                    "This is the invented example kit. Copy your own kit's leaflet: combside kit new.",
                    "leaflet",
                )
            ]
        )
    routine = load.find_routine(chosen.routine)
    program = load.load_program(routine, kit_path, household)
    refused = may_run(household.person, kit, wall_now().date(), todays_answers(chosen.answer))
    if refused:
        raise load.Refused(refused)
    check_with_dictionary(program, routine)
    speech = open_speech(program, vosk_model=chosen.vosk_model, tell=Progress("making prompts"))
    people = {"person": household.person, "helper": household.helper or ""}
    journal = runs_folder() / f"{wall_now():%Y-%m-%dT%H-%M-%S}.jsonl"
    with TerminalScreen(sys.stdout, people=people) as screen, Keys(sys.stdin.fileno()) as keys:
        try:
            outcome = run(
                program,
                Devices(
                    speech.ears,
                    speech.voice,
                    screen,
                    keys,
                    Microphone(chosen.microphone),
                    journal,
                    chosen.speaker,
                ),
            )
        except OSError as error:
            raise load.Refused([Reason("devices", f"{error}. Nothing was started.", "this run")]) from error
    print(f"{outcome}. The journal is {journal}")
    return status.DONE if outcome == "finished" else status.NO


def todays_answers(given: list[str]) -> dict[str, str]:
    """The answers to what is asked again on the day: from the command line, or asked here."""
    answers = dict(pair.split("=", 1) for pair in given if "=" in pair)
    for name, words, values in again_today(load_form()):
        while name not in answers and sys.stdin.isatty():
            said = input(f"{words} ({', '.join(values)}) ").strip().lower()
            if said in values:
                answers[name] = said
    return answers
