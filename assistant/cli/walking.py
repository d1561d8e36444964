"""What the commands that walk people through something by voice share: the walk on this machine's own devices.

Used by `practice` and `kit strand`. What is walked is the caller's business.
"""

from __future__ import annotations

import argparse
import sys
from pathlib import Path

from assistant.app.keep import Kind
from assistant.app.load import Refused
from assistant.app.run import Devices, run
from assistant.app.speech import open_speech
from assistant.cli.glance_options import shown_on
from assistant.cli.progress import Progress
from assistant.clocks import wall_now
from assistant.core.household import Household
from assistant.core.program import Program
from assistant.core.reasons import Reason
from assistant.ears.keys import Keys
from assistant.ears.microphone import Microphone
from assistant.files.household_file import find_household
from assistant.files.places import runs_folder


def own_household() -> Household:
    """The household. Raises Refused where there is none, and BadFile."""
    household = find_household()
    if household is None:
        words = "There is no household yet: combside household new."
        raise Refused([Reason("household", words, "household")])
    return household


def walk(program: Program, chosen: argparse.Namespace, kind: Kind) -> tuple[str, Path]:
    """Walk these people through `program` with the machine's own devices; the outcome and the journal.

    Raises Refused where a device is missing; nothing was started then.
    """
    with Progress("making prompts", first="opening the recogniser") as tell:
        speech = open_speech(program, vosk_model=chosen.vosk_model, tell=tell)
    people = {"person": program.household.person, "helper": program.household.helper or ""}
    journal = runs_folder() / f"{wall_now():%Y-%m-%dT%H-%M-%S}.jsonl"
    what = "conditioner" if kind == "practice" else "cream"
    with (
        shown_on(chosen, people=people, what=what) as shown,
        Keys(sys.stdin.fileno()) as keyboard,
    ):
        keys = shown.with_page(keyboard)
        microphone = Microphone(chosen.microphone)
        devices = Devices(speech.ears, speech.voice, shown.screen, keys, microphone, journal, chosen.speaker)
        try:
            return run(program, devices, kind=kind), journal
        except OSError as error:
            words = f"{error}. Nothing was started."
            raise Refused([Reason("devices", words, "this run")]) from error
