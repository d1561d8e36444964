"""What can happen to a run.

Every event carries `t`, seconds on the run clock (monotonic, counts sleep,
starts at 0 with the run). Events are made by the loop; the session takes them
in and answers with actions. Nothing here reads a clock.
"""

from __future__ import annotations

from dataclasses import dataclass


@dataclass(frozen=True, slots=True)
class Begun:
    """The run starts."""

    t: float


@dataclass(frozen=True, slots=True)
class Resumed:
    """The run goes on after a time in which nobody could be heard.

    `after` is "start" (the program was gone and its devices are new) or "sleep"
    (the machine slept with everything open).
    """

    t: float
    after: str = "start"


@dataclass(frozen=True, slots=True)
class Ticked:
    """Time has passed; nothing else is known to have happened."""

    t: float


@dataclass(frozen=True, slots=True)
class Heard:
    """A whole live phrase was heard and believed.

    `phrase` is the phrase's name in the phrase book, `slot` what filled its
    placeholder (a zone's name, a number of minutes as digits) or "".
    """

    t: float
    phrase: str
    slot: str = ""


@dataclass(frozen=True, slots=True)
class Doubted:
    """A live phrase was nearly heard; it must be asked about, never obeyed."""

    t: float
    phrase: str
    slot: str = ""


@dataclass(frozen=True, slots=True)
class Noticed:
    """Somebody is there: `kind` is "speech" that is no live phrase, "shout" where it was far louder than usual, or "knock"."""

    t: float
    kind: str = "speech"


@dataclass(frozen=True, slots=True)
class Pressed:
    """A key or the pedal. `key` is "yes", "no", "again", "stop" or "phrase:<name>"."""

    t: float
    key: str


@dataclass(frozen=True, slots=True)
class Spoken:
    """The prompt `name` was played to its end."""

    t: float
    name: str


@dataclass(frozen=True, slots=True)
class DeviceLost:
    """`device` ("microphone", "speaker", "recogniser", "voice", "journal", "guard") stopped working."""

    t: float
    device: str
    reason: str = ""


@dataclass(frozen=True, slots=True)
class DeviceBack:
    """`device` works again."""

    t: float
    device: str


Event = Begun | Resumed | Ticked | Heard | Doubted | Noticed | Pressed | Spoken | DeviceLost | DeviceBack
