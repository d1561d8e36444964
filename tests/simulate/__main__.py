"""`python -m tests.simulate --runs N --seed S --json F`: many whole runs with faults, counted.

Exit status 0 when no run failed, 1 when one did: each failing seed is printed
with the least trial that still fails. The same seed gives the same run.
"""

from __future__ import annotations

import argparse
import json
import multiprocessing
import os
import sys
import time
import traceback
from collections import Counter
from collections.abc import Iterable
from dataclasses import asdict, replace
from pathlib import Path

from tests.simulate.trial import FAULTS, Trial, draw
from tests.simulate.world import Result, World

SHOWN = 10
"""So many failing seeds are made small and shown."""


def simulate(trial: Trial) -> Result:
    """One run; whatever it raises is a failure with its traceback, never an end of the others."""
    try:
        return World(trial).run()
    except Exception:
        return Result(trial.seed, "error", 0.0, 0, error=traceback.format_exc(limit=-6))


def simulate_seed(seed: int) -> Result:
    return simulate(draw(seed))


def kind(result: Result) -> tuple[object, ...]:
    """What kind of failure it is, so that a smaller trial is one of the same."""
    last = result.error.strip().splitlines()[-1:] if result.error else []
    claims = tuple(sorted(breach.claim for breach in result.breaches))
    return bool(result.missed), bool(result.late), bool(result.lost_events), claims[:1], tuple(last)


def shrunk(trial: Trial) -> Trial:
    """The same failure with as few faults, slips and words off script as a greedy search finds."""
    wanted = kind(simulate(trial))
    while True:
        for smaller in _smaller(trial):
            if kind(simulate(smaller)) == wanted:
                trial = smaller
                break
        else:
            return trial


def _smaller(trial: Trial) -> Iterable[Trial]:
    for name in ("faults", "away", "shouts"):
        parts = getattr(trial, name)
        for i in range(len(parts)):
            yield replace(trial, **{name: parts[:i] + parts[i + 1 :]})
    home = trial.home
    for i in range(len(home.off_script)):
        rest = home.off_script[:i] + home.off_script[i + 1 :]
        yield replace(trial, home=home.model_copy(update={"off_script": rest}))
    calm = type(home.mistakes)()
    if home.mistakes != calm:
        yield replace(trial, home=home.model_copy(update={"mistakes": calm}))
    if home.says_no_to:
        yield replace(trial, home=home.model_copy(update={"says_no_to": ()}))
    if any(asdict(trial.hearing).values()):
        yield replace(trial, hearing=type(trial.hearing)(0.0, 0.0, 0.0, 0.0))


def counted(results: Iterable[Result]) -> dict[str, object]:
    """What many runs came to, ready for JSON."""
    total: Counter[str] = Counter()
    causes: Counter[str] = Counter()
    faults: Counter[str] = Counter(dict.fromkeys(FAULTS, 0))
    claims: Counter[str] = Counter()
    outcomes: Counter[str] = Counter()
    failing: list[int] = []
    levels: list[int] = []
    latest = 0.0
    for result in results:
        total.update(
            runs=1, missed=result.missed, late=result.late, lost_events=result.lost_events, events=result.events,
            calls_due=result.calls_due, calls_by_guard=result.called_by_guard, due_while_machine_off=result.while_off,
            resumed=result.resumed, events_only_in_memory_at_a_kill=result.unwritten_at_kill,
            virtual_hours=round(result.virtual_s / 3600, 6), runs_with_faults=bool(result.faults),
            over_limit_runs=bool(result.over_limit), errors=bool(result.error),
        )  # fmt: skip
        latest = max(latest, result.call_after_due_s)
        causes.update(result.over_limit)
        faults.update(result.faults)
        claims.update(breach.claim for breach in result.breaches)
        outcomes[result.outcome.partition(":")[0]] += 1
        if result.over_limit:
            levels.append(result.calls_in_all)
        if result.failed:
            failing.append(result.seed)
    causes.setdefault("late call", 0)
    return {
        **{name: round(value, 1) if isinstance(value, float) else int(value) for name, value in total.items()},
        "latest_call_after_due_s": round(latest, 2),
        "over_limit": dict(sorted(causes.items())),
        "calls_sounded_in_over_limit_runs": {
            "least": min(levels, default=0), "mean": round(sum(levels) / max(1, len(levels)), 1),
            "most": max(levels, default=0),
        },
        "breaches": dict(sorted(claims.items())),
        "outcomes": dict(sorted(outcomes.items())),
        "faults": dict(sorted(faults.items())),
        "failing_seeds": sorted(failing),
    }  # fmt: skip


def main(arguments: list[str] | None = None) -> int:
    parser = argparse.ArgumentParser(prog="python -m tests.simulate", description=__doc__)
    parser.add_argument("--runs", type=int, default=1000, help="how many runs (1000)")
    parser.add_argument("--seed", type=int, default=1, help="the first seed; each run has the next (1)")
    parser.add_argument("--json", type=Path, help="where the figures go")
    parser.add_argument(
        "--processes", type=int, default=os.cpu_count(), help="how many at a time (every core)"
    )
    given = parser.parse_args(arguments)
    began = time.perf_counter()
    seeds = range(given.seed, given.seed + given.runs)
    with multiprocessing.Pool(max(1, given.processes)) as pool:
        results = list(pool.imap(simulate_seed, seeds, chunksize=20))
    seconds = time.perf_counter() - began
    figures = counted(results)
    figures |= {"first_seed": given.seed, "seconds": round(seconds, 1), "processes": given.processes}
    figures["runs_per_minute"] = round(given.runs / seconds * 60)
    if given.json is not None:
        given.json.write_text(json.dumps(figures, indent=2) + "\n", encoding="utf-8")
    print(json.dumps(figures, indent=2))
    for result in [result for result in results if result.failed][:SHOWN]:
        told(result)
    return 1 if figures["failing_seeds"] else 0


def told(result: Result) -> None:
    """A failing seed, what failed, and the least trial that still fails."""
    print(f"\nseed {result.seed}: missed {result.missed}, late {result.late}, lost {result.lost_events}")
    for breach in result.breaches:
        print(f"  {breach.claim} at {breach.t:.1f} s: {breach.what}")
    if result.error:
        print(result.error)
    least = shrunk(draw(result.seed))
    print(f"  least: {least.routine}, alone {least.alone}, {least.means.value}, hearing {least.hearing}")
    print(f"  faults {[(str(f.at), f.what, round(f.for_s, 1)) for f in least.faults]}")
    print(
        f"  away {[(str(at), round(s)) for at, s in least.away]}, shouts {[str(at) for at in least.shouts]}"
    )
    print(
        f"  off script {[(str(o.at), o.say) for o in least.home.off_script]}, mistakes {least.home.mistakes}"
    )


if __name__ == "__main__":
    sys.exit(main())
