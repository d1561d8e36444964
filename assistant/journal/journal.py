"""The record of a run: JSON Lines, on disk before it is acted on.

The first line says what the file is and its schema; every later line is one
record, stamped with the wall clock's time. What the records mean is `record`.
What is slow or broken here raises OSError; what to do then is the loop's business.
"""

from __future__ import annotations

import contextlib
import json
import math
import os
from collections.abc import Callable, Mapping
from dataclasses import dataclass
from datetime import datetime
from pathlib import Path

from assistant.journal import rfc3339

SCHEMA = 1
KIND = "combside run"
"""The first line's "journal"."""
_BINARY = getattr(os, "O_BINARY", 0)

Record = dict[str, object]


class UnreadableJournal(Exception):
    """Not a journal, or of a newer schema. The file was not touched."""


@dataclass(frozen=True, slots=True)
class Reading:
    """What a journal holds: the first line, then the records in order.

    `broken_lines` are the numbers of lines that could not be read. `torn` is the
    file that a torn last line was put aside to; None where there was none to put aside.
    """

    header: Record
    records: tuple[Record, ...]
    broken_lines: tuple[int, ...] = ()
    torn: Path | None = None


class FileJournal:
    """Meets `ports.Journal`. Make one with `begin` or `resume`.

    A record with an event is forced to the disk before `write` returns. Any other
    record is handed to the system only: actions follow from the events before
    them, and the next event forces them too.
    """

    def __init__(
        self, handle: int, now: Callable[[], datetime], sync: Callable[[int], None], size: int
    ) -> None:
        self._handle: int | None = handle
        self._now = now
        self._sync = sync
        self._whole = size  # bytes that are whole lines
        self._half = False  # half a line stands at the end

    @classmethod
    def begin(
        cls,
        path: Path,
        now: Callable[[], datetime],
        about: Mapping[str, object] | None = None,
        sync: Callable[[int], None] = os.fsync,
    ) -> FileJournal:
        """A new journal at `path`, mode 0600; `about` goes into its first line.

        `now` gives the wall clock's time with its offset; `sync` forces a file
        descriptor to the disk (a rehearsal may hand in one that does nothing).
        Raises FileExistsError rather than write over a journal, and OSError.
        """
        _make_folder(path.parent)
        handle = os.open(path, os.O_WRONLY | os.O_CREAT | os.O_EXCL | os.O_APPEND | _BINARY, 0o600)
        journal = cls(handle, now, sync, 0)
        try:
            journal._put({"journal": KIND, "schema": SCHEMA, "at": rfc3339.written(now()), **(about or {})})
            sync(handle)
        except BaseException:
            journal.close()
            raise
        _sync_folder(path.parent, sync)
        return journal

    @classmethod
    def resume(
        cls, path: Path, now: Callable[[], datetime], sync: Callable[[int], None] = os.fsync
    ) -> tuple[FileJournal, Reading]:
        """Go on with the journal at `path`, and what it holds. Raises UnreadableJournal and OSError."""
        reading = read(path)
        handle = os.open(path, os.O_WRONLY | os.O_APPEND | _BINARY)
        journal = cls(handle, now, sync, os.fstat(handle).st_size)
        if not path.read_bytes().endswith(b"\n"):  # whole but for its end, or it could not be put aside
            journal._half = True
        return journal, reading

    def write(self, record: dict[str, object]) -> None:
        """Append `record` and the time, unless it has one. Raises OSError when the disk will not take it.

        No half line stays.
        """
        self._put(record if "at" in record else {**record, "at": rfc3339.written(self._now())})
        if "event" in record:
            self._sync(self._open())

    def close(self) -> None:
        """Force everything to the disk and let go. A second time does nothing. Raises OSError."""
        if self._handle is None:
            return
        handle, self._handle = self._handle, None
        try:
            self._sync(handle)
        finally:
            os.close(handle)

    def _open(self) -> int:
        if self._handle is None:
            raise OSError("the journal is closed")
        return self._handle

    def _put(self, record: Record) -> None:
        """One whole line or nothing."""
        handle = self._open()
        text = json.dumps(record, ensure_ascii=False, allow_nan=False, separators=(",", ":"))
        line = text.encode("utf-8", "replace") + b"\n"  # half a surrogate pair is no text and becomes "?"
        if self._half:
            line = b"\n" + line
        done = 0
        try:
            while done < len(line):
                done += os.write(handle, line[done:])
        except OSError:
            self._half = self._half or done > 0
            self._take_back()
            raise
        self._half = False
        self._whole = os.fstat(handle).st_size

    def _take_back(self) -> None:
        """Cut off half a line. Where even that fails, the next line ends it, and only this one is broken."""
        if self._half:
            with contextlib.suppress(OSError):
                os.ftruncate(self._open(), self._whole)
                self._half = False


