"""A scripted stand-in for the tool: prompts made of tones or given sounds, played into a room block by block.

Also voices made of shaped noise, one WAV a phrase, so that these tests need no
synthesiser.
"""

from __future__ import annotations

import tempfile
from collections.abc import Mapping
from functools import cache
from pathlib import Path
from typing import Any

import numpy as np
import scipy.signal
import soundfile

from assistant.core.actions import Say, Sentence
from assistant.core.hearing import LivePhrase
from assistant.ports import RATE, Mark, Samples
from assistant.room.acoustics import TALK_DB, at_level
from assistant.room.clips import slug
from assistant.room.home import Home
from assistant.room.mixdown import Mixdown
from assistant.room.room import Room
from tests.programs import program

ZONES = ("crown", "back left", "nape")


@cache
def phrases(zones: tuple[str, ...] = ZONES) -> tuple[LivePhrase, ...]:
    """Every way of saying every phrase of the shipped book."""
    book = program().book
    return book.live(book.heard, zones)


def speechlike(seed: int, seconds: float) -> Samples:
    """Noise with about the slope of speech, in syllables: 120 ms on, 60 ms much quieter."""
    white = np.random.default_rng(seed).standard_normal(int(seconds * RATE))
    noise = scipy.signal.sosfilt(
        scipy.signal.butter(2, (150, 1200), "bandpass", fs=RATE, output="sos"), white
    )
    syllable = (np.arange(len(noise)) / RATE) % 0.18 < 0.12
    return (noise * np.where(syllable, 1.0, 0.05)).astype(np.float32)


@cache
def voice_folder() -> tempfile.TemporaryDirectory[str]:
    """A folder with a sound for every phrase, about as long as the words take, with silence around."""
    folder = tempfile.TemporaryDirectory()
    quiet = np.zeros(RATE // 5, dtype=np.float32)
    for place, text in enumerate(sorted({phrase.text for phrase in phrases()})):
        sound = at_level(speechlike(place, 0.25 + 0.25 * len(text.split())), -20)
        path = Path(folder.name) / f"{slug(text)}.wav"
        soundfile.write(path, np.concatenate([quiet, sound, quiet]), RATE)
    return folder


def ask(
    name: str, asks: str = "", *, about: str = "step", alarm: bool = False, level: float = 1.0, **slots: str
) -> Say:
    """A prompt of two words."""
    return Say(
        name,
        (Sentence(f"{name} words"),),
        about=about,
        asks=asks,
        alarm=alarm,
        level=level,
        slots=tuple(slots.items()),
    )


class Stage:
    """A room with a scripted tool in it."""

    def __init__(
        self,
        folder: Path,
        home: Mapping[str, Any] | None = None,
        *,
        block: int = 320,
        mixdown: Mixdown | None = None,
    ) -> None:
        voice = {"voice": {"folder": voice_folder().name}}
        wanted = {"people": {"person": voice, "helper": {**voice, "distance_m": 1.2}}, **(home or {})}
        self.room = Room(
            Home.model_validate(wanted),
            zones=ZONES,
            phrases=phrases(),
            fixtures=folder,
            beside=folder,
            mixdown=mixdown,
        )
        self.block = block
        self.at = 0
        self.heard: list[Samples] = []
        self.keys: list[str] = []

    @property
    def t(self) -> float:
        return self.at / RATE

    @property
    def truth(self):  # type: ignore[no-untyped-def]
        return self.room.truth

    def run(self, seconds: float) -> Samples:
        """Silence from the tool."""
        return self._feed(np.zeros(round(seconds * RATE), dtype=np.float32), [])

    def play(
        self, prompt: Say, seconds: float = 1.5, *, cut: bool = False, sound: Samples | None = None
    ) -> Samples:
        """The tool speaks `prompt`: speech-like sound at the level prompts have, or `sound`."""
        if sound is None:
            sound = at_level(speechlike(7, seconds), TALK_DB) * np.float32(prompt.level)
        marks = [
            Mark(prompt, "begun", self.at),
            Mark(prompt, "cut" if cut else "ended", self.at + len(sound)),
        ]
        return self._feed(sound, marks)

    def said(self, who: str = "") -> list[str]:
        """What the people said, in order."""
        return [u.text for u in self.truth.utterances if who in ("", u.who)]

    def _feed(self, sound: Samples, marks: list[Mark]) -> Samples:
        """Blocks of sound, the last one filled up with silence; a mark is told in the block it falls into."""
        heard = []
        blocks = -(-len(sound) // self.block)
        sound = np.concatenate([sound, np.zeros(blocks * self.block - len(sound), dtype=np.float32)])
        for played in sound.reshape(blocks, self.block):
            end = self.at + self.block
            now = [mark for mark in marks if mark.at <= end]
            marks = [mark for mark in marks if mark.at > end]
            heard.append(self.room.turn(end / RATE, played, now))
            self.at = end
            self.keys += self.room.pressed()
        self.heard += heard
        return np.concatenate(heard) if heard else np.zeros(0, dtype=np.float32)
