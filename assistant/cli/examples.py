"""The examples at the end of a command's help, one a line, and where others find them.

A command gives them as its epilog: "examples: combside diary;  combside diary last".
The tests run every one that needs neither devices nor a person.
"""

from __future__ import annotations

import argparse
import textwrap

HELP_WIDTH = 78


def examples_of(command: argparse.ArgumentParser) -> tuple[str, ...]:
    """The command lines of its epilog; none where it has no examples."""
    _, found, lines = (command.epilog or "").partition(":")
    return (
        tuple(" ".join(line.split()) for line in lines.replace("\n", ";").split(";") if line.strip())
        if found
        else ()
    )


def lay_out(command: argparse.ArgumentParser) -> None:
    """Show its examples one a line; the words before them stay wrapped."""
    lines = examples_of(command)
    if lines:
        command.formatter_class = argparse.RawDescriptionHelpFormatter
        command.description = textwrap.fill(command.description or "", HELP_WIDTH)
        command.epilog = "\n  ".join(("examples:", *lines))
