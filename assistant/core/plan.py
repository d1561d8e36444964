"""Before the day: can these people do this head within this limit, and what would make it fit.

`plan` draws up the clock plan at the expected pace, counts the chance of staying
within every limit, and where that is too small tries what could help, each with
its own chance. Nothing is read or printed here; `combside plan` does both.
All times are seconds after the first cream.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass, replace

from assistant.core import pace
from assistant.core.exposure import Ledger
from assistant.core.forecast import (
    GUESS,
    LATE_AT_MOST,
    SEED,
    Draws,
    Outcome,
    Scatter,
    Task,
    ahead,
    at_pace,
    draw,
    outcome,
    without,
    zone_partings,
)
from assistant.core.kit_sheet import LimitMeans
from assistant.core.pace import Belief
from assistant.core.program import Program
from assistant.core.session import WARN_BEFORE_S

PLAN_DRAWS = 10_000
"""The chance is right within 0.3 percentage points (one standard error at 90 %)."""
RINSE_LATE_AT_MOST = 0.02
"""More draws than this with water too late, and a larger reserve is proposed (design decision, no source)."""
ONE_MORE_HELPER = 0.6
"""The work of two pairs of hands against one: they share it, not quite in half (our guess, no source)."""
PREPARED = 0.85
"""The share of the time that finer preparation leaves (our guess, no source)."""
PREPARATION = "finer preparation: hair detangled, sectioned and parted beforehand"


@dataclass(frozen=True, slots=True)
class Bar:
    """Work on a zone: its part ("", "lengths", "scalp", "smooth"), start and end."""

    part: str
    start: float
    end: float


@dataclass(frozen=True, slots=True)
class ZonePlan:
    """One zone: cream from `start` to `end`, its limit runs out at `due`.

    `slack` is how much later than planned the whole of the work may end before this
    zone's water, the walk, the reserve and the zones rinsed before it counted, comes too late.
    """

    name: str
    partings: int
    start: float
    end: float
    due: float
    slack: float
    bars: tuple[Bar, ...]


@dataclass(frozen=True, slots=True)
class Option:
    """Something that changes the plan: in words, and the chance with it."""

    what: str
    chance: float

    @property
    def fits(self) -> bool:
        return self.chance >= 1 - LATE_AT_MOST


@dataclass(frozen=True, slots=True)
class Plan:
    """`fits`: the chance of all of it within every limit is at least 90 %, and the clock plan is in time.

    `done` is when the work ends at the expected pace, `done_likely` the middle 80 %
    of the draws, `warnings` when they are spoken.
    """

    fits: bool
    chance: float
    limit: float
    limit_words: str
    rinse_call: float
    binding_zone: str
    done: float
    done_likely: tuple[float, float]
    zones: tuple[ZonePlan, ...]
    rinse_order: tuple[str, ...]
    warnings: tuple[float, ...]
    options: tuple[Option, ...]
    notes: tuple[str, ...]

    @property
    def slack(self) -> float:
        """The least slack of all zones. Negative: at the expected pace the work outlasts the rinse call."""
        return min(z.slack for z in self.zones)

    @property
    def anything_fits(self) -> bool:
        return self.fits or any(option.fits for option in self.options)


def plan(
    program: Program,
    *,
    learned_from: str = "",
    draws: int = PLAN_DRAWS,
    seed: int = SEED,
    scatter: Scatter = GUESS,
) -> Plan:
    """The plan for a run of `program` at its long-run pace."""
    day = pace.today(program.pace)
    tasks = ahead(program)
    limit = program.limit.seconds
    result, drawn = chances(program, tasks, day, draws, seed, scatter)
    expected = at_pace(tasks, day.factor)
    ledger, bars, done = clock(expected)
    rinse = program.rinse_plan(ledger, (), limit)
    call = program.call_due(ledger, (), limit)
    assert rinse is not None
    assert call is not None
    zones = tuple(zone_plan(program, ledger, bars, zone, done, limit) for zone in ledger.order())
    binding = min(zones, key=lambda z: z.slack).name
    fits = result.chance >= 1 - LATE_AT_MOST and done <= call
    likely = sorted(float(x) for x in result.done)
    return Plan(
        fits=fits,
        chance=result.chance,
        limit=limit,
        limit_words=program.limit.reason.words,
        rinse_call=call,
        binding_zone=binding,
        done=done,
        done_likely=(likely[len(likely) // 10], likely[len(likely) * 9 // 10]),
        zones=zones,
        rinse_order=rinse.order,
        warnings=warnings(call),
        options=() if fits else tuple(ways_to_fit(program, tasks, day, drawn, draws, seed, scatter)),
        notes=tuple(notes(program, learned_from, day)),
    )


def chances(
    program: Program, tasks: Sequence[Task], day: Belief, draws: int, seed: int, scatter: Scatter
) -> tuple[Outcome, Draws]:
    """What becomes of this work, from the first touch on."""
    drawn = draw(tasks, day, draws, seed, scatter)
    begun = Ledger().touch(tasks[0].zone, 0.0)
    return outcome(program, begun, tasks, [True] * len(tasks), drawn, 0.0, program.limit.seconds), drawn


def clock(tasks: Sequence[Task]) -> tuple[Ledger, dict[str, tuple[Bar, ...]], float]:
    """Who is when: the ledger as it will be, each zone's bars, and when the work is done."""
    ledger, t = Ledger(), 0.0
    bars: dict[str, tuple[Bar, ...]] = {}
    for at in tasks:
        start, t = t, t + at.seconds
        bars[at.zone] = (*bars.get(at.zone, ()), Bar(at.part, start, t))
        if at.part != "smooth":
            ledger = ledger.touch(at.zone, start).touch(at.zone, t)
    return ledger, bars, t


