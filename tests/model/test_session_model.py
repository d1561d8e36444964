"""The session under anything that can happen, beside a model of ten lines; a failure comes out as its shortest way.

The model knows where the cream must be and when the call is due, from the
events alone. Every claim of the simulation is held after each event as well.
"""

from __future__ import annotations

import math

from hypothesis import HealthCheck, settings
from hypothesis import strategies as st
from hypothesis.stateful import RuleBasedStateMachine, initialize, invariant, precondition, rule

from assistant.core.asks import ASKS
from assistant.core.events import (
    Begun,
    DeviceBack,
    DeviceLost,
    Doubted,
    Event,
    Heard,
    Noticed,
    Pressed,
    Resumed,
    Ticked,
)
from assistant.core.kit_sheet import LimitMeans
from assistant.core.session import Cream, Stance, State, advance, live_names
from assistant.journal.record import event_of, of_event
from tests.programs import ROUTINES, program
from tests.simulate.claims import Breach, Watch

DEVICES = ("microphone", "recogniser", "speaker", "voice", "journal", "guard")
SECONDS = st.floats(0, 30) | st.floats(0, 1500)


class Run(RuleBasedStateMachine):
    """One run, driven by chance."""

    def __init__(self) -> None:
        super().__init__()
        self.state = State()
        self.events: list[Event] = []
        self.breaches: list[Breach] = []
        self.cream_since = math.inf
        self.water_said = False

    @initialize(
        name=st.sampled_from(ROUTINES), means=st.sampled_from(list(LimitMeans)), skip=st.integers(0, 60)
    )
    def begin(self, name: str, means: LimitMeans, skip: int) -> None:
        """Some willing answers first, so that what comes happens anywhere on the way."""
        self.program = program(name, limit_means=means)
        self.watch = Watch(self.program)
        self.happen(Begun(0.0))
        for _ in range(skip):
            self.answer(5.0)

    def happen(self, event: Event) -> None:
        before = self.state
        self.state, actions = advance(self.program, before, event)
        self.events.append(event)
        self.breaches += self.watch.look(before, event, actions, self.state)
        if self.state.cream is Cream.HEAD:
            self.cream_since = min(self.cream_since, event.t)
        if self.state.stance is Stance.RINSING:
            self.water_said = True
        if self.state.stance not in (Stance.RINSING, Stance.RINSE_CALL) and self.state.cream is Cream.HEAD:
            self.water_said = False

    def open(self) -> bool:
        return bool(self.events) and self.state.stance is not Stance.CLOSED

    @rule(after=SECONDS)
    def answer(self, after: float) -> None:
        """The answer that is wanted, or time where nothing is asked."""
        state = self.state
        question = state.asides[-1].question if state.asides else state.question
        t = state.t + after
        if question is None or not ASKS[question.asks]:
            self.happen(Ticked(max(t, state.timers[0][0]) if state.timers else t))
            return
        name, slot = ASKS[question.asks][0], ""
        kind = self.program.book.heard[name].slot()
        if kind == "zone":
            slot = state.todo[0] if state.todo else self.program.zones[0]
        elif kind == "minutes":
            slot = str(int(state.limit.seconds // 60))
        self.happen(Heard(t, name, slot))

    @precondition(open)
    @rule(after=SECONDS, data=st.data(), doubtful=st.booleans())
    def say(self, after: float, data: st.DataObject, doubtful: bool) -> None:
        """Any phrase that is live, believed or doubted."""
        names = live_names(self.program, self.state)
        name = data.draw(st.sampled_from(names))
        kind = self.program.book.heard[name].slot()
        slot = ""
        if kind == "zone":
            slot = data.draw(st.sampled_from(self.program.zones))
        elif kind == "minutes":
            slot = str(data.draw(st.integers(1, 40)))
        made = Doubted if doubtful else Heard
        self.happen(made(self.state.t + after, name, slot))

    @precondition(open)
    @rule(after=SECONDS, key=st.sampled_from(("yes", "no", "again", "stop")))
    def press(self, after: float, key: str) -> None:
        self.happen(Pressed(self.state.t + after, key))

    @precondition(open)
    @rule(after=SECONDS, what=st.sampled_from(("pass", "talk", "start", "sleep")))
    def let_pass(self, after: float, what: str) -> None:
        t = self.state.t + after
        events: dict[str, Event] = {
            "pass": Ticked(t), "talk": Noticed(t), "start": Resumed(t), "sleep": Resumed(t, "sleep"),
        }  # fmt: skip
        self.happen(events[what])

    @precondition(open)
    @rule(device=st.sampled_from(DEVICES), lost=st.booleans())
    def fail(self, device: str, lost: bool) -> None:
        self.happen((DeviceLost if lost else DeviceBack)(self.state.t, device))

    @invariant()
    def every_claim_holds(self) -> None:
        assert self.breaches == []

    @invariant()
    def the_call_comes_by_the_limit(self) -> None:
        """Whatever happened: past the limit counted from the first cream, water is called for or runs."""
        if self.state.cream is Cream.HEAD and self.state.t >= self.cream_since + self.program.limit.seconds:
            assert self.state.stance in (Stance.RINSE_CALL, Stance.RINSING)

    @invariant()
    def only_water_makes_it_rinsed(self) -> None:
        if self.state.cream is Cream.RINSED:
            assert self.water_said

    def teardown(self) -> None:
        """9: what the journal holds gives the same state."""
        state = State()
        for event in self.events:
            state, _ = advance(self.program, state, event_of(of_event(event)))
        assert state == self.state


TestRun = Run.TestCase
TestRun.settings = settings(
    max_examples=25, stateful_step_count=40, deadline=None, derandomize=True,
    suppress_health_check=list(HealthCheck),
)  # fmt: skip
