"""Several screens that show the same. Meets `ports.Screen`."""

from __future__ import annotations

from assistant.core.actions import Say
from assistant.core.session import View
from assistant.ports import Screen


class SeveralScreens:
    """Hands everything to each of `screens`, in order. Opening and closing them is their owner's."""

    def __init__(self, *screens: Screen) -> None:
        self._screens = screens

    def said(self, t: float, prompt: Say) -> None:
        for screen in self._screens:
            screen.said(t, prompt)

    def heard(self, t: float, words: str, verdict: str) -> None:
        for screen in self._screens:
            screen.heard(t, words, verdict)

    def stands(self, t: float, view: View) -> None:
        for screen in self._screens:
            screen.stands(t, view)

    def clock(self, t: float, cream_on_s: float | None, due_in_s: float | None, where: str) -> None:
        for screen in self._screens:
            screen.clock(t, cream_on_s, due_in_s, where)
