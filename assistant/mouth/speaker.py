"""The loudspeaker: one output stream through sounddevice, opened once and kept.

The callback only pulls from the mixer and keeps what it gave, for the ears' echo
canceller. An exception in a callback would be silent, so all that can go wrong
becomes a value: `watch`, called by the loop at every turn, tells of a lost device
and, while there is none, pulls in its place, so that prompts keep their time.
"""

from __future__ import annotations

import contextlib
import threading
from collections import deque
from typing import Any, Protocol

import numpy as np
import sounddevice
import soxr

from assistant.core.events import DeviceBack, DeviceLost
from assistant.ports import RATE, Samples

BLOCK = RATE // 50
STALLED_S = 4.0
"""A stream that took nothing for so long is lost. The first callback may come 1.7 s after the start."""
LATENCY_S = 0.05
"""Wanted of the stream. With both cores loaded the least there is (8.7 ms) ran dry 514 times in half a minute and lost half of
the stream's time; at 30 ms it ran dry 22 times, at 50 ms never, and a rinse call came 64 ms after it was due at the latest."""
KEPT_S = 2.0
"""Given sound that nobody asked for is forgotten after this."""
SPARE_S, LOOKED_AT_S = 0.01, 1.0
"""Given sound of which more than so much was never needed in so long only makes `played` late: it is dropped. A microphone that
starts after the speaker left up to all of its start behind, and the echo came before the sound it is the echo of
(measured on virtual devices: by 0 to 11 ms)."""


class Source(Protocol):
    """Where the speaker's samples come from: a mixer, or a sound check's own."""

    def pull(self, count: int) -> Samples: ...


