"""No text ends in a traceback: it becomes its model, or complaints that can be printed.

COMBSIDE_FUZZ_CASES sets how many mutated files are tried (300 when it is not set).
"""

from __future__ import annotations

import io
import os
import random
from pathlib import Path

import pytest
import yaml
from hypothesis import given, settings
from hypothesis import strategies as st
from pydantic import BaseModel

from assistant.cli.complaints import show
from assistant.core.household import Household
from assistant.core.kit_sheet import KitSheet
from assistant.core.routine import Routine
from assistant.files.yaml_file import BadFile, parse

HERE = Path(__file__).parent
MODELS: dict[str, type[BaseModel]] = {"kit": KitSheet, "household": Household, "routine": Routine}
SEEDS = {name: (HERE / "good" / f"{name}.yaml").read_bytes() for name in MODELS}
CASES = int(os.environ.get("COMBSIDE_FUZZ_CASES", "300"))
BATCHES = 10
JARGON = ("Traceback", "Input should be", "valid dictionary", "type=", "pydantic", "mapping values")

# fmt: off
SNIPPETS = [
    b"\t", b" ", b"  ", b"\n", b"\r", b"\r\n", b":", b": ", b"- ", b"? ", b"[", b"]", b"{", b"}", b",",
    b"#", b"&a ", b"*a", b"!", b"!!str ", b"!!python/name:os.system ", b"|", b">", b"'", b'"', b"%",
    b"@", b"`", b"<<: ", b"---\n", b"...\n", b"~", b"null", b"yes", b"no", b"true", b"12:30", b".nan",
    b".inf", b"-.inf", b"1e999", b"-0", b"0x1F", b"9" * 40, b"-1", b"2025-03-09", b"\\", b'"\\x00"',
    b'"\\ud800"', b'"\\e[2J"', b"\x00", b"\x1b[2J", b"\x7f", b"\x85", b"\xff", b"\xc3", b"\xe2\x80\xa8",
    b"\xef\xbb\xbf", b"\xf0\x9f\x98\x80", b"\xe2\x80\xae", b"[[[[[[[[",
]
# fmt: on


def mutated(seed: bytes, chance: random.Random) -> bytes:
    """One to six small accidents: a snippet put in or over something, something lost, doubled or moved."""
    raw = bytearray(seed)
    for _ in range(chance.randint(1, 6)):
        start = chance.randrange(len(raw) + 1)
        end = min(len(raw), start + chance.choice((0, 1, 1, 2, 8, 40)))
        match chance.randrange(6):
            case 0:
                raw[start:start] = chance.choice(SNIPPETS)
            case 1:
                raw[start:end] = chance.choice(SNIPPETS)
            case 2:
                del raw[start:end]
            case 3:
                raw[start:start] = raw[start:end] * chance.choice((1, 2, 30))
            case 4:
                lines = raw.splitlines(keepends=True)
                chance.shuffle(lines)
                raw = bytearray(b"".join(lines)) if chance.random() < 0.2 else raw
            case _:
                raw[start : start + 1] = bytes([chance.randrange(256)])
    return bytes(raw)


def outcome(raw: bytes | str, model: type[BaseModel]) -> str:
    """ "read", or "complained" where everything about the complaints is in order."""
    try:
        parse(raw, "fuzzed.yaml").into(model)
    except BadFile as error:
        assert error.complaints
        for complaint in error.complaints:
            assert complaint.message and not [word for word in JARGON if word in complaint.message]
            if complaint.line:
                assert 1 <= complaint.column <= len(complaint.excerpt) + 1
                assert 1 <= complaint.width <= max(1, len(complaint.excerpt) + 1 - complaint.column)
            else:
                assert (complaint.column, complaint.excerpt) == (0, "")
        stream = io.StringIO()
        show(error.complaints, stream)
        assert not [c for c in stream.getvalue() if not (c.isprintable() or c == "\n")]
        return "complained"
    return "read"


@pytest.mark.parametrize("batch", range(BATCHES))
@pytest.mark.parametrize("name", MODELS)
def test_a_file_with_accidents_ends_in_its_model_or_in_complaints(name: str, batch: int) -> None:
    chance = random.Random(f"{name} {batch}")
    outcomes = {outcome(mutated(SEEDS[name], chance), MODELS[name]) for _ in range(CASES // BATCHES // 3)}
    assert "complained" in outcomes


@settings(max_examples=100, deadline=None, derandomize=True)
@given(st.text(max_size=200) | st.text(alphabet="ab:-?[]{},&*!|>'\"%@`#~ \t\n0.\\", max_size=60))
def test_any_text_is_complained_about(text: str) -> None:
    assert outcome(text, KitSheet) == "complained"


@settings(max_examples=100, deadline=None, derandomize=True)
@given(st.binary(max_size=100))
def test_any_bytes_are_complained_about(raw: bytes) -> None:
    assert outcome(raw, Routine) == "complained"


VALUES = st.recursive(
    st.none() | st.booleans() | st.integers() | st.floats() | st.text(max_size=8),
    lambda inner: st.lists(inner, max_size=3) | st.dictionaries(st.text(max_size=8), inner, max_size=3),
    max_leaves=6,
)


@settings(max_examples=120, deadline=None, derandomize=True)
@given(st.data())
def test_any_value_at_any_place_is_told_plainly(data: st.DataObject) -> None:
    """Well-formed files with a wrong value somewhere reach every kind of validation error."""
    name = data.draw(st.sampled_from(sorted(MODELS)))
    value = yaml.safe_load(SEEDS[name])
    here = value
    while True:
        key = data.draw(st.sampled_from(list(here) if isinstance(here, dict) else range(len(here))))
        if isinstance(here[key], (dict, list)) and here[key] and data.draw(st.booleans()):
            here = here[key]
            continue
        here[key] = data.draw(VALUES)
        break
    outcome(yaml.safe_dump(value, allow_unicode=True), MODELS[name])
