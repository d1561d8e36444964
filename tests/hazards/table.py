"""The hazard table, read from the documentation."""

from __future__ import annotations

import re
from dataclasses import dataclass
from pathlib import Path

import assistant

TABLE = Path(assistant.__file__).parent / "docs" / "hazards.md"
COLUMNS = ("hazard", "cause", "prevention", "detection", "spoken response", "test")
_RESPONSE = re.compile(r'`(?P<name>[^`]+)` "(?P<words>[^"]+)"')
_TEST = re.compile(r"`(?P<file>tests/[a-z_/]+\.py)::(?P<name>test_[a-z0-9_]+)`")


@dataclass(frozen=True, slots=True)
class Response:
    """A prompt by its name, and words of it that the table quotes."""

    name: str
    words: str


@dataclass(frozen=True, slots=True)
class Row:
    """One hazard. `test` is a file and a function in it."""

    hazard: str
    cells: tuple[str, ...]
    responses: tuple[Response, ...]
    test: tuple[str, str]


def rows(path: Path = TABLE) -> tuple[Row, ...]:
    """Every row. Raises ValueError for one without a response or a test."""
    found = []
    for line in path.read_text("utf-8").splitlines():
        cells = tuple(cell.strip() for cell in line.strip().strip("|").split("|"))
        if not line.startswith("|") or cells == COLUMNS or set(line) <= set("|- "):
            continue
        if len(cells) != len(COLUMNS) or not all(cells):
            raise ValueError(f"not {len(COLUMNS)} filled cells: {line}")
        responses = tuple(Response(m["name"], m["words"]) for m in _RESPONSE.finditer(cells[4]))
        test = _TEST.fullmatch(cells[5])
        if not responses or test is None:
            raise ValueError(f"no response or no test: {line}")
        found.append(Row(cells[0], cells, responses, (test["file"], test["name"])))
    return tuple(found)
