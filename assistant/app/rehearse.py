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
from datetime import datetime, timezone
from pathlib import Path

from assistant.app.failing import Machine
from assistant.core.actions import Action
from assistant.core.events import Event
from assistant.core.program import Program
from assistant.core.session import STOPS, State
from assistant.files import private
from assistant.files.places import audio_fixtures_folder, cache_folder
from assistant.ports import RATE, Ears, Screen, Voice
from assistant.room import measure
from assistant.room.home import Home
from assistant.room.mixdown import Mixdown
from assistant.room.room import Room

BLOCK = RATE // 50
"""20 ms: the step of the simulated world."""
BEGINS = datetime(2026, 1, 1, 9, 0, tzinfo=timezone.utc)
"""The wall clock of a rehearsal is made up, so that its journal is the same every time."""
LONGEST_S = 4 * 3600.0
"""A rehearsal that has not ended by then is a failure, not a long evening."""


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
    until: Callable[[State], bool] | None = None
    """Ends the rehearsal early, for those who want only its beginning."""


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
            phrases=program.live(program.book.heard),
            fixtures=audio_fixtures_folder(),
            beside=plan.home_folder,
            prompt_db=plan.prompt_db,
            cache=cache_folder() / "people",
            mixdown=mixdown,
        )
        journal_path = plan.journal or folder / "journal.jsonl"
        journal_path.unlink(missing_ok=True)  # a rehearsal may be repeated; a run's journal never is
        machine = Machine(
            program,
            room,
            plan.ears,
            plan.voice,
            plan.screen,
            journal_path,
            on_event=plan.on_event,
            begins=BEGINS,
            seed=plan.home.seed,
        )
        stack.callback(machine.close)
        blocks = 0
        while not machine.done and blocks * BLOCK < LONGEST_S * RATE:
            if plan.until is not None and plan.until(machine.loop.state):
                break
            blocks += 1
            machine.turn(blocks * BLOCK / RATE, BLOCK)
        virtual_s = blocks * BLOCK / RATE
        mixdown.close()
        walked_s = time.perf_counter() - began
        result = summary(plan, machine, room, mixdown_path, virtual_s)
        result["virtual_s"] = round(virtual_s, 1)
        result["wall_s"] = round(time.perf_counter() - began, 2)
        result["measuring_s"] = round(time.perf_counter() - began - walked_s, 2)
        result["times_real_time"] = round(virtual_s / (time.perf_counter() - began), 1)
    if plan.summary is not None:
        private.write(plan.summary, json.dumps(result, indent=2) + "\n")
    return result


def summary(
    plan: Rehearsal, machine: Machine, room: Room, mixdown: Path, virtual_s: float
) -> dict[str, object]:
    """What the room and the mixdown say, and the few things only the session can know.

    Faults are survived when the run came to an end, no call was late, and the
    journal gives the very state it ended in.
    """
    state, guard, whole = machine.loop.state, machine.guard, machine.whole()
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
        "call_causes": machine.causes + machine.loop.causes,
        **measured,
        "engine": plan.ears.name,
        "restarts": machine.restarts,
        "journal_whole": whole,
        "faults": {
            "injected": measured["faults"],
            "survived": bool(state.outcome) and not measured["late_calls"] and whole,
        },
    }