class Speaker:
    """Plays a mixer's stream. `under_runs` counts how often the device ran dry."""

    def __init__(self, mixer: Source, device: str | int | None = None, *, library: Any = sounddevice) -> None:
        """`device` by sounddevice's name, None for the system's own; `library` stands in for sounddevice."""
        self.under_runs = 0
        self.rate = RATE
        self._mixer = mixer
        self._device = device
        self._library = library
        self._stream: Any = None
        self._lock = threading.Lock()
        self._given: deque[Samples] = deque()
        self._given_count = 0
        self._spare: int | None = None  # the least that was left after a look of the last LOOKED_AT_S
        self._looked_at = 0
        self._problem = ""
        self._lost = False
        self._seen_given = 0  # samples given at the last turn, and when that last changed
        self._seen_at = 0.0
        self._paced_to = 0.0  # while lost: up to here the mixer was pulled by the clock
        self._resampler: Any = None
        self._resampled = np.zeros(0, dtype=np.float32)

    def open(self, now: float = 0.0) -> None:
        """Start the stream, at RATE or else at the device's own rate. Raises OSError for want of a device."""
        try:
            try:
                self._start(RATE)
            except self._library.PortAudioError:
                self._start(round(self._library.query_devices(self._device, "output")["default_samplerate"]))
        except (self._library.PortAudioError, ValueError) as error:
            raise OSError(f"no loudspeaker: {error}") from error
        self._seen_at = now

    def reopen(self, now: float) -> bool:
        """Try the device again; whether it started. `watch` tells when it really takes sound."""
        self.close()
        try:
            self.open(now)
        except OSError:
            return False
        return True

    def close(self) -> None:
        """Stop and let go of the device."""
        stream, self._stream = self._stream, None
        if stream is not None:
            with contextlib.suppress(self._library.PortAudioError):  # what is gone cannot be closed well
                stream.close()
        with self._lock:
            self._problem = ""

    def watch(self, now: float) -> list[DeviceLost | DeviceBack]:
        """What happened to the device, at `now` seconds on the run clock. Call it at every turn.

        Lost is told once, and again only after it was back. While lost, the
        mixer is pulled by `now`; that sound is heard by nobody.
        """
        with self._lock:
            problem, given = self._problem, self._given_count
        takes_sound = given != self._seen_given
        if takes_sound:
            self._seen_given, self._seen_at = given, now
        if self._stream is None:
            problem = problem or "no stream"
        elif not problem and now - self._seen_at > STALLED_S:
            problem = f"it took no sound for {STALLED_S:g} s"
        news: list[DeviceLost | DeviceBack] = []
        if problem and not self._lost:
            news.append(DeviceLost(now, "speaker", problem))
            self._lost, self._paced_to = True, self._seen_at
        elif self._lost and takes_sound and not problem:
            news.append(DeviceBack(now, "speaker"))
            self._lost = False
        if self._lost and not takes_sound:
            self._keep_pace(now)
        return news

    def played(self, count: int) -> Samples:
        """The next `count` samples of what the device was given, at RATE, oldest first; then zeros.

        A sample sounds `latency_s` after it was given.
        """
        with self._lock:
            parts: list[Samples] = []
            missing = count
            while missing and self._given:
                part = self._given.popleft()
                if len(part) > missing:
                    self._given.appendleft(part[missing:])
                    part = part[:missing]
                parts.append(part)
                missing -= len(part)
            self._drop_spare(count)
        return np.concatenate([*parts, np.zeros(missing, dtype=np.float32)])

    def _drop_spare(self, count: int) -> None:
        """With the lock held, after a look of `count` samples."""
        left = sum(map(len, self._given))
        spare = left if self._spare is None else min(self._spare, left)
        self._looked_at += count
        if self._looked_at < LOOKED_AT_S * RATE:
            self._spare = spare
            return
        self._spare, self._looked_at = None, 0
        if spare > SPARE_S * RATE:
            self._given = deque([np.concatenate(self._given)[spare:]])

    @property
    def latency_s(self) -> float:
        """Output latency as the device tells it; 0 when there is none."""
        return float(self._stream.latency) if self._stream is not None else 0.0

    # -- the stream -------------------------------------------------------------------------------

    def _start(self, rate: int) -> None:
        self.rate = rate
        self._resampler = None if rate == RATE else soxr.ResampleStream(RATE, rate, 1, dtype="float32")
        self._resampled = np.zeros(0, dtype=np.float32)
        stream = self._library.OutputStream(
            samplerate=rate, channels=1, dtype="float32", device=self._device, latency=LATENCY_S,
            callback=self._callback, finished_callback=self._finished,
        )  # fmt: skip
        stream.start()
        self._stream = stream

    def _callback(self, out: Any, frames: int, time: Any, status: Any) -> None:
        if status.output_underflow:
            self.under_runs += 1
        try:
            out[:, 0] = self._next(frames)
        except Exception as error:  # else it would be silent in both senses
            out.fill(0)
            with self._lock:
                self._problem = f"the mixer failed: {error!r}"

    def _next(self, frames: int) -> Samples:
        if self._resampler is None:
            return self._pulled(frames)
        while len(self._resampled) < frames:
            more = self._resampler.resample_chunk(self._pulled(BLOCK))
            self._resampled = np.concatenate([self._resampled, more])
        now, self._resampled = self._resampled[:frames], self._resampled[frames:]
        return now

    def _pulled(self, count: int) -> Samples:
        sound = self._mixer.pull(count)
        with self._lock:
            self._given.append(sound)
            self._given_count += count
            while sum(map(len, self._given)) > KEPT_S * RATE:
                self._given.popleft()
        return sound

    def _finished(self) -> None:
        if self._stream is not None:  # we did not close it ourselves
            with self._lock:
                self._problem = self._problem or "the stream ended"

    def _keep_pace(self, now: float) -> None:
        """Take from the mixer what would have been played by `now`."""
        count = int((now - self._paced_to) * RATE)
        if count > 0:
            self._paced_to += count / RATE
            with contextlib.suppress(Exception):  # told of already; the run goes on without sound
                self._mixer.pull(count)
