"""Words and marks that every screen uses, so that a person learns them once."""

from __future__ import annotations

import re

from assistant.core.session import Stance

BECAME = {
    "believe": "understood",
    "ask": "not sure, asking",
    "somebody": "speech, but nothing we know",
    "ignore": "let pass",
}
"""What became of something heard, by the values of `core.hearing.Verdict`."""

STANDS = {
    Stance.RINSE_CALL: "call",
    Stance.RINSING: "rinsing",
    Stance.CARE: "aid",
    Stance.AWAY: "away",
    Stance.HALTED: "halted",
    Stance.CLOSED: "ended",
}
"""What a whole screen looks like; any other stance is "work"."""


def as_written(phrase: str) -> str:
    """A phrase as the phrase book has it, all in small letters, as English is written: with a capital I."""
    return re.sub(r"\bi\b", "I", phrase)


def forecast_words(chance: float | None, will_not_fit: int) -> str:
    """The forecast in a line: how likely all of it fits, rounded down, and how many zones do not; "" without one."""
    if chance is None:
        return ""
    words = f"{int(chance * 100 + 1e-9)} % in time"
    if will_not_fit:
        words += f", {will_not_fit} {'zone' if will_not_fit == 1 else 'zones'} too many"
    return words
