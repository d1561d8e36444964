"""How sound travels in the room: levels, impulse responses, the echo of the speaker, noise.

Everything is mono float32 at RATE; levels are dB of full scale (a full-scale
square wave is 0). Nothing here knows who speaks or why; `room.room` mixes.
"""

from __future__ import annotations

from pathlib import Path

import numpy as np
import scipy.fft
import scipy.signal
import soundfile
import soxr
from numpy.typing import NDArray

from assistant.ports import RATE, Samples
from assistant.room.home import MARGIN_M, Walls

TALK_DB = -26.0
"""Active level of a person talking 1 m from the microphone (nominal level of ITU-T P.56, from memory)."""

LONGEST_RESPONSE_S = 0.25
ACTIVITY_MARGIN_DB = 15.9
"""Speech is active within this margin below its active level (ITU-T P.56, from memory)."""

HANGOVER_S = 0.2
"""So long after it speech still counts as active (ITU-T P.56, from memory)."""

_FRAME = RATE // 50


def gain(level_db: float) -> float:
    """The factor for a level in dB."""
    return float(10 ** (level_db / 20))


def power_db(power: float) -> float:
    """dB of a mean square; -inf for silence."""
    return 10 * float(np.log10(power)) if power > 0 else -np.inf


def active_level_db(samples: Samples) -> float:
    """Active speech level, close to ITU-T P.56 method B: mean power over the active 20 ms frames.

    -inf for silence.
    """
    whole = len(samples) // _FRAME * _FRAME
    if whole == 0:
        return power_db(float(np.mean(np.square(samples, dtype=np.float64)))) if len(samples) else -np.inf
    frames = np.square(samples[:whole], dtype=np.float64).reshape(-1, _FRAME).mean(axis=1)
    return power_db(float(frames[active(frames, _FRAME / RATE)].mean()))


def active(powers: NDArray[np.float64], frame_s: float) -> NDArray[np.bool_]:
    """Which frames are speech, by their mean powers: those within ACTIVITY_MARGIN_DB below the level of all
    active frames, and HANGOVER_S after them. All of them in silence.
    """
    mask = np.ones(len(powers), dtype=np.bool_)
    hangover = np.ones(round(HANGOVER_S / frame_s) + 1)
    for _ in range(20):
        loud = powers > powers[mask].mean() * 10 ** (-ACTIVITY_MARGIN_DB / 10)
        if not loud.any():
            return mask
        newer = np.convolve(loud, hangover)[: len(loud)] > 0.5
        if np.array_equal(newer, mask):
            return mask
        mask = newer
    return mask


def speech_edges(samples: Samples) -> tuple[int, int]:
    """First and last sample of the speech in a clip: 5 ms steps less than 35 dB below the loudest 20 ms."""
    step = RATE // 200
    whole = len(samples) // step * step
    if whole == 0:
        return 0, len(samples)
    power = np.square(samples[:whole], dtype=np.float64).reshape(-1, step).mean(axis=1)
    loudest = float(np.convolve(power, np.ones(4) / 4).max())
    loud = np.flatnonzero(power > loudest * 10**-3.5)
    if len(loud) == 0:
        return 0, len(samples)
    return int(loud[0]) * step, (int(loud[-1]) + 1) * step


def at_level(samples: Samples, level_db: float) -> Samples:
    """`samples` scaled to this active level; silence stays silence."""
    now = active_level_db(samples)
    if now == -np.inf:
        return samples
    scaled: Samples = (samples * np.float32(gain(level_db - now))).astype(np.float32)
    return scaled


