"""Keys and the pedal: what the terminal's keyboard sends, as the meanings of `core.events.Pressed`.

A foot switch is a keyboard that types one key, whichever that is. So:

    n                 no
    a                 again (say it again)
    s, Escape         stop
    any other key     yes (space, enter, the pedal, arrows, page keys, ...)

Ctrl-C stays what it is everywhere. A key held down counts once. Input that is no
terminal, or a terminal that is not ours at the moment, has no keys.
"""

from __future__ import annotations

import atexit
import codecs
import contextlib
import os
import re
import select
import sys
import time
from collections.abc import Callable, Iterator
from types import TracebackType
from typing import Any

MEANINGS = {"n": "no", "a": "again", "s": "stop", "\x1b": "stop"}
"""Every other key is "yes"."""

HELD_S = 0.7
"""The same key sooner than this after it last came is still the same press. A held key first repeats after
250 to 660 ms on common desktops, then every 30 to 40 ms (from memory)."""

_KEY = re.compile(r"\x1b\[\[.|\x1b\[[0-?]*[ -/]*[@-~]|\x1bO.|.", re.DOTALL)
"""One key: a function key's sequence (Linux console, then ECMA-48 CSI and SS3) or one character."""
_BEGUN = re.compile(r"\x1b(?:\[\[|\[[0-?]*[ -/]*|O)?$")
"""What may be the first half of a function key's sequence, if more comes."""
_FUNCTION_KEY = "\x1b[~"
"""How a function key that comes in another way is passed on."""


class Keys:
    """Meets `ports.Keys`. Use it in a `with` block: the terminal is as before after it.

    `fd` is the terminal's file descriptor (standard input when left out), `now` a clock in seconds.
    """

    def __init__(self, fd: int | None = None, now: Callable[[], float] = time.monotonic) -> None:
        self._now = now
        self._typed = ""
        self._last: dict[str, float] = {}
        self._terminal: _Terminal | _WindowsConsole | None = None
        if sys.platform == "win32":
            if sys.stdin is not None and sys.stdin.isatty():
                self._terminal = _WindowsConsole()
        else:
            self._terminal = _Terminal.open(_stdin() if fd is None else fd)

    @property
    def there(self) -> bool:
        """Whether there is a terminal to type at."""
        return self._terminal is not None

    def pressed(self) -> list[str]:
        """Meanings of the keys since the last call, in order. Never waits, never raises."""
        if self._terminal is None:
            return []
        try:
            new = self._terminal.typed()
        except OSError:  # the terminal went away
            self.close()
            return []
        return [MEANINGS.get(key.lower(), "yes") for key in self._keys(new) if not self._held(key)]

    def close(self) -> None:
        """Give the terminal back as it was. A second time does nothing."""
        terminal, self._terminal = self._terminal, None
        if terminal is not None:
            terminal.close()

    def __enter__(self) -> Keys:
        return self

    def __exit__(
        self, kind: type[BaseException] | None, error: BaseException | None, trace: TracebackType | None
    ) -> None:
        self.close()

    def _keys(self, new: str) -> Iterator[str]:
        """Whole keys; half a sequence waits one call for its other half, then it counts as it is."""
        waiting, text = bool(self._typed) and not new, self._typed + new
        self._typed = ""
        for found in _KEY.finditer(text):
            if not waiting and _BEGUN.match(text, found.start()):
                self._typed = text[found.start() :]
                return
            yield found.group()

    def _held(self, key: str) -> bool:
        now = self._now()
        before = self._last.get(key)
        self._last[key] = now
        return before is not None and now - before < HELD_S


def _stdin() -> int | None:
    try:
        return sys.stdin.fileno()
    except (AttributeError, OSError, ValueError):  # none, closed, or replaced by something without one
        return None


class _Terminal:
    """A POSIX terminal read key by key."""

    def __init__(self, fd: int, before: list[Any]) -> None:
        self._fd = fd
        self._before = before
        self._decode = codecs.getincrementaldecoder("utf-8")("replace").decode
        atexit.register(self.close)

    @classmethod
    def open(cls, fd: int | None) -> _Terminal | None:
        import termios
        import tty

        if fd is None or not _ours(fd):
            return None
        try:
            before = termios.tcgetattr(fd)
            terminal = cls(fd, before)
            tty.setcbreak(fd)
            now = termios.tcgetattr(fd)
            now[0] &= ~termios.IXON  # Ctrl-S would hold up all that is shown
            termios.tcsetattr(fd, termios.TCSANOW, now)
        except (OSError, termios.error):
            return None
        return terminal

    def typed(self) -> str:
        """Everything typed since the last call. Raises OSError when the terminal is gone."""
        raw = b""
        while _ours(self._fd) and select.select([self._fd], [], [], 0)[0]:
            some = os.read(self._fd, 1024)
            if not some:
                raise OSError("the terminal was closed")
            raw += some
        return self._decode(raw)

    def close(self) -> None:
        import termios

        atexit.unregister(self.close)
        with contextlib.suppress(OSError, termios.error):
            termios.tcsetattr(self._fd, termios.TCSANOW, self._before)


def _ours(fd: int) -> bool:
    """A terminal, and we are in front: reading or changing it from behind would stop the whole process."""
    if not os.isatty(fd):
        return False
    try:
        return os.tcgetpgrp(fd) == os.getpgrp()
    except OSError:  # not the terminal we were started from, so nobody stops us
        return True


class _WindowsConsole:
    """The console of Windows; not tried on one yet."""

    def typed(self) -> str:
        import msvcrt

        console: Any = msvcrt
        text = ""
        while console.kbhit():
            char = console.getwch()
            if char in "\x00\xe0":  # a function key: its second half follows
                console.getwch()
                char = _FUNCTION_KEY
            text += char
        return text

    def close(self) -> None:
        """The console was never changed."""
