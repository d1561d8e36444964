"""What `run` says of the sound check before anything starts."""

from __future__ import annotations

import argparse

import pytest

from assistant.app.sound_room import UnknownDevice
from assistant.cli import run
from assistant.core.sound_check import Device
from assistant.ears.microphone import Microphone

CHOSEN = argparse.Namespace(microphone=None, speaker=None)


def test_a_room_nobody_checked_is_told(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(run, "device_names", lambda *_: Device(microphone="a", speaker="b"))
    monkeypatch.setattr(run, "noise_now", lambda _: -50.0)
    (doubt,) = run.sound_doubts(None, Microphone(), CHOSEN)
    assert "combside soundcheck" in doubt.words


def test_a_missing_microphone_hides_no_doubt(monkeypatch: pytest.MonkeyPatch) -> None:
    """The run tells of the device; what is known of the room is told all the same."""

    def unknown(*_: object) -> Device:
        raise UnknownDevice("x", ("y",))

    def silent(_: Microphone) -> float:
        raise OSError("no microphone")

    monkeypatch.setattr(run, "device_names", unknown)
    monkeypatch.setattr(run, "noise_now", silent)
    (doubt,) = run.sound_doubts(None, Microphone(), CHOSEN)
    assert "combside soundcheck" in doubt.words
