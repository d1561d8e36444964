"""Moments of a rehearsal in the words of a home file: `90`, `cover:crown`, `12.5 min after cream on`.

Here the words and their meaning; what happens when is noticed by `room.people`
and `room.room`.
"""

from __future__ import annotations

import re
from typing import NamedTuple

EVENTS = {
    "start": "the rehearsal begins",
    "cream on": "the first cream touches the head, told or not",
    "cover:ZONE": "hands start to cover this zone",
    "smooth:ZONE": "hands start to smooth this zone",
    "rinse": "a rinse call is heard for the first time",
    "water": "the tap is turned on for the rinse",
    "clear": "the last zone runs clear",
    "step:ID": "the first prompt of this step is heard",
    "asked:WHAT": "a prompt that asks for this (see assistant/core/asks.py) is heard for the first time",
}

_PATTERN = re.compile(
    r"^(?:(?P<amount>\d+(?:\.\d+)?) ?(?P<unit>s|seconds?|min|minutes?) after )?"
    r"(?P<event>start|cream on|rinse|water|clear"
    r"|(?:cover|smooth):[a-z]+(?: [a-z]+)?|step:[a-z0-9_]+|asked:[a-z_]+)$"
)


class Moment(NamedTuple):
    """`seconds` after `event`."""

    event: str
    seconds: float = 0.0

    def __str__(self) -> str:
        return f"{self.seconds:g} s after {self.event}" if self.seconds else self.event


def parse_moment(value: object) -> Moment:
    """A moment from a number of seconds or its words. Raises ValueError naming what may be written."""
    if isinstance(value, Moment):
        return value
    if isinstance(value, (int, float)) and not isinstance(value, bool):
        if value < 0:
            raise ValueError("a moment is 0 s or later")
        return Moment("start", float(value))
    if isinstance(value, str):
        found = _PATTERN.match(" ".join(value.split()))
        if found:
            amount = float(found["amount"] or 0)
            if (found["unit"] or "s").startswith("m"):
                amount *= 60
            return Moment(found["event"], amount)
    raise ValueError(
        f"no such moment: {value!r}. Write seconds, or one of {', '.join(EVENTS)}, "
        "or such as '30 s after cover:crown' or '12.5 min after cream on'"
    )
