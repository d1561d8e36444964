"""The glance screen for a terminal: as large as its window lets it be, for where there is no browser.

Digits are made of blocks, as many times their own size as fit; the rest is a few
short lines. How tall a letter of a terminal is nobody can tell from inside, so
nothing is promised about it: make the terminal's own type large. Meets `ports.Screen`.
"""

from __future__ import annotations

import os
import sys
import time
from collections.abc import Callable
from types import TracebackType
from typing import TextIO, cast

from rich.align import Align
from rich.console import Console, ConsoleOptions, Group, RenderableType, RenderResult
from rich.live import Live
from rich.padding import Padding
from rich.panel import Panel
from rich.segment import Segment
from rich.style import Style
from rich.text import Text

from assistant.core.actions import Priority, Say
from assistant.core.session import View
from assistant.screens.harmless import harmless
from assistant.screens.patient_stream import PatientStream
from assistant.screens.words import BECAME, STANDS, as_written, forecast_words

REFRESH_S = 0.25
CLOSE_S = 2.0
FLASH_S = 0.5
"""The rinse call turns over this often, so it flashes once a second (WCAG 2.3.1 allows three)."""
SOON_S, NOW_S = 300.0, 60.0

SIGNS = {
    "0": ("███", "█ █", "█ █", "█ █", "███"),
    "1": (" █ ", "██ ", " █ ", " █ ", "███"),
    "2": ("███", "  █", "███", "█  ", "███"),
    "3": ("███", "  █", " ██", "  █", "███"),
    "4": ("█ █", "█ █", "███", "  █", "  █"),
    "5": ("███", "█  ", "███", "  █", "███"),
    "6": ("███", "█  ", "███", "█ █", "███"),
    "7": ("███", "  █", " █ ", " █ ", " █ "),
    "8": ("███", "█ █", "███", "█ █", "███"),
    "9": ("███", "█ █", "███", "  █", "███"),
    ":": (" ", "█", " ", "█", " "),
    "R": ("██ ", "█ █", "██ ", "█ █", "█ █"),
    "I": ("█", "█", "█", "█", "█"),
    "N": ("█  █", "██ █", "█ ██", "█  █", "█  █"),
    "S": ("███", "█  ", "███", "  █", "███"),
    "E": ("███", "█  ", "██ ", "█  ", "███"),
    "O": ("███", "█ █", "█ █", "█ █", "███"),
    "W": ("█   █", "█   █", "█ █ █", "██ ██", "█   █"),
    " ": (" ", " ", " ", " ", " "),
}
"""The signs of a clock and of RINSE NOW, five rows each; a block is twice as wide as a column, because a column is half as wide as a row is tall."""
ROWS = 5


def block_rows(signs: str, times: int, block: str = "█") -> list[str]:
    """`signs` ("12:34") as rows of blocks, each block `times` rows tall. Raises KeyError for anything else."""
    rows = []
    for row in range(ROWS):
        line = " ".join(SIGNS[sign][row] for sign in signs)
        wide = "".join((block if cell != " " else " ") * (2 * times) for cell in line)
        rows += [wide.rstrip()] * times
    return rows


def block_width(signs: str) -> int:
    """Columns of `signs` at one time their size."""
    return 2 * (sum(len(SIGNS[sign][0]) for sign in signs) + len(signs) - 1)


