"""The system's clocks as the loop needs them.

Within one boot the clock that counts sleep decides alone. Across a reboot
`elapsed_across_reboot` takes the larger of what the clocks say. Whoever wants a
time is handed one of these; nothing else in the package reads a clock.
"""

from __future__ import annotations

import time
from collections.abc import Callable
from dataclasses import dataclass
from datetime import datetime
from pathlib import Path

BOOT_ID = Path("/proc/sys/kernel/random/boot_id")


class BootClock:
    """Seconds since some moment at or before this boot, never backwards, whatever the wall clock does.

    `name` says which clock it is; `counts_sleep` whether time asleep is known to count.
    """

    def __init__(self) -> None:
        boottime = getattr(time, "CLOCK_BOOTTIME", None)  # Linux
        self.counts_sleep = boottime is not None
        if boottime is not None:
            self.name = "CLOCK_BOOTTIME"
            self._read: Callable[[], float] = lambda: time.clock_gettime(boottime)
        else:
            self.name = f"monotonic ({time.get_clock_info('monotonic').implementation})"
            self._read = time.monotonic

    def now(self) -> float:
        return self._read()


class RunClock:
    """Meets `ports.Clock`: 0 at the start of the run, or what had elapsed when a run is resumed."""

    def __init__(self, source: Callable[[], float], elapsed: float = 0.0) -> None:
        self._source = source
        self._zero = source() - elapsed
        self._latest = elapsed

    def now(self) -> float:
        """Seconds; a source that steps back makes it stand, never go back."""
        self._latest = max(self._latest, self._source() - self._zero)
        return self._latest


@dataclass(frozen=True, slots=True)
class Stamp:
    """One moment on every clock: wall clock (with offset), boot and its clock, run clock.

    `boot_id` is None where the system has none.
    """

    wall: datetime
    boot_id: str | None
    boot_s: float
    run_s: float


def elapsed_across_reboot(last: Stamp, wall: datetime, boot_id: str | None, boot_s: float) -> float:
    """What the run clock would say now, `last` being the last moment that was recorded, in seconds.

    In the same boot: what the boot clock counted since then, and nothing else. In
    another boot, or where that cannot be told: the larger of the wall clock's time
    and the recorded one; never less than was recorded.
    """
    if boot_id is not None and boot_id == last.boot_id:
        return last.run_s + max(0.0, boot_s - last.boot_s)
    by_wall = last.run_s + (wall - last.wall).total_seconds()
    since_boot = boot_s if None not in (boot_id, last.boot_id) else 0.0  # no battery behind the wall clock
    return max(by_wall, last.run_s + since_boot)


def boot_id(file: Path = BOOT_ID) -> str | None:
    """This boot's name, None where there is none to be read."""
    try:
        return file.read_text("ascii").strip() or None
    except (OSError, ValueError):
        return None


def wall_now() -> datetime:
    """The wall clock's time with this place's offset, for the journal only."""
    return datetime.now().astimezone()
