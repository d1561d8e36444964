"""A run: the loop on the real microphone, loudspeaker, keys and clock."""

from __future__ import annotations

import contextlib
import subprocess
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path

from assistant.app.loop import Loop
from assistant.clocks import BootClock, RunClock, wall_now
from assistant.core.program import Program
from assistant.ears.keys import Keys
from assistant.ears.microphone import Microphone
from assistant.guard.absent import AbsentGuard
from assistant.journal.journal import FileJournal
from assistant.mouth.mixer import PromptMixer
from assistant.mouth.speaker import Speaker
from assistant.ports import Ears, Screen, Voice

TURN_S = 0.05
"""The loop never waits longer than this for the microphone: the clock goes on without it."""
RETRY_S = 5.0


@dataclass
class Devices:
    """Everything a run touches, opened by the caller."""

    ears: Ears
    voice: Voice
    screen: Screen
    keys: Keys
    microphone: Microphone
    journal: Path
    speaker_device: str | int | None = None


def run(program: Program, devices: Devices) -> str:
    """Run to the end; the outcome. Raises OSError without a loudspeaker or a place for the journal."""
    clock = RunClock(BootClock().now)
    mixer = PromptMixer(devices.voice)
    speaker = Speaker(mixer, devices.speaker_device)
    with contextlib.ExitStack() as stack:
        stack.enter_context(awake())
        journal = FileJournal.begin(
            devices.journal,
            wall_now,
            about={"routine": program.routine.name, "kit": program.kit.name, "rehearsal": False},
        )
        stack.callback(journal.close)
        speaker.open(clock.now())
        stack.callback(speaker.close)
        microphone = devices.microphone
        with contextlib.suppress(OSError):  # `watch` tells the loop that nothing comes from it
            microphone.open(clock.now())
        stack.callback(microphone.close)
        loop = Loop(program, devices.ears, mixer, journal, AbsentGuard(), devices.screen)
        loop.begin(clock.now())
        tried = 0.0
        while not loop.done:
            heard = microphone.read(TURN_S)
            t = clock.now()
            if loop.state.lost and t - tried > RETRY_S:
                tried = t
                if "microphone" in loop.state.lost:
                    microphone.reopen(t)
                if "speaker" in loop.state.lost:
                    speaker.reopen(t)
            news = [*microphone.watch(t, len(heard)), *speaker.watch(t)]
            loop.turn(t, heard, speaker.played(len(heard)), mixer.marks(), devices.keys.pressed(), news)
    return loop.state.outcome


@contextlib.contextmanager
def awake() -> Iterator[None]:
    """Sleep is held off where the system offers a way; where not, the run says nothing and the clock counts sleep."""
    holder = None
    with contextlib.suppress(OSError):
        holder = subprocess.Popen(
            ["systemd-inhibit", "--what=sleep:idle", "--who=combside", "--why=cream is on", "cat"],
            stdin=subprocess.PIPE,
            stdout=subprocess.DEVNULL,
            stderr=subprocess.DEVNULL,
        )
    try:
        yield
    finally:
        if holder is not None:
            holder.kill()
            holder.wait()
