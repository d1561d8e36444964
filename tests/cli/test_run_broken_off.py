"""`combside run` where a run broke off, or another one runs: what it says and its exit status."""

from __future__ import annotations

from pathlib import Path

import pytest

from assistant.app.resume import alone, unfinished
from assistant.cli.main import main
from assistant.core.session import Stance
from assistant.files.places import runs_folder
from tests.app.broken_off import left_behind
from tests.programs import program
from tests.walker import Walk

DAY_S = 86_400.0


@pytest.fixture
def folder(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    monkeypatch.setenv("COMBSIDE_HOME", str(tmp_path))
    return runs_folder()


def broken_off(folder: Path, stance: Stance, ago_s: float = 60.0) -> Path:
    path = folder / "2026-01-01T09-00-00.jsonl"
    left_behind(path, program(), Walk(program()).to(stance).events, ago_s)
    return path


def test_without_cream_it_is_offered_and_closed_when_told(
    folder: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    path = broken_off(folder, Stance.MIXING)
    assert main(["run"]) == 1
    told = capsys.readouterr()
    assert "Cream is mixed; none was on the head." in told.out
    assert "--go-on" in told.err and "--close" in told.err
    assert main(["run", "--close"]) == 0
    assert str(path) in capsys.readouterr().out
    assert unfinished(folder) is None
    assert main(["run"]) == 1
    assert "There is no household yet" in capsys.readouterr().err  # a new one would begin


def test_with_cream_on_it_is_not_closed_before_a_day_has_passed(
    folder: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    path = broken_off(folder, Stance.COVERING)
    assert main(["run", "--close"]) == 1
    assert "rinse first" in capsys.readouterr().err
    path.unlink()
    broken_off(folder, Stance.COVERING, DAY_S)
    assert main(["run", "--close"]) == 0


def test_a_second_start_refuses_politely(folder: Path, capsys: pytest.CaptureFixture[str]) -> None:
    with alone(folder):
        assert main(["run"]) == 1
    assert "A run is going on already (process " in capsys.readouterr().err


def test_one_that_can_not_be_read_is_told_and_left_alone(
    folder: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    path = broken_off(folder, Stance.COVERING)
    text = path.read_text("utf-8").replace('"zones":[', '"zones":7,"was":[')
    path.write_text(text, "utf-8")
    assert main(["run"]) == 1
    assert "If cream is on, rinse now" in capsys.readouterr().err
    assert path.read_text("utf-8") == text
