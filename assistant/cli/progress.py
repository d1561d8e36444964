"""Progress of anything that takes over a second, on standard error, so that results can be piped.

On a terminal a bar or a spinner that goes away again; in a pipe plain lines, few of
them. The library that draws honours NO_COLOR and terminals that can not redraw.
"""

from __future__ import annotations

import sys
import time
from types import TracebackType

from rich.console import Console
from rich.progress import BarColumn, MofNCompleteColumn, SpinnerColumn, TextColumn, TimeRemainingColumn
from rich.progress import Progress as Bar

from assistant.screens.none import NoScreen

PIPED_EVERY_S = 5.0
"""In a pipe or a log a line at most this often."""


class Progress:
    """Call it with (done, of); as a context manager it also shows `first` until then (on a terminal), and clears up.

    `what` and `first` say what is being done: "making prompts".
    """

    def __init__(self, what: str, *, first: str = "") -> None:
        self._what = what
        self._first = first
        self._last = 0.0
        self._bar: Bar | None = None

    def __enter__(self) -> Progress:
        if self._first and sys.stderr.isatty():
            self._show(self._first, 0, None)
        return self

    def __exit__(
        self, kind: type[BaseException] | None, error: BaseException | None, trace: TracebackType | None
    ) -> None:
        self.close()

    def __call__(self, done: int, of: int) -> None:
        self._show(self._what, done, of)
        if done >= of:
            self.close()

    def words(self, words: str) -> None:
        """What is being done now, where nobody knows how much is left."""
        self._show(words, 0, None)

    def close(self) -> None:
        """Take the bar away. A second time does nothing."""
        if self._bar is not None:
            self._bar.stop()
            self._bar = None

    def _show(self, words: str, done: int, of: int | None) -> None:
        if not sys.stderr.isatty():
            self._print(words, done, of)
            return
        if self._bar is None:
            columns = (SpinnerColumn("line"), TextColumn("{task.description}"))
            more = () if of is None else (BarColumn(), MofNCompleteColumn(), TimeRemainingColumn())
            console = Console(stderr=True)
            self._bar = Bar(*columns, *more, console=console, transient=True, refresh_per_second=5)
            self._bar.add_task(f"combside: {words}", total=of)
            self._bar.start()
        elif (of is None) is not (self._bar.tasks[0].total is None):
            self.close()  # from a spinner to a bar
            self._show(words, done, of)
            return
        self._bar.update(self._bar.task_ids[0], description=f"combside: {words}", completed=done)

    def _print(self, words: str, done: int, of: int | None) -> None:
        now = time.monotonic()
        if self._last and now - self._last < PIPED_EVERY_S and (of is None or done < of):
            return
        self._last = now
        more = "" if of is None else f": {done} of {of}"
        print(f"combside: {words}{more}", file=sys.stderr, flush=True)


class WalkProgress(NoScreen):
    """Shows nothing of a rehearsal but how far it is. Meets `ports.Screen`."""

    def __init__(self, progress: Progress) -> None:
        self._progress = progress
        self._minute = -1

    def clock(self, t: float, cream_on_s: float | None, due_in_s: float | None, where: str) -> None:
        """Once a minute of the rehearsal's own time."""
        if int(t // 60) != self._minute:
            self._minute = int(t // 60)
            self._progress.words(f"rehearsing: minute {self._minute}, {where}")

    def __exit__(
        self, kind: type[BaseException] | None, error: BaseException | None, trace: TracebackType | None
    ) -> None:
        self._progress.close()
