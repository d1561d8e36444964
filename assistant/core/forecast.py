"""Are we still going to make it: the work that is left, and the chance of doing it in time.

`ahead` lists the work, `forecast` says what to do about it. Pure: the same values
give the same answer. The chance is counted over draws with a fixed seed, all
draws at once (numpy; this and `core.plan` are the only places of the core with it).
Called by the session when a zone is done and by `core.plan` before the day.
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Sequence
from dataclasses import dataclass, replace
from enum import Enum

import numpy as np
import numpy.typing as npt

from assistant.core import pace
from assistant.core.exposure import Ledger
from assistant.core.kit_sheet import LimitMeans
from assistant.core.pace import Belief
from assistant.core.program import Program
from assistant.core.routine import Cover, Smooth

Floats = npt.NDArray[np.float64]
Flags = npt.NDArray[np.bool_]

SEED = 20_250_301
"""Any number, but always the same: a replay must say the same."""
LIVE_DRAWS = 2000
"""For the run: the chance is right within 0.7 percentage points (one standard error at 10 %)."""
LATE_AT_MOST = 0.10
"""Above this chance of being late something is said, and no plan fits (design decision, no source)."""
HOPELESS = 0.5
"""When even one more zone is more likely late than not, no new zone is begun (design decision, no source)."""
MOST_ZONES = 12
"""As many as a routine may have."""
FEWEST = 200
"""Draws that must agree with what was seen of the zone at hand before they are believed."""


@dataclass(frozen=True, slots=True)
class Task:
    """A zone's share of a step: `seconds` at pace factor 1. `part` is "", "lengths", "scalp" or "smooth"."""

    zone: str
    part: str
    partings: int
    seconds: float

    def timed(self, seconds: float) -> pace.ZoneTime:
        """This task as something learned: it took `seconds`."""
        return pace.ZoneTime(self.zone, seconds, self.partings, self.seconds)


@dataclass(frozen=True, slots=True)
class Scatter:
    """What scatters beside the pace. First guesses, no source; zeros give a case with a closed form.

    A zone is `slow_factor` slower with `slow_chance`; hands get slower towards the
    end by any share up to `tired`; somebody is called away `interruptions_a_minute`
    times for `interruption_s` on average. The pace holds what of that is usual.
    The rinse: `reaction_s` from the call to the first step, then the walk and each
    zone's water, log-normal around the household's own figures.
    """

    scattered: bool = True
    slow_chance: float = 0.08
    slow_factor: float = 1.8
    tired: float = 0.3
    interruptions_a_minute: float = 0.03
    interruption_s: float = 45.0
    reaction_s: float = 15.0
    reaction_sd: float = 0.5
    walk_sd: float = 0.25
    wetting_sd: float = 0.25

    @property
    def usual(self) -> float:
        """The share of the pace, on the log scale, that these mishaps take on average."""
        return (
            self.slow_chance * math.log(self.slow_factor)
            + math.log1p(self.tired / 4)
            + math.log1p(self.interruptions_a_minute * self.interruption_s / 60)
        )


GUESS = Scatter()


class Verdict(str, Enum):
    """What a forecast wants of the people."""

    IN_TIME = "in time"
    LEAVE_OUT = "leave out"
    NO_NEW_ZONE = "no new zone"
    TOO_LATE = "too late"
    """Late, and nothing is left that could be left out: the rinse call will come at work."""


@dataclass(frozen=True, slots=True)
class Forecast:
    """`chance` of doing all of it in time; `drop` is what to leave out, `chance_then` the chance after that.

    `call_s` is the median rinse call, seconds on the run clock. `binding` is the zone that sets the call.
    """

    chance: float
    verdict: Verdict
    drop: tuple[str, ...]
    chance_then: float
    call_s: float
    binding: str

    @property
    def late(self) -> float:
        return 1.0 - self.chance


# -- the work ------------------------------------------------------------------------


