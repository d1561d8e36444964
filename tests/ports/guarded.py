"""A main program for test_guard: `python -m tests.ports.guarded CALLS NOTE RUN SECONDS`.

It has its guard proven and armed, says so, and then beats until it is killed.
"""

from __future__ import annotations

import sys
import time
from pathlib import Path

from assistant.clocks import BootClock, RunClock
from assistant.guard.process import GuardProcess


def main() -> None:
    calls, note, run, seconds = sys.argv[1:]
    clock = RunClock(BootClock().now)
    guard = GuardProcess(Path(calls), Path(note), run, clock.now, device="pulse")
    guard.prove()
    due = clock.now() + float(seconds)
    guard.arm(due, clock.now() - 9 * 60.0)
    while not guard.stands:
        guard.beat("")
    print(guard.pid, BootClock().now() + due - clock.now(), flush=True)
    while True:
        guard.beat("")
        time.sleep(0.05)  # a real turn; this process is killed, not waited for


if __name__ == "__main__":
    main()
