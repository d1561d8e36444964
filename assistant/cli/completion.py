"""`combside --print-completion SHELL`: what makes the Tab key complete commands, options and files.

The scripts come from a library that reads the parsers, so a new option is
completed without a word here.
"""

from __future__ import annotations

import argparse
from collections.abc import Iterator
from pathlib import Path

OPTION = "--print-completion"
SHELLS = ("bash", "zsh", "fish", "powershell")


class PrintCompletion(argparse.Action):
    """Print the script for one shell and end with status 0."""

    def __call__(self, parser: argparse.ArgumentParser, *given: object, **more: object) -> None:
        import shtab  # only here: every other command starts without it

        for action in actions_of(parser):
            if action.type is Path or action.dest in ("routine", "file"):
                action.complete = shtab.FILE  # type: ignore[attr-defined]
        print(shtab.complete(parser, shell=str(given[1])))
        parser.exit()


def add_to(top: argparse.ArgumentParser) -> None:
    top.add_argument(
        OPTION,
        action=PrintCompletion,
        choices=SHELLS,
        metavar="SHELL",
        help="print what makes the Tab key complete combside: bash, zsh, fish or powershell",
    )


def actions_of(parser: argparse.ArgumentParser) -> Iterator[argparse.Action]:
    """Every option and place of a parser and of its commands."""
    for action in parser._actions:
        yield action
        if isinstance(action, argparse._SubParsersAction):
            for command in action.choices.values():
                yield from actions_of(command)
