"""How the guard sounds: a stream of its own, else a player of the system's, else the terminal's bell.

The stream is opened once and stays open, silent, so that a call begins within
milliseconds. Clips are read into memory at the start: after that neither disk
nor synthesiser is needed. Here no deciding when to sound.
"""

from __future__ import annotations

import contextlib
import importlib
import os
import shutil
import subprocess
import threading
import wave
from collections.abc import Callable, Iterable, Mapping
from pathlib import Path
from typing import Any

import numpy as np
from numpy.typing import NDArray

from assistant.alarm.tone import RATE, alarm

Samples = NDArray[np.float32]

GAP_S = 0.35
"""Between clips."""
FADE_S = 0.03
STALLED_S = 1.0
"""A stream that took nothing for so long while there was something to play is lost."""
LATENCY_S = 0.05
"""Wanted of the stream: at the least there is (8.7 ms) it runs dry whenever others use the processor."""
FIRST_S = 5.0
"""A player that took longer for a moment of silence hangs."""
PROOF_SAMPLES = RATE // 20
PLAYERS = (("paplay",), ("pw-play",), ("aplay", "-q"), ("afplay",))
BELLS_EVERY_S = 1.0


def read_clips(folder: Path) -> dict[str, Samples]:
    """Every WAV of `folder` that can be read, by its name; one that is damaged is left out."""
    found: dict[str, Samples] = {}
    for path in sorted(folder.glob("*.wav")):
        with contextlib.suppress(OSError, EOFError, wave.Error, ValueError), wave.open(str(path)) as file:
            if (file.getframerate(), file.getnchannels(), file.getsampwidth()) == (RATE, 1, 2):
                raw = file.readframes(file.getnframes())
                found[path.stem] = np.frombuffer(raw, "<i2").astype(np.float32) / np.float32(32768)
    return found


def together(clips: Mapping[str, Samples], names: Iterable[str]) -> Samples:
    """The clips one after the other. A number that has no clip is "more"; a call without one is the tone."""
    parts: list[Samples] = []
    for name in names:
        clip = clips.get(name, clips.get(f"{name.partition('_')[0]}_more"))
        if clip is None and name == "call":
            clip = alarm()
        if clip is not None:
            parts += [clip, np.zeros(round(GAP_S * RATE), np.float32)]
    return np.concatenate([np.zeros(0, np.float32), *parts[:-1]])


def _sounddevice() -> Any:
    """The library, or OSError where it or what it needs is not there."""
    try:
        return importlib.import_module("sounddevice")
    except (ImportError, OSError) as error:
        raise OSError(f"no sounddevice: {error}") from error


class Stream:
    """sounddevice, at RATE or at the device's own rate."""

    name = "stream"

    def __init__(self, device: str | int | None = None, library: Any = None) -> None:
        """`library` stands in for sounddevice. Raises OSError where there is no device, or no library."""
        library = library or _sounddevice()
        self.under_runs = 0
        self._lock = threading.Lock()
        self._sound: Samples = np.zeros(0, np.float32)
        self._at = 0
        self._taken = 0
        self._seen = (0, 0.0)
        self._ended = False
        try:
            try:
                self._stream, self._rate = self._started(library, device, RATE), RATE
            except library.PortAudioError:
                rate = round(library.query_devices(device, "output")["default_samplerate"])
                self._stream, self._rate = self._started(library, device, rate), rate
        except (library.PortAudioError, ValueError) as error:
            raise OSError(f"no loudspeaker: {error}") from error
        self._error = library.PortAudioError

    def _started(self, library: Any, device: str | int | None, rate: int) -> Any:
        stream = library.OutputStream(
            samplerate=rate, channels=1, dtype="float32", device=device, latency=LATENCY_S,
            callback=self._callback, finished_callback=self._finished,
        )  # fmt: skip
        stream.start()
        return stream

    def _callback(self, out: Any, frames: int, time: Any, status: Any) -> None:
        if status.output_underflow:
            self.under_runs += 1
        with self._lock:
            piece = self._sound[self._at : self._at + frames]
            self._at += len(piece)
            self._taken += frames
        out[: len(piece), 0] = piece
        out[len(piece) :] = 0

    def _finished(self) -> None:
        self._ended = True

    @property
    def took_sound(self) -> bool:
        """Whether the device ever asked for sound."""
        return self._taken > 0

    def play(self, sound: Samples) -> None:
        """Play it now, in place of what played."""
        if self._rate != RATE:
            at = np.arange(int(len(sound) * self._rate / RATE)) * (RATE / self._rate)
            sound = np.interp(at, np.arange(len(sound)), sound).astype(np.float32)
        with self._lock:
            self._sound, self._at = sound, 0

    def hush(self) -> None:
        """Fade what plays out."""
        with self._lock:
            rest = self._sound[self._at : self._at + round(FADE_S * self._rate)]
            self._sound = (rest * np.linspace(1, 0, len(rest))).astype(np.float32)
            self._at = 0

    @property
    def busy(self) -> bool:
        return self._at < len(self._sound)

    def works(self, t: float) -> bool:
        """Whether the device takes sound. Call it often."""
        taken, since = self._seen
        if self._taken != taken or not self.busy:
            self._seen = (self._taken, t)
            return not self._ended
        return not self._ended and t - since < STALLED_S

    def close(self) -> None:
        with contextlib.suppress(self._error):
            self._stream.close()


