"""A consultation by voice ends in the same answers as one by keys, and nothing counts that was only misheard."""

from __future__ import annotations

import json
from datetime import date

import numpy as np
import pytest

from assistant.app.consult import load_form
from assistant.app.interview_by_voice import Stopped, VoiceInterview, grammars, how_to_answer
from assistant.core.answers import Value
from assistant.core.interview import Interview
from assistant.core.spoken_answers import phrases
from assistant.ears.listening import Listening
from assistant.ears.priors import SHIPPED_ANSWERS
from assistant.ears.written_forms import written_forms
from assistant.ports import RATE, Samples
from assistant.room.acoustics import at_level
from assistant.room.voices import installed, synthesise
from tests.app.interview_room import AnsweringRoom, FakeEars, FakeVoice, a_moment
from tests.ports import ears_sound
from tests.programs import kit

TODAY = date(2024, 3, 1)
FORM = load_form()
RIGHT = "that is right"
KNOWN: dict[str, Value] = {"age": 34, "hair": "coarse"}


def interview(**known: Value) -> Interview:
    return Interview(FORM, kit(), "Ada", TODAY, dict(known))


def asked(made: Interview, *answers: str) -> AnsweringRoom:
    """Answer until the answers are used up; what was shown."""
    room = AnsweringRoom(answers, a_moment)
    with pytest.raises(Stopped):
        VoiceInterview(made, room, FakeEars(room), FakeVoice(), room).run()
    return room


def test_a_whole_consultation_by_voice_is_the_one_by_keys() -> None:
    by_key = interview(**KNOWN)
    by_voice = interview(**KNOWN)
    said: list[str] = []
    while (question := by_key.question()) is not None:
        live = phrases(question, TODAY)
        # the taught way of a middle answer of each question, so that waits and named days come along
        phrase = next(p for p in live if p.slot == live[len(live) // 2].slot)
        by_key.answer(phrase.slot or "none")
        said += [phrase.text, RIGHT] if phrase.slot else ["none", RIGHT]
    while (finding := by_key.to_clear()) is not None:
        by_key.refused.add(finding.rule)
        said.append("nobody has")
    room = AnsweringRoom([RIGHT, *said], a_moment)
    VoiceInterview(by_voice, room, FakeEars(room), FakeVoice(), room).run()
    assert by_voice.answers == by_key.answers
    assert by_voice.kept() == by_key.kept()
    assert by_voice.result() == by_key.result()


def test_what_was_misheard_counts_only_when_somebody_says_that_it_is_right() -> None:
    made = interview(**KNOWN)
    asked(made, RIGHT, "it is sound", "that is wrong", "it is scratched")
    assert "scalp" not in made.answers
    made = interview(**KNOWN)
    room = asked(made, RIGHT, "it is sound", "that is wrong", "it is scratched", RIGHT)
    assert made.answers == {"scalp": ("scratched",)}
    assert "I heard: scratched." in room.shown


def test_i_do_not_know_is_an_answer_and_nonsense_is_none() -> None:
    made = interview(**KNOWN)
    room = asked(made, RIGHT, "what a lovely day", "i don't know", RIGHT)
    assert made.answers == {"scalp": "unknown"}
    assert "I did not understand that." in room.shown


def test_going_back_explaining_and_saying_again() -> None:
    made = interview(**KNOWN)
    room = asked(
        made, RIGHT, "it is sound", RIGHT, "explain that please", "say it again", "go back one",
        "it is irritated", RIGHT,
    )  # fmt: skip
    assert made.answers == {"scalp": ("irritated",)}
    condition, scalp = FORM.get("hair_condition"), FORM.get("scalp")
    assert room.shown.count(condition.why) == 1
    assert room.shown.count(condition.ask) >= 3
    assert room.shown.count(scalp.ask) == 2


def test_keys_count_beside_the_voice() -> None:
    """Typed answers need no saying back; an empty line says right; a typed answer overrules what was heard."""
    made = interview(**KNOWN)
    room = asked(made, "> yes", "> purple", "> 1", "it is dry", ">", "it is low", "> normal")
    assert made.answers == {"scalp": ("sound",), "hair_condition": "dry", "porosity": "normal"}
    assert any(line.startswith("! 'purple' is not one of the answers") for line in room.shown)


def test_what_is_known_is_not_asked_unless_it_is_wrong() -> None:
    made = interview(**KNOWN)
    asked(made, "that is wrong", RIGHT, "that is wrong", "it is medium", RIGHT)
    assert made.known == {"age": 34}
    assert made.answers == {"hair": "medium"}


def test_a_day_comes_with_its_year_and_the_year_can_be_put_right() -> None:
    made = interview(**KNOWN)
    made.answers = {"last_colour": "never"}
    question = FORM.get("last_relaxer")
    room = AnsweringRoom(["the third of may", "another year please", "twenty twenty two", RIGHT], a_moment)
    asking = VoiceInterview(made, room, FakeEars(room), FakeVoice(), room)
    made.question = lambda: question  # type: ignore[method-assign,assignment]
    asking._ask(question)
    assert "I heard: the third of May twenty twenty three." in room.shown
    assert made.answers["last_relaxer"] == date(2022, 5, 3)


def test_silence_is_asked_again_and_then_waited_for() -> None:
    made = interview(**KNOWN)
    room = asked(made, RIGHT, "...", "...", "it is sound", RIGHT)
    assert room.shown.count(FORM.get("scalp").ask) == 3
    assert made.answers == {"scalp": ("sound",)}


def test_every_answer_of_every_question_is_told_aloud() -> None:
    for question in FORM.questions:
        said = how_to_answer(question)
        assert "I don't know" in said
        assert all(value in said for value in question.values)


def test_the_recogniser_knows_every_answer_from_the_start() -> None:
    """Otherwise the first consultation by voice waits two minutes; the docstring of `ears.priors` says what mends it."""
    kept = json.loads(SHIPPED_ANSWERS.read_text("utf-8"))["priors"]
    for day in (TODAY, date(2026, 11, 25), date(2028, 2, 29)):
        said = {p.text for grammar in grammars(FORM, day) for p in grammar}
        assert not sorted(t for t in said if " / ".join(written_forms(t)) not in kept)


@pytest.mark.skipif(not installed("flite"), reason="flite is not installed")
def test_spoken_answers_are_heard_by_the_real_recogniser() -> None:
    """A synthetic voice, the shipped recogniser, a few questions: a word, two words, I don't know, a day."""

    def sound(text: str) -> Samples:
        quiet = np.zeros(RATE, np.float32)
        spoken = at_level(synthesise("flite", "slt", text), ears_sound.PERSON_DB)
        return np.concatenate([spoken, quiet]).astype(np.float32)

    made = interview(age=34)
    room = AnsweringRoom(
        [
            RIGHT,
            "it is coarse",
            RIGHT,
            "it is sound",
            "that is wrong",
            "it is scratched",
            RIGHT,
            "i don't know",
            RIGHT,
        ],
        sound,
    )
    ears = Listening(ears_sound.engine())
    with pytest.raises(Stopped):
        VoiceInterview(made, room, ears, FakeVoice(), room).run()
    assert made.answers == {"hair": "coarse", "scalp": ("scratched",), "hair_condition": "unknown"}
