"""The edges of the machine as the loop sees them. Each is met by a real adapter and by a fake.

All sound is mono float32 in -1..1 at RATE samples a second; times are seconds
on the run clock.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from typing import Protocol

import numpy as np
from numpy.typing import NDArray

from assistant.core.actions import Say, Sentence
from assistant.core.hearing import Hypothesis, LivePhrase
from assistant.core.session import View

RATE = 16_000
"""Samples a second everywhere inside; devices that cannot do it are resampled at the edge."""

Samples = NDArray[np.float32]


class Clock(Protocol):
    """Seconds on the run clock: never backwards, counts sleep."""

    def now(self) -> float: ...


class Ears(Protocol):
    """A recogniser. It proposes; `core.hearing` decides."""

    name: str

    def allow(self, phrases: Sequence[LivePhrase]) -> None:
        """From now on only `phrases` may be heard. Raises VocabularyError for a word it lacks."""

    def feed(self, heard: Samples, played: Samples, t_end: float) -> list[Hypothesis]:
        """Take in sound.

        `heard` is what the microphone gave, `played` what the speaker gave at the
        same time (same length, zeros in silence), `t_end` the time of the last
        sample. Returns the utterances that ended or were decided within it.
        """

    def unknown_words(self, words: Iterable[str]) -> tuple[str, ...]:
        """Those of `words` this recogniser can never hear."""


class Voice(Protocol):
    """Speech made ahead of time."""

    def prepare(self, sentences: Iterable[Sentence]) -> None:
        """Make every clip, checked, before cream is mixed. Raises VoiceError when one cannot be made."""

    def clip(self, sentence: Sentence) -> Samples:
        """The finished sound of a prepared sentence. Never synthesises, never blocks."""


@dataclass(frozen=True, slots=True)
class Mark:
    """Something that happened to a prompt at sample `at` of the output stream (counted from its start).

    `what` is "begun", "ended" or "cut" (interrupted or dropped while playing).
    """

    prompt: Say
    what: str
    at: int


class Mixer(Protocol):
    """One output stream; who may interrupt whom is decided by `core.interrupting`."""

    def say(self, prompt: Say) -> None: ...

    def drop(self, about: str) -> None: ...

    def acknowledge(self) -> None:
        """A soft tick: understood, and there is nothing to say to it."""

    def pull(self, count: int) -> Samples:
        """The next `count` samples for the speaker."""

    def idle(self) -> bool:
        """Nothing plays and nothing waits."""

    def missing(self) -> list[Sentence]:
        """Sentences that were to be played and have no clip, since the last call."""

    def marks(self) -> list[Mark]:
        """What began, ended or was cut short since the last call, in order."""


class Behind(OSError):
    """The disk is slow: the record was taken and is not on it yet. It will be written when the disk allows."""


class Journal(Protocol):
    """Append-only record of a run, on disk before it is acted on."""

    def write(self, record: dict[str, object]) -> None:
        """Append and flush. Raises Behind, or OSError when the disk will not take it and it was not kept."""

    def close(self) -> None: ...


class Guard(Protocol):
    """The second pair of eyes on the deadline. Nothing here waits or raises."""

    @property
    def problem(self) -> str:
        """Why nobody stands guard at the moment; "" when somebody does."""

    def arm(self, due: float, since: float) -> None:
        """The rinse call is due at `due`; cream is on since `since`. Only ever earlier than before."""

    def disarm(self) -> None:
        """A recorded rinse: no deadline stands."""

    def called(self) -> None:
        """The rinse call has begun to sound here."""

    def beat(self, place: str) -> None:
        """The main program lives. `place` is "calling", "water" (it runs) or "". Call it at every turn."""


class Keys(Protocol):
    """Keys and the pedal."""

    def pressed(self) -> list[str]:
        """Keys since the last call, by the meaning `core.events.Pressed` gives them."""


class Screen(Protocol):
    """What is spoken is shown."""

    def said(self, t: float, prompt: Say) -> None: ...

    def heard(self, t: float, words: str, verdict: str) -> None: ...

    def stands(self, t: float, view: View) -> None:
        """Where the run is after an event; times in `view` are those of `t`."""

    def clock(self, t: float, cream_on_s: float | None, due_in_s: float | None, where: str) -> None:
        """The clocks, many times a second."""