def read(path: Path, *, put_aside: bool = True) -> Reading:
    """What the journal at `path` holds.

    A last line that was torn (power lost while it was written) is moved to
    `<name>.torn` beside it, unless `put_aside` is False (somebody else may be
    writing) or the folder does not allow it. Broken lines elsewhere stay where
    they are. Raises UnreadableJournal, with the file untouched, and OSError.
    """
    raw = path.read_bytes()
    *whole, tail = raw.split(b"\n")
    lines = [_parsed(line) for line in whole]
    header = lines[0] if lines else None
    if header is None or header.get("journal") != KIND:
        raise UnreadableJournal(
            f"{path} is not a journal of combside, or was cut off before its first line ended"
        )
    schema = header.get("schema")
    if not isinstance(schema, int) or isinstance(schema, bool) or schema < 1:
        raise UnreadableJournal(f"{path} does not say which schema it has")
    if schema > SCHEMA:
        raise UnreadableJournal(
            f"{path} was written by a newer combside (schema {schema}, known here: {SCHEMA})"
        )
    records = [line for line in lines[1:] if line is not None]
    broken = [number for number, line in enumerate(lines, 1) if line is None]
    torn = None
    if tail:
        last = _parsed(tail)
        if last is not None:  # only its line break is missing: no beginning of a JSON object is one itself
            records.append(last)
        else:
            broken.append(len(lines) + 1)
            if put_aside:
                torn = _put_aside(path, tail, len(raw) - len(tail))
    return Reading(header, tuple(records), tuple(broken), torn)


def _parsed(line: bytes) -> Record | None:
    try:
        # bytes that are not UTF-8 raise a ValueError, too; no number here was ever written without an end
        value = json.loads(line, parse_constant=_finite, parse_float=_finite)
    except (ValueError, RecursionError):
        return None
    return value if isinstance(value, dict) else None


def _finite(text: str) -> float:
    number = float(text)
    if not math.isfinite(number):
        raise ValueError(f"{text} is no number that was written here")
    return number


def _put_aside(path: Path, tail: bytes, whole: int) -> Path | None:
    """Keep `tail` beside the journal, then cut it off; nothing is cut before it is kept."""
    side = path.with_name(path.name + ".torn")
    try:
        handle = os.open(side, os.O_WRONLY | os.O_CREAT | os.O_APPEND | _BINARY, 0o600)
        try:
            os.write(handle, tail + b"\n")
            os.fsync(handle)
        finally:
            os.close(handle)
        os.truncate(path, whole)
    except OSError:
        return None
    return side


def _make_folder(folder: Path) -> None:
    missing = [f for f in (folder, *folder.parents) if not f.exists()]
    for new in reversed(missing):
        new.mkdir(mode=0o700, exist_ok=True)


def _sync_folder(folder: Path, sync: Callable[[int], None]) -> None:
    """The new file's name on disk. Some systems cannot open a folder; there their own care must do."""
    with contextlib.suppress(OSError):
        handle = os.open(folder, os.O_RDONLY)
        try:
            sync(handle)
        finally:
            os.close(handle)
