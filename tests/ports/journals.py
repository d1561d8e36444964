"""Journals for tests: one in memory, one on a disk that does as it is told."""

from __future__ import annotations

import errno
import json


class MemoryJournal:
    """Meets `ports.Journal`. Keeps the records, as JSON would give them back."""

    def __init__(self) -> None:
        self.records: list[dict[str, object]] = []
        self.closed = False

    def write(self, record: dict[str, object]) -> None:
        if self.closed:
            raise OSError("the journal is closed")
        self.records.append(json.loads(json.dumps(record, allow_nan=False)))

    def close(self) -> None:
        self.closed = True


class FailingJournal(MemoryJournal):
    """Takes records until `full` is set, and then none until it is cleared."""

    def __init__(self, *, full: bool = False) -> None:
        super().__init__()
        self.full = full

    def write(self, record: dict[str, object]) -> None:
        if self.full:
            raise OSError(errno.ENOSPC, "No space left on device")
        super().write(record)
