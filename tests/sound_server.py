"""A PulseAudio of the tests' own: two sinks that lead nowhere, and the environment that leads to them.

What is played into "bathroom" is what the microphone hears; "loudspeaker" is
what a run plays into, recorded from its monitor.
"""

from __future__ import annotations

import os
import subprocess
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

import numpy as np

from assistant.ports import Samples


@contextmanager
def sound_server(folder: Path) -> Iterator[dict[str, str]]:
    """The environment to use it with. The daemon's start returns when it answers, so nothing is waited for."""
    runtime = folder / "pulse"
    runtime.mkdir(mode=0o700)
    socket = runtime / "native"
    environment = {
        **os.environ, "HOME": str(folder), "XDG_RUNTIME_DIR": str(runtime), "PULSE_RUNTIME_PATH": str(runtime),
        "PULSE_SERVER": f"unix:{socket}", "PULSE_SINK": "loudspeaker", "PULSE_SOURCE": "bathroom.monitor",
    }  # fmt: skip
    own = {name: value for name, value in environment.items() if name != "PULSE_SERVER"}
    subprocess.run(
        [
            "pulseaudio", "-n", "--daemonize=yes", "--use-pid-file=yes", "--exit-idle-time=-1", "--disable-shm=yes",
            "-L", f"module-native-protocol-unix auth-anonymous=1 socket={socket}",
            "-L", "module-null-sink sink_name=loudspeaker rate=48000",
            "-L", "module-null-sink sink_name=bathroom rate=48000",
        ],
        env=own, check=True, capture_output=True, timeout=30,
    )  # fmt: skip
    try:
        yield environment
    finally:
        subprocess.run(["pulseaudio", "--kill"], env=own, check=True, capture_output=True, timeout=30)


@contextmanager
def recorded(environment: dict[str, str], into: Path, latency_ms: int = 500) -> Iterator[None]:
    """What comes out of the loudspeaker, as 16 kHz 16-bit samples in `into`."""
    command = ["parec", "--device=loudspeaker.monitor", "--format=s16le", "--rate=16000", "--channels=1"]
    command.append(f"--latency-msec={latency_ms}")  # short pieces are lost on a busy machine
    with into.open("wb") as out:
        recorder = subprocess.Popen(command, env=environment, stdout=out)
        try:
            yield
        finally:
            recorder.terminate()
            recorder.wait(timeout=10)


def samples_of(recording: Path) -> Samples:
    """A recording of `recorded` as float32."""
    return np.frombuffer(recording.read_bytes(), dtype="<i2").astype(np.float32) / 32768
