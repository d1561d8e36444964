"""`combside run` after both processes died, on virtual devices; and nothing that leaves the machine."""

from __future__ import annotations

import json
import os
import shutil
import stat
import subprocess
import sys
from pathlib import Path

import numpy as np

from assistant.app.speech import voices_of
from assistant.core.session import Stance
from assistant.files.places import cache_folder
from assistant.mouth.prompts import Prompts
from tests import guards
from tests.app import sockets_seen
from tests.app.broken_off import left_behind
from tests.ports.test_guard import until
from tests.programs import program
from tests.sound_server import recorded, samples_of, sound_server
from tests.walker import Walk

ROOT = Path(__file__).parents[2]
FIRST_WORDS_S = 2.0
"""Of processor time, so that what else runs here does not count; tests.bench measures it by the clock."""


def home_of(folder: Path) -> dict[str, str]:
    """A data folder of its own with the prompts that are made already."""
    made = program()
    Prompts(cache_folder() / "prompts", voices_of(made.household)).prepare(made.every_sentence())
    (folder / "cache").mkdir(parents=True, mode=0o700)
    for kept in cache_folder().iterdir():
        (folder / "cache" / kept.name).symlink_to(kept)
    return {**os.environ, "COMBSIDE_HOME": str(folder)}


def test_after_a_power_cut_the_first_words_are_how_long_cream_has_been_on(tmp_path: Path) -> None:
    """No guard, no main program: started again it speaks within two seconds, guards anew, and keeps all private."""
    walk, home = Walk(program()).to(Stance.COVERING), tmp_path / "home"
    home_of(home)
    journal, recording, sockets = (
        home / "data/runs/2026-01-01T09-00-00.jsonl",
        tmp_path / "raw",
        tmp_path / "s",
    )
    left_behind(journal, walk.program, walk.events, 9 * 60.0)
    with journal.open("ab") as file:
        file.write(b'{"t":1e9,"event":"Tick')  # the power went in the middle of a line
    with sound_server(tmp_path) as environment, recorded(environment, recording):
        until(lambda: recording.exists() and recording.stat().st_size > 0)
        here = {
            **environment,
            "HOME": os.environ["HOME"],
            "COMBSIDE_HOME": str(home),
            "PYTHONUNBUFFERED": "1",
        }
        command = [sys.executable, "-m", "tests.app.goes_on_here", str(sockets)]
        began = recording.stat().st_size
        main = subprocess.Popen(
            [*command, "run", "--microphone", "pulse", "--speaker", "pulse"],
            env=here, cwd=ROOT, stdin=subprocess.DEVNULL, stdout=subprocess.PIPE, stderr=subprocess.STDOUT, text=True,
        )  # fmt: skip
        try:
            until(lambda: bool(np.any(np.abs(samples_of(recording)[began // 2 :]) > 0.02)))
            assert processor_s(main.pid) < FIRST_WORDS_S
            note = home / "data/runs/running.json"
            until(lambda: bool(json.loads(note.read_text()).get("due")))  # its own guard has the deadline
        finally:
            main.kill()
        out, _ = main.communicate()
        left = guards.left_behind_for(home)
        guards.end(left)
    assert len(left) == 1
    assert "A torn last line was put aside" in out
    assert "Warning. Cream has been on for 10 minutes." in out
    assert sockets_seen.outside(sockets) == []
    for path in (home / "data").rglob("*"):
        assert stat.S_IMODE(path.stat().st_mode) == (0o700 if path.is_dir() else 0o600), path


def processor_s(pid: int) -> float:
    """Processor time that a process has used, in seconds (proc(5))."""
    told = Path(f"/proc/{pid}/stat").read_text().rsplit(")", 1)[1].split()
    return (int(told[11]) + int(told[12])) / os.sysconf("SC_CLK_TCK")


def test_11_a_whole_run_opens_no_socket_and_needs_no_network(tmp_path: Path) -> None:
    """Under an audit hook, and in a network namespace with nothing in it where the system gives one."""
    environment = home_of(tmp_path / "home")
    nowhere = ["unshare", "--net"] if can_leave_the_network() else []
    done = subprocess.run(
        [*nowhere, sys.executable, "-m", "tests.app.walks_here", str(tmp_path / "sockets")],
        env=environment, cwd=ROOT, capture_output=True, text=True, timeout=120,
    )  # fmt: skip
    assert done.stdout.split() == ["finished"], done.stderr
    assert sockets_seen.outside(tmp_path / "sockets") == []


def can_leave_the_network() -> bool:
    return (
        shutil.which("unshare") is not None
        and subprocess.run(["unshare", "--net", "true"], capture_output=True).returncode == 0
    )


def test_a_socket_to_the_outside_would_be_seen(tmp_path: Path) -> None:
    """The check itself can fail: a datagram to a documentation address (RFC 5737) is found."""
    script = (
        "import sys, socket; from pathlib import Path; from tests.app import sockets_seen as s; s.watch(Path(sys.argv[1]));"
        "x = socket.socket(socket.AF_INET, socket.SOCK_DGRAM)\n"
        "try: x.sendto(b'', ('192.0.2.1', 9))\n"
        "except OSError: pass"
    )
    subprocess.run([sys.executable, "-c", script, str(tmp_path / "sockets")], cwd=ROOT, check=True)
    assert len(sockets_seen.outside(tmp_path / "sockets")) == 1
