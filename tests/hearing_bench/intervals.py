"""Rates with their 95 % intervals: Clopper-Pearson for shares, exact Poisson for rates an hour (scipy)."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
from scipy import stats

Rate = dict[str, float | int]
Spread = dict[str, float | int | list[float | None] | None]


def share(k: int, n: int) -> Rate:
    """k of n with the Clopper-Pearson interval."""
    if n == 0:
        return {"rate": 0.0, "low": 0.0, "high": 1.0, "k": 0, "n": 0}
    found = stats.binomtest(k, n).proportion_ci(0.95, method="exact")
    return {"rate": k / n, "low": float(found.low), "high": float(found.high), "k": k, "n": n}


def per_hour(k: int, seconds: float) -> Rate:
    """k events in so many seconds with the exact Poisson interval; for none, the one-sided bound."""
    hours = seconds / 3600
    if hours == 0:
        return {"rate": 0.0, "low": 0.0, "high": float("inf"), "k": k, "n": k, "hours": 0.0}
    low = stats.chi2.ppf(0.025, 2 * k) / 2 if k else 0.0
    high = stats.chi2.ppf(0.975 if k else 0.95, 2 * k + 2) / 2
    return {
        "rate": k / hours, "low": float(low) / hours, "high": float(high) / hours,
        "k": k, "n": k, "hours": hours,
    }  # fmt: skip


def percentiles(values: Sequence[float]) -> Spread:
    """p50, p95 and p99, each with its interval by order statistics (Conover 1999), and n; None where there is nothing.

    None, too, for an end of an interval that so few values cannot give.
    """
    found: Spread = {"n": len(values)}
    for q in (50, 95, 99):
        found[f"p{q}"] = round(float(np.percentile(values, q)), 1) if values else None
        found[f"p{q}_interval"] = _interval(values, q)
    return found


def _interval(values: Sequence[float], q: int) -> list[float | None]:
    if len(values) < 2:
        return [None, None]
    test = stats.quantile_test(values, q=float(np.percentile(values, q)), p=q / 100)
    ends = test.confidence_interval(0.95)
    return [None if np.isnan(end) else round(float(end), 1) for end in (ends.low, ends.high)]
