"""A bathroom made of samples for the sound check: a loudspeaker, a microphone, a tap and a person who does as told.

Meets `app.sound_room.Room` and `app.soundcheck.Guide`. What the tap and the
alarm really are at the microphone is known here, for a test to compare with.
"""

from __future__ import annotations

from collections.abc import Callable
from functools import cache

import numpy as np
import soundfile

from assistant.alarm.tone import alarm
from assistant.app.load import load_book
from assistant.app.sound_room import Tape
from assistant.core.phrases import PhraseBook
from assistant.core.sound_check import Device
from assistant.files.places import audio_fixtures_folder
from assistant.ports import RATE, Samples
from assistant.room.acoustics import Echo, NoiseLoop, at_level, response, tap_noise, through
from assistant.room.home import Walls

BLOCK = 320
ANSWER_AFTER_S = 0.9
LATENCY_S = 0.09


@cache
def taught_by() -> PhraseBook:
    return load_book()


class Bathroom:
    """Levels are dB of full scale at the microphone; `spoil` does what a bad microphone does to a block.

    The tap is turned on when the prompt asks for it, or at `tap_from_s` where nobody shows prompts here.
    `talk_db` None: nobody answers.
    """

    device = Device(microphone="a made microphone", speaker="a made loudspeaker")

    def __enter__(self) -> Bathroom:
        return self

    def __exit__(self, *_: object) -> None:
        """Nothing to close."""

    def __init__(
        self,
        *,
        tap_db: float = -45.0,
        room_db: float = -70.0,
        speaker_gain: float = 0.2,
        talk_db: float | None = -26.0,
        tap_works: bool = True,
        tap_from_s: float | None = None,
        spoil: Callable[[Samples, Bathroom], Samples] | None = None,
    ) -> None:
        walls = Walls(size_m=(3.0, 2.4, 2.5), rt60_s=0.4)
        self.impulse = response(walls, 0.8, 0.3) * np.float32(speaker_gain)
        self._mouth = response(walls, 1.0, 0.7)
        self._echo = Echo(self.impulse)
        self.tap = NoiseLoop(tap_noise(5), tap_db)
        self.room = NoiseLoop(np.random.default_rng(6).standard_normal(5 * RATE).astype(np.float32), room_db)
        self.tap_on = False
        self._tap_works = tap_works
        self._tap_from_s = tap_from_s
        self._tape = Tape()
        self._late: Samples = np.zeros(round(LATENCY_S * RATE), np.float32)
        self._talk_db = talk_db
        self._talk: Samples = np.zeros(0, np.float32)
        self._at = 0
        self._answer = ""
        self._ready = False
        self._spoil = spoil
        self.told: list[str] = []

    # -- the room

    def play(self, sound: Samples) -> None:
        self._tape.put(sound)

    def silent(self) -> bool:
        return self._tape.empty()

    def stumbles(self) -> int:
        return 0

    def read(self) -> tuple[Samples, Samples]:
        played = self._tape.pull(BLOCK)
        self._late = np.concatenate([self._late, played])
        sounding, self._late = self._late[:BLOCK], self._late[BLOCK:]
        heard = np.zeros(BLOCK, np.float32)
        if self._tap_from_s is not None:
            self.tap_on = self._at >= self._tap_from_s * RATE
        for part in (
            self._echo.block(sounding if sounding.any() else None, BLOCK),
            self.room.block(self._at, BLOCK, True),
            self.tap.block(self._at, BLOCK, self.tap_on and self._tap_works),
        ):
            if part is not None:
                heard += part
        if self._answer and self._tape.empty():
            self._talk, self._answer = self._spoken(self._answer), ""
        said, self._talk = self._talk[:BLOCK], self._talk[BLOCK:]
        heard[: len(said)] += said
        self._at += BLOCK
        if self._spoil is not None:
            heard = self._spoil(heard, self)
        return np.clip(heard, -1, 1).astype(np.float32), played

    # -- the person at the screen

    def tell(self, name: str, words: str) -> None:
        self.told.append(words)
        if name == "check.tap_on":
            self.tap_on = True
        if name in ("check.begin", "check.done"):
            self.tap_on = False
        self._ready = name in ("check.begin", "check.tap_on")
        if name.startswith("check.say.") and self._talk_db is not None:
            self._answer = name.removeprefix("check.say.")

    def pressed(self) -> bool:
        return self._ready and self._tape.empty()

    def _spoken(self, name: str) -> Samples:
        assert self._talk_db is not None
        clip, _ = soundfile.read(
            audio_fixtures_folder()
            / "clips"
            / "flite_slt"
            / f"{taught_by().taught(name).replace(' ', '_')}.flac",
            dtype="float32",
        )
        arrived = at_level(through(clip, self._mouth), self._talk_db)
        return np.concatenate([np.zeros(round(ANSWER_AFTER_S * RATE), np.float32), arrived])

    # -- what is true

    def true_alarm(self) -> Samples:
        """The alarm at the microphone, all of its echo with it."""
        return through(alarm(), self.impulse)

    def true_noise(self, tap_on: bool = True, seconds: int = 25) -> Samples:
        """The noise at the microphone."""
        blocks = range(0, seconds * RATE, BLOCK)
        noise = np.concatenate([b for at in blocks if (b := self.room.block(at, BLOCK, True)) is not None])
        if tap_on:
            noise = noise + np.concatenate(
                [b for at in blocks if (b := self.tap.block(at, BLOCK, True)) is not None]
            )
        return np.asarray(noise, np.float32)
