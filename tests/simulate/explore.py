"""`python -m tests.simulate.explore`: every kind of state the shipped routines can be in, and where each leads.

Time is abstracted to the events that matter (`core.checks.possible`: each live
phrase, each answer that counts only after its least time, the next thing that
is due), and every key is pressed in every state besides. Printed: states and
transitions; held: the stop phrases, the ways out, no way from the rinse back to
cream. Exit status 1 when one of these does not hold.
"""

from __future__ import annotations

import argparse
import json
import sys
from collections import Counter
from collections.abc import Mapping
from dataclasses import dataclass, field
from pathlib import Path

from assistant.core.checks import possible, signature
from assistant.core.events import Begun, Heard, Pressed
from assistant.core.program import Program
from assistant.core.session import KEY_MEANS_CALL_S, Cream, Stance, State, advance, live_names
from tests.programs import ROUTINES
from tests.programs import program as prepared
from tests.simulate.claims import BEFORE_THE_RINSE, OUT, STOP_WORDS, response

KEYS = ("yes", "no", "again", "stop")
Kind = tuple[object, ...]


@dataclass
class Explored:
    """What was met: one state of each kind, and the kinds each leads to."""

    states: dict[Kind, State] = field(default_factory=dict)
    ways: dict[Kind, set[Kind]] = field(default_factory=dict)

    @property
    def transitions(self) -> int:
        return sum(len(there) for there in self.ways.values())


def explored(program: Program) -> Explored:
    """Every kind of state that phrases, keys and time lead to."""
    state, _ = advance(program, State(), Begun(0.0))
    found = Explored({signature(state): state})
    waiting = [signature(state)]
    while waiting:
        here = waiting.pop()
        state = found.states[here]
        ways = found.ways.setdefault(here, set())
        keys = [Pressed(state.t + KEY_MEANS_CALL_S, key) for key in KEYS]
        for event in (*possible(program, state), *keys):
            after, _ = advance(program, state, event)
            there = signature(after)
            ways.add(there)
            if there not in found.states:
                found.states[there] = after
                waiting.append(there)
    return found


def deaf_to_a_stop(program: Program, found: Explored) -> tuple[int, list[str]]:
    """From every state with cream out each stop phrase leads to the response for where the cream is: tried, wrong."""
    tried, wrong = 0, []
    for state in found.states.values():
        if state.cream not in OUT or state.stance is Stance.CLOSED:
            continue
        live = set(live_names(program, state))
        for phrase in sorted(STOP_WORDS):
            after, _ = advance(program, state, Heard(state.t, phrase))
            tried += 1
            if phrase not in live or after.stance not in response(state.cream, phrase, state.stance):
                wrong.append(f"'{phrase}' in '{state.stance.value}' leads to '{after.stance.value}'")
    return tried, wrong


def without_a_way_out(found: Explored) -> list[str]:
    """States that lead nowhere but to themselves."""
    return [
        f"nothing leads out of '{found.states[here].stance.value}' (step {found.states[here].step})"
        for here, ways in found.ways.items()
        if found.states[here].stance is not Stance.CLOSED and ways <= {here}
    ]


def never_closed(found: Explored) -> list[str]:
    """States from which the end of the run can not be reached, by whatever is said, pressed or waited for."""
    back: dict[Kind, set[Kind]] = {}
    for here, ways in found.ways.items():
        for there in ways:
            back.setdefault(there, set()).add(here)
    ends = [kind for kind, state in found.states.items() if state.stance is Stance.CLOSED]
    reaches, waiting = set(ends), list(ends)
    while waiting:
        for here in back.get(waiting.pop(), set()) - reaches:
            reaches.add(here)
            waiting.append(here)
    return [f"no end from '{found.states[k].stance.value}'" for k in found.states.keys() - reaches]


def back_to_cream(found: Explored) -> tuple[int, list[str]]:
    """States after a call by the clock or after the rinse, and those before the rinse that they lead to."""
    begins = [
        kind for kind, state in found.states.items()
        if state.cream is Cream.RINSED
        or (state.call is not None and not state.call.by_voice and state.cream is Cream.HEAD)
    ]  # fmt: skip
    after, waiting = set(begins), list(begins)
    while waiting:
        for there in found.ways[waiting.pop()] - after:
            after.add(there)
            waiting.append(there)
    wrong = [found.states[kind] for kind in after if found.states[kind].stance in BEFORE_THE_RINSE]
    return len(after), [f"back in '{state.stance.value}'" for state in wrong]


def figures(program: Program) -> dict[str, object]:
    """The numbers and every problem, ready for JSON."""
    found = explored(program)
    tried, deaf = deaf_to_a_stop(program, found)
    after, back = back_to_cream(found)
    stances = Counter(state.stance.value for state in found.states.values())
    return {
        "states": len(found.states),
        "transitions": found.transitions,
        "stop_phrases_tried": tried,
        "states_after_the_rinse_call": after,
        "stances": dict(sorted(stances.items())),
        "problems": sorted({*deaf, *without_a_way_out(found), *never_closed(found), *back}),
    }


def main(arguments: list[str] | None = None) -> int:
    parser = argparse.ArgumentParser(prog="python -m tests.simulate.explore", description=__doc__)
    parser.add_argument("--json", type=Path, help="where the figures go")
    given = parser.parse_args(arguments)
    told: dict[str, Mapping[str, object]] = {}
    for name in ROUTINES:
        for alone in (False, True):
            try:
                program = prepared(name, alone=alone)
            except AssertionError:  # this routine needs a helper
                continue
            who = "alone" if alone else "two people"
            told[f"{name}, {who}"] = found = figures(program)
            print(
                f"{name}, {who}: {found['states']} states, {found['transitions']} transitions, "
                f"{found['stop_phrases_tried']} stop phrases tried, {found['problems'] or 'no problem'}"
            )
    if given.json is not None:
        given.json.write_text(json.dumps(told, indent=2) + "\n", encoding="utf-8")
    return 1 if any(found["problems"] for found in told.values()) else 0


if __name__ == "__main__":
    sys.exit(main())
