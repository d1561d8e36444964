"""A run: the loop on the real microphone, loudspeaker, keys, clock and guard; begun, or gone on with.

No guard, no cream: a run begins only when a second process has shown that it
would call. A run that goes on after the program was gone speaks first and makes
everything else ready while it does.
"""

from __future__ import annotations

import contextlib
import os
import subprocess
import sys
from collections.abc import Callable, Iterator
from dataclasses import dataclass
from pathlib import Path

from assistant.app import calls
from assistant.app.late import LateEars, LateVoice
from assistant.app.loop import Loop
from assistant.app.resume import Found, Note, about, alone, clock_record
from assistant.clocks import BootClock, RunClock, wall_now
from assistant.core.actions import Action, Say
from assistant.core.events import DeviceLost, Event, Resumed
from assistant.core.program import Program
from assistant.core.session import Cream, State, advance
from assistant.core.sound_check import SoundCheck, prompt_gain_db
from assistant.ears.microphone import Microphone
from assistant.ears.room_noise import RoomNoise
from assistant.files.places import cache_folder
from assistant.guard.precedence import take_precedence
from assistant.guard.process import GuardProcess, NoGuard
from assistant.journal.journal import FileJournal
from assistant.journal.patient import PatientJournal
from assistant.mouth.mixer import PromptMixer
from assistant.mouth.speaker import Speaker
from assistant.ports import Ears, Journal, Keys, Samples, Screen, Voice

TURN_S = 0.05
"""The loop never waits longer than this for the microphone: the clock goes on without it."""
RETRY_S = 5.0
FOLLOW_EVERY_S = 5.0
"""Prompts follow the room's noise so often, and only between prompts: a step within one would be heard."""
AFTERSOUND_S = 0.4
"""So long after a prompt the room still carries it."""
FIRST_WORDS_S = 8.0
"""So long after a run went on the recogniser is loaded, or as soon as the first words were spoken."""
LOADING_S = 10.0
"""Not when the call is due so soon: loading took 1.1 s, held everything up for 0.15 s at its end, and its first use for
0.06 s more (measured); a slow machine gets ten times that."""


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
    check: SoundCheck | None = None
    """The sound check of this room: prompts follow the noise up from it; without one they stay as they are."""


Listener = Callable[[Event, tuple[Action, ...], State], None]


def run(
    program: Program,
    devices: Devices,
    *,
    note: Note | None = None,
    found: Found | None = None,
    kind: str = "run",
    on_event: Listener | None = None,
) -> str:
    """Run to the end; the outcome.

    `note`: this process is known to be the only one that runs here (`resume.alone`);
    `found`: the run to go on with; `kind`: what the journal says it is of.
    Raises Refused when another run goes on here, and, before anything was begun,
    OSError without a loudspeaker, a guard or a place for the journal.
    """
    with contextlib.ExitStack() as stack:
        if note is None:
            note = stack.enter_context(alone(devices.journal.parent))
        stack.enter_context(awake())
        take_precedence()
        boot = BootClock().now
        clock = RunClock(boot, 0.0 if found is None else boot() - found.zero_s)
        guard = _guard(program, devices, note, clock, proven=found is None)
        standing = _Standing(guard, note, clock)
        stack.callback(standing.close)
        mixer = PromptMixer(devices.voice)
        speaker = Speaker(mixer, devices.speaker_device)
        journal = _journal(program, devices.journal, kind, clock, found)
        stack.callback(_close, journal)
        with contextlib.suppress(OSError) if found is not None else contextlib.nullcontext():
            speaker.open(clock.now())
        stack.callback(speaker.close)
        loop = Loop(
            program,
            devices.ears,
            mixer,
            journal,
            guard,
            devices.screen,
            stream_began=clock.now(),
            on_event=on_event,
        )
        if found is None:
            loop.begin(clock.now())
        else:
            loop.resume(found.state, clock.now())
        microphone = devices.microphone
        with contextlib.suppress(OSError):  # `watch` tells the loop that nothing comes from it
            microphone.open(clock.now())
        stack.callback(microphone.close)
        _go(loop, devices, mixer, speaker, clock, standing)
    return loop.state.outcome


def _go(
    loop: Loop, devices: Devices, mixer: PromptMixer, speaker: Speaker, clock: RunClock, standing: _Standing
) -> None:
    """Turn after turn until the run is closed."""
    microphone, ears, began, tried = devices.microphone, devices.ears, clock.now(), 0.0
    follow = _Follow()
    while not loop.done:
        due_in = loop.state.timers[0][0] - clock.now() if loop.state.timers else TURN_S
        heard = microphone.read(min(TURN_S, max(0.0, due_in)))
        t = clock.now()
        if loop.state.lost and t - tried > RETRY_S:
            tried = t
            if "microphone" in loop.state.lost:
                microphone.reopen(t)
            if "speaker" in loop.state.lost:
                speaker.reopen(t)
        news: list[Event] = [*microphone.watch(t, len(heard)), *speaker.watch(t)]
        if isinstance(ears, LateEars):
            if (mixer.idle() or t - began > FIRST_WORDS_S) and not call_within(loop.state, t, LOADING_S):
                ears.load()
            if ears.problem and "recogniser" not in loop.state.lost:
                news.append(DeviceLost(t, "recogniser", ears.problem))
        loop.turn(t, heard, speaker.played(len(heard)), mixer.marks(), devices.keys.pressed(), news)
        standing.look(loop)
        if devices.check is not None:
            follow.hear(t, heard, mixer, devices.check)


