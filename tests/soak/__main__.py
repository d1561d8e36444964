"""`python -m tests.soak --runs 200 --seed S --json F`: rehearsals with faults, with real sound, counted.

Each takes about a minute. Every result is appended to the results file at once
(`--results`), and what stands there is not run again: a soak that was broken
off goes on. Exit status 1 when a call was missed or late, something recorded was
lost, or a rehearsal ended in an error; seeds are listed.

A rehearsal has no second process: a call that fell due while the program was
killed or the machine slept is counted by itself (`due_while_machine_off`).
"""

from __future__ import annotations

import argparse
import json
import multiprocessing
import sys
import tempfile
import time
import traceback
from collections import Counter
from collections.abc import Iterable
from pathlib import Path
from typing import Any

from assistant.app import load
from assistant.app.rehearse import Rehearsal, rehearse
from assistant.app.speech import open_speech
from assistant.core.household import Household
from assistant.files.places import routines_folder
from assistant.files.yaml_file import read
from assistant.screens.none import NoScreen
from tests.soak.homes import drawn, home_of

OFF = ("killed", "sleep")
UNHEARD = ("speaker_lost", "speaker_muted")
Summary = dict[str, Any]


def soaked(seed: int) -> Summary:
    """One rehearsal; what it came to, short enough for a line."""
    began = time.perf_counter()
    routine, content = drawn(seed)
    found: Summary = {"seed": seed, "routine": routine, "planned": [f["what"] for f in content["faults"]]}
    try:
        household = read(routines_folder() / load.EXAMPLE_HOUSEHOLD).into(Household)
        program = load.load_program(
            load.find_routine(routine), routines_folder() / load.EXAMPLE_KIT, household
        )
        speech = open_speech(program)
        with tempfile.TemporaryDirectory() as folder:
            result = rehearse(
                Rehearsal(
                    program,
                    home_of(content),
                    Path(folder),
                    speech.ears,
                    speech.voice,
                    NoScreen(),
                    speech.prompt_db,
                )
            )
        found |= judged(result)
    except Exception:
        found |= {"error": traceback.format_exc(limit=-6)}
    return found | {"wall_s": round(time.perf_counter() - began, 1)}


def judged(result: Summary) -> Summary:
    """What of a summary counts here; why a zone was over its limit, the tool's own faults first."""
    spans = fault_spans(result["faults"]["injected"], result["virtual_s"])
    calls = result["rinse_calls"]
    off = [c for c in calls if within(c["due"], spans, OFF, 1.0)]
    missed = sum(c["late"] and c["sounded"] is None for c in calls if c not in off)
    late = sum(c["late"] and c["sounded"] is not None for c in calls if c not in off)
    cause = (
        "late call" if missed or late
        else "machine off at the due time" if off
        else "people: nobody could hear the call" if any(within(c["due"], spans, UNHEARD, 0.0) for c in calls)
        else "people: went late, were slow, or began early"
    )  # fmt: skip
    over = result["over_limit_zones"]
    return {
        "outcome": result["outcome"] or "open", "finished": result["finished"], "missed": missed, "late": late,
        "lost": int(not result["journal_whole"]), "over_limit": {cause: len(over)} if over else {},
        "due_while_machine_off": len(off), "calls_due": len(calls),
        "calls_after_due_s": [round(c["sounded"] - c["due"], 3) for c in calls if c["sounded"] is not None],
        "causes": result["call_causes"], "restarts": result["restarts"], "phrases": result["phrases"],
        "false_accepts": result["false_accepts"], "self_triggers": result["self_triggers"],
        "faults": sorted({f["what"] for f in result["faults"]["injected"]}),
        "survived": result["faults"]["survived"], "virtual_s": result["virtual_s"],
    }  # fmt: skip


