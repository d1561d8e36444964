"""A household without sound: it answers the session's questions as values, in virtual time."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, field

from assistant.core.actions import Action, Say
from assistant.core.asks import ASKS
from assistant.core.events import Begun, Event, Heard, Ticked
from assistant.core.program import Program
from assistant.core.session import Question, Stance, State, advance

SECONDS = {
    "confirm": 8.0,
    "cover": 60.0,
    "smooth_zone": 15.0,
    "let_work": 60.0,
    "water": 25.0,
    "clear": 200.0,
    "flush": 1300.0,
}


STRAND_S = 18 * 60.0
"""How long this household's strand takes: longer than three checks, shorter than the chart."""


@dataclass
class Walk:
    """One run: its state, everything that happened, everything that was ordered."""

    program: Program
    state: State = field(default_factory=State)
    events: list[Event] = field(default_factory=list)
    actions: list[tuple[float, Action]] = field(default_factory=list)
    seconds: dict[str, float] = field(default_factory=lambda: dict(SECONDS))
    t: float = 0.0
    _work: tuple[int, str] = (-1, "")
    _since: float = 0.0

    def happen(self, event: Event) -> tuple[Action, ...]:
        self.state, actions = advance(self.program, self.state, event)
        self.t = event.t
        self.events.append(event)
        self.actions += [(event.t, action) for action in actions]
        return actions

    def hear(self, name: str, slot: str = "", after: float = 1.0) -> tuple[Action, ...]:
        return self.happen(Heard(self.t + after, name, slot))

    def said(self) -> list[str]:
        """Names of everything spoken so far."""
        return [action.name for _, action in self.actions if isinstance(action, Say)]

    def question(self) -> Question | None:
        return self.state.asides[-1].question if self.state.asides else self.state.question

    def reply(self, question: Question) -> tuple[str, str]:
        """The phrase and the slot a willing household answers with."""
        name, slot = ASKS[question.asks][0], ""
        if question.asks in ("cover", "smooth_zone"):
            slot = self.state.todo[0]
        elif question.asks == "strand" and self.t - (self.state.strand_since or 0.0) < STRAND_S:
            name = "strand_not_yet"
        elif question.asks == "both" and "person_ready" in self.state.answered:
            name = "helper_ready"
        elif question.asks == "read_back":
            slot = str(int(self.state.limit.seconds // 60))
        return name, slot

    def since(self, question: Question) -> float:
        """Since when this is worked on: a burn check in between does not begin a zone anew."""
        if question.asks not in ("cover", "smooth_zone"):
            return self.t
        work = (self.state.step, self.state.todo[0])
        if self._work != work:
            self._work, self._since = work, self.t
        return self._since

    def go(self, until: Callable[[State], bool], most: int = 2000) -> Walk:
        """Answer and let time pass until `until` holds. Fails when it never does."""
        if not self.events:
            self.happen(Begun(0.0))
        for _ in range(most):
            if until(self.state):
                return self
            question = self.question()
            if question is None:
                self.happen(Ticked(max(self.t, self.state.timers[0][0])))
                continue
            at = self.since(question) + self.seconds.get(question.asks, 4.0)
            while self.state.timers and self.state.timers[0][0] < at:
                self.happen(Ticked(max(self.t, self.state.timers[0][0])))
                now = self.question()
                if until(self.state) or now is None or now.asks != question.asks:
                    break
            else:
                name, slot = self.reply(question)
                self.happen(Heard(max(self.t, at), name, slot))
        raise AssertionError(f"never came there; last stance {self.state.stance}")

    def to(self, stance: Stance) -> Walk:
        return self.go(lambda state: state.stance is stance)

    def to_end(self) -> Walk:
        return self.to(Stance.CLOSED)
