"""What the page of commands says of each parser: written from the parser itself, so that it can not grow stale."""

from __future__ import annotations

import argparse
import re
from collections.abc import Iterator

from assistant.cli.examples import examples_of
from assistant.cli.main import COMMANDS, parser

BEGIN, END = "<!-- made from the command {} by: python -m tests.docs -->", "<!-- end -->"
ORDER = ("consult", "kit", "household", "plan", "soundcheck", "run", "practice", "rehearse", "diary", "check")
"""The order of the page: as a household comes to need them."""


def commands() -> dict[str, argparse.ArgumentParser]:
    """Every command's parser by name."""
    found = next(a for a in parser()._actions if isinstance(a, argparse._SubParsersAction))
    return {
        name: found.choices[name]
        for name in (*(n for n in ORDER if n in COMMANDS), *sorted(set(COMMANDS) - set(ORDER)))
    }


def shown(action: argparse.Action) -> str:
    """An option with what it takes, or a place."""
    takes = action.metavar if isinstance(action.metavar, str) else None
    if takes is None:
        takes = (
            "|".join(map(str, action.choices)) if action.choices else action.dest.upper().replace("-", "_")
        )
    if not action.option_strings:
        return takes
    return action.option_strings[-1] + ("" if action.nargs == 0 else f" {takes}")


def described(command: argparse.ArgumentParser, action: argparse.Action) -> str:
    formatter = argparse.HelpFormatter(command.prog)
    return " ".join(formatter._expand_help(action).split()) if action.help else ""


def reference(name: str, command: argparse.ArgumentParser) -> str:
    """The made part of a command's section: synopsis, options, examples."""
    actions = [a for a in command._actions if a.dest != "help"]
    places = [f"[{shown(a)}]" for a in actions if not a.option_strings]
    options = [f"[{shown(a)}]" for a in actions if a.option_strings]
    lines = [
        BEGIN.format(name),
        "",
        "### Synopsis",
        "",
        "```text",
        *_folded(f"combside {name}", [*places, *options]),
        "```",
        "",
    ]
    lines += ["### Options", ""]
    lines += [f"- `{shown(a)}`: {described(command, a) or 'see above'}" for a in actions]
    lines += [
        "- `--help`: the same in short, in the terminal",
        "",
        "### Examples",
        "",
        "```sh",
        *examples_of(command),
        "```",
        "",
        END,
    ]
    return "\n".join(lines)


def _folded(first: str, words: list[str], width: int = 90) -> Iterator[str]:
    line = first
    for word in words:
        if len(line) + 1 + len(word) > width:
            yield line
            line = " " * 4 + word
        else:
            line += f" {word}"
    yield line


def renewed(page: str) -> str:
    """The page with every made part written anew. Raises ValueError for a command without its part."""
    for name, command in commands().items():
        made = re.compile(re.escape(BEGIN.format(name)) + ".*?" + re.escape(END), re.S)
        page, count = made.subn(lambda _, n=name, c=command: reference(n, c), page)
        if count != 1:
            raise ValueError(f"commands.md has {count} made parts for combside {name}, not one")
    return page
