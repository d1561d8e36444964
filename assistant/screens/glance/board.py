"""What is shown right now, for any number of readers who may be slow.

There is no queue: a reader gets the newest values and never learns of those it
missed, so whoever writes is never held up and nothing piles up.
"""

from __future__ import annotations

import threading
import time
from collections.abc import Callable


class Board:
    """The newest values by name. `now` is a clock in seconds for how old they are."""

    def __init__(self, now: Callable[[], float] = time.monotonic) -> None:
        self._now = now
        self._changed = threading.Condition()
        self._values: dict[str, object] = {}
        self._clocks_at = now()
        self._version = 0
        self._closed = False

    def put(self, **values: object) -> None:
        """These values are the newest; readers are told."""
        with self._changed:
            self._put(values)

    def put_clocks(self, **values: object) -> None:
        """The same, for values that are true now and run on: their age is counted from here."""
        with self._changed:
            self._clocks_at = self._now()
            self._put(values)

    def _put(self, values: dict[str, object]) -> None:
        self._values.update(values)
        self._version += 1
        self._changed.notify_all()

    def newest(self, seen: int, patience_s: float) -> tuple[int, dict[str, object]] | None:
        """The version after `seen` (0: any) and its values, within `patience_s`; None when there is none.

        `age_s` among them is how long ago the clocks were true.
        """
        with self._changed:
            self._changed.wait_for(lambda: self._version > seen or self._closed, patience_s)
            if self._version <= seen:
                return None
            return self._version, {**self._values, "age_s": round(self._now() - self._clocks_at, 3)}

    @property
    def closed(self) -> bool:
        return self._closed

    def close(self) -> None:
        """No more will come: readers who wait are let go."""
        with self._changed:
            self._closed = True
            self._changed.notify_all()
