"""The guard: one suite on the fake and the real one; then the second process, killed and left alone.

Sound is found in what a virtual loudspeaker was given (`assistant.alarm.find`).
"""

from __future__ import annotations

import json
import os
import signal
import stat
import subprocess
import sys
import threading
from collections.abc import Callable, Iterator
from pathlib import Path

import numpy as np
import pytest

from assistant import ports
from assistant.alarm.calls import write_calls, write_words
from assistant.alarm.find import find_alarms
from assistant.alarm.tone import tick
from assistant.clocks import BootClock, RunClock
from assistant.guard import process as guard_process
from assistant.guard.absent import AbsentGuard
from assistant.guard.process import GuardProcess, NoGuard
from tests.sound_server import recorded, samples_of, sound_server

ROOT = Path(__file__).parents[2]
WITHIN_S = 60.0


@pytest.fixture(scope="module")
def sounds(tmp_path_factory: pytest.TempPathFactory) -> Iterator[dict[str, str]]:
    with sound_server(tmp_path_factory.mktemp("sound")) as environment:
        yield environment


@pytest.fixture
def calls(tmp_path: Path) -> Path:
    """A call of the tone and a short buzz; the other words are a tick, so that the tone is the call's alone."""
    folder = tmp_path / "calls"
    buzz = (0.3 * np.sign(np.sin(2 * np.pi * 150 * np.arange(8000) / 16_000))).astype(np.float32)
    write_calls(folder, {"call": buzz})
    write_words(folder, dict.fromkeys(("stopped", "start", "on_more", "left_more", "remind"), tick()))
    return folder


@pytest.fixture
def real(calls: Path, sounds: dict[str, str], monkeypatch: pytest.MonkeyPatch) -> Iterator[GuardProcess]:
    for name, value in sounds.items():
        monkeypatch.setenv(name, value)
    clock = RunClock(BootClock().now)
    guard = GuardProcess(calls, calls / "running.json", "mine", clock.now, device="pulse")
    yield guard
    guard.close(leave=True)


def until(holds: Callable[[], bool]) -> None:
    """Wait for another process, which has no clock of ours to turn; fails after WITHIN_S."""
    waiting, boot = threading.Event(), BootClock()
    end = boot.now() + WITHIN_S
    while not holds():
        assert boot.now() < end, "it never came"
        waiting.wait(0.01)


def alive(pid: int) -> bool:
    """Whether the process runs; one that ended and is not waited for does not."""
    try:
        return Path(f"/proc/{pid}/stat").read_text().rsplit(")", 1)[1].split()[0] != "Z"
    except OSError:
        return False


@pytest.fixture(params=["absent", "real"])
def any_guard(request: pytest.FixtureRequest) -> ports.Guard:
    made: ports.Guard = AbsentGuard() if request.param == "absent" else request.getfixturevalue("real")
    return made


def test_every_guard_takes_what_a_run_tells_it_and_stands(any_guard: ports.Guard) -> None:
    for place in ("", "calling", "water"):
        any_guard.arm(600.0, 0.0)
        any_guard.arm(500.0, 0.0)
        any_guard.called()
        any_guard.beat(place)
        assert any_guard.problem == ""
    any_guard.disarm()
    any_guard.beat("")
    assert any_guard.problem == ""


def test_it_is_proven_by_a_silent_round_trip(real: GuardProcess, calls: Path) -> None:
    proof = real.prove()
    assert proof.way == "stream"
    assert proof.answer_s < 1.0
    assert stat.S_IMODE((calls / "guard.log").stat().st_mode) == 0o600


def test_without_a_loudspeaker_or_words_it_is_not_proven(
    calls: Path, sounds: dict[str, str], tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """No guard, no cream: each with its reason."""
    monkeypatch.setenv("PULSE_SERVER", "unix:/nowhere")
    guard = GuardProcess(calls, tmp_path / "note", "mine", BootClock().now, device="pulse")
    with pytest.raises(NoGuard, match="no loudspeaker of its own"):
        guard.prove()
    guard.close(leave=True)
    monkeypatch.setenv("PULSE_SERVER", sounds["PULSE_SERVER"])
    (tmp_path / "empty").mkdir()
    guard = GuardProcess(tmp_path / "empty", tmp_path / "note", "mine", BootClock().now, device="pulse")
    with pytest.raises(NoGuard, match="no words"):
        guard.prove()
    guard.close(leave=True)


def test_a_guard_that_was_killed_is_told_of_at_once_and_replaced_with_the_deadline(
    real: GuardProcess, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(guard_process, "START_EVERY_S", 0.1)
    real.prove()
    real.arm(real._now() + 600.0, real._now())
    first = real.pid
    assert first is not None
    os.kill(first, signal.SIGKILL)

    def told() -> bool:
        real.beat("")
        return bool(real.problem)

    def stands() -> bool:
        real.beat("")
        return real.stands

    real.arm(real._now() + 700.0, real._now())  # later: it stays as it was
    until(told)
    assert "gone" in real.problem or "takes no orders" in real.problem
    until(stands)  # which asks whether it holds the deadline it was given last
    assert real.pid != first
    assert real.problem == ""


def test_9_killed_outright_the_call_still_comes_until_another_takes_over(
    calls: Path, sounds: dict[str, str], tmp_path: Path
) -> None:
    """kill -9 of the main program: the guard calls at the deadline from its own stream, and leaves to an heir only."""
    note, recording = tmp_path / "running.json", tmp_path / "speaker.raw"
    with recorded(sounds, recording):
        until(lambda: recording.exists() and recording.stat().st_size > 0)
        begun = BootClock().now() - recording.stat().st_size / 32_000
        command = [sys.executable, "-m", "tests.ports.guarded", str(calls), str(note), "mine", "1.5"]
        main = subprocess.Popen(command, env=sounds, cwd=ROOT, stdout=subprocess.PIPE, text=True)
        assert main.stdout is not None
        pid, due = main.stdout.readline().split()
        main.kill()
        main.wait()
        note.write_text(json.dumps({"run": "another", "took_over": True, "due": float(due) + 600}))
        until(lambda: BootClock().now() > float(due) + 3.2)  # the tone lasts 2.6 s
        assert alive(int(pid)), "it left to one that knows a later deadline"
        note.write_text(json.dumps({"run": "another", "took_over": True, "due": float(due)}))
        until(lambda: not alive(int(pid)))
    found = [begun + at for at in find_alarms(samples_of(recording))]
    assert len(found) == 1
    assert found[0] == pytest.approx(
        float(due), abs=0.4
    )  # both streams' buffers are in it; tests.bench measures
