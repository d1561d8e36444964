"""What is spoken, shown in a terminal; plain lines where the output is piped.

Every prompt with who speaks to whom, what was heard and what became of it, and
below them one status line: time with cream on, time to the rinse call, where we
are. Warnings differ by word and by shape, and by colour last. Meets `ports.Screen`.
"""

from __future__ import annotations

import os
import sys
import time
from collections.abc import Callable, Mapping
from dataclasses import dataclass
from itertools import groupby
from types import TracebackType
from typing import TextIO, cast

from rich.console import Console, Group, RenderableType
from rich.live import Live
from rich.table import Table
from rich.text import Text

from assistant.core.actions import Priority, Say
from assistant.core.session import View
from assistant.screens.harmless import harmless
from assistant.screens.patient_stream import PatientStream
from assistant.screens.words import BECAME

REFRESH_S = 0.1
"""The status line is drawn at most this often; nobody reads faster, and a rehearsal is in a hurry."""
CLOSE_S = 2.0
"""How long the end waits for a stream that takes nothing more."""


@dataclass(frozen=True, slots=True)
class _Look:
    """How a prompt is marked: a word, a shape (and one that any terminal can show), a style."""

    word: str
    shape: str
    ascii_shape: str
    style: str


_LOOKS = {
    Priority.RINSE_CALL: _Look("RINSE CALL", "■", "#", "bold white on red"),
    Priority.WARNING: _Look("WARNING", "▲", "!", "bold red"),
    Priority.CAUTION: _Look("CAUTION", "◆", "*", "bold yellow"),
    Priority.INSTRUCTION: _Look("", "▸", ">", "bold"),
    Priority.INFORMATION: _Look("", "·", "-", "none"),
}
_VOICE_STYLES = {"person": "cyan", "helper": "magenta"}
_VERDICT_STYLES = {"believe": "green", "ask": "yellow", "somebody": "dim", "ignore": "dim"}


@dataclass(frozen=True, slots=True)
class _Status:
    """What the status line says. Seconds; `t` on the run clock."""

    t: float = 0.0
    cream_on_s: float | None = None
    due_in_s: float | None = None
    where: str = ""


