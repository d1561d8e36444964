"""`combside run`: the real thing, with the user's own kit sheet, household and consultation."""

from __future__ import annotations

import argparse
import contextlib
import sys
from pathlib import Path

from assistant.app import load
from assistant.app.consult import may_run
from assistant.app.keep import keep, keep_missed
from assistant.app.learned import load_learned
from assistant.app.noise_now import noise_now
from assistant.app.resume import Found, Note, NotThisOne, alone, mark_closed, read_back, unfinished
from assistant.app.run import Devices, first_words, late, run
from assistant.app.sound_room import UnknownDevice, device_names
from assistant.app.speech import Speech, check_with_dictionary, open_speech, voices_of
from assistant.cli import status
from assistant.cli.asking import Stopped
from assistant.cli.day_questions import todays_answers
from assistant.cli.glance_options import add_glance, shown_on
from assistant.cli.progress import Progress
from assistant.clocks import wall_now
from assistant.core.program import Program
from assistant.core.reasons import Reason
from assistant.core.sound_check import SoundCheck, answer_by_key, doubts
from assistant.ears.choose import open_ears
from assistant.ears.keys import Keys
from assistant.ears.microphone import Microphone
from assistant.files.complaint import BadFile
from assistant.files.household_file import find_household, find_kit, load_kit
from assistant.files.places import cache_folder, runs_folder
from assistant.files.sound_check_file import load_sound_check
from assistant.mouth.levels import PROMPT_DB
from assistant.mouth.prompts import Prompts
from assistant.mouth.synthesiser import VoiceError
from assistant.screens.harmless import harmless

YES, NO = {"yes", "y"}, {"no", "n"}
LONG_AGO_S = 86_400.0
"""A run with cream on that broke off a day ago may be closed: no leaflet's time is so long."""


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
    broken = command.add_mutually_exclusive_group()
    broken.add_argument(
        "--go-on", action="store_true", help="go on with a run that broke off, without asking"
    )
    broken.add_argument("--close", action="store_true", help="leave a run that broke off as it is, for good")
    add_glance(command)
    command.set_defaults(carry_out=carry_out)


def carry_out(chosen: argparse.Namespace) -> int:
    with alone(runs_folder()) as note:
        found = broken_off()
        if found is not None and chosen.close:
            return close(found)
        if found is not None and goes_on(found, chosen):
            return go_on(found, chosen, note)
        if found is not None:
            return close(found)
        return begin(chosen, note)


def broken_off() -> Found | None:
    """The run that broke off, where there is one; told on the screen. Never in the way of a new one."""
    path = unfinished(runs_folder())
    if path is None:
        return None
    try:
        found = read_back(path)
    except NotThisOne as error:
        raise load.Refused(
            [
                Reason(
                    "broken off",
                    f"A run broke off and can not be gone on with: {error}. If cream is on, rinse now. "
                    f"Move {path.name} out of its folder to begin another.",
                    "this run",
                )
            ]
        ) from error
    print(harmless(found.told()), flush=True)
    return found


def goes_on(found: Found, chosen: argparse.Namespace) -> bool:
    """Whether to go on. With cream on nobody is asked: the clock is not kept waiting."""
    if found.cream_on or chosen.go_on:
        return True
    if not sys.stdin.isatty():
        raise load.Refused(
            [
                Reason(
                    "broken off",
                    "Say which: combside run --go-on takes it up where it was, --close leaves it as it is.",
                    "this run",
                )
            ]
        )
    while (said := input("Go on with it? (yes, no: it stays as it is) ").strip().lower()) not in YES | NO:
        pass
    return said in YES


def close(found: Found) -> int:
    """Leave the run as it is, for good. Not with cream on, unless that was yesterday."""
    if found.cream_on and found.elapsed_s < LONG_AGO_S:
        raise load.Refused(
            [
                Reason(
                    "cream on",
                    "Cream is on in that run: rinse first. combside run goes on with it.",
                    "this run",
                )
            ]
        )
    mark_closed(found.journal)
    keep_missed()
    print(f"Closed. Its journal stays: {found.journal}")
    return status.DONE