def zone_partings(program: Program, zone: str, parting_cm: float | None = None) -> int:
    """Partings of a zone: its depth by its own parting width or the household's; `parting_cm` where wider."""
    size = next(z for z in program.routine.zones if z.name == zone)
    width = size.parting_cm or program.household.pace.parting_cm
    return pace.partings(size.depth_cm or pace.DEPTH_CM, max(width, parting_cm or 0.0))


def task(program: Program, zone: str, part: str, parting_cm: float | None = None) -> Task:
    """One zone's share of one part of the work, at pace factor 1."""
    number = zone_partings(program, zone, parting_cm)
    hands = 1.0 if program.with_helper else pace.ALONE
    each = program.household.pace.seconds_a_parting * pace.WEIGHT[part] * hands
    return Task(zone, part, number, number * each)


def ahead(
    program: Program,
    step: int = 0,
    todo: Sequence[str] | None = None,
    left_out: Iterable[str] = (),
    parting_cm: float | None = None,
) -> tuple[Task, ...]:
    """The work from `step` on, in order; `todo` are the zones still open in that step (None: all of them)."""
    skipped = set(left_out)
    tasks: list[Task] = []
    for index, at in enumerate(program.steps[step:], step):
        if not isinstance(at, Cover | Smooth):
            continue
        zones = program.zones_of(at) if isinstance(at, Cover) else program.zones
        if index == step and todo is not None:
            zones = tuple(todo)
        part = at.part if isinstance(at, Cover) else "smooth"
        tasks += [task(program, zone, part, parting_cm) for zone in zones if zone not in skipped]
    return tuple(tasks)


def without(tasks: Sequence[Task], zones: Iterable[str], ledger: Ledger) -> tuple[Task, ...]:
    """The work without these zones: no more cream on them; what has cream is smoothed all the same."""
    gone = set(zones)
    return tuple(
        t for t in tasks if t.zone not in gone or (t.part == "smooth" and ledger.get(t.zone) is not None)
    )


# -- the draws -----------------------------------------------------------------------


@dataclass(frozen=True, slots=True)
class Draws:
    """What each draw makes of the work, `tasks` (tasks, draws) seconds, and of the rinse."""

    tasks: Floats
    reaction: Floats
    walk: Floats
    wetting: Floats


def draw(tasks: Sequence[Task], day: Belief, draws: int, seed: int = SEED, scatter: Scatter = GUESS) -> Draws:
    """`draws` ways in which this work and the rinse after it may go.

    numpy's legacy generator, because its streams are frozen: a replay by a later numpy draws the same.
    """
    random = np.random.RandomState(seed)
    z_pace, z_reaction, z_walk = random.standard_normal((3, draws))
    shape = (len(tasks), draws)
    scale = np.array([t.seconds for t in tasks], dtype=np.float64).reshape(-1, 1)
    sds = [math.sqrt(pace.scatter_variance(t.partings)) if scatter.scattered else 0.0 for t in tasks]
    spread = np.array(sds, dtype=np.float64).reshape(-1, 1) * random.standard_normal(shape)
    seconds = scale * np.exp(day.mean - scatter.usual + day.sd * z_pace + spread)
    if scatter.slow_chance > 0:
        zones = list(dict.fromkeys(t.zone for t in tasks))
        slow = random.random_sample((len(zones), draws)) < scatter.slow_chance
        seconds = np.where(slow[[zones.index(t.zone) for t in tasks]], seconds * scatter.slow_factor, seconds)
    if scatter.tired > 0:
        at = np.linspace(0.0, 1.0, len(tasks)).reshape(-1, 1)
        seconds = seconds * (1 + at * scatter.tired * random.random_sample(draws))
    if scatter.interruptions_a_minute > 0:
        # One interruption a task at most: a second one within a minute or two adds little.
        called_away = random.random_sample(shape) < -np.expm1(-scatter.interruptions_a_minute / 60 * seconds)
        seconds = seconds + called_away * scatter.interruption_s * random.standard_exponential(shape)
    return Draws(
        seconds,
        scatter.reaction_s * np.exp(scatter.reaction_sd * z_reaction),
        np.exp(scatter.walk_sd * z_walk),
        np.exp(scatter.wetting_sd * random.standard_normal((MOST_ZONES, draws))),
    )


