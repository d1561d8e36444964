"""A stream that never holds anybody up.

Text is handed over at once and written by a thread of its own. A full pipe, a
stopped terminal or a reader that went away costs what is shown, and nothing else.
"""

from __future__ import annotations

import contextlib
import os
import threading
from typing import TextIO


class PatientStream:
    """Text for `stream`, in order, without waiting for it. After the stream broke, text is let go."""

    def __init__(self, stream: TextIO) -> None:
        self.encoding = getattr(stream, "encoding", None) or "utf-8"
        self.broken = False
        self._stream = stream
        self._fd = _descriptor(stream)
        self._changed = threading.Condition()
        self._waiting: list[str] = []
        self._writing = False
        self._ended = False
        self._thread = threading.Thread(target=self._run, name="screen", daemon=True)
        self._thread.start()

    def write(self, text: str) -> int:
        with self._changed:
            if text and not self.broken and not self._ended:
                self._waiting.append(text)
                self._changed.notify_all()
        return len(text)

    def flush(self) -> None:
        """Nothing to do: the thread hands on what it gets."""

    def isatty(self) -> bool:
        return self._fd is not None and os.isatty(self._fd)

    @property
    def behind(self) -> bool:
        """Whether something is still to be written."""
        return bool(self._waiting) or self._writing

    def drain(self, seconds: float) -> bool:
        """Wait up to `seconds` until all is written. False when it was not."""
        with self._changed:
            return self._changed.wait_for(lambda: not self.behind, seconds)

    def close(self, seconds: float) -> None:
        """Write what is waiting, for at most `seconds`, and take no more. The stream itself stays open."""
        with self._changed:
            self._ended = True
            self._changed.notify_all()
        self._thread.join(seconds)

    def _run(self) -> None:
        while True:
            with self._changed:
                self._writing = False
                self._changed.notify_all()
                self._changed.wait_for(lambda: bool(self._waiting) or self._ended)
                text = "".join(self._waiting)
                self._waiting.clear()
                self._writing = bool(text)
            if not text:
                return
            if not self.broken:
                try:
                    self._put(text)
                except (OSError, ValueError):  # ValueError: the stream was closed
                    self.broken = True

    def _put(self, text: str) -> None:
        raw = text.encode(self.encoding, "replace")
        if self._fd is None:
            self._stream.write(raw.decode(self.encoding))
            self._stream.flush()
            return
        while raw:  # past Python's own buffer, whose lock a stuck write would keep until the process ends
            raw = raw[os.write(self._fd, raw) :]


def _descriptor(stream: TextIO) -> int | None:
    with contextlib.suppress(OSError, ValueError, AttributeError):
        stream.flush()
        return stream.fileno()
    return None
