"""The real room for a sound check: the same loudspeaker and microphone as a run, and a tape in place of the mixer."""

from __future__ import annotations

import threading
import time
from collections.abc import Callable
from types import TracebackType
from typing import Any, Protocol

import numpy as np
import sounddevice

from assistant.core.sound_check import Device
from assistant.ears.microphone import Microphone
from assistant.mouth.speaker import Speaker
from assistant.ports import Samples

TURN_S = 0.05
NONE = Device().microphone


class DeviceGone(Exception):
    """`device` ("microphone" or "speaker") gives or takes no sound, and why."""

    def __init__(self, device: str, why: str) -> None:
        super().__init__(f"{device}: {why}")
        self.device, self.why = device, why


class UnknownDevice(Exception):
    """`device` was named and is not there; `known` are those that are."""

    def __init__(self, device: str, known: tuple[str, ...]) -> None:
        super().__init__(f"there is no device '{device}'")
        self.known = known


class Room(Protocol):
    """A loudspeaker and a microphone in a room, real or made of samples."""

    @property
    def device(self) -> Device: ...

    def play(self, sound: Samples) -> None:
        """Put `sound` behind what is still to be played."""

    def silent(self) -> bool:
        """All of it was handed to the loudspeaker."""

    def stumbles(self) -> int:
        """How often the loudspeaker ran dry or the microphone ran over so far."""

    def read(self) -> tuple[Samples, Samples]:
        """What was heard since the last call and what was played meanwhile, alike in length. Raises DeviceGone."""


class Tape:
    """Sounds one after the other, then silence."""

    def __init__(self) -> None:
        self._left: Samples = np.zeros(0, np.float32)
        self._lock = threading.Lock()

    def put(self, sound: Samples) -> None:
        with self._lock:
            self._left = np.concatenate([self._left, sound]).astype(np.float32)

    def pull(self, count: int) -> Samples:
        with self._lock:
            now, self._left = self._left[:count], self._left[count:]
        return np.concatenate([now, np.zeros(count - len(now), np.float32)])

    def empty(self) -> bool:
        with self._lock:
            return len(self._left) == 0


class RealRoom:
    """Meets `Room`. Use it in a `with` block. That and making it raise DeviceGone where there is no device."""

    def __init__(
        self,
        microphone: str | int | None = None,
        speaker: str | int | None = None,
        *,
        library: Any = sounddevice,
        now: Callable[[], float] = time.monotonic,
    ) -> None:
        """Devices by sounddevice's names, None for the system's own; `library` stands in for sounddevice.

        `now` is a clock in seconds.
        """
        self._now = now
        self._tape = Tape()
        self._microphone = Microphone(microphone, library=library)
        self._speaker = Speaker(self._tape, speaker, library=library)
        self.device = device_names(microphone, speaker, library)
        for kind in ("speaker", "microphone"):
            if getattr(self.device, kind) == NONE:
                raise DeviceGone(kind, "the system knows of none")

    def play(self, sound: Samples) -> None:
        self._tape.put(sound)

    def silent(self) -> bool:
        return self._tape.empty()

    def read(self) -> tuple[Samples, Samples]:
        heard = self._microphone.read(TURN_S)
        now = self._now()
        for news in (*self._microphone.watch(now, len(heard)), *self._speaker.watch(now)):
            raise DeviceGone(news.device, getattr(news, "reason", "it went away"))
        return heard, self._speaker.played(len(heard))

    def stumbles(self) -> int:
        return self._speaker.under_runs + self._microphone.over_runs

    def __enter__(self) -> RealRoom:
        for name, device in (("speaker", self._speaker), ("microphone", self._microphone)):
            try:
                device.open(self._now())
            except OSError as error:
                self._close()
                raise DeviceGone(name, str(error)) from error
        return self

    def __exit__(
        self, kind: type[BaseException] | None, error: BaseException | None, trace: TracebackType | None
    ) -> None:
        self._close()

    def _close(self) -> None:
        self._microphone.close()
        self._speaker.close()


def device_names(
    microphone: str | int | None, speaker: str | int | None, library: Any = sounddevice
) -> Device:
    """The system's names for what would be used; NONE for its own where it has none.

    Raises UnknownDevice for one that was named and is not there.
    """

    def name(device: str | int | None, kind: str) -> str:
        try:
            return str(library.query_devices(device, kind)["name"])
        except (library.PortAudioError, ValueError) as error:
            if device is None:
                return NONE
            raise UnknownDevice(str(device), _all_names(kind, library)) from error

    return Device(microphone=name(microphone, "input"), speaker=name(speaker, "output"))


def _all_names(kind: str, library: Any) -> tuple[str, ...]:
    return tuple(str(d["name"]) for d in library.query_devices() if d[f"max_{kind}_channels"] > 0)