def response(walls: Walls, distance_m: float, bearing: float) -> Samples:
    """Impulse response from a source to the microphone, by image sources (pyroomacoustics).

    The microphone stands in a corner, the source `distance_m` away; `bearing`
    0..1 turns it from along the length to along the width, as far as the room
    allows. At most LONGEST_RESPONSE_S long, with the time of flight.
    """
    import pyroomacoustics  # slow to import, and only a rehearsal needs it

    size = np.array(walls.size_m)
    absorption = walls.absorption
    if walls.rt60_s is not None:
        absorption = float(pyroomacoustics.inverse_sabine(walls.rt60_s, walls.size_m)[0])
    microphone = np.array([MARGIN_M, MARGIN_M, 1.0])
    source = microphone + _away(size, distance_m, bearing)
    order = min(20, int(np.ceil(LONGEST_RESPONSE_S * 343 / float(size.min()))))
    shoebox = pyroomacoustics.ShoeBox(
        walls.size_m, fs=RATE, materials=pyroomacoustics.Material(absorption), max_order=order
    )
    shoebox.add_source(source)
    shoebox.add_microphone(microphone)
    shoebox.compute_rir()
    lead = int(pyroomacoustics.constants.get("frac_delay_length")) // 2
    impulse = np.asarray(shoebox.rir[0][0], dtype=np.float64)[lead:]
    impulse = impulse[: int(LONGEST_RESPONSE_S * RATE)]
    fade = min(len(impulse), RATE // 100)
    impulse[-fade:] *= np.linspace(1, 0, fade)
    return impulse.astype(np.float32)


def _away(size: np.ndarray, distance_m: float, bearing: float) -> np.ndarray:
    """The offset of a source that lies within the walls, nearest to the wished bearing."""
    for angle in sorted(np.linspace(0, np.pi / 2, 91), key=lambda a: abs(a - bearing * np.pi / 2)):
        offset = distance_m * np.array([np.cos(angle), np.sin(angle), 0.0])
        if np.all(offset[:2] + 2 * MARGIN_M <= size[:2] + 1e-9):
            return offset
    raise ValueError(f"{distance_m:g} m from the microphone is outside the room")


def through(samples: Samples, impulse: Samples) -> Samples:
    """A whole sound as it arrives: convolved, with its tail."""
    arrived: Samples = scipy.signal.oaconvolve(samples, impulse).astype(np.float32)
    return arrived


def gain_db(impulse: Samples) -> float:
    """What an impulse response does to the level of a sound with all frequencies alike."""
    return power_db(float(np.sum(np.square(impulse, dtype=np.float64))))


class Echo:
    """The speaker as the microphone hears it: a stream convolved block by block (overlap-add)."""

    def __init__(self, impulse: Samples) -> None:
        self._impulse = impulse
        self._left = 0
        self._tail = np.zeros(len(impulse) - 1, dtype=np.float32)
        self._transforms: dict[int, tuple[int, np.ndarray]] = {}

    def block(self, played: Samples | None, count: int) -> Samples | None:
        """The next `count` samples of echo; `played` None is silence. None when there is none."""
        if played is None:
            if self._left <= 0:
                return None
            sound = np.zeros(count, dtype=np.float32)
        else:
            size, transform = self._transform(count)
            spectrum = scipy.fft.rfft(played, size)
            whole = scipy.fft.irfft(spectrum * transform, size)[: count + len(self._tail)]
            self._left = len(self._tail) + count
            sound = whole[:count].astype(np.float32)
        ready = min(count, len(self._tail))
        sound[:ready] += self._tail[:ready]
        self._tail[: -ready or None] = self._tail[ready:]
        self._tail[len(self._tail) - ready :] = 0
        if played is not None:
            self._tail += whole[count:]
        self._left -= count
        return sound

    def _transform(self, count: int) -> tuple[int, np.ndarray]:
        if count not in self._transforms:
            size = scipy.fft.next_fast_len(count + len(self._impulse) - 1, real=True)
            self._transforms[count] = (size, scipy.fft.rfft(self._impulse, size))
        return self._transforms[count]


def read_sound(path: Path) -> Samples:
    """A WAV or FLAC file as mono at RATE. Raises ValueError naming the file."""
    try:
        samples, rate = soundfile.read(path, dtype="float32", always_2d=True)
    except (OSError, RuntimeError) as error:
        raise ValueError(f"{path} can not be read as sound: {error}") from error
    mono = samples.mean(axis=1)
    if rate != RATE:
        mono = soxr.resample(mono, rate, RATE, quality="HQ")
    return np.ascontiguousarray(mono, dtype=np.float32)


def tap_noise(seed: int, seconds: float = 20.0) -> Samples:
    """Running water, made: hiss that rises to 2 kHz and falls gently above, with a slow flutter.

    A plausible tap, not a measured one; a recorded file can be given instead.
    """
    rng = np.random.default_rng([seed, 0x7A9])
    count = int(seconds * RATE)
    hertz = np.fft.rfftfreq(count, 1 / RATE)
    shape = np.where(hertz < 60, 0.0, (hertz / 2000) ** 0.5 / (1 + (hertz / 2500) ** 2) ** 0.5)
    hiss = np.fft.irfft(np.fft.rfft(rng.standard_normal(count)) * shape, count)
    knots = rng.standard_normal(int(seconds * 4))
    flutter = np.interp(np.arange(count) / RATE * 4, np.arange(len(knots)), knots)
    return (hiss * 10 ** (flutter * 0.1)).astype(np.float32)


class NoiseLoop:
    """A noise that goes round and round, seam crossfaded, switched with a short ramp."""

    RAMP_S = 0.05

    def __init__(self, samples: Samples, level_db: float) -> None:
        if len(samples) < RATE:
            samples = np.tile(samples, RATE // max(1, len(samples)) + 1)
        seam = min(RATE // 10, len(samples) // 4)
        rise = np.sqrt(np.linspace(0, 1, seam, dtype=np.float32))
        body = samples[:-seam].copy()
        body[:seam] = body[:seam] * rise + samples[-seam:] * rise[::-1]
        power = float(np.mean(np.square(body, dtype=np.float64)))
        if power == 0:
            raise ValueError("the noise is silent")
        self._loop: Samples = (body * np.float32(gain(level_db) / np.sqrt(power))).astype(np.float32)
        self._open = 0.0

    def block(self, begin: int, count: int, on: bool) -> Samples | None:
        """Samples `begin`.. of the run; None when it is off."""
        if not on and self._open == 0.0:
            return None
        start = begin % len(self._loop)
        if start + count <= len(self._loop):
            sound: Samples = self._loop[start : start + count]
        else:
            sound = np.take(self._loop, np.arange(start, start + count), mode="wrap")
        target = 1.0 if on else 0.0
        if self._open != target:
            step = (1 if on else -1) / (self.RAMP_S * RATE)
            ramp = np.clip(self._open + step * np.arange(1, count + 1), 0, 1).astype(np.float32)
            self._open = float(ramp[-1])
            sound = sound * ramp
        return sound
