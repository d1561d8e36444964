"""Plans at 90 %, lived through: the share that stays within every limit, with its interval."""

from __future__ import annotations

import random
from collections.abc import Sequence
from dataclasses import dataclass, replace

from scipy import stats

from assistant.core import pace
from assistant.core.exposure import Ledger
from assistant.core.forecast import Draws, Task, ahead, draw, outcome
from assistant.core.kit_sheet import LimitMeans
from assistant.core.program import Program
from tests.calibration.households import hands, history, live
from tests.programs import ROUTINES, program

GIVEN = 0.90
"""What the plan promises (the least chance with which a plan fits)."""
PLAN_DRAWS = 2000
MOST_LIMIT_S = 7200.0


@dataclass(frozen=True, slots=True)
class Calibration:
    """Of `plans` that were given `given` on average, `within` stayed within every limit."""

    kind: str
    plans: int
    given: float
    within: int

    @property
    def share(self) -> float:
        return self.within / self.plans

    @property
    def calibrated(self) -> bool:
        """The promise lies in the 95 % interval of what happened."""
        low, high = self.interval()
        return low <= self.given <= high

    @property
    def safe(self) -> bool:
        """What happened is not shown to be worse than the promise."""
        return self.interval()[1] >= self.given

    def interval(self, confidence: float = 0.95) -> tuple[float, float]:
        """The Wilson interval of the share."""
        found = stats.binomtest(self.within, self.plans).proportion_ci(confidence, method="wilson")
        return float(found.low), float(found.high)

    def as_json(self) -> dict[str, object]:
        return {
            "kind": self.kind, "plans": self.plans, "given": round(self.given, 4), "within": self.within,
            "share": round(self.share, 4), "interval": [round(x, 4) for x in self.interval()],
            "calibrated": self.calibrated, "safe": self.safe,
        }  # fmt: skip


def calibrate(kind: str, households: int, seed: int) -> Calibration:
    """`households` of one kind, each with a routine, a water, a history and a day of its own."""
    chance = random.Random(f"{kind} {seed}")
    given, within = 0.0, 0
    number = 0
    for _ in range(households):
        planned = None
        while planned is None:
            number += 1
            planned = a_household(chance, number)
        given += planned.chance
        within += live(planned.program, planned.tasks, planned.true, kind, chance).within
    return Calibration(kind, households, given / households, within)


def together(parts: Sequence[Calibration]) -> Calibration:
    """Households of several kinds as one population."""
    plans = sum(p.plans for p in parts)
    given = sum(p.given * p.plans for p in parts) / plans
    return Calibration("all of these", plans, given, sum(p.within for p in parts))


@dataclass(frozen=True, slots=True)
class Planned:
    """A household with the limit at which its plan says 90 %."""

    program: Program
    tasks: tuple[Task, ...]
    true: float
    chance: float


def a_household(chance: random.Random, seed: int) -> Planned | None:
    """None where no limit gives 90 %: their reserve is too short for their own rinse."""
    base = program(chance.choice(ROUTINES))
    water = base.household.water.model_copy(
        update={"walk_seconds": chance.uniform(5, 60), "wetting_seconds_a_zone": chance.uniform(5, 15)}
    )
    means = chance.choice(list(LimitMeans))
    made = replace(
        base,
        household=base.household.model_copy(update={"water": water}),
        kit=base.kit.model_copy(update={"limit_means": means}),
    )
    tasks, true = ahead(made), hands(chance)
    day = pace.today(pace.learned(history(tasks, true, chance.randrange(5), chance)))
    drawn = draw(tasks, day, PLAN_DRAWS, seed)
    limited, given = at_ninety(made, tasks, drawn)
    return Planned(limited, tasks, true, given) if given >= GIVEN else None


def at_ninety(made: Program, tasks: tuple[Task, ...], drawn: Draws) -> tuple[Program, float]:
    """The least limit, to the second, at which the plan's chance reaches 90 %. It only grows with the limit."""
    begun = Ledger().touch(tasks[0].zone, 0.0)

    def chance(limit_s: float) -> float:
        return outcome(made, begun, tasks, [True] * len(tasks), drawn, 0.0, limit_s).chance

    low, high = 0.0, MOST_LIMIT_S
    while high - low > 1.0:
        middle = (low + high) / 2
        low, high = (low, middle) if chance(middle) >= GIVEN else (middle, high)
    return replace(made, limit=replace(made.limit, seconds=high)), chance(high)
