"""How the figures stand against the goals, and where another engine is better."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from fnmatch import fnmatch
from math import inf

from tests.hearing_bench.goals import BETTER_FAIRLY, BETTER_NOWHERE, BETTER_WORDS, GOALS, Goal
from tests.hearing_bench.intervals import per_hour, share
from tests.hearing_bench.words import OURS

Figures = Mapping[str, object]
FEWEST = 20
"""A percentile of fewer times says nothing."""
MET, NOT_MET, UNSURE, UNKNOWN = "met", "not met", "met, too few to be sure", "not measured"


def against_goals(figures: Figures, goals: Sequence[Goal] = GOALS) -> list[dict[str, object]]:
    """A row a goal: the figure, its interval and n, the condition it is from, and whether the goal is met.

    The figure decides; where it meets the goal and the far end of its interval does
    not, the row says that there were too few to be sure.
    """
    return [*(_standing(goal, figures) for goal in goals), *_against_engines(figures)]


def _standing(goal: Goal, figures: Figures) -> dict[str, object]:
    found: dict[str, Mapping[str, float]] = {}
    for name, below in _conditions(figures, goal.under).items():
        measured = _measured(below, goal.path)
        if measured is not None and any(fnmatch(name, pattern) for pattern in goal.where):
            found[name] = measured
    row: dict[str, object] = {"goal": goal.what, "bound": goal.bound, "least": goal.least}
    if not found:
        return row | {"met": UNKNOWN}
    if goal.pooled:
        name, figure = ", ".join(found), _pooled(list(found.values()))
    else:
        worst = min if goal.least else max
        name = worst(found, key=lambda each: (found[each]["rate"], found[each]["high"]))
        figure = found[name]
    known = {key: None if value in (inf, -inf) else value for key, value in figure.items()}
    return row | known | {"condition": name, "met": _met(goal, figure)}


def _against_engines(figures: Figures) -> Iterator[dict[str, object]]:
    """Our single words against the best other engine, and how many figures of another engine are better."""
    for condition, below in _conditions(figures, "single_words").items():
        rights = {
            engine: figure for engine in (below if isinstance(below, Mapping) else ())
            if (figure := _measured(below, (engine, "right"))) is not None
        }  # fmt: skip
        ours = rights.pop(OURS, None)
        if ours is None or not rights:
            continue
        best = max(figure["rate"] for figure in rights.values())
        met = NOT_MET if ours["rate"] <= best else UNSURE if ours["low"] <= best else MET
        yield {"goal": BETTER_WORDS, "bound": best, "least": True, **ours, "condition": condition, "met": met}
    if figures.get("others"):
        better = better_elsewhere(figures)
        fair = [row for row in better if row["misses_no_more"]]
        for goal, rows in ((BETTER_NOWHERE, better), (BETTER_FAIRLY, fair)):
            yield {
                "goal": goal, "bound": 0.0, "least": False, "rate": len(rows), "low": len(rows), "high": len(rows),
                "unit": "figures", "condition": "all", "met": NOT_MET if rows else MET,
            }  # fmt: skip


def _met(goal: Goal, figure: Mapping[str, float]) -> str:
    rate, far = figure["rate"], figure["low" if goal.least else "high"]
    if (rate < goal.bound) if goal.least else (rate > goal.bound):
        return NOT_MET
    return UNSURE if ((far < goal.bound) if goal.least else (far > goal.bound)) else MET


def _conditions(figures: Figures, under: str) -> Mapping[str, object]:
    found = figures.get(under)
    return found if isinstance(found, Mapping) else {}


def _measured(below: object, path: Sequence[str]) -> dict[str, float] | None:
    """The figure at `path` as rate, low, high and, where there are, k, n and hours."""
    for key in path[:-1]:
        below = below.get(key) if isinstance(below, Mapping) else None
    value = below.get(path[-1]) if isinstance(below, Mapping) else None
    if isinstance(value, Mapping):
        return dict(value) if value.get("n") or "hours" in value else None
    if not isinstance(value, (int, float)):
        return None
    if path[-1].startswith("p") and isinstance(below, Mapping) and below.get("n", FEWEST) < FEWEST:
        return None
    ends = below.get(f"{path[-1]}_interval") if isinstance(below, Mapping) else None
    low, high = ends if ends else (value, value)
    low, high = (-inf if low is None else low), (inf if high is None else high)
    n = {"n": below["n"]} if isinstance(below, Mapping) and "n" in below else {}
    return {"rate": value, "low": low, "high": high, **n}


def _pooled(found: Sequence[Mapping[str, float]]) -> Mapping[str, float]:
    """Summed over conditions. The talk is the same in each, so the interval is narrower than it ought to be."""
    k = round(sum(f["k"] for f in found))
    if all("hours" in f for f in found):
        return per_hour(k, 3600 * sum(f["hours"] for f in found))
    return share(k, round(sum(f["n"] for f in found)))


def better_elsewhere(figures: Figures) -> list[dict[str, object]]:
    """Every figure in which another engine is better under the same condition, with both values.

    Of all rates, times and costs less is better, but for right single words. What
    hears nothing makes no mistakes and costs nothing, so each row tells what the
    other engine misses there, and whether that is no more than ours.
    """
    found: list[dict[str, object]] = []
    ours = dict(_rows(figures.get("conditions")))
    others = figures.get("others")
    for other in others if isinstance(others, list) else ():
        theirs = dict(_rows(other.get("conditions")))
        for path, value in theirs.items():
            if path in ours and value < ours[path]:
                missed = (path[0], "missed")
                found.append({
                    "row": " ".join(path), "ours": ours[path], "engine": other["engine"], "theirs": value,
                    "misses": theirs.get(missed), "misses_no_more": theirs.get(missed, 0.0) <= ours.get(missed, 0.0),
                })  # fmt: skip
    words = dict(_rows(figures.get("single_words")))
    for (condition, engine, *rest), value in words.items():
        mine = words.get((condition, OURS, *rest))
        if engine != OURS and mine is not None and value > mine:
            found.append({
                "row": " ".join((condition, "single words", *rest)), "ours": mine, "engine": engine, "theirs": value,
                "misses": None, "misses_no_more": True,
            })  # fmt: skip
    return found


def _rows(below: object, path: tuple[str, ...] = ()) -> Iterator[tuple[tuple[str, ...], float]]:
    """Every rate, percentile and cost with the keys that lead to it."""
    if not isinstance(below, Mapping):
        return
    if "rate" in below:
        if below["n"] or "hours" in below:
            yield path, float(below["rate"])
        return
    for key, value in below.items():
        if isinstance(value, Mapping):
            yield from _rows(value, (*path, key))
        elif isinstance(value, (int, float)) and (key in ("p50", "p95", "p99") or key.endswith("core_share")):
            yield (*path, key), float(value)
