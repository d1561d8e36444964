"""pocketsphinx and the pronouncing dictionary: choosing, words it lacks."""

from __future__ import annotations

import numpy as np
import pytest

from assistant.core.hearing import LivePhrase, Risk
from assistant.ears.denoise import denoise
from assistant.ears.pronunciations import ADDED, pronounceable, pronunciations
from assistant.ears.sphinx import Sphinx
from assistant.ears.vocabulary import VocabularyError
from assistant.ports import RATE
from tests.ports import ears_sound as sound


@pytest.fixture(scope="module")
def sphinx() -> Sphinx:
    made = Sphinx()
    made.allow(sound.covering())
    return made


@pytest.mark.parametrize("voice", sound.VOICES)
@pytest.mark.parametrize("text", ["done with back left", "next step", "leave out crown", "started the crown"])
def test_chooses_what_was_said(sphinx: Sphinx, voice: str, text: str) -> None:
    found = sphinx.choose(sound.around(sound.clip(voice, text)))
    wanted = sound.phrase(text, sound.covering())
    assert found is not None
    assert (found.name, found.slot) == (wanted.name, wanted.slot)


def test_choice_does_not_depend_on_what_came_before(sphinx: Sphinx) -> None:
    quiet, loud = (sound.around(sound.clip("flite_slt", "done with crown")) * g for g in (1.0, 8.0))
    first = sphinx.choose(quiet)
    sphinx.choose(loud)
    assert sphinx.choose(quiet) == first


def test_word_without_a_pronunciation_is_an_error(sphinx: Sphinx) -> None:
    assert sphinx.unknown_words(["crown", "zzyx", "zzyx", "nape"]) == ("zzyx",)
    with pytest.raises(VocabularyError, match="does not know: zzyx") as missing:
        sphinx.allow([LivePhrase("zzyx now", "x", "", Risk.ASK)])
    assert missing.value.words == ("zzyx",)


def test_nothing_allowed_chooses_nothing() -> None:
    empty = Sphinx()
    empty.allow(())
    assert empty.choose(sound.silence(1)) is None


def test_pronunciations_are_arpabet() -> None:
    """CMU pronouncing dictionary, as carried by pocketsphinx."""
    assert pronunciations(["crown", "rinse"]) == {
        "crown": ("K", "R", "AW", "N"),
        "rinse": ("R", "IH", "N", "S"),
    }
    assert pronunciations(ADDED) == ADDED


def test_words_without_a_pronunciation_are_all_named() -> None:
    with pytest.raises(VocabularyError) as missing:
        pronunciations(["crown", "zzyx", "qqq"])
    assert missing.value.words == ("zzyx", "qqq")
    assert pronounceable(["crown", "zzyx"]) == {"crown": ("K", "R", "AW", "N")}


def test_denoising_lowers_the_noise_and_keeps_the_speech() -> None:
    clean = sound.around(sound.clip("flite_slt", "done with back left"))
    noisy = clean + sound.tap(len(clean), sound.PERSON_DB - 10)
    after = denoise(noisy)
    assert after.shape == noisy.shape
    lead = slice(0, RATE // 4)
    assert np.mean(after[lead] ** 2) < 0.3 * np.mean(noisy[lead] ** 2)
    middle = slice(RATE // 2, RATE)
    assert np.corrcoef(after[middle], clean[middle])[0, 1] > 0.9
