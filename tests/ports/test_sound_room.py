"""What a sound check and a run share of the devices: the room's doors, the age of what was played, the room's noise."""

from __future__ import annotations

import itertools

import numpy as np
import pytest

from assistant.app.sound_room import DeviceGone, RealRoom
from assistant.ears.room_noise import RoomNoise
from assistant.mouth.speaker import Speaker
from assistant.ports import RATE, Samples
from tests.ports.test_mouth_speaker import Library

BLOCK = 320


class Counting:
    """A source whose every sample is its own number."""

    def __init__(self) -> None:
        self.at = 0

    def pull(self, count: int) -> Samples:
        self.at += count
        return np.arange(self.at - count, self.at, dtype=np.float32)


def test_what_was_played_is_not_told_late_because_the_microphone_began_late() -> None:
    """A second after both run it is told as it is given, whatever had piled up before; nothing is lost after that."""
    library, source = Library(), Counting()
    speaker = Speaker(source, library=library)
    speaker.open()
    for _ in range(40):  # 0.8 s before the microphone's first block
        library.streams[0].take(BLOCK)
    for _ in range(55):
        library.streams[0].take(BLOCK)
        told = speaker.played(BLOCK)
    assert source.at - told[-1] <= BLOCK
    more = [told[-1]]
    for _ in range(100):
        library.streams[0].take(BLOCK)
        more.append(speaker.played(BLOCK)[-1])
    assert np.all(np.diff(more) == BLOCK)


def test_bursts_that_are_needed_are_kept() -> None:
    """A device that takes 100 ms at once is not behind: what is left of a burst is needed before the next one."""
    library, source = Library(), Counting()
    speaker = Speaker(source, library=library)
    speaker.open()
    told = []
    for _ in range(30):
        library.streams[0].take(5 * BLOCK)
        told += [speaker.played(BLOCK) for _ in range(5)]
    assert np.array_equal(np.concatenate(told), np.arange(150 * BLOCK))


def test_a_room_without_a_loudspeaker_is_said() -> None:
    library = Library()
    library.plugged = False
    library.query_devices = lambda device, kind: {"name": kind, "default_samplerate": 48_000.0}  # type: ignore[method-assign, assignment]
    with (
        pytest.raises(DeviceGone, match="speaker: no loudspeaker: no such device or rate"),
        RealRoom(library=library),
    ):
        pass


def test_a_microphone_that_gives_nothing_is_said() -> None:
    """After 2.5 s by the clock that was handed in."""
    library = Library()
    library.query_devices = lambda device, kind: {"name": kind, "default_samplerate": 48_000.0}  # type: ignore[method-assign, assignment]
    library.InputStream = library.OutputStream  # type: ignore[attr-defined]
    clock = itertools.count(0.0, 1.0)
    with RealRoom(library=library, now=lambda: next(clock)) as room:
        assert (room.device.microphone, room.device.speaker) == ("input", "output")
        with pytest.raises(DeviceGone, match="microphone: nothing came"):
            for _ in range(3):
                room.read()


def noise(db: float, seconds: float) -> Samples:
    """A tone of 1 kHz at this A-weighted level."""
    tone = np.sin(2 * np.pi * 1000 * np.arange(round(seconds * RATE)) / RATE)
    return np.asarray(np.sqrt(2) * 10 ** (db / 20) * tone, np.float32)


def test_the_rooms_noise_is_what_lies_between_words() -> None:
    room = RoomNoise()
    room.feed(noise(-50, 1), False)
    assert room.level_db() is None
    for _ in range(5):
        room.feed(noise(-50, 0.5), False)
        room.feed(noise(-20, 0.75), False)  # somebody talks
        room.feed(noise(-5, 1), True)  # we do
    assert room.level_db() == pytest.approx(-50, abs=0.2)
    room.feed(noise(-35, 11), False)
    assert room.level_db() == pytest.approx(-35, abs=0.2)
    room.feed(np.zeros(11 * RATE, np.float32), False)
    assert room.level_db() == -100.0