def zone_plan(
    program: Program, ledger: Ledger, bars: dict[str, tuple[Bar, ...]], zone: str, done: float, limit: float
) -> ZonePlan:
    """A zone's own line of the plan."""
    water, means = program.household.water, program.kit.limit_means
    rinse = program.rinse_plan(ledger, (), limit)
    due, seen = ledger.due(zone, limit, means), ledger.get(zone)
    assert rinse is not None
    assert due is not None
    assert seen is not None
    each = water.wetting_seconds_a_zone
    before = rinse.order.index(zone)
    if means is LimitMeans.UNTIL_CLEAR:
        each += water.clearing_seconds_a_zone
        before += 1
    latest = due - before * each - water.walk_seconds - water.reserve_seconds
    return ZonePlan(zone, zone_partings(program, zone), seen.first, seen.last, due, latest - done, bars[zone])


def warnings(call: float) -> tuple[float, ...]:
    """When the run will warn: at half time, and before the call."""
    half = call / 2
    marks = [call - s for s in WARN_BEFORE_S if call - s > 0]
    if call - half >= WARN_BEFORE_S[0] + 30:
        marks.append(half)
    return tuple(sorted(marks))


def notes(program: Program, learned_from: str, day: Belief) -> Iterable[str]:
    """What the numbers rest on, in words."""
    hands = program.household.pace
    fast, slow = (hands.seconds_a_parting * f for f in day.between())
    likely = hands.seconds_a_parting * day.factor
    yield f"pace: {learned_from or pace.learned_from(())}"
    yield (
        f"today a parting of {hands.parting_cm / pace.CM_AN_INCH:.2g} in takes about {likely:.0f} seconds "
        f"({fast:.0f} to {slow:.0f} for two days in three)"
    )
    water = program.household.water
    yield (
        f"rinse: {water.walk_seconds:g} s to the water, {water.wetting_seconds_a_zone:g} s a zone, "
        f"{water.reserve_seconds:g} s in reserve; the limit runs {program.kit.limit_means.value}"
    )
    guessed = [z.name for z in program.routine.zones if z.depth_cm is None]
    if guessed:
        yield f"no size is given for {', '.join(guessed)}: {pace.DEPTH_CM:g} cm is taken"


# -- what would make it fit ----------------------------------------------------------