class TerminalScreen:
    """Meets `ports.Screen`. Use it in a `with` block.

    `people` gives the names that go with the voices "person" and "helper". `now`
    is a clock in seconds for how often to draw. `rehearsal`: run time is virtual,
    and the status line says so and how much faster than `now` it goes. `what` is on
    the head: "cream", in practice "conditioner".
    """

    def __init__(
        self,
        stream: TextIO | None = None,
        *,
        people: Mapping[str, str] | None = None,
        rehearsal: bool = False,
        what: str = "cream",
        now: Callable[[], float] = time.monotonic,
        width: int | None = None,
    ) -> None:
        self._people = {"person": "the person", "helper": "the helper", **(people or {})}
        self._rehearsal = rehearsal
        self._what = what
        self._now = now
        self._began: tuple[float, float] | None = None
        self._drawn = float("-inf")
        self._status = _Status()
        self._told = ("", -1)
        self._stream = PatientStream(stream or sys.stdout)
        on_terminal = self._stream.isatty() and os.environ.get("TERM") != "dumb"
        self._console = Console(
            file=cast(TextIO, self._stream),
            force_terminal=on_terminal,
            width=width,
            highlight=False,
            markup=False,
            emoji=False,
        )
        self._unicode = _can_write("■▲◆▸◂━─", self._stream.encoding)
        self._live: Live | None = None
        if on_terminal:
            self._live = Live(
                get_renderable=self._footer,
                console=self._console,
                auto_refresh=False,
                transient=True,
                redirect_stdout=False,
                redirect_stderr=False,
            )
            self._live.start()

    def said(self, t: float, prompt: Say) -> None:
        look = _LOOKS[prompt.priority]
        for voice, sentences in groupby(prompt.sentences, key=lambda s: s.voice):
            words = harmless(" ".join(s.text for s in sentences))
            to = f"to {harmless(self._people.get(voice, voice))}"
            if self._live is None:
                kind = f"{look.ascii_shape} {look.word} " if look.word else ""
                self._line(t, f"{kind}{to}: {words}")
                continue
            voice_style = _VOICE_STYLES.get(voice, "white")
            shape = look.shape if self._unicode else look.ascii_shape
            label = Text().append(f"{shape} {look.word}".rstrip(), look.style)
            label.append(" ").append(to, voice_style)
            urgent = prompt.priority <= Priority.CAUTION
            self._row(t, label, Text().append(words, look.style if urgent else "none"))

    def heard(self, t: float, words: str, verdict: str) -> None:
        said, became = harmless(words), BECAME.get(verdict, harmless(str(verdict)))
        quoted = f'"{said}"' if said else "(no words)"
        if self._live is None:
            self._line(t, f"heard: {quoted}, {became}")
            return
        style = _VERDICT_STYLES.get(verdict, "none")
        label = Text(f"{'◂' if self._unicode else '<'} heard", style)
        self._row(t, label, Text(quoted, style).append(f"  {became}", "dim"))

    def stands(self, t: float, view: View) -> None:
        """Nothing more: `clock` has what the status line says."""

    def clock(self, t: float, cream_on_s: float | None, due_in_s: float | None, where: str) -> None:
        now = self._now()
        if self._began is None:
            self._began = (now, t)
        self._status = _Status(t, cream_on_s, due_in_s, where)
        if now - self._drawn < REFRESH_S:
            return
        self._drawn = now
        if self._live is not None:
            if not self._stream.behind:
                self._live.refresh()
            return
        told = (where, int((cream_on_s or 0) // 60))
        if told != self._told:  # once for each place, and once a minute of cream
            self._told = told
            self._line(t, f"-- {self._status_words().plain}")

    def close(self) -> None:
        """Take the status line away and write what is waiting. A second time does nothing."""
        live, self._live = self._live, None
        if live is not None:
            live.stop()
        self._stream.close(CLOSE_S)

    def __enter__(self) -> TerminalScreen:
        return self

    def __exit__(
        self, kind: type[BaseException] | None, error: BaseException | None, trace: TracebackType | None
    ) -> None:
        self.close()

    def _line(self, t: float, words: str) -> None:
        self._stream.write(f"{_time(t):>8}  {words}\n")

    def _row(self, t: float, label: Text, words: Text) -> None:
        row = Table.grid(padding=(0, 2, 0, 0), expand=True)
        row.add_column(width=8, justify="right", style="dim")
        row.add_column(width=22, no_wrap=True, overflow="ellipsis")
        row.add_column(ratio=1)
        row.add_row(_time(t), label, words)
        self._console.print(row)

    def _footer(self) -> RenderableType:
        words = self._status_words()
        words.no_wrap, words.overflow = True, "ellipsis"
        return Group(self._bar(self._console.width), words)

    def _status_words(self) -> Text:
        status = self._status
        parts = []
        if status.cream_on_s is None:
            parts.append(Text(f"no {self._what} on", "dim"))
        else:
            parts.append(Text(f"{self._what} on {_time(status.cream_on_s)}", "bold"))
        if status.due_in_s is not None:
            parts.append(_due(status.due_in_s))
        if status.where:
            parts.append(Text(harmless(status.where)))
        if self._rehearsal:
            parts.append(Text(f"rehearsal {_time(status.t)}{self._pace()}", "dim"))
        return (
            Text("   ").join([Text(" ").append_text(parts[0]), *parts[1:]])
            if self._live
            else Text(", ").join(parts)
        )

    def _pace(self) -> str:
        """How much faster than real time a rehearsal goes, once that can be said."""
        if self._began is None:
            return ""
        wall, run = self._drawn - self._began[0], self._status.t - self._began[1]
        return f", {run / wall:.0f}x" if wall >= 1 else ""

    def _bar(self, width: int) -> Text:
        """A line across that fills up: how much of the time between cream and call is used."""
        status = self._status
        used, left = ("━", "─") if self._unicode else ("=", "-")
        if status.cream_on_s is None or status.due_in_s is None:
            return Text(left * width, "dim")
        whole = status.cream_on_s + max(0.0, status.due_in_s)
        full = round(width * status.cream_on_s / whole) if whole > 0 else width
        return Text().append(used * full, _nearness(status.due_in_s)).append(left * (width - full), "dim")


def _due(due_in_s: float) -> Text:
    if due_in_s <= 0:
        return Text().append(f"RINSE NOW, {_time(-due_in_s)} past the call", "bold white on red")
    return Text().append(f"rinse call in {_time(due_in_s)}", _nearness(due_in_s))


def _nearness(due_in_s: float) -> str:
    """The style for so many seconds left; the last warnings are spoken at 5 and at 1 minute."""
    return "bold red" if due_in_s <= 60 else "bold yellow" if due_in_s <= 300 else "bold green"


def _time(seconds: float) -> str:
    """1:05 or 1:02:33; whole seconds begun."""
    minutes, second = divmod(int(max(0.0, seconds)), 60)
    hours, minute = divmod(minutes, 60)
    return f"{hours}:{minute:02}:{second:02}" if hours else f"{minute}:{second:02}"


def _can_write(chars: str, encoding: str) -> bool:
    try:
        chars.encode(encoding)
    except (UnicodeError, LookupError):
        return False
    return True
