"""A screen that shows nothing: for runs that are only measured. Meets `ports.Screen`."""

from __future__ import annotations

from types import TracebackType

from assistant.core.actions import Say
from assistant.core.session import View


class NoScreen:
    """Takes everything and shows nothing."""

    def said(self, t: float, prompt: Say) -> None:
        """Not shown."""

    def heard(self, t: float, words: str, verdict: str) -> None:
        """Not shown."""

    def stands(self, t: float, view: View) -> None:
        """Not shown."""

    def clock(self, t: float, cream_on_s: float | None, due_in_s: float | None, where: str) -> None:
        """Not shown."""

    def __enter__(self) -> NoScreen:
        return self

    def __exit__(
        self, kind: type[BaseException] | None, error: BaseException | None, trace: TracebackType | None
    ) -> None:
        """Nothing to let go of."""
