"""The hazard table names prompts that are spoken and tests that exist, and covers what must be in it."""

from __future__ import annotations

import importlib
from pathlib import Path

import pytest

from tests.hazards.__main__ import verdict
from tests.hazards.spoken import words
from tests.hazards.table import Row, rows

ROWS = rows()
ROOT = Path(__file__).parents[2]
MUST = (
    "over-processing", "burn", "eye", "swallowed", "inhaled", "overlap", "wrong class", "metallic salts",
    "wrong neutraliser", "cream left", "left alone", "child", "alarm not heard", "misheard", "power cut", "battery",
    "contact lenses",
)  # fmt: skip


def test_every_hazard_that_must_be_there_is() -> None:
    named = " / ".join(row.hazard for row in ROWS)
    assert [hazard for hazard in MUST if hazard not in named] == []
    assert len({row.hazard for row in ROWS}) == len(ROWS)


@pytest.mark.parametrize("row", ROWS, ids=lambda row: row.hazard)
def test_a_row_names_what_is_spoken_and_a_test(row: Row) -> None:
    for response in row.responses:
        assert response.words in words().of(response.name)
    file, name = row.test
    assert (ROOT / file).is_file()
    assert callable(getattr(importlib.import_module(file.removesuffix(".py").replace("/", ".")), name))


def test_a_response_that_is_taken_out_is_missed() -> None:
    """Three rows of the proof; all of them are `python -m tests.hazards`."""
    for row in ROWS[:3]:
        assert verdict(row) == ""


def test_a_row_without_proof_is_told() -> None:
    """A test that never needed the response of its row."""
    wrong = Row(
        "made up", (), ROWS[0].responses, ("tests/hazards/test_responses.py", "test_metal_in_the_bowl")
    )
    assert verdict(wrong) == "still passes without 'call'"
