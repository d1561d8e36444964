"""One simulated household's history and its day, in plain Python: nothing here is shared with the forecast.

Only the definitions are (what a parting weighs, whose limit runs when). A
household of the model has the model's mixture of small mishaps; a household from
outside it has one mishap in full in their place. "Worse" households have the
mishap in full on top of the model's mixture: a test of how much is lost, no claim.
"""

from __future__ import annotations

import math
import random
from collections.abc import Sequence
from dataclasses import dataclass

from assistant.core import pace
from assistant.core.exposure import Ledger
from assistant.core.forecast import GUESS, Task
from assistant.core.kit_sheet import LimitMeans
from assistant.core.pace import Belief, ZoneTime
from assistant.core.program import Program

MODEL = "model"
OUTSIDE = ("fatigue", "interruptions", "a slow zone", "a helper who leaves")
"""Four ways of being outside the model: 40 % slower at the end; called away three times as often and for half
as long again; one zone that takes twice as long; from some point on only the person's own hands."""
WORSE = tuple(f"worse: {kind}" for kind in OUTSIDE)


@dataclass(frozen=True, slots=True)
class Day:
    """How the day went: when the work ended, when the rinse was called, and the zones that went over."""

    done: float
    call: float
    over: tuple[str, ...]

    @property
    def within(self) -> bool:
        return self.done <= self.call and not self.over


def hands(chance: random.Random) -> float:
    """A household's true long-run log factor, from the first guess."""
    return chance.gauss(0.0, Belief().sd)


def history(tasks: Sequence[Task], true: float, runs: int, chance: random.Random) -> list[ZoneTime]:
    """Finished runs of the past two years."""
    times = []
    for _ in range(runs):
        age = round(chance.uniform(20, 700))
        day = chance.gauss(true, pace.DAY_SD)
        times += [
            ZoneTime(t.zone, seconds, t.partings, t.seconds, age)
            for t, seconds in zip(tasks, worked(tasks, day, MODEL, chance), strict=True)
            if t.part != "smooth"
        ]
    return times


def worked(tasks: Sequence[Task], log_factor: float, kind: str, chance: random.Random) -> list[float]:
    """How long each task really takes: its scatter, and the mishaps of this kind of household."""
    zones = list(dict.fromkeys(t.zone for t in tasks))
    calls, call_s, tired, leaves = 0.0, GUESS.interruption_s, 0.0, 2.0
    slower = dict.fromkeys(zones, 1.0)
    if kind not in OUTSIDE:
        calls, tired = GUESS.interruptions_a_minute, chance.uniform(0, GUESS.tired)
        slower = {zone: GUESS.slow_factor if chance.random() < GUESS.slow_chance else 1.0 for zone in zones}
    kind = kind.removeprefix("worse: ")
    if kind == "interruptions":
        calls, call_s = 3 * GUESS.interruptions_a_minute, 1.5 * call_s
    elif kind == "a slow zone":
        slower[chance.choice(zones)] *= 2.0
    elif kind == "a helper who leaves":
        leaves = chance.uniform(0.3, 1.0)
    elif kind == "fatigue":
        tired = 0.4
    usual = (1 + GUESS.tired / 4) * (1 + GUESS.interruptions_a_minute * GUESS.interruption_s / 60)
    usual *= GUESS.slow_factor**GUESS.slow_chance
    found = []
    for n, task in enumerate(tasks):
        share = n / (len(tasks) - 1)
        sd = math.sqrt(pace.ZONE_SD**2 + pace.PARTING_SD**2 / task.partings)
        seconds = task.seconds / usual * math.exp(log_factor + chance.gauss(0.0, sd))
        seconds *= slower[task.zone] * (1 + tired * share) * (pace.ALONE if share >= leaves else 1.0)
        found.append(seconds + called_away(seconds, calls, call_s, chance))
    return found


def called_away(seconds: float, calls_a_minute: float, call_s: float, chance: random.Random) -> float:
    """Any number of interruptions during so much work."""
    if calls_a_minute <= 0:
        return 0.0
    lost, left = 0.0, seconds - chance.expovariate(calls_a_minute / 60)
    while left > 0:
        lost += chance.expovariate(1 / call_s)
        left -= chance.expovariate(calls_a_minute / 60)
    return lost


def live(program: Program, tasks: Sequence[Task], true: float, kind: str, chance: random.Random) -> Day:
    """One day, from the first cream to the last zone under water. They rinse when they are called."""
    day = chance.gauss(true, pace.DAY_SD)
    ledger, t = Ledger(), 0.0
    for task, seconds in zip(tasks, worked(tasks, day, kind, chance), strict=True):
        if task.part != "smooth":
            ledger = ledger.touch(task.zone, t)
        t += seconds
    return rinsed(program, ledger, t, chance)


def rinsed(program: Program, ledger: Ledger, done: float, chance: random.Random) -> Day:
    """The call, the walk, and water zone by zone in the program's own order."""
    limit, means, water = program.limit.seconds, program.kit.limit_means, program.household.water
    call, plan = program.call_due(ledger, (), limit), program.rinse_plan(ledger, (), limit)
    assert call is not None
    assert plan is not None
    t = call + GUESS.reaction_s * math.exp(chance.gauss(0, GUESS.reaction_sd))
    t += water.walk_seconds * math.exp(chance.gauss(0, GUESS.walk_sd))
    clear = means is LimitMeans.UNTIL_CLEAR
    each = water.wetting_seconds_a_zone + (water.clearing_seconds_a_zone if clear else 0.0)
    over = []
    for zone in plan.order:
        due, takes = ledger.due(zone, limit, means), each * math.exp(chance.gauss(0, GUESS.wetting_sd))
        assert due is not None
        if t + (takes if clear else 0.0) > due:
            over.append(zone)
        t += takes
    return Day(done, call, tuple(over))
