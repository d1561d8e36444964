"""The home file: what may be written, what is refused in which words, and that all of it is documented."""

from __future__ import annotations

import re
from pathlib import Path

import pytest
import yaml
from pydantic import BaseModel, ValidationError

from assistant.files.places import routines_folder
from assistant.files.yaml_file import load
from assistant.room import home as home_module
from assistant.room.home import Home
from assistant.room.moments import EVENTS, Moment, parse_moment

SHIPPED = sorted((routines_folder() / "homes").glob("*.yaml"))
DOCUMENTATION = Path(home_module.__file__).parent.parent / "docs" / "home_file.md"
MODELS = [
    model
    for model in vars(home_module).values()
    if isinstance(model, type) and issubclass(model, BaseModel) and model.__module__ == home_module.__name__
]


def test_an_empty_home_file_is_a_home():
    assert set(Home.model_validate({}).everyone()) == {"person", "helper"}


@pytest.mark.parametrize("path", SHIPPED, ids=lambda path: path.stem)
def test_shipped_homes_are_right(path):
    assert load(path, Home).title


def test_seven_homes_ship():
    assert {path.stem for path in SHIPPED} == {
        "default",
        "tap",
        "hurried",
        "slow",
        "burning",
        "alone",
        "korean",
    }


@pytest.mark.parametrize("model", MODELS, ids=lambda model: model.__name__)
def test_every_field_is_described_in_the_model_and_in_the_documentation(model):
    text = DOCUMENTATION.read_text(encoding="utf-8")
    for name, field in model.model_fields.items():
        assert field.description, f"{model.__name__}.{name}"
        assert f"`{field.alias or name}`" in text, f"{model.__name__}.{name}"


def test_the_documentation_names_every_moment_and_the_examples_are_right():
    text = DOCUMENTATION.read_text(encoding="utf-8")
    for event in EVENTS:
        assert f"`{event}`" in text, event
    examples = re.findall(r"```yaml\n(.*?)```", text, re.DOTALL)
    assert examples
    for example in examples:
        Home.model_validate(yaml.safe_load(example))


def test_the_documentation_gives_the_defaults_of_the_model():
    text = DOCUMENTATION.read_text(encoding="utf-8")
    for model in MODELS:
        for name, field in model.model_fields.items():
            if isinstance(field.default, (int, float)) and not isinstance(field.default, bool):
                row = re.search(rf"^\| `{field.alias or name}` \|.*$", text, re.MULTILINE)
                assert row, f"{model.__name__}.{name}"
                rows = re.findall(rf"^\| `{field.alias or name}` \| ([^|]*) \|", text, re.MULTILINE)
                assert f"{field.default:g}" in [cell.strip() for cell in rows], (
                    f"{model.__name__}.{name}: {rows}"
                )


@pytest.mark.parametrize(
    ("given", "words"),
    [
        ({"people": {"person": {"voice": {"flite": "slt", "espeak": "en"}}}}, "exactly one of clips, folder"),
        ({"people": {"person": {"voice": {}}}}, "here is none"),
        (
            {"people": {"person": {"distance_m": 9}}},
            "the person is 9 m from the microphone, but this room has",
        ),
        (
            {"people": {"helper": "nobody"}, "off_script": [{"at": 1, "who": "helper", "say": "next"}]},
            "no helper",
        ),
        ({"off_script": [{"at": "covering", "say": "next"}]}, "no such moment: 'covering'"),
        ({"off_script": [{"at": -1, "say": "next"}]}, "a moment is 0 s or later"),
        ({"off_script": [{"at": 1, "say": "next", "press": "yes"}]}, "one of say, talk and press is needed"),
        ({"pace": {"zone_min": {"crown": 1}}}, "a default is needed"),
        ({"room": {"size_m": [30, 3, 3]}}, "1.5 to 20 m each way"),
        ({"room": {"rt60_s": 0.05}}, "too short for a room of this size"),
        ({"noise": {"when": [[5, 1]]}}, "runs backwards"),
        ({"pase": {}}, "Extra inputs are not permitted"),
    ],
)
def test_what_is_wrong_is_said(given, words):
    with pytest.raises(ValidationError, match=re.escape(words)):
        Home.model_validate(given)


@pytest.mark.parametrize(
    ("written", "meant"),
    [
        (90, Moment("start", 90.0)),
        ("cover:back left", Moment("cover:back left")),
        ("12.5 min after cream on", Moment("cream on", 750.0)),
        ("30 s after cover:crown", Moment("cover:crown", 30.0)),
        ("1 minute after step:lather_one", Moment("step:lather_one", 60.0)),
        ("asked:any_burning", Moment("asked:any_burning")),
    ],
)
def test_moments_are_read(written, meant):
    assert parse_moment(written) == meant


@pytest.mark.parametrize("written", [True, None, [], "12 parsecs after start", "cover:", "12 min after"])
def test_what_is_no_moment_is_refused_with_what_may_be_written(written):
    with pytest.raises(ValueError, match="cream on"):
        parse_moment(written)
