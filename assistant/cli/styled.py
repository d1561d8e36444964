"""A line with a style: seen on a terminal, plain in a pipe, without colour where NO_COLOR is set."""

from __future__ import annotations

from typing import TextIO

from rich.console import Console
from rich.text import Text


def print_styled(text: str, style: str = "none", stream: TextIO | None = None, *, rest: str = "") -> None:
    """Print `text` in a style of rich's, then `rest` plainly on the same line. Never wraps, reads no markup."""
    if style == "none":
        print(text + rest, file=stream)
        return
    console = Console(file=stream, highlight=False, markup=False, emoji=False, soft_wrap=True)
    console.print(Text(text, style).append(rest, "none"))
