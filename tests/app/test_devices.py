"""The same loop on real audio devices: PulseAudio null sinks, started here and closed here.

The people answer with the shipped clips when the run asks, which its journal
tells as it is written.
"""

from __future__ import annotations

import json
import os
import subprocess
import sys
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

import numpy as np
import soundfile

from assistant.app.speech import open_speech
from assistant.files.places import audio_fixtures_folder
from assistant.ports import RATE
from tests.programs import program
from tests.sound_server import recorded, samples_of, sound_server

ANSWERS = {
    "step:welcome": "next_step",
    "step:commands": "next_step",
    "step:stopping": "next_step",
    "step:scalp": "not_yet",
}
LIMIT_S = 150
PAUSE_S = 0.4


def test_a_run_hears_and_speaks_on_virtual_devices(tmp_path: Path) -> None:
    """Asked by a real voice, answered by real audio, stopped by the answer that the scalp is not whole."""
    open_speech(program())  # the prompts are made before the clock of this test runs
    journal, recording = tmp_path / "journal.jsonl", tmp_path / "speaker.raw"
    with sound_server(tmp_path) as environment, recorded(environment, recording), lines_of(journal) as lines:
        here = {**environment, "HOME": os.environ["HOME"]}  # where the prompts are
        runner = subprocess.Popen(
            [sys.executable, "-m", "tests.app.run_here", str(journal)],
            env=here, stdout=subprocess.PIPE, text=True, cwd=Path(__file__).parents[2],
        )  # fmt: skip
        try:
            heard = answer_what_is_asked(lines, tmp_path, environment)
            out, _ = runner.communicate(timeout=LIMIT_S)
        finally:
            runner.kill()
    assert "outcome: stopped" in out
    assert heard == ["next_step", "next_step", "next_step", "no"]
    loud = np.abs(samples_of(recording)) > 0.02
    assert loud.sum() > RATE  # a second of sound above -34 dB at least came out of the virtual speaker


@contextmanager
def lines_of(journal: Path) -> Iterator[Iterator[str]]:
    """Lines as they are written; a run that never writes ends them after LIMIT_S."""
    command = ["timeout", str(LIMIT_S), "tail", "-n", "+1", "-F", str(journal)]
    follower = subprocess.Popen(command, stdout=subprocess.PIPE, stderr=subprocess.DEVNULL, text=True)
    assert follower.stdout is not None
    try:
        yield iter(follower.stdout)
    finally:
        follower.kill()
        follower.wait()


def answer_what_is_asked(lines: Iterator[str], folder: Path, environment: dict[str, str]) -> list[str]:
    """Play each prompt's answer into the bathroom once it was spoken; what the run heard until it closed."""
    heard = []
    for line in lines:
        record = json.loads(line)
        if record.get("event") == "Heard":
            heard.append(record["phrase"])
        if record.get("event") == "Spoken" and record["name"] in ANSWERS:
            sound, _ = soundfile.read(
                audio_fixtures_folder() / "clips" / "flite_slt" / f"{ANSWERS[record['name']]}.flac"
            )
            clip = folder / "answer.wav"
            soundfile.write(clip, np.concatenate([np.zeros(round(PAUSE_S * RATE)), sound]), RATE)
            subprocess.run(
                ["paplay", "--device=bathroom", str(clip)], env=environment, check=True, timeout=30
            )
        if record.get("action") == "Close":
            return heard
    raise AssertionError(f"the run never closed; it heard {heard}")
