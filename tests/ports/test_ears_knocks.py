"""Double knocks: found in a room and through a tap, and nothing else taken for one."""

from __future__ import annotations

import numpy as np
import pytest

from assistant.ears.knocks import Knocks
from assistant.files.places import audio_fixtures_folder
from assistant.ports import RATE, Samples
from assistant.room import acoustics
from assistant.room.home import Walls
from tests.knock_bench import floor, signs
from tests.knocking import BODIES, knocks


def knocked(seed: int = 3, **more: object) -> tuple[Samples, float]:
    rng = np.random.default_rng(seed)
    sound, at = knocks(BODIES["table"], rng, walls=Walls(rt60_s=0.3), **more)  # type: ignore[arg-type]
    return sound + floor(len(sound), rng), at


@pytest.mark.parametrize("body", BODIES)
def test_two_knocks_are_found_where_the_second_falls(body: str) -> None:
    """Twelve at three levels in a furnished room; and beside a tap 20 dB below a person."""
    rng = np.random.default_rng(5)
    found = 0
    for k in range(12):
        sound, at = knocks(BODIES[body], rng, peak_db=(-12.0, -20.0, -28.0)[k % 3], walls=Walls(rt60_s=0.3))
        noise = floor(len(sound), rng)
        if k % 3 == 0:
            noise = (
                noise + acoustics.at_level(acoustics.tap_noise(k, 6.0), acoustics.TALK_DB - 20)[: len(sound)]
            )
        times = signs(sound + noise)
        assert len(times) <= 1
        found += sum(abs(t - at) < 0.1 for t in times)
    assert found >= 11


@pytest.mark.parametrize(("count", "there"), [(1, 0), (2, 1), (3, 1), (5, 0)])
def test_one_is_no_sign_and_neither_is_a_long_row(count: int, there: int) -> None:
    sound, _ = knocked(count=count)
    assert len(signs(sound)) == there


def test_pieces_of_any_length_give_the_same_times() -> None:
    sound, at = knocked()
    sound = np.concatenate([sound, np.zeros(RATE, np.float32)])
    for piece in (160, 333, 4000):
        knocking, found = Knocks(), []
        for begin in range(0, len(sound), piece):
            part = sound[begin : begin + piece]
            found += knocking.feed(part, np.zeros_like(part), 50.0 + (begin + len(part)) / RATE)
        assert found == pytest.approx([50.0 + at], abs=0.05)
    with pytest.raises(ValueError, match="160 samples heard, 0 played"):
        Knocks().feed(np.zeros(160, np.float32), np.zeros(0, np.float32), 0.0)


def test_what_our_own_voice_may_have_done_is_no_knock() -> None:
    sound, at = knocked()
    sound = np.concatenate([sound, np.zeros(RATE, np.float32)])
    played = np.zeros_like(sound)
    played[int((at - 0.2) * RATE) :][:800] = 0.1
    assert Knocks().feed(sound, played, len(sound) / RATE) == []
    assert len(Knocks().feed(sound, np.zeros_like(sound), len(sound) / RATE)) == 1


def test_talk_and_a_tap_do_not_knock() -> None:
    """All of the shipped talk, and a minute of tap noise."""
    talk = [acoustics.read_sound(p) for p in sorted((audio_fixtures_folder() / "talk").rglob("*.flac"))]
    assert len(talk) > 50
    assert signs(acoustics.at_level(np.concatenate(talk), acoustics.TALK_DB)) == []
    assert signs(acoustics.at_level(acoustics.tap_noise(1, 60.0), acoustics.TALK_DB)) == []
