"""The embedded engine: tokens, priors, scores, with the real model on real clips."""

from __future__ import annotations

import json
import subprocess
import sys
from pathlib import Path

import numpy as np
import pytest

from assistant.core.hearing import AHEAD_AGAINST, LivePhrase, Risk
from assistant.ears import priors
from assistant.ears.moonshine import OTHER_WORDS, accept_at, beyond_doubt
from assistant.ears.moonshine_model import Encoded, Moonshine, phrase_rows, prefix_tree
from assistant.ears.priors import Priors, measure, noise_clips
from assistant.ears.tokens import Tokens
from assistant.ears.written_forms import written_forms
from assistant.files.places import routines_folder
from assistant.ports import Samples
from assistant.room import acoustics
from assistant.room.home import Walls
from tests.ports import ears_sound as sound
from tests.programs import ROUTINES, program


def test_model_is_found_without_loading_its_native_library() -> None:
    """Asked in a process of its own: other tests do load it."""
    script = (
        "import sys; from assistant.ears.moonshine_model import Moonshine, model_folder; Moonshine(); "
        "assert (model_folder() / 'decoder_model_merged.ort').is_file(); assert 'moonshine_voice' not in sys.modules"
    )
    subprocess.run([sys.executable, "-c", script], check=True, cwd=Path(__file__).parents[2])


@pytest.mark.parametrize(
    ("text", "ids"),
    [("Stop right now", (22303, 1492, 1286)), ("My skin burns", (1619, 19309, 12138, 29879))],
)
def test_token_ids(text: str, ids: tuple[int, ...]) -> None:
    """Ids the model's own tokeniser gives; greedy longest match gives others."""
    tokens = sound.model().tokens
    assert tokens.encode(text) == ids
    assert tokens.text(ids) == text


def test_vocabulary_has_its_size_and_the_last_of_equal_pieces_wins() -> None:
    tokens = sound.model().tokens
    assert len(tokens) == 32768
    assert tokens.id_of(".") == 29889


def test_what_is_no_vocabulary_is_refused(tmp_path: Path) -> None:
    (tmp_path / "tokenizer.bin").write_bytes(b"\x01a\x01b")
    with pytest.raises(ValueError, match="holds 2 pieces"):
        Tokens(tmp_path / "tokenizer.bin")


@pytest.mark.parametrize(
    ("text", "forms"),
    [
        ("next", ("Next",)),
        ("yes please", ("Yes please", "Yes, please")),
        ("it is smooth", ("It is smooth", "It's smooth")),
        ("i am ready", ("I am ready", "I'm ready")),
        (
            "the timer says twenty one minutes",
            ("The timer says twenty one minutes", "The timer says 21 minutes"),
        ),
        ("timer says forty minutes", ("Timer says forty minutes", "Timer says 40 minutes")),
        ("go back one", ("Go back one",)),
    ],
)
def test_written_forms(text: str, forms: tuple[str, ...]) -> None:
    assert written_forms(text) == forms


def shipped_phrases() -> set[str]:
    """Every phrase that may be heard in any shipped routine."""
    made = [program(name) for name in ROUTINES]
    return {p.text for m in made for p in m.book.live(m.book.heard, m.zones)}


def test_priors_of_every_shipped_phrase_ship() -> None:
    """Otherwise the first start would take a quarter of a minute longer; `python -m assistant.ears.priors` mends it."""
    kept = json.loads(priors.SHIPPED.read_text("utf-8"))["priors"]
    missing = sorted(p for p in shipped_phrases() if " / ".join(written_forms(p)) not in kept)
    assert not missing, f"{len(missing)} of the phrases of {routines_folder()}"


def test_shipped_priors_are_what_the_model_says() -> None:
    """Measured again beside other phrases they come out within 1: scores shift so much with their company."""
    sample = sorted(shipped_phrases())[::45]
    again = measure(sound.model(), sample)
    kept = Priors(sound.model(), Path("nowhere")).of(sample)
    assert [a.whole for a in again] == pytest.approx([k.whole for k in kept], abs=1.0)
    for new, old in zip(again, kept, strict=True):
        for new_row, old_row in zip(new.along, old.along, strict=True):
            assert new_row == pytest.approx(old_row, abs=1.0)


