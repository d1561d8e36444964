"""How the shipped prompts are worded: short enough to be followed with the hands full."""

from __future__ import annotations

import pytest

from assistant.app.load import load_book
from tests.programs import ROUTINES, program

MOST_SENTENCES, MOST_WORDS = 2, 12


def too_long(texts: tuple[str, ...]) -> list[str]:
    return [text for text in texts if len(text.split()) > MOST_WORDS]


@pytest.mark.parametrize("name", ROUTINES)
def test_steps_are_two_sentences_of_twelve_words_for_each_voice(name: str) -> None:
    """At most two sentences a voice before there is silence to act in."""
    for step in program(name).steps:
        for texts in (step.caution, step.say, step.helper, getattr(step, "if_no", ())):
            assert len(texts) <= MOST_SENTENCES, (step.id, texts)
            assert not too_long(texts), step.id


def test_prompts_are_two_clips_of_twelve_words_for_each_voice() -> None:
    for name, entry in load_book().said.items():
        for texts in (entry.person, entry.helper):
            assert len(texts) <= MOST_SENTENCES, (name, texts)
            assert not too_long(texts), name


def test_a_time_is_never_spoken_that_the_kit_does_not_say() -> None:
    """Minutes of mixing, limits and standing come from the kit sheet; only first aid names its own twenty."""
    for name, entry in load_book().said.items():
        for text in (*entry.person, *entry.helper):
            for word in ("full minute", "two minutes", "three minutes", "ten minutes"):
                assert word not in text, (name, text)
