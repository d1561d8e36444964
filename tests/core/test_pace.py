"""The pace factor: partings, and the closed-form update against numerical integration and scipy.stats."""

from __future__ import annotations

import math
from collections.abc import Callable

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy import stats

from assistant.core import pace
from assistant.core.pace import Belief, ZoneTime

ratios = st.floats(0.3, 3.0)
numbers = st.integers(1, 40)


def integrated(prior: Belief, log_likelihood: Callable[[np.ndarray], np.ndarray]) -> tuple[float, float]:
    """Mean and sd of the posterior on a fine grid: no algebra of ours."""
    grid = np.linspace(prior.mean - 10 * prior.sd, prior.mean + 10 * prior.sd, 20_001)
    logs = stats.norm.logpdf(grid, prior.mean, prior.sd) + log_likelihood(grid)
    weights = np.exp(logs - logs.max())
    weights /= weights.sum()
    mean = float((grid * weights).sum())
    return mean, float(math.sqrt(((grid - mean) ** 2 * weights).sum()))


@pytest.mark.parametrize(
    ("depth", "width", "number"),
    [(8, 0.9525, 9), (8, 1.27, 7), (2.54, 0.635, 4), (1.0, 1.27, 1), (0.9525 * 4, 0.9525, 4)],
)
def test_partings_are_depth_over_width(depth: float, width: float, number: int) -> None:
    """A last, thinner parting counts as one; an exact division gives no extra one."""
    assert pace.partings(depth, width) == number


def test_parting_width_is_the_trades() -> None:
    """1/4 to 1/2 in (common practice, no source): the first guess lies inside, the widest is its end."""
    assert 0.25 * 2.54 <= pace.PARTING_CM <= 0.5 * 2.54
    assert pytest.approx(0.5 * 2.54) == pace.WIDEST_PARTING_CM


@pytest.mark.parametrize("size", [(0, 1), (1, 0), (-3, 1)])
def test_no_size_is_an_error(size: tuple[float, float]) -> None:
    with pytest.raises(ValueError, match="above 0"):
        pace.partings(*size)


@settings(max_examples=30, deadline=None)
@given(ratios, numbers)
def test_one_zone_against_integration(ratio: float, number: int) -> None:
    """The day's factor after one zone: normal prior, normal likelihood, integrated on a grid."""
    day = pace.today(Belief())
    time = ZoneTime("crown", 100 * ratio, number, 100.0)
    got = pace.after(day, time)
    sd = math.sqrt(pace.scatter_variance(number))
    mean, spread = integrated(day, lambda f: stats.norm.logpdf(math.log(ratio), f, sd))
    assert got.mean == pytest.approx(mean, abs=1e-6)
    assert got.sd == pytest.approx(spread, rel=1e-5)


@settings(max_examples=20, deadline=None)
@given(st.lists(st.tuples(ratios, numbers), min_size=1, max_size=7), st.floats(0, 1000), st.booleans())
def test_a_run_against_integration(zones: list[tuple[float, int]], age: float, practice: bool) -> None:
    """A whole run, the day's factor integrated out numerically, its likelihood tempered by its age."""
    times = [ZoneTime(f"z{i}", 60 * r, n, 60.0, age, practice) for i, (r, n) in enumerate(zones)]
    got = pace.learned(times)
    day_sd = math.hypot(pace.DAY_SD, pace.PRACTICE_SD) if practice else pace.DAY_SD
    days = np.linspace(-16 * day_sd, 16 * day_sd, 1001)

    def likelihood(m: np.ndarray) -> np.ndarray:
        """log of the integral over the day's own deviation."""
        total = np.broadcast_to(stats.norm.logpdf(days, 0, day_sd), (len(m), len(days))).copy()
        for ratio, number in zones:
            sd = math.sqrt(pace.scatter_variance(number))
            total += -0.5 * ((math.log(ratio) - m[:, None] - days) / sd) ** 2
        top = total.max(axis=1)
        log = top + np.log(np.exp(total - top[:, None]).sum(axis=1))
        return np.asarray(0.5 ** (age / pace.HALF_LIFE_DAYS) * log)

    prior = Belief()
    grid = np.linspace(-8 * prior.sd, 8 * prior.sd, 801)
    logs = stats.norm.logpdf(grid, prior.mean, prior.sd) + likelihood(grid)
    weights = np.exp(logs - logs.max())
    weights /= weights.sum()
    mean = float((grid * weights).sum())
    assert got.mean == pytest.approx(mean, abs=2e-4)
    assert got.sd == pytest.approx(math.sqrt(float(((grid - mean) ** 2 * weights).sum())), rel=2e-3)


def test_against_the_multivariate_normal_of_a_library() -> None:
    """The marginal likelihood of three zones by scipy.stats gives the same posterior odds as the closed form."""
    logs, numbers = [0.3, 0.1, 0.5], [9, 4, 12]
    prior, day = Belief(), pace.DAY_SD**2
    times = [
        ZoneTime(str(i), math.exp(y), n, 1.0) for i, (y, n) in enumerate(zip(logs, numbers, strict=True))
    ]
    got = pace.learned(times)
    cov = np.full((3, 3), day) + np.diag([pace.scatter_variance(n) for n in numbers])
    points = (-0.2, 0.15, 0.4)
    by_library = [
        stats.multivariate_normal(mean=[m] * 3, cov=cov).logpdf(logs) + stats.norm.logpdf(m, 0, prior.sd)
        for m in points
    ]
    by_us = [stats.norm.logpdf(m, got.mean, got.sd) for m in points]
    assert np.diff(by_us) == pytest.approx(np.diff(by_library), abs=1e-9)


@given(st.floats(0, 500), st.floats(1, 500))
def test_an_older_run_weighs_less(age: float, older: float) -> None:
    """The same slow run: seen long ago it moves the belief less and leaves it wider."""
    new = pace.learned([ZoneTime("crown", 200, 10, 100, age)])
    old = pace.learned([ZoneTime("crown", 200, 10, 100, age + older)])
    assert 0 < old.mean < new.mean
    assert old.sd > new.sd


def test_half_life_is_half_the_evidence() -> None:
    prior = Belief()
    told = [
        1 / pace.learned([ZoneTime("z", 150, 10, 100, age)]).sd ** 2 - 1 / prior.sd**2 for age in (0.0, 180.0)
    ]
    assert told[1] == pytest.approx(told[0] / 2)


def test_order_of_runs_does_not_matter() -> None:
    times = [
        ZoneTime("crown", 150, 9, 100, 60),
        ZoneTime("nape", 70, 5, 50, 60),
        ZoneTime("crown", 90, 9, 100, 7),
    ]
    assert pace.learned(times) == pace.learned(times[::-1])


def test_a_mistimed_zone_teaches_nothing() -> None:
    """Reported at once, or forgotten for half an hour: not work."""
    odd = [ZoneTime("crown", 1, 9, 90), ZoneTime("nape", 1800, 5, 50)]
    assert pace.learned(odd) == Belief()
    assert pace.after(Belief(), odd[0]) == Belief()


def test_what_it_learned_from_is_said() -> None:
    assert "first guess" in pace.learned_from([])
    times = [
        ZoneTime("crown", 90, 9, 100, 60),
        ZoneTime("nape", 45, 5, 50, 60),
        ZoneTime("crown", 95, 9, 100, 7, True),
    ]
    assert (
        pace.learned_from(times)
        == "learned from 2 runs (1 of them practice): 3 zones timed, the latest 7 days ago"
    )


def test_variance_must_be_above_zero() -> None:
    with pytest.raises(ValueError, match="variance"):
        Belief().seen(0.0, 0.0)
