"""What a forecast costs: one head, 7 zones, 10,000 draws; against zones and draws; against a plain loop."""

from __future__ import annotations

import math
import random
from functools import partial

from assistant.core import forecast as f
from assistant.core import pace
from assistant.core.exposure import Ledger
from assistant.core.pace import Belief
from assistant.core.plan import plan
from assistant.core.program import Program
from tests.bench.result import Curve, Result, seconds
from tests.programs import program

DRAWS = 10_000
GOAL_S = 0.2
"""One head, 7 zones, 10,000 draws."""


def measure() -> Result:
    made = program("whole_head")
    work, day = f.ahead(made), pace.today(Belief())
    ledger = Ledger().touch(made.zones[0], 0.0)

    def once(draws: int, tasks: tuple[f.Task, ...] = work) -> float:
        return f.forecast(made, ledger, tasks, 0.0, day, draws=draws).chance

    def one_chance(draws: int) -> float:
        drawn = f.draw(work, day, draws)
        return f.outcome(made, ledger, work, [True] * len(work), drawn, 0.0, made.limit.seconds).chance

    vectorised, plain = (
        seconds(lambda: one_chance(DRAWS)),
        seconds(lambda: plain_chance(made, work, day, DRAWS), 3),
    )
    by_draws = tuple(
        (float(n), seconds(partial(once, n), 5)) for n in (500, 1000, 2000, 5000, 10_000, 20_000)
    )
    by_zones = tuple(
        (float(n), seconds(partial(once, DRAWS, tuple(t for t in work if t.zone in made.zones[:n])), 5))
        for n in range(1, len(made.zones) + 1)
    )
    return Result(
        "forecast",
        {
            "head_7_zones_10000_draws_s": seconds(lambda: once(DRAWS)),
            "live_2000_draws_s": seconds(lambda: once(f.LIVE_DRAWS)),
            "one_chance_vectorised_s": vectorised,
            "one_chance_plain_loop_s": plain,
            "times_faster_than_plain_loop": plain / vectorised,
            "whole_plan_s": seconds(lambda: plan(made), 3),
        },
        {"head_7_zones_10000_draws_s": GOAL_S},
        (
            Curve("forecast_draws", "draws", "seconds", by_draws),
            Curve("forecast_zones", "zones", "seconds", by_zones),
        ),
    )


def plain_chance(made: Program, tasks: tuple[f.Task, ...], day: Belief, draws: int) -> float:
    """The same model as a loop over draws and tasks, as one would first write it."""
    chance, guess, within = random.Random(1), f.GUESS, 0
    begun = Ledger().touch(made.zones[0], 0.0)
    call = made.call_due(begun, (), made.limit.seconds)
    assert call is not None
    water = made.household.water
    for _ in range(draws):
        factor = chance.gauss(day.mean - guess.usual, day.sd)
        tired, t = guess.tired * chance.random(), 0.0
        slow = {zone for zone in made.zones if chance.random() < guess.slow_chance}
        for n, task in enumerate(tasks):
            seconds_ = task.seconds * math.exp(
                factor + chance.gauss(0, math.sqrt(pace.scatter_variance(task.partings)))
            )
            seconds_ *= (guess.slow_factor if task.zone in slow else 1.0) * (1 + tired * n / (len(tasks) - 1))
            if chance.random() < 1 - math.exp(-guess.interruptions_a_minute / 60 * seconds_):
                seconds_ += chance.expovariate(1 / guess.interruption_s)
            t += seconds_
        wet = guess.reaction_s * math.exp(chance.gauss(0, guess.reaction_sd))
        wet += water.walk_seconds * math.exp(chance.gauss(0, guess.walk_sd))
        wet += sum(
            water.wetting_seconds_a_zone * math.exp(chance.gauss(0, guess.wetting_sd))
            for _ in made.zones[:-1]
        )
        within += t <= call and call + wet <= made.limit.seconds
    return within / draws