class BigType:
    """`signs` in blocks, as large as the width there is and `rows` rows allow; plain where none fits."""

    def __init__(self, signs: str, rows: int, style: str, block: str) -> None:
        self._signs, self._rows, self._style, self._block = signs, rows, style, block

    def __rich_console__(self, console: Console, options: ConsoleOptions) -> RenderResult:
        times = min(options.max_width // block_width(self._signs), self._rows // ROWS)
        style = console.get_style(self._style)
        if times < 1:
            yield Text(self._signs, self._style)
            return
        for line in block_rows(self._signs, times, self._block):
            yield Segment(line, Style.null() + style)
            yield Segment.line()


class BigTypeScreen:
    """Meets `ports.Screen`. Use it in a `with` block; the terminal is as before after it.

    `stream` must be a terminal (ValueError otherwise). `what` is on the head. `now` is a clock in seconds for how often to draw.
    """

    def __init__(
        self,
        stream: TextIO | None = None,
        *,
        rehearsal: bool = False,
        what: str = "cream",
        now: Callable[[], float] = time.monotonic,
        size: tuple[int, int] | None = None,
    ) -> None:
        self._rehearsal = rehearsal
        self._on = f"{what.upper()} ON"
        self._now = now
        self._drawn = float("-inf")
        self._view: View | None = None
        self._cream_on_s: float | None = None
        self._due_in_s: float | None = None
        self._said: Say | None = None
        self._heard = ""
        self._stream = PatientStream(stream or sys.stdout)
        if not self._stream.isatty():
            self._stream.close(CLOSE_S)
            raise ValueError("the big screen needs a terminal")
        width, height = size or (None, None)
        self._console = Console(
            file=cast(TextIO, self._stream),
            force_terminal=True,
            width=width,
            height=height,
            highlight=False,
            markup=False,
            emoji=False,
        )
        encodes = (self._stream.encoding or "").lower().replace("-", "").startswith("utf")
        self._block = "█" if encodes and os.environ.get("TERM") != "linux" else "#"
        self._live: Live | None = Live(
            get_renderable=self._page,
            console=self._console,
            screen=True,
            auto_refresh=False,
            redirect_stdout=False,
            redirect_stderr=False,
        )
        self._live.start()

    def said(self, t: float, prompt: Say) -> None:
        self._said = prompt
        self._draw()

    def heard(self, t: float, words: str, verdict: str) -> None:
        said = harmless(as_written(words))
        quoted = f'"{said}"' if said else "no words"
        self._heard = f"Heard: {quoted}, {BECAME.get(verdict, harmless(str(verdict)))}"

    def stands(self, t: float, view: View) -> None:
        self._view = view
        self._cream_on_s, self._due_in_s = view.cream_on_s, view.call_in_s

    def clock(self, t: float, cream_on_s: float | None, due_in_s: float | None, where: str) -> None:
        self._cream_on_s, self._due_in_s = cream_on_s, due_in_s
        if self._now() - self._drawn >= REFRESH_S:
            self._draw()

    def close(self) -> None:
        """Give the terminal back. A second time does nothing."""
        live, self._live = self._live, None
        if live is not None:
            live.stop()
        self._stream.close(CLOSE_S)

    def __enter__(self) -> BigTypeScreen:
        return self

    def __exit__(
        self, kind: type[BaseException] | None, error: BaseException | None, trace: TracebackType | None
    ) -> None:
        self.close()

    def _draw(self) -> None:
        self._drawn = self._now()
        if self._live is not None and not self._stream.behind:
            self._live.refresh()

    # -- the page ----------------------------------------------------------------------

    def _page(self) -> RenderableType:
        view = self._view
        if view is None:
            return Text("Getting ready", "bold")
        if STANDS.get(view.stance) == "call":
            return self._call(view)
        height = self._console.height
        parts: list[RenderableType] = [Text(harmless(view.where[:1].upper() + view.where[1:]), "bold")]
        if self._due_in_s is not None:
            word, style = _nearness(self._due_in_s)
            parts += [Text(f"{word}RINSE CALL IN", style)]
            parts += [BigType(_time(self._due_in_s), max(ROWS, height // 3), style, self._block)]
        if self._cream_on_s is not None:
            parts += [Text(self._on, "bold")]
            parts += [BigType(_time(self._cream_on_s), max(ROWS, height // 5), "bold", self._block)]
        if view.zone:
            parts += [Text(f"Zone: {harmless(view.zone)}", "bold")]
        if view.answers:
            parts += [
                Text("Say: " + " or ".join(f'"{harmless(as_written(a))}"' for a in view.answers), "bold cyan")
            ]
        if self._said is not None:
            parts += [Padding(self._words(self._said), (1, 0))]
        if self._heard:
            parts += [Text(self._heard)]
        forecast = forecast_words(view.chance, view.will_not_fit)
        if forecast:
            parts += [Text(f"Forecast: {forecast}")]
        if view.stop:
            parts += [Text(f'Stop: "{harmless(view.stop)}"')]
        if self._rehearsal:
            parts += [Text("Rehearsal: no cream, a made-up clock", "dim")]
        return Group(*parts)

    def _call(self, view: View) -> RenderableType:
        """The whole window, turned over once a second."""
        style = "bold black on yellow" if int(self._now() / FLASH_S) % 2 == 0 else "bold yellow on black"
        height = self._console.height
        words: list[RenderableType] = [BigType("RINSE NOW", height // 3, style, self._block), Text("")]
        if self._cream_on_s is not None:
            words += [Text(self._on), BigType(_time(self._cream_on_s), height // 4, style, self._block)]
        if view.answers:
            words += [
                Text("\nSay: " + " or ".join(f'"{harmless(as_written(a))}"' for a in view.answers), style)
            ]
        if self._said is not None:
            words += [Text("\n" + _plain(self._said), style)]
        return Panel(Align.center(Group(*words), vertical="middle"), style=style, height=self._console.height)

    def _words(self, prompt: Say) -> RenderableType:
        words = Text(_plain(prompt), "bold")
        if prompt.priority is Priority.WARNING:
            return Panel(words, title="▲ WARNING" if self._block == "█" else "! WARNING", style="bold red")
        if prompt.priority is Priority.CAUTION:
            return Panel(words, title="◆ CAUTION" if self._block == "█" else "* CAUTION", style="bold yellow")
        return words


def _plain(prompt: Say) -> str:
    return harmless(" ".join(sentence.text for sentence in prompt.sentences))


def _nearness(due_in_s: float) -> tuple[str, str]:
    """A mark and a style; the spoken warnings come at 5 and at 1 minute."""
    if due_in_s <= NOW_S:
        return "!! ", "bold red"
    return ("! ", "bold yellow") if due_in_s <= SOON_S else ("", "bold")


def _time(seconds: float) -> str:
    minutes, second = divmod(int(max(0.0, seconds)), 60)
    hours, minute = divmod(minutes, 60)
    return f"{hours}:{minute:02}:{second:02}" if hours else f"{minute}:{second:02}"
