"""Complaints as a person reads them: message, place, excerpt with caret, hint.

Clear without colour; colour only on a terminal and never with NO_COLOR set.
"""

from __future__ import annotations

import sys
from collections.abc import Iterable
from typing import TextIO

from rich.cells import cell_len
from rich.console import Console
from rich.text import Text

from assistant.files.complaint import Complaint
from assistant.screens.harmless import harmless

EXCERPT = 100
"""Characters of a line that are shown; a longer one is cut around the place that is meant."""
BEFORE = 40
"""Of those, how many stand before that place at most."""


def show(complaints: Iterable[Complaint], stream: TextIO | None = None) -> None:
    """Print every complaint, a blank line between two. `stream` is standard error when left out."""
    console = Console(file=stream or sys.stderr, highlight=False, markup=False, emoji=False, soft_wrap=True)
    for number, complaint in enumerate(complaints):
        if number:
            console.print()
        console.print(lines(complaint))


def lines(complaint: Complaint) -> Text:
    """One complaint, styled; `.plain` is what is read without colour."""
    told = Text()
    told.append("error", "bold red").append(": ").append(harmless(complaint.message), "bold")
    told.append("\n --> ", "bold blue").append(harmless(complaint.file))
    if complaint.line:
        told.append(f":{complaint.line}:{complaint.column}")
        told.append_text(_excerpt(complaint))
    if complaint.hint:
        told.append("\nhint", "bold cyan").append(f": {harmless(complaint.hint)}")
    return told


def _excerpt(complaint: Complaint) -> Text:
    """The line and under it carets, aligned by the columns a terminal gives each character."""
    start = complaint.column - 1
    end = start + complaint.width
    first = max(0, start - BEFORE) if len(complaint.excerpt) > EXCERPT else 0
    last = first + EXCERPT
    before = ("..." if first else "") + harmless(complaint.excerpt[first:start])
    meant = harmless(complaint.excerpt[start : min(end, last)])
    after = harmless(complaint.excerpt[end:last]) + ("..." if len(complaint.excerpt) > last else "")
    number = str(complaint.line)
    margin = " " * len(number)
    told = Text()
    told.append(f"\n {margin} |\n {number} | ", "bold blue").append(f"{before}{meant}{after}".rstrip())
    told.append(f"\n {margin} | ", "bold blue").append(" " * cell_len(before))
    told.append("^" * max(1, cell_len(meant.rstrip())), "bold red")
    return told
