"""Where hands and heads are under water, prompts say: tap off, then speak (invariant 13)."""

from __future__ import annotations

import re

import pytest

from assistant.app.load import load_book
from tests.programs import ROUTINES, program

UNDER_WATER = re.compile(r"\brins(e|ing)\b|\blather\b", re.IGNORECASE)
WANTS_A_WORD = re.compile(r"\btell me\b|\bsay:", re.IGNORECASE)
TAP_OFF = re.compile(r"\btap off\b|\bturn (it|the tap) off\b", re.IGNORECASE)
OVER_WATER = ("guard.", "check.say.")
"""What the second process calls, and what the sound check tries out over the running tap."""


def test_the_books_prompts() -> None:
    """All but rinse calls: a call is answered over the water, by a key too."""
    asked = 0
    for name, entry in load_book("en").said.items():
        words = " ".join((*entry.person, *entry.helper))
        if entry.priority == "rinse call" or name.startswith(OVER_WATER):
            continue
        if UNDER_WATER.search(words) and WANTS_A_WORD.search(words):
            asked += 1
            assert TAP_OFF.search(words), (name, words)
    assert asked >= 4


@pytest.mark.parametrize("name", ROUTINES)
def test_the_routines_steps(name: str) -> None:
    for step in program(name).steps:
        words = " ".join((*step.say, *step.helper))
        if step.kind in ("lather", "confirm") and UNDER_WATER.search(words) and WANTS_A_WORD.search(words):
            assert TAP_OFF.search(words), step.id
