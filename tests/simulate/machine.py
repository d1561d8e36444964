"""The machine of a simulated run: ears, loudspeaker, disk and guard as models that can fail.

Each stands where the real adapter stands (`assistant.ports`) and keeps to what
that one promises. Times are seconds of the simulated world.
"""

from __future__ import annotations

import json
import math
import random
from collections.abc import Callable, Sequence
from dataclasses import dataclass, field

import numpy as np

from assistant.core import interrupting
from assistant.core.actions import Priority, Say, Sentence
from assistant.core.hearing import Hypothesis, LivePhrase
from assistant.core.session import WORDS_A_SECOND
from assistant.guard import duty
from assistant.ports import RATE, Mark, Samples
from tests.simulate.trial import Hearing

TONE_S = 2.6
"""About what the tone before a call takes."""
DECISION_S = 0.15
"""From the end of a phrase to what was made of it, as a rehearsal counts it."""
NOISE = np.zeros(1, dtype=np.float32)
"""Stands for a block of sound in which something was said."""


def lasts_s(prompt: Say) -> float:
    """Seconds a prompt sounds."""
    words = sum(len(s.text.split()) for s in prompt.sentences)
    return words / WORDS_A_SECOND + (TONE_S if prompt.alarm else 0.0)


def is_call(prompt: Say) -> bool:
    return prompt.priority is Priority.RINSE_CALL and prompt.alarm


class Speaker:
    """The mixer and the loudspeaker. A lost loudspeaker stands still; a muted one plays and nobody hears it."""

    def __init__(self, ordered: Callable[[Say], None]) -> None:
        """`ordered` is told of each prompt as it comes in."""
        self._ordered = ordered
        self.queue = interrupting.Queue()
        self.began = 0.0
        self.now = 0.0
        self.lost = False
        self.sounds: list[float] = []
        self._marks: list[Mark] = []
        self.news: list[Mark] = []
        self._missing: list[Sentence] = []

    def say(self, prompt: Say) -> None:
        self._ordered(prompt)
        if self.lost and is_call(prompt):
            self.sounds.append(self.now)  # ordered in time; that nobody hears it is counted elsewhere
        self._take(interrupting.say(self.queue, prompt))

    def drop(self, about: str) -> None:
        self._take(interrupting.drop(self.queue, about))

    def _take(self, change: interrupting.Change) -> None:
        if change.cut is not None:
            self._mark(change.cut, "cut")
        self.queue = change.queue
        if change.begins is not None:
            self._begin(change.begins)

    def _begin(self, prompt: Say) -> None:
        self.began = self.now
        self._mark(prompt, "begun")
        if is_call(prompt) and not self.lost:
            self.sounds.append(self.now)

    def _mark(self, prompt: Say, what: str) -> None:
        mark = Mark(prompt, what, round(self.now * RATE))
        self._marks.append(mark)
        self.news.append(mark)

    def ends_at(self) -> float:
        """When what plays will have been played."""
        playing = self.queue.playing
        return math.inf if playing is None or self.lost else self.began + lasts_s(playing)

    def play_until(self, now: float) -> None:
        while self.ends_at() <= now:
            playing = self.queue.playing
            assert playing is not None
            self.now = self.ends_at()
            self._mark(playing, "ended")
            self._take(interrupting.ended(self.queue))
        self.now = now

    def stall(self, seconds: float) -> None:
        """Nothing was played for so long."""
        self.began += seconds

    def wakes(self) -> None:
        """The machine slept: a call that was being spoken goes on."""
        if self.queue.playing is not None and is_call(self.queue.playing) and not self.lost:
            self.sounds.append(self.now)

    def is_back(self, lost_at: float) -> None:
        """What was playing when it was lost at `lost_at` goes on; what came since begins."""
        self.lost = False
        self.began = min(self.now, self.began + self.now - lost_at)
        if self.queue.playing is not None and is_call(self.queue.playing):
            self.sounds.append(self.now)

    def pull(self, count: int) -> Samples:
        return np.zeros(count, dtype=np.float32)

    def duck(self, on: bool) -> None:
        """Nobody measures how loud it is."""

    def acknowledge(self) -> None:
        """Nor a tick."""

    def idle(self) -> bool:
        return self.queue.idle

    def lack(self, prompt: Say | None) -> None:
        """A clip of a prompt is missing."""
        if prompt is not None:
            self._missing += prompt.sentences[:1]

    def missing(self) -> list[Sentence]:
        found, self._missing = self._missing, []
        return found

    @property
    def has_marks(self) -> bool:
        return bool(self._marks)

    def marks(self) -> list[Mark]:
        found, self._marks = self._marks, []
        return found


