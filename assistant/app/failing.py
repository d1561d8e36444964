"""The machine of a rehearsal, with what can fail in it: the loop on its devices, block by block.

Sound that fails in the room (microphone, loudspeaker) is the room's. Here is
what fails in the machine: the recogniser, a voice, the disk, the wall clock, the
second process, the processor, sleep, and the program itself, which is killed
and started again from its journal. Which fault is on the room says (`failing`).
"""

from __future__ import annotations

import errno
import os
from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import dataclass, field, replace
from datetime import datetime, timedelta
from pathlib import Path

import numpy as np

from assistant.alarm import tone
from assistant.alarm.limit import limited
from assistant.app import calls
from assistant.app.loop import Loop
from assistant.app.resume import replayed
from assistant.core.actions import Action, Priority, Say, Sentence
from assistant.core.events import DeviceBack, DeviceLost, Event
from assistant.core.hearing import Hypothesis, LivePhrase
from assistant.core.program import Program
from assistant.core.session import State
from assistant.guard import duty
from assistant.guard.absent import AbsentGuard
from assistant.journal.journal import FileJournal, read
from assistant.mouth.mixer import PromptMixer
from assistant.mouth.synthesiser import VoiceError
from assistant.ports import RATE, Ears, Journal, Mark, Samples, Screen, Voice
from assistant.room.room import Room

DECISION_S = 0.15
"""What a hearing decision costs on the run clock in a rehearsal, where computing takes no virtual time.

Scoring an utterance takes 46 to 65 ms on one core of a small machine; taken as 150 ms to be on the safe side.
"""
STEP = timedelta(hours=1)
"""How far a stepped wall clock is off."""
STARVED_S = 2.5
"""A starved loop comes to its turn up to so much late (our choice: far worse than was measured under load)."""
DEAF = ("recogniser_hung", "recogniser_crashed")
NO_DISK = {"disk_full": errno.ENOSPC, "journal_read_only": errno.EROFS}

Failing = Mapping[str, float]
"""What fails now, and until when."""


class FailingEars:
    """Meets `ports.Ears`: a recogniser that hangs or has crashed hears nothing."""

    def __init__(self, ears: Ears, failing: Failing) -> None:
        self._ears, self._failing = ears, failing
        self.name = ears.name

    def allow(self, phrases: Sequence[LivePhrase]) -> None:
        self._ears.allow(phrases)

    def feed(self, heard: Samples, played: Samples, t_end: float) -> list[Hypothesis]:
        found = self._ears.feed(heard, played, t_end)
        return [] if any(fault in self._failing for fault in DEAF) else found

    def unknown_words(self, words: Iterable[str]) -> tuple[str, ...]:
        return self._ears.unknown_words(words)


class FailingVoice:
    """Meets `ports.Voice`: while `voice_missing`, no clip is there."""

    def __init__(self, voice: Voice, failing: Failing) -> None:
        self._voice, self._failing = voice, failing

    def prepare(self, sentences: Iterable[Sentence]) -> None:
        self._voice.prepare(sentences)

    def clip(self, sentence: Sentence) -> Samples:
        if "voice_missing" in self._failing:
            raise VoiceError(f"no clip of {sentence.text!r}")
        return self._voice.clip(sentence)


class FailingJournal:
    """Meets `ports.Journal`: a disk that is full, or became read-only."""

    def __init__(self, journal: Journal, failing: Failing) -> None:
        self._journal, self._failing = journal, failing

    def write(self, record: dict[str, object]) -> None:
        for fault, number in NO_DISK.items():
            if fault in self._failing:
                raise OSError(number, os.strerror(number))
        self._journal.write(record)

    def close(self) -> None:
        self._journal.close()


