"""What is wrong with a file, said so that a person can mend it.

Here the values only. Making them is `yaml_tree`, `wording` and `yaml_file`;
printing them is `assistant.cli.complaints`.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass


@dataclass(frozen=True, slots=True)
class Place:
    """Somewhere in a text: `line` and `column` from 1, `width` in characters (1 or more)."""

    line: int
    column: int
    width: int = 1


@dataclass(frozen=True, slots=True)
class Complaint:
    """One thing that is wrong.

    `line` and `column` count from 1; both are 0 where the file as a whole is
    meant. `excerpt` is that line as it stands, raw: whoever prints it makes it
    harmless. `width` is how many characters from `column` on are meant.
    """

    file: str
    line: int
    column: int
    message: str
    hint: str = ""
    excerpt: str = ""
    width: int = 1

    def __str__(self) -> str:
        place = f"{self.file}:{self.line}:{self.column}" if self.line else self.file
        return f"{place}: {self.message}" + (f" ({self.hint})" if self.hint else "")


class BadFile(Exception):
    """A file that cannot be used. `complaints` has everything that is wrong with it, first line first."""

    def __init__(self, complaints: Iterable[Complaint]) -> None:
        self.complaints = tuple(sorted(set(complaints), key=lambda c: (c.file, c.line, c.column, c.message)))
        super().__init__("\n".join(str(c) for c in self.complaints))