def call_within(state: State, t: float, seconds: float) -> bool:
    """Whether the rinse call is due within `seconds` of `t`. A call that sounds already is not due any more."""
    return any(name == "call" and at - t < seconds for at, name in state.timers)


class _Follow:
    """Prompts grow louder with the room. The first rinse call is as loud as the alarm that was checked."""

    def __init__(self) -> None:
        self._noise = RoomNoise()
        self._sounded_at = float("-inf")
        self._set_at = float("-inf")

    def hear(self, t: float, heard: Samples, mixer: PromptMixer, check: SoundCheck) -> None:
        if not mixer.idle():
            self._sounded_at = t
        self._noise.feed(heard, sounding=t - self._sounded_at < AFTERSOUND_S)
        level_db = self._noise.level_db()
        if level_db is not None and mixer.idle() and t - self._set_at >= FOLLOW_EVERY_S:
            self._set_at = t
            mixer.raise_prompts(prompt_gain_db(level_db, check))


def first_words(found: Found) -> list[Say]:
    """What a run that goes on says first: to be made ready before all else."""
    _, actions = advance(found.program, found.state, Resumed(found.elapsed_s))
    return [action for action in actions if isinstance(action, Say)]


def late(program: Program, voice: Voice, ears: Callable[[], Ears]) -> tuple[LateEars, LateVoice]:
    """What listens and speaks for a run that goes on: made ready once its first words were spoken."""

    def make() -> Ears:
        with contextlib.suppress(Exception):  # a clip that can not be made is told when it is needed
            voice.prepare(program.every_sentence())
            calls.write(program, voice, calls.folder_of(program, cache_folder()))
        return ears()

    return LateEars(make), LateVoice(voice)


# -- the second process --------------------------------------------------------------


def _guard(program: Program, devices: Devices, note: Note, clock: RunClock, *, proven: bool) -> GuardProcess:
    """Started; for a run that begins, with its calls written and shown to work. Raises NoGuard and OSError."""
    folder = calls.folder_of(program, cache_folder())
    if proven:
        calls.write(program, devices.voice, folder)
    else:
        folder.mkdir(mode=0o700, parents=True, exist_ok=True)
    guard = GuardProcess(
        folder, note.path, note.run, clock.now, device=devices.speaker_device, terminal=terminal()
    )
    try:
        if proven:
            guard.prove()
    except NoGuard:
        guard.close(leave=True)
        raise
    return guard


class _Standing:
    """Who answers for the deadline: this run tells an older guard when it does, and its own when it goes."""

    def __init__(self, guard: GuardProcess, note: Note, clock: RunClock) -> None:
        self._guard = guard
        self._note = note
        self._clock = clock
        self._told: tuple[float | None, bool] | None = None
        self._nothing_to_guard = True

    def look(self, loop: Loop) -> None:
        state = loop.state
        self._nothing_to_guard = loop.done or state.cream is Cream.SHUT
        on = state.cream is Cream.HEAD
        due = state.due if on else None
        now = (due, state.cream is Cream.RINSED)
        if now != self._told and (due is None or self._guard.stands):
            self._told = now
            zero = BootClock().now() - self._clock.now()
            self._note.took_over(None if due is None else zero + due, now[1])

    def close(self) -> None:
        """A run that ended takes its guard along; one that broke off with cream out leaves it to call."""
        self._guard.close(leave=self._nothing_to_guard)


def terminal() -> str:
    """The file of the terminal this process reads from, "" where there is none."""
    with contextlib.suppress(OSError, ValueError, AttributeError):
        return os.ttyname(sys.stdin.fileno())
    return ""


# -- the journal ---------------------------------------------------------------------


def _journal(program: Program, path: Path, kind: str, clock: RunClock, found: Found | None) -> PatientJournal:
    """Begun with the program and the clocks, or gone on with. Raises OSError; a run that goes on never waits for it."""
    file: Journal = _OpenedLater(path)
    if found is None:
        file = FileJournal.begin(path, wall_now, about={**about(program), "kind": kind})
    journal = PatientJournal(file, wall_now)
    with contextlib.suppress(OSError):  # what is slow or broken now is so at the first event, and told there
        journal.write(clock_record(clock.now()))
    return journal


class _OpenedLater:
    """A journal to go on with. A disk that will not have it now may later: until then each line is kept."""

    def __init__(self, path: Path) -> None:
        self._path = path
        self._file: FileJournal | None = None

    def write(self, record: dict[str, object]) -> None:
        if self._file is None:
            self._file, _ = FileJournal.resume(self._path, wall_now)
        self._file.write(record)

    def close(self) -> None:
        if self._file is not None:
            self._file.close()


def _close(journal: PatientJournal) -> None:
    with contextlib.suppress(OSError):  # the run said so when it happened
        journal.close()


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
