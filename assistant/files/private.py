"""Text that is its owner's alone: whole or not at all, mode 0600, in folders of mode 0700.

Who calls it: whatever keeps something about the household. What ships with the
package, and what a user asks to be written for others, is not written with this.
"""

from __future__ import annotations

import contextlib
import os
import tempfile
from pathlib import Path


def make_folder(folder: Path) -> None:
    """`folder` and those above it that are missing, each 0700. Those that exist stay as they are."""
    missing = [f for f in (folder, *folder.parents) if not f.exists()]
    for new in reversed(missing):
        new.mkdir(mode=0o700, exist_ok=True)


def write(path: Path, text: str) -> None:
    """Put `text` (UTF-8) at `path`; a reader sees the old file or the new one, never half. Raises OSError."""
    make_folder(path.parent)
    handle, name = tempfile.mkstemp(prefix=f".{path.name[:40]}.", dir=path.parent)  # mkstemp makes it 0600
    try:
        with os.fdopen(handle, "wb") as file:
            file.write(text.encode("utf-8"))
            file.flush()
            os.fsync(file.fileno())
        Path(name).replace(path)
    except BaseException:
        with contextlib.suppress(OSError):
            Path(name).unlink()
        raise
    _sync_folder(path.parent)


def _sync_folder(folder: Path) -> None:
    """The new name itself on disk. Some systems cannot open a folder; there the system's own care must do."""
    with contextlib.suppress(OSError):
        handle = os.open(folder, os.O_RDONLY)
        try:
            os.fsync(handle)
        finally:
            os.close(handle)
