"""What a terminal gets and what a pipe gets: colours, progress, completion."""

from __future__ import annotations

import io
import re
import shutil
import subprocess
from pathlib import Path

import pytest

from assistant.cli.main import COMMANDS, main
from assistant.cli.progress import Progress, WalkProgress
from tests.cli.household_home import Home

COLOUR = re.compile(r"\x1b\[[0-9;]*(3[0-7]|4[0-7]|9[0-7]|38|48)[0-9;]*m")
"""ECMA-48 SGR with a colour; bold and the like are none."""


class Tty(io.StringIO):
    """Text that says it is a terminal."""

    def isatty(self) -> bool:
        return True


def a_terminal(monkeypatch: pytest.MonkeyPatch) -> Tty:
    """Standard error as a terminal that can do colours."""
    shown = Tty()
    monkeypatch.setattr("sys.stderr", shown)
    monkeypatch.setenv("TERM", "xterm-256color")
    for name in ("NO_COLOR", "FORCE_COLOR", "COLORTERM"):
        monkeypatch.delenv(name, raising=False)
    return shown


@pytest.mark.parametrize(("no_color", "coloured"), [("", True), ("1", False)])
def test_colours_are_left_out_when_asked(
    home: Home, monkeypatch: pytest.MonkeyPatch, no_color: str, coloured: bool
) -> None:
    """NO_COLOR with any value but an empty one takes every colour away (no-color.org), from complaints and progress."""
    terminal = a_terminal(monkeypatch)
    monkeypatch.setenv("NO_COLOR", no_color)
    assert main(["check", str(home.put("bad.yaml", "schema: 1\nzones: 3\n"))]) == 2
    with Progress("making prompts", first="opening the recogniser") as tell:
        tell(1, 2)
        tell(2, 2)
    assert "error: " in re.sub(r"\x1b\[[0-9;?]*[A-Za-z]", "", terminal.getvalue())
    assert "making prompts" in terminal.getvalue()
    assert bool(COLOUR.search(terminal.getvalue())) is coloured


def test_in_a_pipe_progress_is_plain_and_rare(capsys: pytest.CaptureFixture[str]) -> None:
    """A line at the beginning and one at the end of quick work; no sign that a file could not hold."""
    with Progress("making prompts", first="opening the recogniser") as tell:
        for done in range(1001):
            tell(done, 1000)
    said = capsys.readouterr()
    assert said.out == ""
    assert said.err.splitlines() == [
        "combside: making prompts: 0 of 1000",
        "combside: making prompts: 1000 of 1000",
    ]


def test_a_quiet_rehearsal_says_how_far_it_is(monkeypatch: pytest.MonkeyPatch) -> None:
    """Minute by minute, and the line is gone at the end."""
    terminal = a_terminal(monkeypatch)
    with WalkProgress(Progress("rehearsing")) as screen:
        for second in range(0, 200):
            screen.clock(float(second), None, None, "step 1 of 4")
    assert "minute 3, step 1 of 4" in terminal.getvalue()
    assert terminal.getvalue().rstrip().endswith(("\x1b[2K", "\x1b[?25h"))


def test_the_tab_key_completes_commands_and_options(tmp_path: Path) -> None:
    """The script for bash, in a real bash: the beginning of a command and of an option are completed."""
    bash = shutil.which("bash")
    if bash is None:
        pytest.skip("no bash on this machine")
    script = tmp_path / "combside.bash"
    script.write_text(completion("bash"), "utf-8")
    ask = (
        'source "$1"; COMP_WORDS=(combside soundch); COMP_CWORD=1; _shtab_combside; echo "${COMPREPLY[@]}";'
        'COMP_WORDS=(combside rehearse --mixd); COMP_CWORD=2; _shtab_combside; echo "${COMPREPLY[@]}"'
    )
    done = subprocess.run([bash, "-c", ask, "-", str(script)], capture_output=True, text=True, check=True)
    assert done.stdout.splitlines() == ["soundcheck", "--mixdown"]


@pytest.mark.parametrize("shell", ["zsh", "fish", "powershell"])
def test_every_shell_knows_every_command(shell: str) -> None:
    """The scripts name each command."""
    script = completion(shell)
    assert [name for name in COMMANDS if name not in script] == []


def completion(shell: str) -> str:
    """What `combside --print-completion` prints."""
    shown = io.StringIO()
    with pytest.MonkeyPatch.context() as patch, pytest.raises(SystemExit) as left:
        patch.setattr("sys.stdout", shown)
        main(["--print-completion", shell])
    assert left.value.code == 0
    return shown.getvalue()
