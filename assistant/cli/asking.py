"""Asking at the terminal: a question, its explanation, what may be answered, and again until it is an answer.

Every wrong answer is explained and asked again. `?` explains, `back` takes the
last answer back, `stop` ends and loses nothing that was answered.
"""

from __future__ import annotations

import sys
import textwrap
from collections.abc import Callable, Iterable, Mapping
from typing import Protocol, TextIO, TypeVar

from assistant.cli.styled import print_styled
from assistant.screens.harmless import harmless

T = TypeVar("T")
WIDTH = 78
LONGEST = 4000
"""Characters of a line that are looked at."""


class Stopped(Exception):
    """Whoever answers wants to stop, or there is nobody: the input has ended."""


class Back(Exception):
    """The last answer is to be taken back."""


class Lines(Protocol):
    """What lines are read from: a text stream, or less."""

    def readline(self, limit: int = -1, /) -> str: ...


class Terminal:
    """Asks on `out`, reads from `lines`; both are the process's own when left out."""

    def __init__(self, lines: Lines | None = None, out: TextIO | None = None) -> None:
        self.lines: Lines = lines or sys.stdin
        self.out = out or sys.stdout

    def say(self, text: str = "", indent: str = "", style: str = "none") -> None:
        """One paragraph, wrapped; what begins with a dash hangs. `style` is seen on a terminal alone."""
        more = indent + ("  " if text.startswith("- ") else "")
        lines = textwrap.wrap(harmless(text), WIDTH, initial_indent=indent, subsequent_indent=more)
        print_styled("\n".join(lines), style, self.out)

    def choices(self, values: Mapping[str, str], unknown: str = "") -> None:
        """Words that may be answered, numbered, each explained."""
        wide = max((len(v) for v in (*values, *(["I don't know"] if unknown else []))), default=0)
        rows = [(str(n), value, words) for n, (value, words) in enumerate(values.items(), 1)]
        rows += [("", "I don't know", unknown)] if unknown else []
        for number, value, words in rows:
            first = f"  {number:>2}  {value:<{wide}}  "
            for line in textwrap.wrap(
                harmless(words), WIDTH, initial_indent=first, subsequent_indent=" " * len(first)
            ) or [first]:
                print(line, file=self.out)

    def ask(
        self,
        question: str,
        read: Callable[[str], T],
        explain: Callable[[], None] | None = None,
        *,
        default: str = "",
    ) -> T:
        """The answer, as `read` makes it. A ValueError's words are shown and the question comes again.

        `default` is taken for an empty line. Raises Stopped and Back.
        """
        self.say(question)
        if explain is not None:
            explain()
        while True:
            text = self.line(default)
            if text == "?":
                (explain or (lambda: self.say("There is nothing more to say to this one.")))()
                continue
            try:
                return read(text)
            except ValueError as error:
                self.say(str(error), "  ! ")
                self.say(question)

    def line(self, default: str = "") -> str:
        """One line of input. Raises Stopped and Back."""
        print(f"[{harmless(default)}] > " if default else "> ", end="", file=self.out, flush=True)
        try:
            raw = self.lines.readline(LONGEST)
        except UnicodeDecodeError:
            return "\ufffd"
        if not raw:
            print(file=self.out)
            raise Stopped
        while not raw.endswith("\n") and len(raw) == LONGEST and self.lines.readline(LONGEST):
            pass
        text = raw.strip() or default
        if text.casefold() in ("stop", "quit", "exit"):
            raise Stopped
        if text.casefold() == "back":
            raise Back
        return text

    def yes(self, question: str, *, default: str = "") -> bool:
        return self.ask(question, yes_or_no, default=default)

    def one_of(self, question: str, values: Mapping[str, str], *, default: str = "", why: str = "") -> str:
        """One of these words, by the word, the beginning of it, or its number."""

        def explain() -> None:
            if why:
                self.say(why, "  ")
            self.choices(values)

        return self.ask(question, lambda text: choice(text, values), explain, default=default)


def yes_or_no(text: str) -> bool:
    """Raises ValueError."""
    said = text.casefold()
    if said in ("y", "yes"):
        return True
    if said in ("n", "no"):
        return False
    raise ValueError(f"'{text[:40]}' is neither yes nor no. Answer yes or no.")


def choice(text: str, values: Iterable[str]) -> str:
    """Raises ValueError with what there is."""
    known = list(values)
    said = text.casefold()
    if said in known:
        return said
    if said.isascii() and said.isdigit() and len(said) < 4 and 1 <= int(said) <= len(known):
        return known[int(said) - 1]
    begun = [v for v in known if v.casefold().startswith(said)] if said else []
    if len(begun) == 1:
        return begun[0]
    raise ValueError(f"'{text[:40]}' is not one of the answers. There are: {', '.join(known)}.")


def number(text: str, least: float, greatest: float, unit: str = "") -> float:
    """Raises ValueError."""
    try:
        value = float(text.replace(",", ".")) if len(text) < 20 else float("nan")
    except ValueError:
        value = float("nan")
    if not least <= value <= greatest:
        raise ValueError(
            f"'{text[:40]}' is no number from {least:g} to {greatest:g}{f' {unit}' if unit else ''}."
        )
    return value