class SimulatedGuard(AbsentGuard):
    """The second process of a rehearsal: what it does is decided by the real `guard.duty`, on the same loudspeaker.

    It is asked to sound only while the loop does not turn; what it says is what
    the real one has as finished files. While `guard_killed` there is none.
    """

    def __init__(self, program: Program, voice: Voice, failing: Failing) -> None:
        super().__init__()
        self._words, self._voice, self._failing = calls.spoken(program), voice, failing
        self._watch = duty.Watch()
        self._sounding: tuple[Say, Samples, int] | None = None

    @property
    def problem(self) -> str:  # type: ignore[override]
        return "the second process has ended" if "guard_killed" in self._failing else ""

    def arm(self, due: float, since: float) -> None:
        super().arm(due, since)
        self._watch = duty.armed(self._watch, due, since)

    def disarm(self) -> None:
        super().disarm()
        self._watch = duty.disarmed(self._watch)

    def beat(self, place: str) -> None:
        super().beat(place)
        if self._watch.quiet_s or self._watch.place != place or not place:
            self._watch = duty.beaten(self._watch, place)

    def called_at(self, t: float) -> None:
        """The rinse call began to sound at `t`."""
        self._watch = duty.called(self._watch, t)

    def pressed(self, t: float) -> None:
        """A key, and the loop is not there to take it."""
        self._watch = duty.pressed(self._watch, t)

    def gone(self) -> None:
        """The program has ended."""
        self._watch = duty.gone(self._watch)

    def taken_over(self) -> None:
        """A new program has read all that is known here, and brings a guard of its own."""
        self._watch, self._sounding = replace(duty.Watch(), due=None), None

    def sound(self, t: float, at: int, count: int) -> tuple[Samples, list[Mark]]:
        """The block of `count` samples that begins at sample `at` and ends at `t`, and what begins or ends in it."""
        out = np.zeros(count, dtype=np.float32)
        if self.problem:
            self._watch, self._sounding = duty.Watch(due=self._watch.due, since=self._watch.since), None
            return out, []
        marks = []
        if self._sounding is None:
            self._watch, words = duty.next_words(duty.look(self._watch, t), t)
            if words is not None:
                self._sounding = (*self._put_together(words), at)
                marks.append(Mark(self._sounding[0], "begun", at))
        if self._sounding is not None:
            prompt, sound, began = self._sounding
            piece = sound[at - began : at - began + count]
            out[: len(piece)] = piece
            if at + count - began >= len(sound):
                marks.append(Mark(prompt, "ended", began + len(sound)))
                self._sounding = None
        return out, marks

    def _put_together(self, words: duty.Words) -> tuple[Say, Samples]:
        """The prompt as the people take it, and its sound."""
        calls_now = "call" in words.clips
        sentences = [s for name in words.clips for s in self._sentences(name)]
        gap = np.zeros(round(calls.GAP_S * RATE), dtype=np.float32)
        parts = [tone.alarm()] if calls_now else []
        parts += [piece for s in sentences for piece in (self._voice.clip(s), gap)]
        priority = Priority.RINSE_CALL if calls_now else Priority.WARNING
        prompt = Say(
            f"guard.{words.clips[0].partition('_')[0]}", tuple(sentences), priority, "guard", words.level,
            alarm=calls_now, asks="water" if calls_now else "",
        )  # fmt: skip
        return prompt, limited(np.concatenate(parts).astype(np.float32) * np.float32(words.level))

    def _sentences(self, name: str) -> tuple[Sentence, ...]:
        return self._words.get(name, self._words.get(f"{name.partition('_')[0]}_more", ()))


@dataclass
class Held:
    """Blocks that a starved loop has not taken yet."""

    heard: list[Samples] = field(default_factory=list)
    played: list[Samples] = field(default_factory=list)
    marks: list[Mark] = field(default_factory=list)
    keys: list[str] = field(default_factory=list)
    devices: list[DeviceLost | DeviceBack] = field(default_factory=list)


