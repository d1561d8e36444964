"""The same loop on real audio devices: PulseAudio null sinks, started here and closed here.

Two virtual devices: what is played into one is what the microphone hears, and
the other is the loudspeaker, recorded. The people answer with the shipped clips
when the run asks, which the journal tells.
"""

from __future__ import annotations

import json
import os
import subprocess
import sys
from collections.abc import Iterator
from pathlib import Path

import numpy as np
import pytest

from assistant.app.speech import open_speech
from assistant.files.places import audio_fixtures_folder
from tests.programs import program

ANSWERS = {"step:welcome": "next_step", "step:commands": "next_step", "step:scalp": "not_yet"}
LIMIT_S = 120


@pytest.fixture
def pulse(tmp_path: Path) -> Iterator[dict[str, str]]:
    """The environment of a PulseAudio of our own with two null sinks."""
    runtime = tmp_path / "runtime"
    runtime.mkdir(mode=0o700)
    socket = runtime / "native"
    environment = {
        **os.environ,
        "XDG_RUNTIME_DIR": str(runtime),
        "PULSE_SERVER": f"unix:{socket}",
        "PULSE_RUNTIME_PATH": str(runtime),
        "HOME": str(tmp_path),
        "PULSE_SINK": "loudspeaker",
        "PULSE_SOURCE": "bathroom.monitor",
    }
    server = subprocess.Popen(
        [
            "pulseaudio", "-n", "--daemonize=no", "--exit-idle-time=-1", "--disallow-exit", "--use-pid-file=no",
            f"-Lmodule-native-protocol-unix socket={socket} auth-anonymous=1",
            "-Lmodule-null-sink sink_name=loudspeaker rate=16000 channels=1",
            "-Lmodule-null-sink sink_name=bathroom rate=16000 channels=1",
        ],
        env=environment, stdout=subprocess.DEVNULL, stderr=subprocess.PIPE,
    )  # fmt: skip
    try:
        ready = subprocess.run(
            ["sh", "-c", "for i in $(seq 100); do pactl info >/dev/null 2>&1 && exit 0; sleep 0.1; done; exit 1"],
            env=environment, check=False,
        )  # fmt: skip
        assert ready.returncode == 0, "PulseAudio did not start"
        yield environment
    finally:
        server.kill()
        server.wait()


def test_a_run_hears_and_speaks_on_virtual_devices(pulse: dict[str, str], tmp_path: Path) -> None:
    """Asked by a real voice, answered by real audio, stopped by the answer that the scalp is not whole."""
    open_speech(program())  # the prompts are made before the clock of this test runs
    journal, recording = tmp_path / "journal.jsonl", tmp_path / "speaker.raw"
    cache = {name: value for name in ("COMBSIDE_HOME",) if (value := os.environ.get(name)) is not None}
    home = {**pulse, "HOME": os.environ.get("HOME", str(tmp_path)), **cache}
    with recording.open("wb") as sound:
        recorder = subprocess.Popen(
            ["parec", "--device=loudspeaker.monitor", "--format=s16le", "--rate=16000", "--channels=1"],
            env=pulse, stdout=sound,
        )  # fmt: skip
        runner = subprocess.Popen(
            [sys.executable, "-m", "tests.app.run_here", str(journal)],
            env=home, stdout=subprocess.PIPE, text=True, cwd=Path(__file__).parents[2],
        )  # fmt: skip
        try:
            answer_what_is_asked(journal, pulse, runner)
            out, _ = runner.communicate(timeout=LIMIT_S)
        finally:
            runner.kill()
            recorder.terminate()
            recorder.wait()
    assert "outcome: stopped" in out
    heard = [record["phrase"] for record in records(journal) if record.get("event") == "Heard"]
    assert heard == ["next_step", "next_step", "no"]
    samples = np.frombuffer(recording.read_bytes(), dtype=np.int16).astype(np.float32) / 32768
    loud = np.abs(samples) > 0.02
    assert loud.sum() > 16_000  # a second of sound above -34 dB at least came out of the virtual speaker


def answer_what_is_asked(journal: Path, pulse: dict[str, str], runner: subprocess.Popen[str]) -> None:
    """Wait in the journal for each prompt's end, then play the answer into the bathroom."""
    clips = audio_fixtures_folder() / "clips" / "flite_slt"
    for prompt, clip in ANSWERS.items():
        waited = subprocess.run(
            ["sh", "-c", f"""for i in $(seq 600); do grep -q '"Spoken".*"{prompt}"' '{journal}' 2>/dev/null && exit 0;
            sleep 0.1; done; exit 1"""],
            check=False, timeout=LIMIT_S,
        )  # fmt: skip
        assert waited.returncode == 0, f"{prompt} was never spoken; the run ended with {runner.poll()}"
        subprocess.run(
            ["sh", "-c", f"sleep 0.4; paplay --device=bathroom '{clips / clip}.flac'"], env=pulse, check=True
        )


def records(journal: Path) -> list[dict[str, object]]:
    return [json.loads(line) for line in journal.read_text("utf-8").splitlines()]
