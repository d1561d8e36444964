"""JSON Schema 2020-12: what is written for editors is valid (by `jsonschema`) and fits the models."""

from __future__ import annotations

import json
import os
import stat
from pathlib import Path
from typing import Any

import pytest
import yaml
from jsonschema import Draft202012Validator
from pydantic import BaseModel

from assistant.core.household import Household
from assistant.core.kit_sheet import KitSheet
from assistant.core.phrases import PhraseBook
from assistant.core.routine import Routine
from assistant.files import private
from assistant.files.schema_file import schema, write_schema

MODELS: dict[str, type[BaseModel]] = {"kit": KitSheet, "household": Household, "routine": Routine}
GOOD = Path(__file__).parent.parent / "errors" / "good"


@pytest.mark.parametrize("model", [*MODELS.values(), PhraseBook])
def test_the_schema_of_every_file_is_a_valid_schema(model: type[BaseModel]) -> None:
    made = schema(model)
    assert made["$schema"] == "https://json-schema.org/draft/2020-12/schema"
    Draft202012Validator.check_schema(made)


@pytest.mark.parametrize("name", MODELS)
def test_a_good_file_is_valid_and_a_misspelt_key_is_not(name: str) -> None:
    validator = Draft202012Validator(schema(MODELS[name]))
    value: dict[str, Any] = yaml.safe_load(
        (GOOD / f"{name}.yaml").read_text("utf-8").replace("helper: no", "helper: 'no'")
    )
    assert [e.message for e in validator.iter_errors(value)] == []
    first = next(iter(value))
    misspelt = {f"{k}x" if k == first else k: v for k, v in value.items()}
    assert any("unexpected" in e.message for e in validator.iter_errors(misspelt))


def test_the_written_schema_is_the_same_bytes_each_time(tmp_path: Path) -> None:
    write_schema(KitSheet, tmp_path / "one.json")
    write_schema(KitSheet, tmp_path / "two.json")
    raw = (tmp_path / "one.json").read_bytes()
    assert raw == (tmp_path / "two.json").read_bytes()
    assert json.loads(raw) == schema(KitSheet)


def test_private_text_is_whole_and_its_owners_alone(tmp_path: Path) -> None:
    path = tmp_path / "home" / "diary" / "one.yaml"
    private.write(path, "a: Zoë\n")
    private.write(path, "b: 2\n")
    assert path.read_text("utf-8") == "b: 2\n"
    assert list(path.parent.iterdir()) == [path]
    if os.name == "posix":
        modes = [stat.S_IMODE(p.stat().st_mode) for p in (path, path.parent, path.parent.parent)]
        assert modes == [0o600, 0o700, 0o700]


def test_private_text_that_cannot_be_written_leaves_the_old_one(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    path = tmp_path / "one.yaml"
    private.write(path, "a: 1\n")
    with pytest.raises(UnicodeEncodeError):
        private.write(path, "\ud800")

    def no_sync(handle: int) -> None:
        raise OSError("disk gone")

    monkeypatch.setattr(os, "fsync", no_sync)
    with pytest.raises(OSError, match="disk gone"):
        private.write(path, "a: 2\n")
    assert path.read_text("utf-8") == "a: 1\n"
    assert list(tmp_path.iterdir()) == [path]
