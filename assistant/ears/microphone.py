"""The microphone: one input stream through sounddevice, opened once and kept.

The callback only copies and queues; status flags and the stream's end become
values that `watch` hands to the loop.
"""

from __future__ import annotations

import contextlib
import queue
import threading
from typing import Any

import numpy as np
import sounddevice
import soxr

from assistant.core.events import DeviceBack, DeviceLost
from assistant.ports import RATE, Samples

BLOCK = RATE // 50
STALLED_S = 2.5
"""A stream that gives nothing for so long is lost; the first callback may take 1.7 s (measured on PulseAudio)."""


class Microphone:
    """Blocks of sound at RATE. `over_runs` counts what the device gave and we were too slow to take."""

    def __init__(self, device: str | int | None = None, *, library: Any = sounddevice) -> None:
        """`device` by sounddevice's name, None for the system's own; `library` stands in for sounddevice."""
        self.over_runs = 0
        self._device = device
        self._library = library
        self._stream: Any = None
        self._blocks: queue.Queue[Samples] = queue.Queue()
        self._lock = threading.Lock()
        self._problem = ""
        self._lost = False
        self._heard_at = 0.0
        self._resampler: Any = None

    def open(self, now: float = 0.0) -> None:
        """Start the stream, at RATE or else at the device's own rate. Raises OSError for want of a device."""
        try:
            try:
                self._start(RATE)
            except self._library.PortAudioError:
                self._start(round(self._library.query_devices(self._device, "input")["default_samplerate"]))
        except (self._library.PortAudioError, ValueError) as error:
            raise OSError(f"no microphone: {error}") from error
        self._heard_at = now

    def _start(self, rate: int) -> None:
        self._resampler = None if rate == RATE else soxr.ResampleStream(rate, RATE, 1, dtype="float32")
        stream = self._library.InputStream(
            samplerate=rate, channels=1, dtype="float32", blocksize=rate // 50, device=self._device, latency="low",
            callback=self._callback, finished_callback=self._finished,
        )  # fmt: skip
        stream.start()
        self._stream = stream

    def _callback(self, sound: Any, frames: int, time: Any, status: Any) -> None:
        if status.input_overflow:
            self.over_runs += 1
        self._blocks.put(sound[:, 0].copy())

    def _finished(self) -> None:
        if self._stream is not None:  # we did not close it ourselves
            with self._lock:
                self._problem = self._problem or "the stream ended"

    def read(self, wait_s: float) -> Samples:
        """All that came since the last call, at RATE; waits up to `wait_s` for the first block, then gives nothing."""
        blocks = []
        with contextlib.suppress(queue.Empty):
            blocks.append(self._blocks.get(timeout=wait_s))
            while True:
                blocks.append(self._blocks.get_nowait())
        if not blocks:
            return np.zeros(0, dtype=np.float32)
        sound = np.concatenate(blocks)
        return (
            sound
            if self._resampler is None
            else np.asarray(self._resampler.resample_chunk(sound), np.float32)
        )

    def watch(self, now: float, heard: int) -> list[DeviceLost | DeviceBack]:
        """What happened to the device, given that `heard` samples came in this turn. Lost is told once."""
        with self._lock:
            problem = self._problem
        if heard:
            self._heard_at = now
        elif not problem and now - self._heard_at > STALLED_S:
            problem = f"nothing came for {STALLED_S:g} s"
        if problem and not self._lost:
            self._lost = True
            return [DeviceLost(now, "microphone", problem)]
        if self._lost and heard:
            self._lost = False
            with self._lock:
                self._problem = ""
            return [DeviceBack(now, "microphone")]
        return []

    def reopen(self, now: float) -> bool:
        """Try the device again; whether it started."""
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