def test_new_priors_are_kept_on_disk(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    first = Priors(sound.model(), tmp_path, shipped=None).of(["wash it out"])
    monkeypatch.setattr(priors, "measure", lambda *_: pytest.fail("measured twice"))
    assert Priors(sound.model(), tmp_path, shipped=None).of(["wash it out", "wash it out"]) == first * 2


@pytest.mark.parametrize(
    "broken", ["", "[]", '{"model": "another", "priors": {"Next": [-1, [[-1]]]}}', '{"model": 3']
)
def test_broken_cache_is_done_without(tmp_path: Path, broken: str) -> None:
    (tmp_path / "priors_en.json").write_text(broken)
    assert Priors(sound.model(), tmp_path, shipped=None).of(["next"])[0].whole < -5


def test_noise_for_priors_is_the_same_every_time_and_as_described() -> None:
    """24 clips, white and pink by turns, 1.2 to 2.2 s, rms 0.025."""
    clips = noise_clips()
    assert len(clips) == 24
    assert [len(clips[0]), len(clips[-1])] == [19200, 35200]
    for clip, again in zip(clips, noise_clips(), strict=True):
        assert np.sqrt(np.mean(clip**2)) == pytest.approx(0.025, rel=1e-3)
        assert np.array_equal(clip, again)


def test_pruning_changes_no_choice() -> None:
    """The pruned tree finds the phrase that the whole tree finds, with the same score within what company shifts."""
    model: Moonshine = sound.model()
    engine = sound.engine()
    engine.allow(sound.covering())
    texts = [p.text for p in sound.covering()]
    rows, owner = phrase_rows(model.tokens, texts)
    wholes = np.array([p.whole for p in Priors(model).of(texts)])
    tree = prefix_tree(rows)
    for voice, text in [
        ("flite_slt", "done with back left"),
        ("flite_awb", "it burns"),
        ("flite_rms", "next"),
    ]:
        utterance = sound.around(sound.clip(voice, text))
        heard = model.encode(utterance)
        every = (
            priors.phrase_scores(model.score_rows(heard, tree, len(rows)), owner, len(texts)) - 0.75 * wholes
        )
        guess = engine.judge(utterance)
        assert guess.best is not None
        assert guess.best.text == texts[int(np.argmax(every))] == text
        assert guess.score == pytest.approx(float(every.max()), abs=1.5)


@pytest.mark.parametrize(
    ("text", "prior", "threshold"),
    [("done with crown", -27.0, 1.0), ("stop now", -15.3, 3.0), ("next", -9.5, 5.0), ("no", -6.2, 3.41)],
)
def test_thresholds_by_length(text: str, prior: float, threshold: float) -> None:
    assert accept_at(text, prior) == pytest.approx(threshold)


@pytest.mark.parametrize("voice", sound.VOICES)
@pytest.mark.parametrize(
    "text", ["next", "rinse now", "it burns", "stop now", "done with crown", "say it again"]
)
def test_phrases_are_understood_in_quiet(voice: str, text: str) -> None:
    engine = sound.engine()
    engine.allow(sound.covering())
    guess = engine.judge(sound.around(sound.clip(voice, text)))
    wanted = sound.phrase(text, sound.covering())
    assert guess.best is not None
    assert (guess.best.name, guess.best.slot) == (wanted.name, wanted.slot)
    assert guess.score >= guess.accept_at
    assert guess.free_gap >= -8


@pytest.mark.parametrize("voice", sound.VOICES)
def test_done_with_back_is_told_from_the_crown(voice: str) -> None:
    """The touch-up's zones, where the back is one zone."""
    made = program("touch_up")
    engine = sound.engine()
    engine.allow(made.book.live([*sound.ALWAYS, "done_with"], made.zones))
    guess = engine.judge(sound.around(sound.clip(voice, "done with back")))
    assert guess.best is not None
    assert guess.best.slot == "back"
    assert guess.score >= guess.accept_at


@pytest.mark.parametrize("number", range(0, 40, 5))
def test_everyday_talk_is_no_phrase(number: int) -> None:
    engine = sound.engine()
    engine.allow(sound.covering())
    guess = engine.judge(sound.around(sound.talk(number)))
    assert guess.best is None or guess.score < guess.accept_at


def test_what_only_sounds_alike_is_far_behind_the_free_decode() -> None:
    """A step that was not said, though a phrase near to it in sound was: the free decode tells."""
    engine = sound.engine()
    wanted = LivePhrase("done with back right", "done_with", "back right", Risk.ADVANCE)
    engine.allow([wanted])
    alike = engine.judge(sound.around(sound.clip("flite_slt", "done with crown")))
    right = engine.judge(sound.around(sound.clip("flite_slt", "done with back right")))
    assert right.free_gap > -6
    assert alike.best is None or alike.score < alike.accept_at or alike.free_gap < -8


@pytest.mark.parametrize("voice", ["flite_rms", "flite_awb"])
@pytest.mark.parametrize(
    ("said", "allowed"),
    [
        ("carry on now", "carry on"),
        ("go back one step", "go back one"),
        ("done with front left", "done with front right"),
    ],
)
def test_step_is_doubted_when_more_or_other_words_were_said(voice: str, said: str, allowed: str) -> None:
    """Each scores above its threshold and would be believed by that alone; what was said itself is not doubted."""
    engine, spoken = sound.engine(second=True), sound.around(sound.clip(voice, said))
    engine.allow([sound.phrase(allowed, sound.covering())])
    alike = engine.judge(spoken)
    assert alike.score > alike.accept_at
    assert alike.free_gap == OTHER_WORDS
    engine.allow([sound.phrase(said, sound.covering())])
    assert engine.judge(spoken).free_gap > -8


def test_second_look_is_taken_only_where_there_is_doubt(monkeypatch: pytest.MonkeyPatch) -> None:
    """And never in a quick one, which leaves what is in doubt at nothing."""
    engine, model = sound.engine(), sound.model()
    engine.allow(sound.covering())
    looks: list[int] = []
    encode = model.encode

    def counted(heard: Samples) -> Encoded:
        looks.append(len(heard))
        return encode(heard)

    monkeypatch.setattr(model, "encode", counted)
    clear = sound.around(sound.clip("flite_slt", "done with back left"))
    assert beyond_doubt(engine.judge(clear))
    assert engine.judge(clear, quick=True) == engine.judge(clear)
    assert looks.count(len(clear)) == 3
    noisy = sound.around(sound.clip("flite_rms", "started back left"))
    noisy = noisy + sound.tap(len(noisy), sound.PERSON_DB - 10)
    looks.clear()  # free texts are held against noise clips, too
    engine.judge(noisy)
    assert looks.count(len(noisy)) == 2
    assert engine.judge(noisy, quick=True).best is None
    assert looks.count(len(noisy)) == 3


def test_next_in_an_echoing_room_is_never_believed_to_be_yes() -> None:
    """Scored alone it passes for "yes" at two of four places; the grammar engine, choosing among the near, doubts it."""
    engine = sound.engine(second=True)
    engine.allow(sound.live("yes", "no"))
    spoken = sound.around(sound.clip("flite_slt", "next"))
    for bearing in (0.1, 0.3, 0.5, 0.8):
        arrived = acoustics.through(spoken, acoustics.response(Walls(), 0.9, bearing))[: len(spoken)]
        guess = engine.judge(sound.hiss(acoustics.at_level(arrived, sound.PERSON_DB)))
        assert guess.best is not None
        doubted = guess.agreed is False and guess.runner_up_gap < AHEAD_AGAINST[Risk.ANSWER]
        assert guess.best.name == "next_step" or doubted


def test_same_sound_gives_the_same_guess() -> None:
    engine = sound.engine()
    engine.allow(sound.covering())
    utterance = sound.around(sound.clip("flite_awb", "my skin burns"))
    first = engine.judge(utterance)
    engine.judge(sound.around(sound.talk(3)))
    assert engine.judge(utterance) == first


def test_nothing_allowed_hears_nothing() -> None:
    engine = sound.engine()
    engine.allow(())
    assert engine.judge(sound.around(sound.clip("flite_slt", "stop now"))).best is None


def test_sound_of_any_length_can_be_judged() -> None:
    """The decoder's export fails above 9 s; what is longer is cut, what is very short filled up."""
    engine = sound.engine()
    engine.allow(sound.covering())
    for seconds in (0.0, 0.02, 0.5, 9.4, 30.0):
        guess = engine.judge(sound.tap(int(seconds * 16_000), -40) if seconds else sound.silence(0))
        assert guess.best is None or guess.score < guess.accept_at
