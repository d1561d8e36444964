"""A journal that a slow disk cannot hold up: records are written by a thread of their own.

Journal first still holds: `write` waits until its record is on the disk, but not
longer than `wait_s`. After that the record is kept here and written when the disk
allows; whoever wrote is told, once a record, by `Behind`. Nothing is ever left
out or written in another order. Meets `ports.Journal`.
"""

from __future__ import annotations

import threading
from collections import deque
from collections.abc import Callable
from datetime import datetime

from assistant.journal import rfc3339
from assistant.ports import Behind, Journal

WAIT_S = 0.25
"""An instruction may come so much later because of the disk: people do not notice it, and a disk at work
takes 1 to 50 ms. What calls to the water does not wait at all."""
AGAIN_S = 1.0
"""What the disk would not take is tried again so often."""
CLOSE_S = 3.0


class PatientJournal:
    """Writes to `journal`, which is its own from now on. `now` gives the wall clock's time with its offset."""

    def __init__(self, journal: Journal, now: Callable[[], datetime], wait_s: float = WAIT_S) -> None:
        self._journal = journal
        self._now = now
        self._wait_s = wait_s
        self._changed = threading.Condition()
        self._waiting: deque[dict[str, object]] = deque()
        self._taken = 0
        self._written = 0
        self._trouble = ""
        self._closing = False
        self._thread = threading.Thread(target=self._run, name="journal", daemon=True)
        self._thread.start()

    def write(self, record: dict[str, object]) -> None:
        """Take `record`; back when it is on the disk. Raises Behind when it is not yet, after `wait_s` at most.

        Its time is that of this call, however late the disk is. While the writer is behind already, nothing is waited for.
        """
        with self._changed:
            if self._closing:
                raise OSError("the journal is closed")
            behind = bool(self._waiting)
            self._waiting.append({**record, "at": rfc3339.written(self._now())})
            self._taken += 1
            mine = self._taken
            self._changed.notify_all()
            if not behind:
                self._changed.wait_for(lambda: self._written >= mine or bool(self._trouble), self._wait_s)
            if self._written < mine:
                raise Behind(self._trouble or f"the disk is slow: {len(self._waiting)} lines wait")

    def close(self) -> None:
        """Write what waits, for a few seconds at most. Raises OSError when lines are left that no disk took."""
        with self._changed:
            if self._closing:
                return
            self._closing = True
            self._changed.notify_all()
        self._thread.join(CLOSE_S)
        if self._thread.is_alive() or self._waiting or self._trouble:
            raise OSError(self._trouble or f"the disk is slow: {len(self._waiting)} lines were not written")

    def _run(self) -> None:
        while True:
            with self._changed:
                self._changed.wait_for(lambda: bool(self._waiting) or self._closing)
                if not self._waiting:
                    break
                record = self._waiting[0]
            trouble = self._put(record)
            with self._changed:
                self._trouble = trouble
                if not trouble:
                    self._waiting.popleft()
                    self._written += 1
                self._changed.notify_all()
                if trouble and self._closing:
                    break
                if trouble:
                    self._changed.wait_for(lambda: self._closing, AGAIN_S)
        try:
            self._journal.close()
        except OSError as error:
            self._trouble = str(error)

    def _put(self, record: dict[str, object]) -> str:
        """What went wrong, or "" when it is written."""
        try:
            self._journal.write(record)
        except OSError as error:
            return str(error) or repr(error)
        return ""
