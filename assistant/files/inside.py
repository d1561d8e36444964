"""A name from a file must not lead out of that file's folder."""

from __future__ import annotations

from pathlib import Path, PureWindowsPath


class LeavesFolder(ValueError):
    """The name would lead out of its folder."""


def inside(folder: Path, name: str) -> Path:
    """`folder / name`, links followed. Raises LeavesFolder when that is not below `folder`."""
    windows = PureWindowsPath(name)
    if not name or "\0" in name or windows.drive or windows.root:
        raise LeavesFolder(f"'{name}' is not a name inside this folder")
    root = folder.resolve()
    try:
        path = (root / name).resolve()
    except (OSError, RuntimeError) as error:  # RuntimeError: links in a circle, before Python 3.13
        raise LeavesFolder(f"'{name}' leads nowhere: {error}") from None
    if root not in path.parents:
        raise LeavesFolder(f"'{name}' leads out of this folder")
    return path
