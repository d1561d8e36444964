"""Levels, impulse responses, echo and noise against what can be computed otherwise."""

from __future__ import annotations

import numpy as np
import pytest
import scipy.signal

from assistant.ports import RATE
from assistant.room.acoustics import (
    Echo,
    NoiseLoop,
    active_level_db,
    at_level,
    response,
    speech_edges,
    tap_noise,
    through,
)
from assistant.room.home import Walls
from tests.room.stage import speechlike


def tone(seconds: float, level_db: float, hertz: float = 440) -> np.ndarray:
    t = np.arange(int(seconds * RATE)) / RATE
    return (np.sqrt(2) * 10 ** (level_db / 20) * np.sin(2 * np.pi * hertz * t)).astype(np.float32)


def test_active_level_of_a_steady_tone_is_its_power():
    assert active_level_db(tone(3, -26)) == pytest.approx(-26, abs=0.1)


def test_active_level_leaves_pauses_out():
    """ITU-T P.56 (from memory): pauses beyond a hangover of 200 ms do not count, a mean is 3 dB less."""
    pause = np.zeros(2 * RATE, dtype=np.float32)
    speech = np.concatenate([tone(2, -26), pause, tone(2, -26), pause])
    assert active_level_db(speech) == pytest.approx(-26, abs=0.6)


def test_active_level_of_silence():
    assert active_level_db(np.zeros(RATE, dtype=np.float32)) == -np.inf
    assert active_level_db(np.zeros(0, dtype=np.float32)) == -np.inf


def test_at_level_is_exact():
    assert active_level_db(at_level(speechlike(3, 2.0), -31.5)) == pytest.approx(-31.5, abs=0.1)


def test_speech_edges_leave_silence_out():
    clip = np.concatenate([np.zeros(RATE // 2), speechlike(1, 1.02), np.zeros(RATE // 4)]).astype(np.float32)
    begin, end = speech_edges(clip)
    assert begin / RATE == pytest.approx(0.5, abs=0.02)
    assert end / RATE == pytest.approx(1.52, abs=0.08)


def test_the_direct_sound_takes_its_time_and_comes_first():
    impulse = response(Walls(), 1.715, 0.4)
    assert int(np.argmax(np.abs(impulse))) == pytest.approx(1.715 / 343 * RATE, abs=3)


def test_the_same_room_gives_the_same_response():
    assert np.array_equal(response(Walls(), 1.0, 0.4), response(Walls(), 1.0, 0.4))


def test_reverberation_time_is_what_was_asked_for():
    """Sabine's formula, which the image sources are set up by; decay by Schroeder's integral over 20 dB."""
    impulse = response(Walls(size_m=(3.2, 2.6, 2.5), rt60_s=0.3), 1.0, 0.4).astype(float)
    decay = 10 * np.log10(np.cumsum(impulse[::-1] ** 2)[::-1] / np.sum(impulse**2) + 1e-12)
    t = np.arange(len(decay)) / RATE
    fall = (decay < -5) & (decay > -25)
    slope = np.polyfit(t[fall], decay[fall], 1)[0]
    assert -60 / slope == pytest.approx(0.3, rel=0.3)


def test_somebody_outside_the_room_is_refused():
    with pytest.raises(ValueError, match="outside the room"):
        response(Walls(), 6.0, 0.5)


@pytest.mark.parametrize("block", [320, 160, 5000, 333])
def test_echo_in_blocks_is_the_whole_convolution(block):
    """scipy.signal.convolve says what it should be; silent blocks are told as None."""
    impulse = response(Walls(), 0.25, 0.5)
    sound = np.concatenate([speechlike(2, 0.5), np.zeros(6000), speechlike(4, 0.3), np.zeros(9000)])
    sound = sound[: len(sound) // block * block].astype(np.float32)
    echo = Echo(impulse)
    blocks = []
    for part in sound.reshape(-1, block):
        made = echo.block(part if part.any() else None, block)
        blocks.append(made if made is not None else np.zeros(block, dtype=np.float32))
    wanted = scipy.signal.convolve(sound.astype(float), impulse.astype(float))[: len(sound)]
    assert np.allclose(np.concatenate(blocks), wanted, atol=1e-5)


def test_echo_of_silence_costs_nothing_once_the_tail_is_over():
    echo = Echo(response(Walls(), 0.25, 0.5))
    assert echo.block(None, 320) is None
    echo.block(speechlike(1, 0.02), 320)
    made = [echo.block(None, 320) for _ in range(20)]
    assert made[0] is not None
    assert made[-1] is None


def test_noise_has_its_level_and_no_seam():
    noise = NoiseLoop(tap_noise(3), -36)
    long = np.concatenate([b for k in range(1500) if (b := noise.block(k * 320, 320, True)) is not None])
    steady = long[RATE:]
    assert 10 * np.log10(np.mean(steady**2.0)) == pytest.approx(-36, abs=0.2)
    frames = 10 * np.log10(np.mean(steady[: len(steady) // 320 * 320].reshape(-1, 320) ** 2.0, axis=1))
    assert np.max(np.abs(np.diff(frames))) < 6


def test_noise_that_is_switched_has_ramps_and_ends():
    noise = NoiseLoop(tap_noise(3), -30)
    assert noise.block(0, 320, False) is None
    first = noise.block(320, 320, True)
    assert first is not None
    assert abs(first[0]) < 0.01
    while noise.block(640, 320, False) is not None:
        pass
    assert noise.block(640, 320, False) is None


def test_a_silent_noise_file_is_refused():
    with pytest.raises(ValueError, match="silent"):
        NoiseLoop(np.zeros(RATE, dtype=np.float32), -30)


def test_a_short_noise_goes_round():
    noise = NoiseLoop(tap_noise(1, 0.3), -30)
    assert noise.block(123_456, 320, True) is not None


def test_through_keeps_the_tail():
    impulse = response(Walls(), 1.0, 0.4)
    assert len(through(speechlike(1, 0.5), impulse)) == RATE // 2 + len(impulse) - 1
