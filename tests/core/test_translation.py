"""A routine in another language: the same steps, every sentence, and nothing besides."""

from __future__ import annotations

import pytest

from assistant.app.load import load_book, load_program, load_translation, translation_path
from assistant.app.speech import all_words, sounds_of
from assistant.core.checks import book_problems, pairs_live_together
from assistant.core.household import Household
from assistant.core.phrase_distance import NEAREST
from assistant.core.phrases import PLACEHOLDER, PhraseBook
from assistant.core.program import Program
from assistant.core.translation import Translation, kit_in_words, translated, translation_problems
from assistant.files.places import routines_folder
from assistant.files.yaml_file import BadFile, load
from tests.programs import household, kit, program, reached


@pytest.fixture(scope="module")
def korean() -> Program:
    people = load(routines_folder() / "kits" / "korean_household.yaml", Household)
    return load_program(
        routines_folder() / "short_hair.yaml", routines_folder() / "kits" / "example_kit.yaml", people
    )


def test_steps_and_their_order_are_the_routines_own(korean: Program) -> None:
    """Only texts differ: kinds, numbers, how much is said, and every placeholder stay."""
    english = program("short_hair")
    for mine, theirs in zip(korean.steps, english.steps, strict=True):
        texts = {"title", "caution", "say", "helper", "if_no", "items", "zones"}
        assert mine.model_dump(exclude=texts) == theirs.model_dump(exclude=texts)
        assert type(mine) is type(theirs)
        for part in texts - {"title", "items", "zones"}:
            for told, original in zip(getattr(mine, part, ()), getattr(theirs, part, ()), strict=True):
                assert PLACEHOLDER.findall(told) == PLACEHOLDER.findall(original)
                assert not any(c.isascii() and c.isalpha() for c in PLACEHOLDER.sub("", told)), told
    assert len(korean.zones) == len(english.zones)
    assert len(korean.routine.aftercare) == len(english.routine.aftercare)


def test_the_korean_book_says_and_hears_all_that_the_english_one_does(korean: Program) -> None:
    """Every phrase at its risk, every prompt at its priority, with what stands in its sentences; none has a word left in English."""
    mine, theirs = korean.book, load_book("en")
    assert {name: (e.risk, e.slot()) for name, e in mine.heard.items()} == {
        name: (e.risk, e.slot()) for name, e in theirs.heard.items()
    }
    assert list(mine.said) == list(theirs.said)
    for name, entry in mine.said.items():
        other = theirs.said[name]
        assert entry.priority == other.priority, name
        for part in ("person", "helper"):
            told, original = " ".join(getattr(entry, part)), " ".join(getattr(other, part))
            assert bool(told) == bool(original), name
            assert set(PLACEHOLDER.findall(told)) == set(PLACEHOLDER.findall(original)), name
            assert not any(c.isascii() and c.isalpha() for c in PLACEHOLDER.sub("", told)), told
    assert not list(book_problems(mine, korean.domains()))


def test_korean_phrases_that_live_together_are_as_far_apart_as_english_ones(korean: Program) -> None:
    sounds = sounds_of(korean.book, all_words(korean))
    live = korean.book.live(korean.book.heard, korean.zones, (12,))
    near = pairs_live_together(korean, reached("short_hair"), sounds, live, NEAREST)
    assert [(pair.apart, pair.one.text, pair.other.text) for pair in near] == []


def test_no_prompt_says_a_phrase_that_stops(korean: Program) -> None:
    """But for the steps that teach them."""
    stops = [p.text for p in korean.book.live(korean.book.heard, ()) if p.risk.value == "stop"]
    for name, entry in korean.book.said.items():
        if name != "check.say.rinse_now":
            assert not [stop for stop in stops for text in (*entry.person, *entry.helper) if stop in text], (
                name
            )


def test_what_a_translation_lacks_or_has_for_nothing_is_said() -> None:
    routine = program("short_hair").routine
    texts = load_translation(routine, "ko")
    assert not list(translation_problems(routine, texts))
    scalp = texts.steps["scalp"].model_copy(update={"if_no": ("오늘은 안 됩니다.",)})
    water = texts.steps["water"].model_copy(update={"helper": ()})
    steps = {name: step for name, step in texts.steps.items() if name != "mix"}
    wrong: Translation = texts.model_copy(
        update={
            "steps": {**steps, "scalp": scalp, "water": water, "extra": water},
            "zones": {k: v for k, v in texts.zones.items() if k != "back"}
            | {"nape": texts.zones["hairline"]},
            "aftercare": texts.aftercare[:1],
        }
    )
    found = [(problem.loc, problem.message) for problem in translation_problems(routine, wrong)]
    assert found == [
        (("zones",), "zone 'back' is not translated"),
        (("zones", "nape"), "the routine has no zone 'nape'"),
        (("zones",), "two zones have the same name"),
        (("steps",), "step 'mix' is not translated"),
        (("steps", "extra"), "the routine has no step 'extra'"),
        (("steps", "scalp", "if_no"), "step 'scalp' has 2 of 'if_no' and here are 1"),
        (("steps", "water"), "step 'water' has 1 of 'helper' and here are 0"),
        (("aftercare",), "the routine has 4 sentences of aftercare and here are 1"),
    ]


def test_a_kits_order_of_zones_follows_the_names() -> None:
    routine = program("short_hair").routine
    texts = load_translation(routine, "ko")
    order = kit_in_words(kit().model_copy(update={"zone_order": ("hairline", "nowhere")}), texts).zone_order
    assert order == (texts.zones["hairline"], "nowhere")
    assert translated(routine, texts).zone_names() == tuple(texts.zones[z] for z in routine.zone_names())


def test_a_routine_without_texts_in_the_language_is_refused_by_name() -> None:
    assert not translation_path("touch_up", "ko").exists()
    people = household().model_copy(update={"language": "ko"})
    with pytest.raises(BadFile, match="'touch_up' has no texts in the language 'ko'"):
        load_program(
            routines_folder() / "touch_up.yaml", routines_folder() / "kits" / "example_kit.yaml", people
        )


def test_a_book_that_counts_needs_number_words() -> None:
    book = load_book("en").model_dump(by_alias=True) | {"language": "xx"}
    with pytest.raises(ValueError, match="needs number words of the language 'xx'"):
        PhraseBook.model_validate(book)
