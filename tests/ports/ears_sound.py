"""Real sound for the tests of the ears: shipped clips at a person's level, silence and noise around them."""

from __future__ import annotations

from functools import cache

import numpy as np

from assistant.core.hearing import LivePhrase
from assistant.ears.moonshine import ScoredPhrases
from assistant.ears.moonshine_model import Moonshine
from assistant.ears.priors import Priors
from assistant.ears.sphinx import Sphinx
from assistant.files.places import audio_fixtures_folder
from assistant.ports import RATE, Samples
from assistant.room import acoustics, clips
from tests.programs import program

VOICES = ("flite_slt", "flite_rms", "flite_awb")
PERSON_DB = -26.0
ALWAYS = (
    *("rinse_now", "stop_now", "it_burns", "in_my_eye", "swallowed_some", "cannot_breathe"),
    *("next_step", "go_back", "wait", "carry_on", "say_again", "how_long", "where_are_we", "cream_on_skin"),
)


@cache
def model() -> Moonshine:
    """Loaded once for all tests."""
    return Moonshine()


@cache
def engine(*, second: bool = False) -> ScoredPhrases:
    """The default engine with the shipped priors alone."""
    return ScoredPhrases(model(), Priors(model()), Sphinx() if second else None)


def live(*more: str) -> tuple[LivePhrase, ...]:
    """What is always live, and the phrases named `more`, with the zones of the whole head."""
    made = program("whole_head")
    return made.book.live([*ALWAYS, *more], made.zones, (12, 15))


@cache
def covering() -> tuple[LivePhrase, ...]:
    return live("done_with", "started", "leave_out")


def phrase(text: str, among: tuple[LivePhrase, ...]) -> LivePhrase:
    return next(p for p in among if p.text == text)


@cache
def clip(voice: str, text: str) -> Samples:
    """One shipped clip at the level of a person one metre away."""
    files = clips.of_voice(clips.shipped(audio_fixtures_folder() / "clips"), voice)
    return acoustics.at_level(acoustics.read_sound(files[clips.plain(text)]), PERSON_DB)


@cache
def talk(number: int) -> Samples:
    """One sentence of the shipped everyday talk."""
    path = clips.shipped(audio_fixtures_folder() / "talk")[number].path
    return acoustics.at_level(acoustics.read_sound(path), PERSON_DB)


def silence(seconds: float) -> Samples:
    return np.zeros(int(seconds * RATE), np.float32)


def hiss(sound: Samples, level_db: float = -75.0, seed: int = 1) -> Samples:
    """`sound` with the microphone's own noise."""
    noise = np.random.default_rng(seed).standard_normal(len(sound)) * acoustics.gain(level_db)
    return (sound + noise).astype(np.float32)


def tap(count: int, level_db: float, seed: int = 3) -> Samples:
    """So many samples of running water at a level."""
    noise = np.resize(acoustics.tap_noise(seed), count)
    scale = acoustics.gain(level_db - acoustics.power_db(float(np.mean(noise**2))))
    return (noise * scale).astype(np.float32)


def around(sound: Samples) -> Samples:
    """`sound` as an utterance: 0.3 s of near silence on both sides."""
    return hiss(np.concatenate([silence(0.3), sound, silence(0.3)]))
