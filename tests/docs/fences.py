"""Fenced blocks of the user's pages, and the command lines in them.

A block labelled `sh run` is run by the tests, line by line; of one labelled `sh`
every combside line must be understood by the parsers.
"""

from __future__ import annotations

import re
import shlex
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path

DOCS = Path(__file__).parents[2] / "assistant" / "docs"
LAUNCH = "sh assistant/launch "


@dataclass(frozen=True)
class Fence:
    """One fenced block: where it begins, its label, its lines."""

    page: str
    line: int
    label: str
    text: str

    @property
    def place(self) -> str:
        return f"{self.page}:{self.line}"


@dataclass(frozen=True)
class Line:
    """One combside command of a block: its words without the name; `out` where its output goes; the status it says."""

    place: str
    words: tuple[str, ...]
    out: str
    status: int


def pages() -> list[Path]:
    return sorted(DOCS.rglob("*.md"))


def fences(page: Path) -> list[Fence]:
    found: list[Fence] = []
    opened: tuple[int, str] | None = None
    held: list[str] = []
    for number, line in enumerate(page.read_text("utf-8").splitlines(), 1):
        if line.startswith("```"):
            if opened is None:
                opened, held = (number, line[3:].strip()), []
            else:
                found.append(Fence(page.name, opened[0], opened[1], "\n".join(held)))
                opened = None
        elif opened is not None:
            held.append(line)
    assert opened is None, f"{page.name}:{opened[0] if opened else 0} is never closed"
    return found


def lines(fence: Fence) -> Iterator[Line]:
    """Its combside commands. "# status 1" after one says what it ends with; 0 where nothing is said."""
    for number, text in enumerate(fence.text.splitlines(), fence.line + 1):
        for name in ("combside", LAUNCH.strip()):
            if text == name or text.startswith(f"{name} "):
                said = re.search(r"#.*\bstatus (\d)", text)
                words = shlex.split(text.removeprefix(name), comments=True)
                out = ""
                if ">" in words:
                    out = words[words.index(">") + 1]
                    words = words[: words.index(">")]
                yield Line(f"{fence.page}:{number}", tuple(words), out, int(said.group(1)) if said else 0)
