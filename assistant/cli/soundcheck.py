"""`combside soundcheck`: is the alarm heard in this room with the tap on, and are you; and which recogniser listens."""

from __future__ import annotations

import argparse
import json
import sys
from dataclasses import asdict
from pathlib import Path
from typing import TextIO

from assistant.app import load
from assistant.app.sound_room import DeviceGone, RealRoom, UnknownDevice
from assistant.app.soundcheck import Pace, Places, check, sentences, without_device
from assistant.cli import status
from assistant.cli.asking import Back, Stopped, Terminal, number
from assistant.cli.progress import Progress
from assistant.cli.today import add_today, today_of
from assistant.core.sound_check import SoundCheck, doubts
from assistant.ears.choose import GET_VOSK, engines, open_ears
from assistant.ears.keys import Keys
from assistant.files.complaint import BadFile, Complaint
from assistant.files.places import cache_folder
from assistant.files.sound_check_file import load_sound_check, save_sound_check, sound_check_path
from assistant.mouth.prompts import Prompts
from assistant.screens.harmless import harmless
from assistant.screens.sound_check_table import show

NEAREST_M, FARTHEST_M = 0.05, 20.0
NOISE_S = (1.0, 60.0)
WAIT_S = (0.0, 300.0)


def add_to(commands: argparse._SubParsersAction[argparse.ArgumentParser]) -> None:
    command = commands.add_parser(
        "soundcheck",
        help="is the alarm heard in this room with the tap on, and are you heard",
        description="In the room itself, tap off and then on: measures the noise, plays the alarm and a prompt, listens to "
        "three phrases, and says what is heard, what is not, and what to do about it. Takes about a minute and a half. "
        "The result is kept for run. Exit status 1: do not start like this.",
        epilog="examples: combside soundcheck;  combside soundcheck --microphone-m 0.3 --heads-m 1.5;  "
        "combside soundcheck --last --json;  combside soundcheck --ears",
    )
    command.add_argument("--ears", action="store_true", help="only list the recognisers, and which is used")
    command.add_argument("--last", action="store_true", help="only show the last result")
    command.add_argument("--vosk-model", type=Path, help="a Vosk model folder")
    command.add_argument("--microphone", metavar="NAME", help="input device, by its name or number")
    command.add_argument("--speaker", metavar="NAME", help="output device, by its name or number")
    command.add_argument(
        "--microphone-m", type=a_distance, metavar="M", help="metres from the loudspeaker to the microphone"
    )
    command.add_argument(
        "--heads-m",
        type=a_distance,
        metavar="M",
        help="metres from the loudspeaker to where your heads will be",
    )
    command.add_argument(
        "--noise",
        type=noise_seconds,
        default=4.0,
        metavar="S",
        help="seconds a noise is measured (default: 4)",
    )
    command.add_argument("--no-phrases", action="store_true", help="nobody speaks: levels only")
    command.add_argument(
        "--yes",
        action="store_true",
        help="ask nothing, go on after --wait seconds each time the tap is asked for",
    )
    command.add_argument(
        "--wait", type=wait_seconds, default=8.0, metavar="S", help="with --yes (default: 8)"
    )
    command.add_argument("--json", action="store_true", help="print as JSON")
    add_today(command)
    command.set_defaults(carry_out=carry_out)


def a_distance(text: str) -> float:
    """Metres. Raises argparse.ArgumentTypeError."""
    try:
        return number(text, NEAREST_M, FARTHEST_M, "m")
    except ValueError as error:
        raise argparse.ArgumentTypeError(str(error)) from None


def noise_seconds(text: str) -> float:
    """Raises argparse.ArgumentTypeError."""
    return _seconds(text, NOISE_S)


def wait_seconds(text: str) -> float:
    """Raises argparse.ArgumentTypeError."""
    return _seconds(text, WAIT_S)


def _seconds(text: str, span: tuple[float, float]) -> float:
    try:
        return number(text, *span, "s")
    except ValueError as error:
        raise argparse.ArgumentTypeError(str(error)) from None


def carry_out(chosen: argparse.Namespace) -> int:
    if chosen.ears:
        return list_ears(chosen)
    if chosen.last:
        last = load_sound_check()
        if last is None:
            raise BadFile(
                [
                    Complaint(
                        str(sound_check_path()),
                        0,
                        0,
                        "there is no sound check yet",
                        "combside soundcheck makes one",
                    )
                ]
            )
        done = told(last, chosen)
        past = doubts(last, today_of(chosen)) if last.verdict != "no" else ()
        for doubt in past:
            print(f"no: {harmless(doubt.words)}", file=sys.stderr)
        return status.NO if past else done
    try:
        made = made_check(chosen)
    except UnknownDevice as error:
        hint = f"there are: {', '.join(error.known)}" if error.known else "this machine has none at all"
        raise BadFile([Complaint("--microphone, --speaker", 0, 0, str(error), hint)]) from error
    except DeviceGone as gone:  # nothing was checked, so what was kept stays
        return told(without_device(gone, None, today_of(chosen)), chosen)
    path = save_sound_check(made)
    done = told(made, chosen)
    if not chosen.json:
        print(f"Kept in {path}")
    return done


