"""The recording a bystander would have, and the text beside it."""

from __future__ import annotations

import numpy as np
import pytest
import soundfile

from assistant.ports import RATE
from assistant.room.mixdown import Mixdown
from tests.room.stage import Stage, ask


def test_everything_is_in_the_mixdown_to_the_sample(tmp_path):
    path = tmp_path / "out.wav"
    with Mixdown(path) as mixdown:
        stage = Stage(tmp_path, {"room": {"floor_db": None}, "pace": {"confirm_s": 1}}, mixdown=mixdown)
        stage.play(ask("step:welcome", "confirm"), 1.6)
        stage.run(12.0)
        heard = np.concatenate(stage.heard)
    samples, rate = soundfile.read(path, dtype="float32")
    assert (rate, soundfile.info(path).subtype) == (RATE, "PCM_16")
    assert len(samples) == len(heard)
    assert np.abs(samples - heard).max() < 1 / 32767


def test_a_dead_microphone_is_not_in_the_mixdown(tmp_path):
    path = tmp_path / "out.wav"
    with Mixdown(path) as mixdown:
        stage = Stage(tmp_path, {"faults": [{"at": 0, "what": "microphone_silent"}]}, mixdown=mixdown)
        assert not stage.play(ask("hello"), 1.6).any()
    assert soundfile.read(path)[0].any()


def test_the_transcript_has_who_said_what_when(tmp_path):
    with Mixdown(tmp_path / "out.wav") as mixdown:
        stage = Stage(tmp_path, {"pace": {"confirm_s": 1}}, mixdown=mixdown)
        stage.run(1.0)
        stage.play(ask("step:welcome", "confirm", alarm=True), 1.6)
        stage.run(5.0)
    lines = (tmp_path / "out.txt").read_text().splitlines()
    assert lines[0] == "0:00:01.000  tool (tone): step:welcome words"
    assert lines[1].endswith("person: next step")


def test_loud_sound_is_clipped_not_wrapped(tmp_path):
    with Mixdown(tmp_path / "out.wav") as mixdown:
        mixdown.add(np.array([2.0, -2.0], dtype=np.float32), 2)
        mixdown.add(None, 3)
    assert soundfile.read(tmp_path / "out.wav", dtype="int16")[0].tolist() == [32767, -32767, 0, 0, 0]


def test_a_place_that_can_not_be_written_is_an_os_error(tmp_path):
    with pytest.raises(OSError, match="can not be written"):
        Mixdown(tmp_path / "nowhere" / "out.wav")
