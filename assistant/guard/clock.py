"""The guard's clock: the one that counts sleep, the same in every process of this boot."""

from __future__ import annotations

import time

_BOOTTIME = getattr(time, "CLOCK_BOOTTIME", None)  # Linux


def boot_s() -> float:
    """Seconds on CLOCK_BOOTTIME, or on the system's monotonic clock where there is none."""
    return time.monotonic() if _BOOTTIME is None else time.clock_gettime(_BOOTTIME)