def agreeing(drawn: Draws, elapsed_s: float) -> Draws:
    """Only the draws in which the task at hand takes longer than it already has; that time is taken off it.

    Where too few agree, all are kept and those that took less are taken to end now.
    """
    if elapsed_s <= 0 or len(drawn.tasks) == 0:
        return drawn
    keep = drawn.tasks[0] > elapsed_s
    if int(keep.sum()) < FEWEST:
        keep = np.ones_like(keep)
    tasks = drawn.tasks[:, keep].copy()
    tasks[0] = np.maximum(tasks[0] - elapsed_s, 0.0)
    return Draws(tasks, drawn.reaction[keep], drawn.walk[keep], drawn.wetting[:, keep])


@dataclass(frozen=True, slots=True)
class Outcome:
    """For each draw: `done` when the work ended and `call` when the rinse was called, on the run clock;
    `water_late_s` is how far past its due time water came to the worst zone (negative: before it)."""

    done: Floats
    call: Floats
    water_late_s: Floats

    @property
    def in_time(self) -> Flags:
        """All of the work before the call, and water on every zone by its due time."""
        return (self.done <= self.call) & (self.water_late_s <= 0)

    @property
    def chance(self) -> float:
        return float(self.in_time.mean())


def outcome(
    program: Program,
    ledger: Ledger,
    tasks: Sequence[Task],
    kept: Sequence[bool],
    drawn: Draws,
    now: float,
    limit_s: float,
    armed: float | None = None,
) -> Outcome:
    """What becomes of the draws when only the `kept` tasks are done.

    The rinse call is that of `Program.call_due`, for the zones that have cream or
    get it; an `armed` call stands whatever is left out: it only ever comes nearer.
    """
    seconds = drawn.tasks * np.array(kept, dtype=np.float64).reshape(-1, 1)
    ends = now + np.cumsum(seconds, axis=0)
    draws = drawn.reaction.shape[0]
    done = ends[-1] if len(ends) else np.full(draws, now)
    firsts: dict[str, Floats] = {e.zone: np.full(draws, e.first) for e in ledger.zones}
    for row, (at, stays) in enumerate(zip(tasks, kept, strict=True)):
        if stays and at.zone not in firsts:
            firsts[at.zone] = ends[row] - seconds[row]
    water, means = program.household.water, program.kit.limit_means
    clear = means is LimitMeans.UNTIL_CLEAR
    each = water.wetting_seconds_a_zone + (water.clearing_seconds_a_zone if clear else 0.0)
    touched = np.sort(np.array(list(firsts.values())), axis=0)  # every zone takes as long: rinsed as touched
    due = limit_s + (touched if means is LimitMeans.BY_SECTION else touched[:1])
    before = (np.arange(len(touched)) + (1 if clear else 0)).reshape(-1, 1)
    call = (due - before * each).min(axis=0) - water.walk_seconds - water.reserve_seconds
    if armed is not None:
        call = np.minimum(call, armed)
    spent = np.cumsum(drawn.wetting[: len(touched)], axis=0)
    spent = each * (spent if clear else spent - drawn.wetting[: len(touched)])
    wet = call + drawn.reaction + water.walk_seconds * drawn.walk + spent
    return Outcome(done, call, (wet - due).max(axis=0))