class Ears:
    """Hears whole utterances, at the trial's rates, and only phrases that are live."""

    name = "simulated"

    def __init__(self, hearing: Hearing, chance: random.Random) -> None:
        self._hearing = hearing
        self._chance = chance
        self._live: tuple[LivePhrase, ...] = ()
        self.waiting: list[Hypothesis] = []

    def allow(self, phrases: Sequence[LivePhrase]) -> None:
        self._live = tuple(phrases)

    def feed(self, heard: Samples, played: Samples, t_end: float) -> list[Hypothesis]:
        found, self.waiting = self.waiting, []
        return found

    def unknown_words(self, words: object) -> tuple[str, ...]:
        return ()

    def make_of(self, text: str, begin: float, end: float, over_prompt: bool) -> Hypothesis | None:
        """What is made of an utterance; None where it is not even noticed."""
        rates, luck = self._hearing, self._chance.random()
        spoken = next((p for p in self._live if p.text == text), None)
        if spoken is None:
            if luck < rates.false_accept and self._live:
                return self._took(self._chance.choice(self._live), 1.0, begin, end, over_prompt)
            return self._took(None, 0.0, begin, end, over_prompt)
        if luck < rates.missed:
            return None if luck < rates.missed / 2 else self._took(None, 0.0, begin, end, over_prompt)
        luck -= rates.missed
        if luck < rates.wrong:
            return self._took(self._chance.choice(self._live), 3.0, begin, end, over_prompt)
        luck -= rates.wrong
        margin = -1.0 if luck < rates.doubted else 5.0
        return self._took(spoken, margin, begin, end, over_prompt)

    def _took(
        self, best: LivePhrase | None, margin: float, begin: float, end: float, over_prompt: bool
    ) -> Hypothesis:
        return Hypothesis(
            begin, end, best, margin, 0.0, over_prompt=over_prompt, level_db=-30.0, engine=self.name
        )


class Killed(BaseException):
    """The process ends here, whatever it was doing."""


@dataclass
class Disk:
    """The journal's file: what is on it outlives the process that wrote it."""

    lines: list[str] = field(default_factory=list)
    full: bool = False
    kill_next: str = ""
    in_turn: set[str] = field(default_factory=set)
    """Names of the prompts recorded since the last event."""
    events: int = 0

    def write(self, record: dict[str, object]) -> None:
        kill, self.kill_next = self.kill_next, ""
        if self.full and kill:
            raise Killed
        if self.full:
            raise OSError(28, "No space left on device")
        line = json.dumps(record)
        if kill == "torn":
            self.lines.append(line[: len(line) // 2])
            raise Killed
        self.lines.append(line)
        if "event" in record:
            self.in_turn = set()
            self.events += 1
        elif record.get("action") == "Say":
            self.in_turn.add(str(record["name"]))
        if kill:
            raise Killed

    def close(self) -> None:
        """Nothing to let go of."""

    def read(self) -> list[dict[str, object]]:
        """Whole lines. A torn last one is set aside."""
        found = []
        for line in self.lines:
            try:
                found.append(json.loads(line))
            except ValueError:
                assert line is self.lines[-1]
        self.lines = self.lines[: len(found)]
        return found


class Guard:
    """The second process: what it does is decided by the real `guard.duty`; here its pipe, its clock and its death.

    Meets `ports.Guard` for the first process. `offset` is what the run clock is ahead of the world's.
    """

    def __init__(self, offset: float = 0.0) -> None:
        self.offset = offset
        self.now = 0.0
        self.alive = True
        self.restart_at = math.inf
        self._watch = duty.Watch()
        self._deadline: tuple[float, float] | None = None
        self._looks_at = math.inf

    @property
    def problem(self) -> str:
        return "" if self.alive else "the second process ended"

    # -- what the first process says --------------------------------------------------------

    def arm(self, due: float, since: float) -> None:
        due, since = due - self.offset, since - self.offset
        if self._deadline is not None:
            due, since = min(due, self._deadline[0]), min(since, self._deadline[1])
        self._deadline = (due, since)
        if self.alive:
            self._watch = duty.armed(self._watch, due, since)
            self._plan(closely=False)

    def disarm(self) -> None:
        self._deadline, self._looks_at = None, math.inf
        self._watch = duty.disarmed(self._watch)

    def called(self) -> None:
        self._watch = duty.called(self._watch, self.now)

    def beat(self, place: str) -> None:
        watch = self._watch
        if watch.quiet_s or watch.place != place or (watch.called_at is not None and not place):
            self._watch = duty.beaten(self._watch, place)

    def gone(self) -> None:
        """The first process's end of the pipe is closed."""
        self._watch = duty.gone(self._watch)
        self._plan(closely=True)

    def pressed(self) -> None:
        """A key, and the first process is not there to take it."""
        self._watch = duty.pressed(self._watch, self.now)

    def hands_over(self, due: float | None, *, rinsed: bool) -> bool:
        """Whether it leaves its place to a new first process that knows of `due`."""
        note = {
            "run": "another",
            "took_over": True,
            "due": None if due is None else due - self.offset,
            "rinsed": rinsed,
        }
        return duty.heir_of(note, "own", self._watch) is duty.Heir.TOOK_OVER

    # -- living ------------------------------------------------------------------------------

    def die(self, *, restart_at: float) -> None:
        self.alive, self.restart_at, self._looks_at = False, restart_at, math.inf
        self._watch = duty.Watch()

    def start(self) -> None:
        """Started anew by the first process, which tells it the deadline again."""
        self.alive, self.restart_at = True, math.inf
        if self._deadline is not None:
            self._watch = duty.armed(duty.Watch(), *self._deadline)
            self._plan(closely=True)

    def wakes_at(self) -> float:
        return self._looks_at if self.alive else self.restart_at

    def look(self, *, closely: bool) -> bool:
        """Look at what is due now; True when the rinse call begins to sound. `closely`: no beat comes at the moment."""
        if not self.alive or self._watch.due is None or self.now < self._looks_at:
            return False
        self._watch, words = duty.next_words(duty.look(self._watch, self.now), self.now)
        self._plan(closely=closely)
        return words is not None and "call" in words.clips

    def _plan(self, *, closely: bool) -> None:
        if self._watch.due is not None:
            self._looks_at = self.now + max(
                0.02, duty.next_look(self._watch, self.now, 0.25 if closely else 25.0)
            )
