"""A rehearsal: the same loop, engines and session as a run, in a room made of samples.

The clock is the sample count. What the summary says of exposure and of calls
given is measured in the room and in the mixdown, never copied from the session.
"""

from __future__ import annotations

import json
import tempfile
import time
from collections.abc import Callable
from contextlib import ExitStack
from dataclasses import dataclass
from datetime import datetime, timedelta, timezone
from pathlib import Path

from assistant.app.loop import Loop
from assistant.core.actions import Action
from assistant.core.events import Event
from assistant.core.program import Program
from assistant.core.session import STOPS, State
from assistant.files import private
from assistant.files.places import audio_fixtures_folder, cache_folder
from assistant.guard.absent import AbsentGuard
from assistant.journal.journal import FileJournal
from assistant.mouth.mixer import PromptMixer
from assistant.ports import RATE, Ears, Screen, Voice
from assistant.room import measure
from assistant.room.home import Home
from assistant.room.mixdown import Mixdown
from assistant.room.room import Room

BLOCK = RATE // 50
"""20 ms: the step of the simulated world."""
DECISION_S = 0.15
"""What a hearing decision costs on the run clock in a rehearsal, where computing takes no virtual time.

Scoring an utterance takes 46 to 65 ms on one core of a small machine; taken as 150 ms to be on the safe side.
"""
LONGEST_S = 4 * 3600.0
"""A rehearsal that has not ended by then is a failure, not a long evening."""
BEGINS = datetime(2026, 1, 1, 9, 0, tzinfo=timezone.utc)
"""The wall clock of a rehearsal is made up, so that its journal is the same every time."""


@dataclass
class SampleClock:
    """Seconds on the run clock, counted in samples."""

    t: float = 0.0


@dataclass
class Rehearsal:
    """What a rehearsal needs, put together by the caller."""

    program: Program
    home: Home
    home_folder: Path
    ears: Ears
    voice: Voice
    screen: Screen
    prompt_db: float
    summary: Path | None = None
    journal: Path | None = None
    mixdown: Path | None = None
    on_event: Callable[[Event, tuple[Action, ...], State], None] | None = None


def rehearse(plan: Rehearsal) -> dict[str, object]:
    """Run it to the end; what was measured, in the shape of the summary file.

    Raises ValueError for a home that cannot be (unknown zone, missing sound).
    """
    program = plan.program
    began = time.perf_counter()
    with ExitStack() as stack:
        folder = Path(stack.enter_context(tempfile.TemporaryDirectory(prefix="combside-")))
        mixdown_path = plan.mixdown or folder / "mixdown.wav"
        mixdown = stack.enter_context(Mixdown(mixdown_path))
        room = Room(
            plan.home,
            zones=program.zones,
            phrases=program.book.live(program.book.heard, program.zones),
            fixtures=audio_fixtures_folder(),
            beside=plan.home_folder,
            prompt_db=plan.prompt_db,
            cache=cache_folder() / "people",
            mixdown=mixdown,
        )
        mixer = PromptMixer(plan.voice)
        guard = AbsentGuard()
        clock = SampleClock()
        journal_path = plan.journal or folder / "journal.jsonl"
        journal_path.unlink(missing_ok=True)  # a rehearsal may be repeated; a run's journal never is
        journal = FileJournal.begin(
            journal_path,
            lambda: BEGINS + timedelta(seconds=clock.t),
            about={"routine": program.routine.name, "kit": program.kit.name, "rehearsal": True},
            sync=_no_sync,
        )
        stack.callback(journal.close)
        loop = Loop(
            program,
            plan.ears,
            mixer,
            journal,
            guard,
            plan.screen,
            decision_s=DECISION_S,
            on_heard=room.note_hearing,
            on_event=plan.on_event,
        )
        loop.begin(0.0)
        blocks = 0
        while not loop.done and blocks * BLOCK < LONGEST_S * RATE:
            blocks += 1
            t = clock.t = blocks * BLOCK / RATE
            played = mixer.pull(BLOCK)
            marks = mixer.marks()
            heard = room.turn(t, played, marks)
            loop.turn(t, heard, played, marks, room.pressed(), room.devices())
        virtual_s = blocks * BLOCK / RATE
        mixdown.close()
        walked_s = time.perf_counter() - began
        result = summary(plan, loop, room, guard, mixdown_path, virtual_s)
        result["virtual_s"] = round(virtual_s, 1)
        result["wall_s"] = round(time.perf_counter() - began, 2)
        result["measuring_s"] = round(time.perf_counter() - began - walked_s, 2)
        result["times_real_time"] = round(virtual_s / (time.perf_counter() - began), 1)
    if plan.summary is not None:
        private.write(plan.summary, json.dumps(result, indent=2) + "\n")
    return result


def _no_sync(handle: int) -> None:
    """A rehearsal's journal need not survive a power cut."""


def summary(
    plan: Rehearsal, loop: Loop, room: Room, guard: AbsentGuard, mixdown: Path, virtual_s: float
) -> dict[str, object]:
    """What the room and the mixdown say, and the few things only the session can know."""
    state = loop.state
    measured = measure.summary(
        room.truth,
        limit_s=state.limit.seconds,
        means=plan.program.kit.limit_means,
        end=virtual_s,
        due=[min(guard.due)] if guard.due else [],
        sounded=measure.alarms_in(mixdown),
        stops=frozenset(STOPS),
    )
    return {
        "finished": state.outcome == "finished",
        "outcome": state.outcome,
        "routine": plan.program.routine.name,
        "limit_s": state.limit.seconds,
        "limit_reason": state.limit.reason.words,
        "call_causes": loop.causes,
        **measured,
        "engine": plan.ears.name,
        "faults": {"injected": measured["faults"], "survived": bool(state.outcome)},
    }
