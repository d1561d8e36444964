"""From a session to its diary entry: the events are replayed, and what matters later is picked up on the way.

Pure; called by the app when a run has ended, or from a journal afterwards.
Replaying gives the same states as the run itself had, so nothing needs to be
collected while cream is on.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import replace
from datetime import datetime, timedelta
from typing import Literal

from assistant.core.actions import Action, Say
from assistant.core.diary import Incident, RinseCall, RunRecord, ZoneExposure, ZonePace
from assistant.core.events import Event
from assistant.core.forecast import task
from assistant.core.program import Program
from assistant.core.routine import Cover
from assistant.core.session import HARM, Call, Cream, Stance, State, advance

WHAT = {
    "it_burns": "skin or scalp burns",
    "in_my_eye": "cream in an eye",
    "swallowed_some": "some was swallowed",
    "cannot_breathe": "trouble breathing",
    "cream_on_skin": "cream on skin",
    "strand_bad": "the test strand was harmed",
}
WHERE = {
    "in_my_eye": "an eye",
    "swallowed_some": "the mouth",
    "cannot_breathe": "breathing",
    "cream_on_skin": "skin beside the hair",
    "strand_bad": "one strand",
}
OUTCOMES: dict[str, Literal["finished", "stopped"]] = {"finished": "finished", "stopped": "stopped"}


def from_session(
    program: Program,
    events: Iterable[Event],
    *,
    id: str,
    kind: Literal["run", "practice", "strand test"],
    started: datetime,
    journal: str = "",
) -> RunRecord:
    """The diary entry of a run. `started` is the wall time, with its offset, of 0 s on the run clock.

    A run whose last event did not close it is "broken off".
    """
    seen = _Seen(program, started)
    state = State()
    for event in events:
        before = state
        state, actions = advance(program, state, event)
        seen.step(before, state, actions)
    began = state.ledger.began
    zero = began or 0.0

    def since(t: float | None) -> float | None:
        return None if t is None else round(t - zero, 3)

    def some(t: float) -> float:
        return round(t - zero, 3)

    zones = [
        ZoneExposure(
            zone=z.zone,
            first_s=some(z.first),
            last_s=some(z.last),
            wet_s=since(z.wet),
            clear_s=since(z.clear),
        )
        for z in state.ledger.zones
    ]
    calls = [
        RinseCall(
            cause=call.cause,
            due_s=since(due),
            sounded_s=some(call.since),
            acknowledged_s=since(call.acknowledged),
            clear_s=since(call.clear),
            withdrawn=call.since in seen.withdrawn,
        )
        for call, due in seen.calls.values()
    ]
    after = program.book.fill(
        program.routine.aftercare, (), program.slots(state.limit.seconds), with_helper=False
    )
    limit = state.limit if state.limit.seconds > 0 else program.limit
    return RunRecord(
        id=id,
        kind=kind,
        outcome=OUTCOMES.get(state.outcome, "broken off"),
        started=started,
        person=program.household.person,
        helper=program.household.helper,
        routine=program.routine.name,
        kit=program.kit.name,
        product_class=program.kit.product_class,
        hair=program.hair,
        limit_s=limit.seconds,
        limit_reason=limit.reason.words,
        limit_means=program.kit.limit_means,
        began_s=began,
        zones=tuple(zones),
        calls=tuple(calls),
        incidents=tuple(seen.incidents),
        pace=tuple(seen.pace),
        aftercare=tuple(sentence.text for sentence in after),
        journal=journal,
    )


class _Seen:
    """What was picked up so far. Lives for one call of `from_session`."""

    def __init__(self, program: Program, started: datetime) -> None:
        self.program = program
        self.started = started
        self.calls: dict[float, tuple[Call, float | None]] = {}
        self.withdrawn: set[float] = set()
        self.incidents: list[Incident] = []
        self.pace: list[ZonePace] = []
        self._at_hand: tuple[int, str, float | None] | None = None
        self._open: dict[str, int] = {}

    def step(self, before: State, after: State, actions: tuple[Action, ...]) -> None:
        self._call(before, after)
        self._harm(before, after, actions)
        self._work(before, after)

    def _call(self, before: State, after: State) -> None:
        call = after.call
        if call is not None:
            kept = self.calls.get(call.since)
            due = kept[1] if kept is not None else after.due if after.cream is Cream.HEAD else None
            first = call.cause if kept is None else kept[0].cause  # why it sounded, not what came on top
            self.calls[call.since] = (replace(call, before=None, cause=first), due)
        elif before.call is not None and after.cream is Cream.HEAD:
            self.withdrawn.add(before.call.since)
        elif before.call is not None and before.call.since in self.calls:
            kept_call, due = self.calls[before.call.since]
            if kept_call.clear is None:  # it ran clear and the call was over in the same breath
                self.calls[before.call.since] = (replace(kept_call, clear=after.t), due)

    def _harm(self, before: State, after: State, actions: tuple[Action, ...]) -> None:
        said = [a for a in actions if isinstance(a, Say)]
        names = {a.name for a in said}
        causes = [
            n.removeprefix("care.")
            for n in names
            if n.startswith("care.") and n.removeprefix("care.") in HARM
        ]
        call, was = after.call, before.call
        if call is not None and call.cause in HARM and (was is None or was.cause != call.cause):
            causes.append(call.cause)
        if _wiping(after) and not _wiping(before):
            causes.append("cream_on_skin")
        if "strand.bad" in names:
            causes.append("strand_bad")
        for cause in causes:
            aid = tuple(
                s.text
                for a in said
                if a.name.startswith(("call", "care", "wipe", "strand.bad"))
                for s in a.sentences
            )
            self._open[cause] = len(self.incidents)
            self.incidents.append(
                Incident(
                    what=WHAT[cause],
                    where=WHERE.get(cause) or _near(before),
                    at=self.started + timedelta(seconds=after.t),
                    cream_s=None if after.ledger.began is None else round(after.t - after.ledger.began, 3),
                    first_aid=aid,
                )
            )
        if call is not None and call.acknowledged is not None and (was is None or was.acknowledged is None):
            self._ends(HARM, after.t, "water_s")
        if _wiping(before) and not _wiping(after):
            self._ends(("cream_on_skin",), after.t, "over_s")
        left_care = before.stance is Stance.CARE and after.stance is not Stance.CARE
        if left_care or (was is not None and was.clear is not None and call is None):
            self._ends(HARM, after.t, "over_s")

    def _ends(self, causes: Iterable[str], t: float, field: str) -> None:
        for cause in causes:
            index = self._open.get(cause)
            if index is None:
                continue
            incident = self.incidents[index]
            after_s = (self.started + timedelta(seconds=t) - incident.at).total_seconds()
            self.incidents[index] = incident.model_copy(update={field: round(after_s, 3)})
            if field == "over_s":
                del self._open[cause]

    def _work(self, before: State, after: State) -> None:
        """Zones as they are worked on: from when one comes to hand until it is reported done."""
        if self._at_hand is not None:
            step, zone, since = self._at_hand
            if after.call is not None and after.call.cause != "planned":
                since = None  # what comes after a call is no work, even when the step ends as if it were
                self._at_hand = (step, zone, since)
            still = after.step == step and after.todo[:1] == (zone,)
            if not still:
                reported = after.step == step and zone not in (*after.todo, *after.left_out)
                was_last = before.todo == (zone,) and after.step > step
                if (reported or was_last) and since is not None:
                    self._timed(step, zone, after.t - since)
                self._at_hand = None
        working = after.stance in (Stance.COVERING, Stance.SMOOTHING) and after.todo
        if self._at_hand is None and working:
            self._at_hand = (after.step, after.todo[0], after.t)

    def _timed(self, step: int, zone: str, seconds: float) -> None:
        at = self.program.steps[step]
        part = at.part if isinstance(at, Cover) else "smooth"
        guess = task(self.program, zone, part)
        self.pace.append(
            ZonePace(
                zone=zone,
                part=part,
                seconds=round(seconds, 3),
                partings=guess.partings,
                expected_s=guess.seconds,
            )
        )


def _wiping(state: State) -> bool:
    return any(aside.kind == "wipe" for aside in state.asides)


def _near(state: State) -> str:
    """A burn is reported without its place; the zone at hand is where to look first."""
    if state.cream is not Cream.HEAD:
        return "not told"
    return (
        f"not told; {state.todo[0]} was being worked on"
        if state.todo
        else "not told; the whole head had cream"
    )
