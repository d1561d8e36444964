"""Every socket that Python opens, connects or looks a name up for, written down as it happens."""

from __future__ import annotations

import socket
import sys
from pathlib import Path

LOCAL = (socket.AF_UNIX,)
LOOPBACK = ("127.", "::1", "localhost")


def watch(into: Path) -> None:
    """Append a line for each socket event of this process to `into`. An audit hook can not be taken off again."""

    def seen(event: str, details: tuple[object, ...]) -> None:
        if event.startswith("socket.") and event not in ("socket.gethostname",):
            with into.open("a") as file:
                file.write(f"{event} {' '.join(map(repr, details[1:]))}\n")

    into.touch()
    sys.addaudithook(seen)


def outside(seen: Path) -> list[str]:
    """Lines of `seen` that are neither a socket within the machine nor its making."""
    found = []
    for line in seen.read_text().splitlines():
        event, _, details = line.partition(" ")
        if event == "socket.__new__" or any(name in details for name in LOOPBACK):
            continue
        if event in ("socket.connect", "socket.bind") and details.startswith(("'/", "b'/")):
            continue  # a file's name: a socket within the machine
        found.append(line)
    return found
