"""The commands that walk: wrong input ends in words and a status, never in a traceback."""

from __future__ import annotations

import json
from pathlib import Path

import pytest
from jsonschema import Draft202012Validator

from assistant.cli.main import main
from assistant.files.household_file import household_path
from assistant.files.places import routines_folder
from tests.programs import ROUTINES


@pytest.mark.parametrize("name", ROUTINES)
def test_every_shipped_routine_is_right(name: str, capsys: pytest.CaptureFixture[str]) -> None:
    assert main(["check", name, "--json"]) == 0
    found = json.loads(capsys.readouterr().out)
    assert found["ok"] is True
    assert found["limit_min"] == 22
    assert "chart" in found["limit_reason"]


def test_schemas_are_written_into_a_new_folder_and_are_schemas(tmp_path: Path) -> None:
    """JSON Schema 2020-12, by a library."""
    folder = tmp_path / "new" / "schemas"
    assert main(["check", "--schemas", str(folder)]) == 0
    found = sorted(folder.glob("*.schema.json"))
    assert [path.name.split(".")[0] for path in found] == [
        "answers", "home", "household", "kit", "phrases", "routine", "strand", "translation",
    ]  # fmt: skip
    for path in found:
        Draft202012Validator.check_schema(json.loads(path.read_text("utf-8")))


@pytest.mark.parametrize(
    ("words", "says"),
    [
        (["check"], "name a file"),
        (["check", "no_such_routine"], "there is no routine 'no_such_routine'"),
        (["check", "touchup"], "did you mean 'touch_up'?"),
        (["rehearse", "whole_head", "--home", "{routines}/whole_head.yaml", "--quiet"], "unknown key"),
        (["rehearse", "--kit", "{routines}/touch_up.yaml", "--quiet"], "unknown key"),
        (["soundcheck", "--ears"], "used"),
    ],
)
def test_wrong_words_are_told(words: list[str], says: str, capsys: pytest.CaptureFixture[str]) -> None:
    made = [word.format(routines=routines_folder()) for word in words]
    assert main(made) == (0 if words[0] == "soundcheck" else 2)
    told = "".join(capsys.readouterr())
    assert says in told
    assert "Traceback" not in told


def test_a_vosk_folder_without_a_model_is_told(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    monkeypatch.setenv("COMBSIDE_VOSK_MODEL", str(tmp_path))
    assert main(["rehearse", "--quiet"]) == 2
    told = capsys.readouterr().err
    assert "holds no Vosk model" in told
    assert "run once with a network" in told


def test_a_run_is_refused_without_a_household_and_with_the_example_kit(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    """Invariant 16: nothing starts without a household and a kit sheet of the user's own."""
    monkeypatch.setenv("COMBSIDE_HOME", str(tmp_path))
    assert main(["run"]) == 1
    assert "There is no household yet" in capsys.readouterr().err
    example = (routines_folder() / "kits" / "example_household.yaml").read_text("utf-8")
    household_path().parent.mkdir(parents=True, exist_ok=True)
    household_path().write_text(example, "utf-8")
    assert main(["run"]) in (1, 2)
    assert "kit" in capsys.readouterr().err
    assert main(["run", "--kit", str(routines_folder() / "kits" / "example_kit.yaml")]) == 1
    assert "invented example kit" in capsys.readouterr().err
