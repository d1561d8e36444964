"""How fast these hands are: partings a zone, seconds a parting, and one factor that learns.

The factor is log-normal and every update is in closed form. Here numbers only;
what work a routine holds is in `core.forecast`, which asks this, as do
`core.plan` and whoever reads a diary. No numpy is needed here.

The model. A zone of n partings takes s = seconds a parting x n x e^(f + e):
f the day's factor, e the zone's own scatter with variance ZONE^2 + PARTING^2 / n.
A household's long-run factor m is normal, the day's f is normal around it with
DAY_SD. So each finished run says: mean of log(s / expected) is normal around m.
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from itertools import groupby

CM_AN_INCH = 2.54
PARTING_CM = 0.375 * CM_AN_INCH
"""A parting's width in cm: the middle of 1/4 to 1/2 in (common practice, no source)."""
WIDEST_PARTING_CM = 0.5 * CM_AN_INCH
"""The wide end of 1/4 to 1/2 in (common practice, no source)."""
DEPTH_CM = 8.0
"""A zone whose routine gives no depth (our guess, no source)."""

SECONDS_A_PARTING = 10.0
"""First guess, from one parting to the next, for hands on somebody else's head (our guess, no source)."""
WITHIN_FACTOR = 1.4
"""Two households in three are within this factor of the first guess, either way (our guess, no source)."""
DAY_SD = 0.10
"""How far a day's pace lies from the household's other days, on the log scale (our guess, no source)."""
ZONE_SD = 0.20
"""How far one zone lies from the day's pace, on the log scale (our guess, no source)."""
PARTING_SD = 0.30
"""How far one parting lies from its zone's pace, on the log scale (our guess, no source)."""
PRACTICE_SD = 0.10
"""Conditioner is not cream: a practice run says that much less of the day (our guess, no source)."""
HALF_LIFE_DAYS = 180.0
"""A run this old counts half: two or three touch-ups later hands and hair have changed (our choice)."""

WEIGHT = {"": 1.0, "lengths": 1.0, "scalp": 0.6, "smooth": 0.35}
"""What a parting of each part of the work takes, against one of covering (our guess, no source).

The scalp area goes quicker: the hair is parted already."""
ALONE = 1.4
"""Hands at the back of their own head against a helper's hands (our guess, no source)."""


@dataclass(frozen=True, slots=True)
class Belief:
    """What is believed of a pace factor: its log is normal with `mean` and `sd`; 1 is the first guess."""

    mean: float = 0.0
    sd: float = math.log(WITHIN_FACTOR)

    @staticmethod
    def within(factor: float) -> Belief:
        """The first guess, right within `factor` for two households in three."""
        return Belief(0.0, math.log(factor))

    @property
    def factor(self) -> float:
        """The median of the factor: above 1 is slower than the first guess."""
        return math.exp(self.mean)

    def between(self, z: float = 1.0) -> tuple[float, float]:
        """The factor `z` standard deviations either way; 1 holds about two thirds."""
        return math.exp(self.mean - z * self.sd), math.exp(self.mean + z * self.sd)

    def seen(self, log_factor: float, variance: float, weight: float = 1.0) -> Belief:
        """The belief after one measured log factor with its variance. Normal times normal: closed form.

        `weight` 0..1 tempers the evidence. Raises ValueError for a variance that is not above 0.
        """
        if variance <= 0:
            raise ValueError(f"a variance must be above 0, not {variance}")
        known, told = 1 / self.sd**2, weight / variance
        return Belief((self.mean * known + log_factor * told) / (known + told), math.sqrt(1 / (known + told)))


FIRST_GUESS = Belief()


@dataclass(frozen=True, slots=True)
class ZoneTime:
    """One finished zone: `seconds` spent on `partings`, where `expected_s` was the guess; `age_days` ago.

    Zones with the same age are of one run. `practice`: conditioner, not cream.
    """

    zone: str
    seconds: float
    partings: int
    expected_s: float
    age_days: float = 0.0
    practice: bool = False

    @property
    def log_factor(self) -> float:
        return math.log(self.seconds / self.expected_s)


def partings(depth_cm: float, parting_cm: float = PARTING_CM) -> int:
    """How many partings a zone of this depth takes; at least one. Raises ValueError unless above 0."""
    if depth_cm <= 0 or parting_cm <= 0:
        raise ValueError(f"depth and parting must be above 0 cm, not {depth_cm} and {parting_cm}")
    return max(1, math.ceil(depth_cm / parting_cm - 1e-9))


def scatter_variance(number: int) -> float:
    """The variance of a zone's log time around the day's pace, for its number of partings."""
    return ZONE_SD**2 + PARTING_SD**2 / max(1, number)


def today(household: Belief) -> Belief:
    """What is believed of today's factor before anything of today was seen."""
    return Belief(household.mean, math.hypot(household.sd, DAY_SD))


def after(day: Belief, time: ZoneTime) -> Belief:
    """Today's factor after one more zone, or some of its partings, were timed. Mistimed: no change."""
    if not usable([time]):
        return day
    return day.seen(time.log_factor, scatter_variance(time.partings))


def usable(times: Iterable[ZoneTime]) -> tuple[ZoneTime, ...]:
    """Times that say something: under a fifth or over five times the guess was mistimed, not worked."""
    return tuple(t for t in times if t.expected_s > 0 and 0.2 <= t.seconds / t.expected_s <= 5)


def learned(times: Sequence[ZoneTime], first: Belief | None = None) -> Belief:
    """A household's long-run factor after its finished and practice runs. Old runs weigh less."""
    belief = first or Belief()
    for age, run in groupby(sorted(usable(times), key=lambda t: -t.age_days), key=lambda t: t.age_days):
        seen = list(run)
        told = [1 / scatter_variance(t.partings) for t in seen]
        mean = sum(t.log_factor * w for t, w in zip(seen, told, strict=True)) / sum(told)
        variance = 1 / sum(told) + DAY_SD**2 + (PRACTICE_SD**2 if any(t.practice for t in seen) else 0.0)
        belief = belief.seen(mean, variance, 0.5 ** (max(0.0, age) / HALF_LIFE_DAYS))
    return belief


def learned_from(times: Sequence[ZoneTime]) -> str:
    """In words, what a belief rests on."""
    good = usable(times)
    runs = {t.age_days: t.practice for t in good}
    if not runs:
        return (
            f"a first guess, right within a factor of {WITHIN_FACTOR:g} two times in three (no source); "
            "a practice run would tell"
        )
    practice = sum(runs.values())
    what = f"{len(runs)} {'run' if len(runs) == 1 else 'runs'}"
    if practice:
        what += f" ({practice} of them practice)"
    return f"learned from {what}: {len(good)} zones timed, the latest {min(runs):.0f} days ago"
