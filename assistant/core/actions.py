"""What the session may order. The loop carries it out; nothing here does anything."""

from __future__ import annotations

from dataclasses import dataclass
from enum import IntEnum


class Priority(IntEnum):
    """Who may interrupt whom; a lower number interrupts a higher one.

    The three alert levels follow 14 CFR 25.1322 (warning: act now, caution:
    act soon); the rinse call stands above them.
    """

    RINSE_CALL = 0
    WARNING = 1
    CAUTION = 2
    INSTRUCTION = 3
    INFORMATION = 4


@dataclass(frozen=True, slots=True)
class Sentence:
    """One clip: a finished sentence and who speaks it ("person" or "helper")."""

    text: str
    voice: str = "person"


@dataclass(frozen=True, slots=True)
class Say:
    """Speak `sentences` in order, and show them.

    `name` is the prompt's name in the phrase book. `about` ties the prompt to
    what it is about: when that is over, a `Drop` with the same `about` takes
    what is still waiting away. `level` scales the sound (1: as the sound check
    checked it; above 1 it is bent to fit, see `alarm.limit`).
    `alarm` plays the tone before the words. `asks` says what is wanted of the
    people once it was spoken (the table is in `core.asks`); "" wants nothing.
    """

    name: str
    sentences: tuple[Sentence, ...]
    priority: Priority = Priority.INSTRUCTION
    about: str = ""
    level: float = 1.0
    alarm: bool = False
    asks: str = ""
    slots: tuple[tuple[str, str], ...] = ()


@dataclass(frozen=True, slots=True)
class Drop:
    """What is waiting or playing about `about` holds no longer."""

    about: str


@dataclass(frozen=True, slots=True)
class Arm:
    """The rinse call is due at `due` seconds on the run clock; only ever earlier than before."""

    due: float


@dataclass(frozen=True, slots=True)
class Disarm:
    """The hair runs clear; no deadline stands."""


@dataclass(frozen=True, slots=True)
class Close:
    """The run is over. `outcome` is "finished" or "stopped"."""

    outcome: str


Action = Say | Drop | Arm | Disarm | Close
