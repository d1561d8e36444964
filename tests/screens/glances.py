"""What the glance screen is fed in tests: real runs as values, and its snapshots."""

from __future__ import annotations

from collections.abc import Callable
from functools import cache

from assistant.core.actions import Say
from assistant.core.events import Event
from assistant.core.session import Stance, State, view
from assistant.screens.glance.screen import GlanceScreen
from tests.programs import program
from tests.walker import Walk

ROUTINES = ("whole_head", "touch_up")


def shown(screen: GlanceScreen) -> dict[str, object]:
    """What the screen shows now."""
    newest = screen.board.newest(0, 0.0)
    assert newest is not None
    return newest[1]


class Recorder(Walk):
    """A walk that keeps a snapshot of the screen after every prompt."""

    def __init__(self, name: str) -> None:
        super().__init__(program(name))
        self.screen = GlanceScreen()
        self.snapshots: list[dict[str, object]] = []

    def happen(self, event: Event) -> tuple[object, ...]:  # type: ignore[override]
        actions = super().happen(event)
        phrase = getattr(event, "phrase", "")
        if phrase:
            self.screen.heard(
                event.t, self.program.book.taught(phrase, getattr(event, "slot", "")), "believe"
            )
        self.screen.stands(event.t, view(self.program, self.state))
        for action in actions:
            if isinstance(action, Say):
                self.screen.said(event.t, action)
                self.snapshots.append(shown(self.screen))
        return actions


@cache
def every_glance() -> tuple[dict[str, object], ...]:
    """A snapshot for every prompt of whole runs, and of runs in which somebody is hurt."""
    found: list[dict[str, object]] = []
    for name in ROUTINES:
        whole = Recorder(name)
        whole.to_end()
        found += whole.snapshots
    for harm in ("it_burns", "in_my_eye", "swallowed_some", "cannot_breathe", "cream_on_skin"):
        for until in (Stance.MIXING, Stance.COVERING):
            hurt = Recorder("whole_head")
            hurt.to(until)
            hurt.snapshots.clear()
            hurt.hear(harm)
            hurt.go(_settled(hurt))
            found += hurt.snapshots
    return tuple(found)


def _settled(walk: Walk) -> Callable[[State], bool]:
    """A minute later, whatever comes of it."""
    until = walk.t + 60.0
    return lambda state: walk.t >= until or state.stance is Stance.CLOSED