def fault_spans(injected: Iterable[Summary], end: float) -> list[tuple[str, float, float]]:
    """What failed from when to when."""
    spans, open_since = [], {}
    for fault in injected:
        if fault["begins"]:
            open_since.setdefault(fault["what"], fault["t"])
        elif fault["what"] in open_since:
            spans.append((fault["what"], open_since.pop(fault["what"]), fault["t"]))
    return spans + [(what, begin, end) for what, begin in open_since.items()]


def within(
    t: float, spans: Iterable[tuple[str, float, float]], kinds: tuple[str, ...], slack_s: float
) -> bool:
    return any(what in kinds and begin - slack_s <= t <= end + slack_s for what, begin, end in spans)


def counted(results: Iterable[Summary]) -> Summary:
    """All of them together, ready for JSON."""
    total: Counter[str] = Counter()
    causes: Counter[str] = Counter({"late call": 0})
    faults: Counter[str] = Counter()
    phrases: Counter[str] = Counter()
    outcomes: Counter[str] = Counter()
    seeds, failing = [], []
    for result in results:
        seeds.append(result["seed"])
        total["runs"] += 1
        if "error" in result:
            total["errors"] += 1
            failing.append(result["seed"])
            continue
        for name in (
            "missed",
            "late",
            "lost",
            "due_while_machine_off",
            "calls_due",
            "restarts",
            "false_accepts",
            "self_triggers",
        ):
            total[name] += result[name]
        total["survived"] += result["survived"]
        causes.update(result["over_limit"])
        faults.update(result["faults"])
        phrases.update(result["phrases"])
        outcomes[result["outcome"]] += 1
        if result["missed"] or result["late"] or result["lost"]:
            failing.append(result["seed"])
    names = (
        "runs",
        "missed",
        "late",
        "lost",
        "errors",
        "survived",
        "due_while_machine_off",
        "calls_due",
        "restarts",
    )
    return {
        **{name: total[name] for name in names},
        "false_accepts": total["false_accepts"], "self_triggers": total["self_triggers"],
        "over_limit_zones": dict(sorted(causes.items())), "phrases": dict(phrases), "outcomes": dict(outcomes),
        "faults": dict(sorted(faults.items())), "seeds": sorted(seeds), "failing_seeds": sorted(failing),
    }  # fmt: skip


def main(arguments: list[str] | None = None) -> int:
    parser = argparse.ArgumentParser(prog="python -m tests.soak", description=__doc__)
    parser.add_argument("--runs", type=int, default=200, help="how many rehearsals (200)")
    parser.add_argument("--seed", type=int, default=1, help="the first seed; each run has the next (1)")
    parser.add_argument("--json", type=Path, help="where the figures go")
    parser.add_argument("--results", type=Path, help="one line a run, appended; gone on from (beside --json)")
    parser.add_argument("--processes", type=int, default=2, help="how many at a time (2)")
    given = parser.parse_args(arguments)
    kept = given.results or Path(f"{given.json or 'soak'}.jsonl")
    done = [json.loads(line) for line in kept.read_text("utf-8").splitlines()] if kept.exists() else []
    wanted = range(given.seed, given.seed + given.runs)
    done = [result for result in done if result["seed"] in wanted]
    seeds = [seed for seed in wanted if seed not in {result["seed"] for result in done}]
    with (
        multiprocessing.Pool(given.processes, maxtasksperchild=10) as pool,
        kept.open("a", encoding="utf-8") as file,
    ):
        for result in pool.imap_unordered(soaked, seeds):
            file.write(json.dumps(result) + "\n")
            file.flush()
            done.append(result)
            state = (
                result.get("error") or f"{result['outcome']}, {result['faults']}, over {result['over_limit']}"
            )
            print(f"seed {result['seed']} {result['wall_s']} s: {state}", flush=True)
    figures = counted(done)
    print(json.dumps(figures, indent=2))
    if given.json is not None:
        given.json.write_text(json.dumps(figures, indent=2) + "\n", encoding="utf-8")
    return 1 if figures["failing_seeds"] else 0


if __name__ == "__main__":
    sys.exit(main())