class Machine:
    """One rehearsal's loop and devices. `turn` lets a block of the simulated world pass."""

    def __init__(
        self,
        program: Program,
        room: Room,
        ears: Ears,
        voice: Voice,
        screen: Screen,
        journal: Path,
        *,
        on_event: Callable[[Event, tuple[Action, ...], State], None] | None = None,
        begins: datetime,
        seed: int = 1,
    ) -> None:
        """`journal` must not be there yet; `begins` is the wall clock's time at 0 s. Raises VocabularyError when the ears lack a word of a phrase."""
        self._program, self._room, self._screen, self._path = program, room, screen, journal
        self._on_event, self._begins = on_event, begins
        self._chance = np.random.default_rng([seed, 7])
        self._ears = FailingEars(ears, room.failing)
        self._voice = FailingVoice(voice, room.failing)
        self.guard = SimulatedGuard(program, voice, room.failing)
        self.causes: list[str] = []
        self.restarts = 0
        self._t, self._block = 0.0, 0
        self._lag = 0  # samples in which the mixer was not asked for any
        self._held, self._turns_at = Held(), 0.0
        self._killed = False
        about = {"routine": program.routine.name, "kit": program.kit.name, "rehearsal": True}
        self._journal = FileJournal.begin(journal, self._wall, about=about, sync=_no_sync)
        self._start()
        self.loop.begin(0.0)

    @property
    def done(self) -> bool:
        return not self._killed and self.loop.done

    def turn(self, t: float, count: int) -> None:
        """`count` samples of the world, up to `t` seconds."""
        self._t, self._block = t, count
        if self._killed and "killed" not in self._room.failing:
            self._start_again(t)
        if self._killed or "sleep" in self._room.failing:
            self._nobody_listens(t, count)
            return
        played = self._mixer.pull(count)
        marks = [replace(mark, at=mark.at + self._lag) for mark in self._mixer.marks()]
        heard = self._room.turn(t, played, marks)
        if "killed" in self._room.failing:
            self._die()
            return
        held = self._held
        held.heard.append(heard)
        held.played.append(played)
        held.marks += marks
        held.keys += self._room.pressed()
        held.devices += self._room.devices()
        if "starved" in self._room.failing and t < self._turns_at:
            return
        for mark in held.marks:
            if mark.what == "begun" and mark.prompt.alarm:
                self.guard.called_at(t)
        self._turns_at = t + float(self._chance.uniform(0, STARVED_S))
        self._held = Held()
        devices = [replace(event, t=t) for event in held.devices]
        self.loop.turn(t, _joined(held.heard), _joined(held.played), held.marks, held.keys, devices)

    def whole(self) -> bool:
        """Whether the journal gives the state the run is in; True while the disk takes nothing and that was said."""
        if any(fault in self._room.failing for fault in NO_DISK):
            return "journal" in self.loop.state.lost
        state, strange = replayed(self._program, read(self._path, put_aside=False))
        return not strange and state == self.loop.state

    def close(self) -> None:
        self._journal.close()

    # -- one program after the other ---------------------------------------------------------

    def _start(self) -> None:
        self._mixer = PromptMixer(self._voice)
        self.loop = Loop(
            self._program,
            self._ears,
            self._mixer,
            FailingJournal(self._journal, self._room.failing),
            self.guard,
            self._screen,
            decision_s=DECISION_S,
            on_heard=self._room.note_hearing,
            on_event=self._on_event,
        )

    def _die(self) -> None:
        self._killed = True
        self.guard.gone()
        self.causes += self.loop.causes
        self._journal.close()
        self._held = Held()

    def _start_again(self, t: float) -> None:
        self._killed = False
        self.restarts += 1
        self._lag = self._pulled_until(t)
        self._journal, reading = FileJournal.resume(self._path, self._wall, sync=_no_sync)
        state, _ = replayed(self._program, reading)
        self.guard.taken_over()
        self._start()
        self.loop.resume(state, t)

    def _pulled_until(self, t: float) -> int:
        """What a new mixer's count of samples is behind the world's: it begins with the block that ends at `t`."""
        return round(t * RATE) - self._block

    def _nobody_listens(self, t: float, count: int) -> None:
        """The program is gone and the guard alone is there, or the machine sleeps and nobody is."""
        at = round(t * RATE) - count
        if "sleep" in self._room.failing:
            played, marks = np.zeros(count, dtype=np.float32), list[Mark]()
        else:
            played, marks = self.guard.sound(t, at, count)
        self._room.turn(t, played, marks)
        if self._room.pressed() and "sleep" not in self._room.failing:
            self.guard.pressed(t)
        self._lag += count

    def _wall(self) -> datetime:
        now = self._begins + timedelta(seconds=self._t)
        if "clock_forward" in self._room.failing:
            return now + STEP
        return now - STEP if "clock_back" in self._room.failing else now


def _joined(pieces: list[Samples]) -> Samples:
    return pieces[0] if len(pieces) == 1 else np.concatenate(pieces)


def _no_sync(handle: int) -> None:
    """A rehearsal's journal need not survive a power cut."""