class Player:
    """A program of the system's that plays a WAV file."""

    name = "player"
    under_runs = 0

    def __init__(self, folder: Path, players: Iterable[tuple[str, ...]] = PLAYERS) -> None:
        """`folder` takes the one file that is played. Raises OSError where no player is found."""
        found = next((command for command in players if shutil.which(command[0])), None)
        if found is None:
            raise OSError("no player for sound files")
        self._command = found
        self._file = folder / f"now-{os.getpid()}.wav"
        self._process: subprocess.Popen[bytes] | None = None
        self._failed = False
        self.play(np.zeros(PROOF_SAMPLES, np.float32))
        try:
            status = None if self._process is None else self._process.wait(FIRST_S)
        except subprocess.TimeoutExpired:
            self.hush()
            status = None
        if status != 0:
            raise OSError(f"{found[0]} plays nothing here")

    def play(self, sound: Samples) -> None:
        self.hush()
        try:
            handle = os.open(self._file, os.O_WRONLY | os.O_CREAT | os.O_TRUNC, 0o600)
            with os.fdopen(handle, "wb") as file, wave.open(file) as out:
                out.setnchannels(1)
                out.setsampwidth(2)
                out.setframerate(RATE)
                out.writeframes(np.rint(np.clip(sound, -1, 1) * 32767).astype("<i2").tobytes())
            self._process = subprocess.Popen(
                [*self._command, str(self._file)],
                stdin=subprocess.DEVNULL,
                stdout=subprocess.DEVNULL,
                stderr=subprocess.DEVNULL,
            )
        except (OSError, wave.Error):
            self._failed = True

    def hush(self) -> None:
        process, self._process = self._process, None
        if process is not None:
            process.kill()
            process.wait()

    @property
    def busy(self) -> bool:
        return self._process is not None and self._process.poll() is None

    def works(self, t: float) -> bool:
        ended = self._process.poll() if self._process is not None else 0
        return not self._failed and not ended

    def close(self) -> None:
        self.hush()
        with contextlib.suppress(OSError):
            self._file.unlink()


class Bell:
    """The terminal's bell, for as long as the sound would have lasted. It never fails."""

    name = "bell"
    under_runs = 0

    def __init__(self, ring: Callable[[], None], now: Callable[[], float]) -> None:
        self._ring = ring
        self._now = now
        self._until = self._next = 0.0

    def play(self, sound: Samples) -> None:
        self._next = self._now()
        self._until = self._next + len(sound) / RATE
        self.works(self._next)

    def hush(self) -> None:
        self._until = 0.0

    @property
    def busy(self) -> bool:
        return self._now() < self._until

    def works(self, t: float) -> bool:
        if self._next <= t < self._until:
            self._next = t + BELLS_EVERY_S
            self._ring()
        return True

    def close(self) -> None:
        """Nothing to let go of."""


Way = Stream | Player | Bell


class Sounder:
    """The first way that works; when it fails in the middle, the next, from the start of the words."""

    def __init__(self, ways: Iterable[Callable[[], Way]]) -> None:
        """The last of `ways` must not fail."""
        self._ways = list(ways)
        self._way = self._open()
        self._playing: Samples | None = None

    def _open(self) -> Way:
        while True:
            try:
                return self._ways.pop(0)()
            except OSError:
                if not self._ways:
                    raise

    @property
    def name(self) -> str:
        return self._way.name

    @property
    def under_runs(self) -> int:
        return self._way.under_runs

    def proven(self) -> bool:
        """Whether the device has really asked for sound, or is none that asks."""
        return not isinstance(self._way, Stream) or self._way.took_sound

    def play(self, sound: Samples) -> None:
        self._playing = sound
        self._way.play(sound)

    def hush(self) -> None:
        if self._playing is not None:
            self._playing = None
            self._way.hush()

    @property
    def busy(self) -> bool:
        return self._playing is not None and self._way.busy

    def watch(self, t: float) -> None:
        """Go on to the next way when this one fails. Call it often."""
        if not self._way.works(t) and self._ways:
            self._way.close()
            self._way = self._open()
            if self._playing is not None:
                self._way.play(self._playing)

    def close(self) -> None:
        self._way.close()
