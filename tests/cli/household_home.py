"""A household's folder of its own for a test, and the commands run in it as a person types them."""

from __future__ import annotations

import io
import json
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import pytest

from assistant.cli.main import main

ANSWERS = """\
schema: 1
person: Ada
answers:
  age: 34
  hair: coarse
  scalp: sound
  hair_condition: sound
  porosity: normal
  elasticity: good
  bleached: no
  metallic_dye: no
  henna: none
  last_relaxer: 2023-12-01
  last_relaxer_class: hydroxide
  last_colour: never
  next_colour: none
  braids: none
  dandruff_shampoo: never
  last_wash: 2024-02-20
  hot_pressing: no
  medicines: none
  pregnancy: no
  earlier_reactions: none
  contact_lenses: none
  hearing: well
  helper: adult
"""
HOUSEHOLD = """\
schema: 1
people:
  - {name: Ada, born: '1990-02-28', hair: coarse, hearing: well, helped_by: Bo}
  - {name: Bo, hearing: well}
person: Ada
helper: Bo
call_for_help: '112'
contacts: [{name: poison centre, phone: '000 111'}]
"""
KIT = """\
schema: 1
name: My Kit
product_class: hydroxide to mix
chart: [{hair: coarse, greatest_minutes: 18}]
mixing_least_minutes: 1
second_lather_minutes: {least: 2, greatest: 3}
conditioner_heat_minutes: {least: 10, greatest: 15}
conditioner_minutes: {least: 45, greatest: 60}
least_age: 18
emergency: Rinse with water and call a doctor.
"""
TODAY = ("--today", "2024-03-01")


@dataclass
class Done:
    """A command's exit status and what it printed."""

    status: int
    out: str
    err: str

    def json(self) -> Any:
        return json.loads(self.out)


@dataclass
class Home:
    """The household's folder and the keyboard."""

    folder: Path
    patch: pytest.MonkeyPatch
    capture: pytest.CaptureFixture[str]

    @property
    def data(self) -> Path:
        return self.folder / "data"

    def put(self, name: str, text: str) -> Path:
        path = self.folder / name
        path.parent.mkdir(parents=True, exist_ok=True, mode=0o700)
        path.write_text(text, encoding="utf-8")
        return path

    def run(self, *arguments: str | Path, keys: tuple[str, ...] = ()) -> Done:
        """Type a command, and `keys` at whatever it asks; after them the input ends."""
        self.patch.setattr("sys.stdin", io.StringIO("".join(f"{key}\n" for key in keys)))
        self.capture.readouterr()
        status = main([str(a) for a in arguments])
        shown = self.capture.readouterr()
        return Done(status, shown.out, shown.err)

    def settled(self) -> Home:
        """With a household and a kit sheet."""
        self.put("data/household.yaml", HOUSEHOLD)
        self.put("data/kits/my-kit.yaml", KIT)
        return self


@pytest.fixture
def home(tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]) -> Home:
    monkeypatch.setenv("COMBSIDE_HOME", str(tmp_path / "home"))
    (tmp_path / "home").mkdir(mode=0o700)
    return Home(tmp_path / "home", monkeypatch, capsys)
