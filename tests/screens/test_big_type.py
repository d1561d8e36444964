"""The glance screen of a terminal: as large as fits, the rinse call fills it, and the terminal is given back."""

from __future__ import annotations

import os
import threading
from dataclasses import replace
from typing import TextIO

import pytest
from rich.console import Console

from assistant import ports
from assistant.core.actions import Priority, Say, Sentence
from assistant.core.session import Stance, View
from assistant.screens.big_type import SIGNS, BigTypeScreen, block_rows, block_width

COVERING = View(
    3725.0, 485.0, "step 2 of 9: covering", "crown", Stance.COVERING, 2, 9,
    answers=("done with crown",), stop="rinse now", chance=0.5, will_not_fit=1,
)  # fmt: skip
CALL = replace(
    COVERING, stance=Stance.RINSE_CALL, call_in_s=None, called_s=3.0, zone="", answers=("water is running",)
)


class Terminal:
    """A pseudo-terminal that is read by nobody but us."""

    def __init__(self) -> None:
        self._master, terminal = os.openpty()
        self.stream: TextIO = os.fdopen(terminal, "w", encoding="utf-8")
        self.raw = b""
        self._reader = threading.Thread(target=self._read, daemon=True)
        self._reader.start()

    def _read(self) -> None:
        while True:
            try:
                some = os.read(self._master, 65536)
            except OSError:
                return
            self.raw += some

    def text(self) -> str:
        self.stream.close()
        self._reader.join(5)
        os.close(self._master)
        return self.raw.decode()


@pytest.fixture
def terminal(monkeypatch: pytest.MonkeyPatch) -> Terminal:
    monkeypatch.setenv("TERM", "xterm-256color")
    return Terminal()


def page(screen: BigTypeScreen, width: int, height: int) -> list[str]:
    """The lines the screen shows, without colour."""
    console = Console(width=width, height=height, force_terminal=False, color_system=None)
    with console.capture() as shown:
        console.print(screen._page())
    return shown.get().splitlines()


def test_signs_are_five_rows_of_one_width() -> None:
    assert set("0123456789: RINSE NOW") == set(SIGNS)
    for rows in SIGNS.values():
        assert len(rows) == 5 and len({len(row) for row in rows}) == 1
    assert len({SIGNS[digit] for digit in "0123456789"}) == 10  # no two look alike
    assert len(block_rows("12:34", 3)) == 15
    assert max(len(row) for row in block_rows("88:88", 2)) == 2 * block_width("88:88")


@pytest.mark.parametrize(("width", "height"), [(80, 24), (100, 34), (200, 60)])
def test_it_fits_the_window_and_is_as_large_as_it_can(terminal: Terminal, width: int, height: int) -> None:
    """Covering with a caution, and the rinse call over the whole window."""
    with BigTypeScreen(terminal.stream, size=(width, height)) as screen:
        meets: ports.Screen = screen
        meets.stands(0.0, COVERING)
        meets.heard(0.0, "crown\x1b[2J", "believe")
        meets.said(0.0, Say("x", (Sentence("Caution. 3 minutes until the water."),), Priority.CAUTION))
        lines = page(screen, width, height)
        assert len(lines) <= height and max(map(len, lines)) <= width
        text = "\n".join(lines)
        for words in (
            "CAUTION",
            "Zone: crown",
            '"done with crown"',
            '"rinse now"',
            "crown\\x1b[2J",
            "50 % in time, 1 zone",
        ):
            assert words in text
        blocks = block_rows("8:05", min(width // block_width("8:05"), max(5, height // 3) // 5))
        assert [line.rstrip() for line in lines][2 : 2 + len(blocks)] == blocks
        meets.stands(0.0, CALL)
        lines = page(screen, width, height)
        assert len(lines) == height
        times = min((width - 4) // block_width("RINSE NOW"), max(1, height // 15))
        assert all(any(row in line for line in lines) for row in block_rows("RINSE NOW", times))
        assert any("water is running" in line for line in lines)


def test_the_terminal_is_given_back(terminal: Terminal) -> None:
    """The other page of the terminal while it runs, the usual one and the cursor after it."""
    with BigTypeScreen(terminal.stream, size=(80, 24)) as screen:
        screen.clock(0.0, None, None, "")
    shown = terminal.text()
    assert shown.count("\x1b[?1049h") == shown.count("\x1b[?1049l") == 1
    assert shown.rindex("\x1b[?25h") > shown.rindex("\x1b[?25l")


def test_a_pipe_is_no_screen(tmp_path: object) -> None:
    read, write = os.pipe()
    with os.fdopen(write, "w") as stream, pytest.raises(ValueError, match="needs a terminal"):
        BigTypeScreen(stream)
    os.close(read)
