"""The room before a run: heard for two seconds on a microphone that is let go of again."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

import numpy as np
import pytest

from assistant.app.noise_now import noise_now
from assistant.ears.microphone import Microphone
from assistant.ports import RATE


class Library:
    """A sound library whose microphone gives `block` again and again, all at once."""

    PortAudioError = RuntimeError

    def __init__(self, block: np.ndarray[Any, Any], count: int) -> None:
        self.block, self.count, self.closed = block, count, False

    def InputStream(self, *, callback: Callable[..., None], **_: Any) -> Library:
        self.callback = callback
        return self

    def start(self) -> None:
        class Status:
            input_overflow = False

        for _ in range(self.count):
            self.callback(self.block.reshape(-1, 1), len(self.block), None, Status())

    def close(self) -> None:
        self.closed = True


def test_the_level_of_a_known_tone() -> None:
    """1 kHz is where A-weighting is 0 dB (IEC 61672-1): half scale is -9.03 dB of full scale, root mean square."""
    tone = (0.5 * np.sin(2 * np.pi * 1000 * np.arange(RATE) / RATE)).astype(np.float32)
    library = Library(tone, 3)
    assert noise_now(Microphone(library=library)) == pytest.approx(-9.03, abs=0.3)
    assert library.closed


def test_a_microphone_that_gives_nothing_is_no_silence(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr("assistant.app.noise_now.WAIT_S", 0.0)
    library = Library(np.zeros(0, np.float32), 0)
    assert noise_now(Microphone(library=library)) is None
    assert library.closed