def made_check(chosen: argparse.Namespace) -> SoundCheck:
    """Everything loaded, then the check itself."""
    out = sys.stderr if chosen.json else sys.stdout
    today = today_of(chosen)
    places = places_of(chosen)
    devices = RealRoom(a_device(chosen.microphone), a_device(chosen.speaker))
    if places == Places() and not chosen.yes and sys.stdin.isatty():
        places = asked_places(out)
    book = load.load_book()
    zones = load.load_routine(load.find_routine(load.DEFAULT_ROUTINE)).zone_names()
    try:
        with Progress("opening", first="opening the recogniser"):
            ears = open_ears(chosen.vosk_model, cache=cache_folder())
    except (ValueError, FileNotFoundError) as error:
        raise BadFile([Complaint("recogniser", 0, 0, str(error), GET_VOSK)]) from error
    voice = Prompts(cache_folder() / "prompts", tell=Progress("making prompts"))
    voice.prepare(sentences(book))
    pace = Pace(noise_s=chosen.noise, phrases=not chosen.no_phrases)
    if chosen.yes:
        pace = Pace(noise_s=chosen.noise, ready_s=chosen.wait, phrases=not chosen.no_phrases)
    with devices as room, Keys(None) as keys:
        guide = ScreenGuide(keys, out)
        return check(room, ears, voice, book, zones, guide, today, pace=pace, places=places)


def a_device(named: str | None) -> str | int | None:
    """sounddevice takes a name or a number."""
    return int(named) if named is not None and named.isascii() and named.isdigit() else named


def places_of(chosen: argparse.Namespace) -> Places:
    """Where things are, from the command line: both or none."""
    given = (chosen.microphone_m, chosen.heads_m)
    if given.count(None) == 1:
        raise BadFile(
            [Complaint("--microphone-m, --heads-m", 0, 0, "one without the other says nothing", "give both")]
        )
    return Places(*given)


def asked_places(out: TextIO) -> Places:
    """The same, asked at the terminal."""
    terminal = Terminal(out=out)
    terminal.say("Put everything where it will be on the day. Two distances tell what reaches your heads; without them the "
                 "check holds where the microphone is.")  # fmt: skip
    try:
        near = terminal.ask(
            "Metres from the loudspeaker to the microphone? (Enter: I do not know)", maybe_distance
        )
        if near is None:
            return Places()
        far = terminal.ask(
            "Metres from the loudspeaker to your heads? (Enter: I do not know)", maybe_distance
        )
    except (Stopped, Back):
        raise KeyboardInterrupt from None
    return Places() if far is None else Places(near, far)


def maybe_distance(text: str) -> float | None:
    return number(text, NEAREST_M, FARTHEST_M, "m") if text else None


class ScreenGuide:
    """Meets `app.soundcheck.Guide` at a terminal: every line shown, any key goes on, s and Ctrl-C stop."""

    def __init__(self, keys: Keys, out: TextIO) -> None:
        self._keys, self._out = keys, out

    def tell(self, name: str, words: str) -> None:
        indent = "  " if name.startswith("heard.") or name in ("noise", "track") else ""
        print(f"{indent}{harmless(words)}", file=self._out, flush=True)

    def pressed(self) -> bool:
        keys = self._keys.pressed()
        if "stop" in keys:
            raise KeyboardInterrupt
        return bool(keys)


def told(made: SoundCheck, chosen: argparse.Namespace) -> int:
    """Print a result; its exit status."""
    if chosen.json:
        plain = made.model_dump(mode="json", by_alias=True)
        print(json.dumps({**plain, "verdict": made.verdict, "mends": list(made.mends)}, indent=2))
    else:
        show(made, sys.stdout)
    return status.NO if made.verdict == "no" else status.DONE


def list_ears(chosen: argparse.Namespace) -> int:
    found = engines(chosen.vosk_model)
    if chosen.json:
        print(
            json.dumps(
                [{**asdict(e), "folder": str(e.folder) if e.folder else None} for e in found], indent=2
            )
        )
    else:
        for engine in found:
            print(f"{'used    ' if engine.used else 'not used'} {engine.name}: {engine.why}")
        print(GET_VOSK)
    return status.DONE if found[0].usable else status.NO
