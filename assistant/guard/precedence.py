"""Asking the system for precedence, so that a call does not wait for other work.

Where the system gives none (it often asks for a right to it), all goes on as
it is. Called by the guard and by a run, before they start a thread: a thread
takes after the one that starts it.
"""

from __future__ import annotations

import contextlib
import os

NICENESS = -10
"""Ten steps before others: as much as sound servers ask for themselves."""


def take_precedence() -> int:
    """Ask for it; the niceness there is now (0: as everybody else)."""
    if not hasattr(os, "setpriority"):
        return 0
    with contextlib.suppress(OSError):
        os.setpriority(os.PRIO_PROCESS, 0, min(NICENESS, os.getpriority(os.PRIO_PROCESS, 0)))
    return os.getpriority(os.PRIO_PROCESS, 0)
