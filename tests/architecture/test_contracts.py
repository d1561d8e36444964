"""The import contracts hold, and each planted breach is found."""

from __future__ import annotations

import shutil
import subprocess
import sys
from pathlib import Path

import pytest

ROOT = Path(__file__).parents[2]


def lint(folder: Path) -> subprocess.CompletedProcess[str]:
    command = [
        sys.executable,
        "-c",
        "from importlinter.cli import lint_imports_command as c; c()",
        "--no-cache",
    ]
    return subprocess.run(
        command,
        cwd=folder,
        capture_output=True,
        text=True,
        check=False,
        env={"PYTHONPATH": str(folder), "PATH": ""},
    )


@pytest.fixture
def copied(tmp_path: Path) -> Path:
    shutil.copytree(ROOT / "assistant", tmp_path / "assistant", ignore=shutil.ignore_patterns("__pycache__"))
    shutil.copy(ROOT / "pyproject.toml", tmp_path)
    return tmp_path


def test_contracts_hold(copied: Path) -> None:
    done = lint(copied)
    assert done.returncode == 0, done.stdout + done.stderr
    assert "0 broken" in done.stdout


@pytest.mark.parametrize(
    ("file", "line"),
    [
        ("core/session.py", "import time"),
        ("core/session.py", "import assistant.ports"),
        ("ears/endpoint.py", "import assistant.mouth.mixer"),
        ("room/room.py", "import assistant.app.loop"),
        ("alarm/tone.py", "import assistant.ports"),
        ("guard/duty.py", "import assistant.core.session"),
    ],
)
def test_a_planted_breach_is_found(copied: Path, file: str, line: str) -> None:
    path = copied / "assistant" / file
    path.write_text(path.read_text("utf-8") + f"\n{line}\n", "utf-8")
    done = lint(copied)
    assert done.returncode != 0, done.stdout
    assert "broken" in done.stdout
