"""Whole lines typed while something else goes on: the keyboard beside the voice."""

from __future__ import annotations

import queue
import sys
import threading
from typing import TextIO

from assistant.app.interview_by_voice import Stopped
from assistant.cli.asking import LONGEST, Terminal
from assistant.core.answers import Question


class TypedLines:
    """Meets `app.interview_by_voice.Keyboard`. Reading waits in a thread that ends with the process."""

    def __init__(self, terminal: Terminal, lines: TextIO | None = None) -> None:
        self._terminal = terminal
        self._lines = lines or sys.stdin
        self._typed: queue.SimpleQueue[str | None] = queue.SimpleQueue()
        threading.Thread(target=self._read, daemon=True).start()

    def line(self) -> str | None:
        """A line since the last call. Where no terminal is there to type at, the end of the input ends nothing."""
        try:
            typed = self._typed.get_nowait()
        except queue.Empty:
            return None
        if typed is None and self._lines.isatty():
            raise Stopped
        return typed

    def readline(self, limit: int = -1) -> str:
        """The next line, waited for, as a text stream gives it: for whoever asks on by keys alone."""
        typed = self._typed.get()
        return "" if typed is None else f"{typed}\n"

    def show(self, text: str) -> None:
        self._terminal.say(text)

    def explain(self, question: Question) -> None:
        self._terminal.choices(question.values, question.unknown)

    def _read(self) -> None:
        try:
            while raw := self._lines.readline(LONGEST):
                self._typed.put(raw.rstrip("\r\n"))
        except (OSError, ValueError):  # the terminal is gone
            pass
        self._typed.put(None)
