"""Progress of anything that takes over a second, on standard error; one line, redrawn on a terminal."""

from __future__ import annotations

import sys
import time


class Progress:
    """Call it with (done, of)."""

    def __init__(self, what: str) -> None:
        self._what = what
        self._last = 0.0

    def __call__(self, done: int, of: int) -> None:
        now = time.monotonic()
        if done < of and now - self._last < (0.2 if sys.stderr.isatty() else 5.0):
            return
        self._last = now
        end = "\n" if done >= of or not sys.stderr.isatty() else "\r"
        print(f"combside: {self._what}: {done} of {of}", end=end, file=sys.stderr, flush=True)