def forecast(
    program: Program,
    ledger: Ledger,
    todo: Sequence[Task],
    now: float,
    day: Belief,
    *,
    limit_s: float | None = None,
    armed: float | None = None,
    since: float | None = None,
    draws: int = LIVE_DRAWS,
    seed: int = SEED,
    scatter: Scatter = GUESS,
) -> Forecast:
    """The chance of doing `todo` in time and, where it is too small, what to leave out.

    `day` is what is believed of today's pace. `limit_s` is the limit as it stands
    (None: the program's), `armed` the rinse call that is set, `since` when the first
    of `todo` was begun (None: it was not). All times in seconds on the run clock.
    Zones are left out from the end, those without cream first; one begun never.
    Raises ValueError without work and without cream.
    """
    if not todo and not ledger.zones:
        raise ValueError("no work and no cream: nothing to forecast")
    limit = program.limit.seconds if limit_s is None else limit_s
    drawn = draw(todo, day, draws, seed, scatter)
    drawn = agreeing(drawn, 0.0 if since is None else now - since)
    options = [(), *droppable(todo, ledger, begun=since is not None)]
    chances: list[float] = []
    whole: Outcome | None = None
    for drop in options:
        stays = set(without(todo, drop, ledger))
        result = outcome(program, ledger, todo, [t in stays for t in todo], drawn, now, limit, armed)
        whole = whole or result
        chances.append(result.chance)
        if result.chance >= 1 - LATE_AT_MOST:
            break
    assert whole is not None
    best = len(chances) - 1
    if best == 0:
        verdict = Verdict.IN_TIME if chances[0] >= 1 - LATE_AT_MOST else Verdict.TOO_LATE
    elif best == len(options) - 1 and chances[best - 1] < HOPELESS:
        verdict = Verdict.NO_NEW_ZONE
    else:
        verdict = Verdict.LEAVE_OUT
        if since is None and best == len(options) - 1:
            best -= 1  # one more zone is more likely in time than not: the next one is begun
            verdict = Verdict.LEAVE_OUT if best else Verdict.TOO_LATE
    drop = options[best]
    call = float(np.median(whole.call))
    return Forecast(
        chances[0], verdict, drop, chances[best], call,
        binding_zone(program, ledger, todo, limit),
    )  # fmt: skip


def droppable(todo: Sequence[Task], ledger: Ledger, *, begun: bool) -> list[tuple[str, ...]]:
    """What may be left out of the step at hand, the least first: its last zone, its last two, and so on."""
    if not todo or todo[0].part == "smooth":
        return []
    rest = [t.zone for t in todo if t.part == todo[0].part and not (begun and t.zone == todo[0].zone)]
    last_first = sorted(rest, key=lambda zone: (ledger.get(zone) is not None, -rest.index(zone)))
    return [tuple(z for z in rest if z in last_first[: n + 1]) for n in range(len(rest))]


def binding_zone(program: Program, ledger: Ledger, todo: Sequence[Task], limit_s: float) -> str:
    """The zone that sets the rinse call when everything goes at the pace that is expected."""
    t = max((z.last for z in ledger.zones), default=0.0)
    planned = ledger
    for at in todo:
        if at.part != "smooth" and planned.get(at.zone) is None:
            planned = planned.touch(at.zone, t)
        t += at.seconds
    gone = [z for z in program.zones if planned.get(z) is None]
    rinse = program.rinse_plan(planned, gone, limit_s)
    return rinse.binding if rinse is not None else program.zones[-1]


# -- in the run ----------------------------------------------------------------------


@dataclass(frozen=True, slots=True)
class Advice:
    """What is worth saying: the prompt's `name` in the phrase book, the first of how many `zones`."""

    name: str
    zone: str
    zones: int


def advice(forecast: Forecast) -> Advice | None:
    """The prompt a forecast is worth; None where nothing can be left out."""
    if not forecast.drop:
        return None
    if forecast.verdict is Verdict.NO_NEW_ZONE:
        return Advice("forecast.no_new_zone", "", len(forecast.drop))
    name = "forecast.leave_out" if len(forecast.drop) == 1 else "forecast.leave_out_more"
    return Advice(name, forecast.drop[0], len(forecast.drop))


def changes(forecast: Forecast, said_before: int) -> bool:
    """Whether it must be said: only when more must go than the `said_before` zones of the last time."""
    return len(forecast.drop) > said_before


def at_pace(tasks: Iterable[Task], factor: float) -> tuple[Task, ...]:
    """The same work at another pace."""
    return tuple(replace(t, seconds=t.seconds * factor) for t in tasks)