def ways_to_fit(
    program: Program,
    tasks: Sequence[Task],
    day: Belief,
    drawn: Draws,
    draws: int,
    seed: int,
    scatter: Scatter,
) -> Iterable[Option]:
    """What may help, the best chance first; then what does not do the whole head in one day."""

    def chance(work: Sequence[Task]) -> float:
        return chances(program, work, day, draws, seed, scatter)[0].chance

    helped = 1 / pace.ALONE if not program.with_helper else ONE_MORE_HELPER
    helper = "a helper" if not program.with_helper else "a second helper"
    fewer = ahead(program, parting_cm=pace.WIDEST_PARTING_CM)
    wider = sum(t.partings for t in fewer) < sum(t.partings for t in tasks)
    whole = [
        Option(helper, chance(at_pace(tasks, helped))),
        Option(PREPARATION, chance(at_pace(tasks, PREPARED))),
    ]
    if wider:
        whole.append(Option("fewer partings: half an inch wide", chance(fewer)))
        whole.append(Option("finer preparation and fewer partings", chance(at_pace(fewer, PREPARED))))
    if not any(option.fits for option in whole):
        whole.append(
            Option(
                f"{helper}, finer preparation" + (" and fewer partings" if wider else ""),
                chance(at_pace(fewer, PREPARED * helped)),
            )
        )
    yield from sorted(whole, key=lambda option: -option.chance)
    reserve = more_reserve(program, tasks, drawn)
    if reserve is not None:
        yield reserve
    stopping = stop_at(program, tasks, drawn)
    if stopping is not None:
        yield stopping
    halves = two_days(program, tasks, chance)
    if halves is not None:
        yield halves


def more_reserve(program: Program, tasks: Sequence[Task], drawn: Draws) -> Option | None:
    """Calling the rinse earlier, where the rinse itself comes too late in more draws than it may."""
    begun, kept = Ledger().touch(tasks[0].zone, 0.0), [True] * len(tasks)
    late = outcome(program, begun, tasks, kept, drawn, 0.0, program.limit.seconds).water_late_s
    if float((late > 0).mean()) <= RINSE_LATE_AT_MOST:
        return None
    enough = sorted(float(x) for x in late)[int(len(late) * (1 - RINSE_LATE_AT_MOST))]
    water = program.household.water
    reserve = min(600.0, water.reserve_seconds + 10 * math.ceil(enough / 10))
    careful = program.household.model_copy(
        update={"water": water.model_copy(update={"reserve_seconds": reserve})}
    )
    result = outcome(
        replace(program, household=careful), begun, tasks, kept, drawn, 0.0, program.limit.seconds
    )
    return Option(f"a reserve of {reserve:g} seconds before the rinse call", result.chance)


def stop_at(program: Program, tasks: Sequence[Task], drawn: Draws) -> Option | None:
    """Stopping after a zone: the latest one that fits, or else the first."""
    zones = list(dict.fromkeys(t.zone for t in tasks))
    begun = Ledger().touch(tasks[0].zone, 0.0)
    best: Option | None = None
    for keep in range(len(zones) - 1, 0, -1):
        stays = set(without(tasks, zones[keep:], begun))
        kept = [t in stays for t in tasks]
        result = outcome(program, begun, tasks, kept, drawn, 0.0, program.limit.seconds)
        best = Option(f"stopping after {zones[keep - 1]}: without {', '.join(zones[keep:])}", result.chance)
        if best.fits:
            break
    return best


def two_days(
    program: Program, tasks: Sequence[Task], chance: Callable[[Sequence[Task]], float]
) -> Option | None:
    """Half the head on another day, only where the leaflet allows it; both halves must fit."""
    days = program.kit.waits.halves_days
    zones = list(dict.fromkeys(t.zone for t in tasks))
    if days is None or len(zones) < 2:
        return None
    load = {zone: sum(t.seconds for t in tasks if t.zone == zone) for zone in zones}
    whole = sum(load.values())
    half = min(range(1, len(zones)), key=lambda k: abs(2 * sum(load[z] for z in zones[:k]) - whole))
    first = chance([t for t in tasks if t.zone in zones[:half]])
    second = chance([t for t in tasks if t.zone in zones[half:]])
    return Option(
        f"two days at least {days:g} days apart, as the leaflet allows: "
        f"{', '.join(zones[:half])} ({first:.0%}); then {', '.join(zones[half:])} ({second:.0%})",
        first * second,
    )