def go_on(found: Found, chosen: argparse.Namespace, note: Note) -> int:
    """The first words are made ready first, so that they are spoken at once."""
    program = found.program
    voice = Prompts(cache_folder() / "prompts", voices_of(program.household))
    with contextlib.suppress(VoiceError, OSError):  # then they are shown, and the tone sounds
        voice.prepare(sentence for say in first_words(found) for sentence in say.sentences)
    ears, speaks = late(program, voice, lambda: open_ears(chosen.vosk_model, cache=cache_folder()))
    speech, check = Speech(ears, speaks, PROMPT_DB), None
    with contextlib.suppress(BadFile):  # cream may be on: nothing waits for it
        check = load_sound_check()
    return walk(program, speech, Microphone(chosen.microphone), found.journal, chosen, note, found, check)


def begin(chosen: argparse.Namespace, note: Note) -> int:
    """A new run, where everything allows it."""
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
    today = wall_now().date()
    program, _ = load_learned(routine, kit_path, household, today)
    try:
        answers = todays_answers(chosen.answer, household.person, today)
    except Stopped:
        print("stopped", file=sys.stderr)
        return status.NO
    refused = may_run(household.person, kit, today, answers, treats=program.routine.treats)
    if refused:
        raise load.Refused(refused)
    if household.the_person().hearing == "badly":
        chosen.glance = True  # the call must be seen as well
    with Progress("making prompts", first="reading the routine, opening the recogniser") as tell:
        check_with_dictionary(program, routine)
        speech = open_speech(program, vosk_model=chosen.vosk_model, tell=tell)
    check, microphone = load_sound_check(), Microphone(chosen.microphone)
    for reason in sound_doubts(check, microphone, chosen):
        print(f"careful: {harmless(reason.words)}", file=sys.stderr, flush=True)
    journal = runs_folder() / f"{wall_now():%Y-%m-%dT%H-%M-%S}.jsonl"
    return walk(program, speech, microphone, journal, chosen, note, None, check)


def sound_doubts(
    check: SoundCheck | None, microphone: Microphone, chosen: argparse.Namespace
) -> tuple[Reason, ...]:
    """What is to be told before anything starts: whether alarm and voices are heard here, as far as is known."""
    device, noise_db = None, None  # the run itself tells of a device that is not there
    with contextlib.suppress(UnknownDevice):
        device = device_names(chosen.microphone, chosen.speaker)
    with contextlib.suppress(OSError):
        noise_db = noise_now(microphone)
    found, by_key = doubts(check, wall_now().date(), noise_db, device=device), answer_by_key(check)
    return found if by_key is None else (*found, by_key)


def walk(
    program: Program,
    speech: Speech,
    microphone: Microphone,
    journal: Path,
    chosen: argparse.Namespace,
    note: Note,
    found: Found | None,
    check: SoundCheck | None,
) -> int:
    """The run itself, to its end."""
    people = {"person": program.household.person, "helper": program.household.helper or ""}
    with shown_on(chosen, people=people) as shown, Keys(sys.stdin.fileno()) as keys:
        screen, every_key = shown.screen, shown.with_page(keys)
        devices = Devices(
            speech.ears, speech.voice, screen, every_key, microphone, journal, chosen.speaker, check
        )
        try:
            outcome = run(program, devices, note=note, found=found)
        except OSError as error:
            raise load.Refused([Reason("devices", f"{error}. Nothing was started.", "this run")]) from error
    print(f"{outcome}. The journal is {journal}")
    keep_all(program, journal)
    return status.DONE if outcome == "finished" else status.NO


def keep_all(program: Program, journal: Path) -> None:
    """Into the diary, with its report. What can not be kept now is told; the journal has it all."""
    from assistant.app.report import keep_report  # its page maker is not wanted before the first word

    try:
        print(f"The report is in {keep_report(keep(program, journal, kind='run'))}")
    except (OSError, BadFile) as error:
        told = "; ".join(c.message for c in error.complaints) if isinstance(error, BadFile) else str(error)
        print(f"The diary was not written: {harmless(told)}. Nothing is lost: combside diary tries again.",
              file=sys.stderr)  # fmt: skip
