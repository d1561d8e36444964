"""The page of states: its diagram and its tables are what the table of `core.session` does when it is tried.

Every kind of state that the whole head's routine can be in is taken, everything
that can happen in it is let happen, and where that leads is an arrow. So the page
can not say what the table does not.
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterable, Iterator, Mapping
from dataclasses import replace

from assistant.core.checks import Reached, possible
from assistant.core.events import Heard, Pressed, Ticked
from assistant.core.program import Program
from assistant.core.session import STOPS, TABLE, Aside, Cream, Stance, State, advance, row, trigger_of
from tests.docs.fences import DOCS

PAGE = DOCS / "states.md"
NEXT, BEFORE, ANEW, WAS = "next step", "step before", "same step anew", "what was before"
APART = frozenset({Stance.RINSE_CALL, Stance.RINSING, Stance.CARE, Stance.AWAY, Stance.HALTED, Stance.CLOSED})
"""States of no step of their own."""
EVERYWHERE = ("[call]", "[burn unanswered]", "started")
ALIKE = frozenset({*STOPS, "key_stop", *EVERYWHERE})
"""What leads to the same from nearly every state: told below the diagram, not drawn from each."""
TAKEN_BACK = "false_alarm with a key"

Arrows = Mapping[tuple[str, str], set[str]]

INTRO = """# The states of a run

Made by `python -m tests.docs` from the transition table at the end of `assistant/core/session.py`: each state was
tried with everything that can happen in it. Written by hand it would grow stale; the tests hold it to the table.

On an arrow stands what leads along it: a phrase by its name in `routines/phrases/en.yaml`, a key (`key yes`), or in
brackets a clock that ran out (`[lumps]`). What changes no state is left out: a question, a doubt, a warning.
"""


def arrows(program: Program, reached: Iterable[Reached]) -> Arrows:
    """From where to where, and what leads there."""
    found: dict[tuple[str, str], set[str]] = defaultdict(set)
    for state in (r.state for r in reached):
        for what, after in happenings(program, state):
            there = place(state, after, what)
            if there != state.stance.value:
                found[state.stance.value, there].add(what)
    return found


def happenings(program: Program, state: State) -> Iterator[tuple[str, State]]:
    """What can happen, by name, and the state it leads to: phrases, keys, each clock that runs by itself."""
    t = state.t + 1.0
    for event in possible(program, state):
        if not isinstance(event, Ticked):
            yield trigger_of(event), advance(program, state, event)[0]
    for trigger in row(state):
        if trigger.startswith("key_"):
            yield trigger, advance(program, state, Pressed(t, trigger.removeprefix("key_")))[0]
    if "started" in row(state):
        yield "started", advance(program, state, Heard(t, "started", program.zones[0]))[0]
    for _, name in state.timers:
        alone = replace(state, timers=((t, name),), sign=0.0, asides=tuple(map(silent, state.asides)))
        yield f"[{name}]", advance(program, alone, Ticked(t))[0]
    if state.stance is Stance.RINSE_CALL and state.call is not None and state.call.by_voice:
        worded, _ = advance(
            program, replace(state, t=state.call.since), Heard(state.call.since, "false_alarm")
        )
        yield TAKEN_BACK, advance(program, worded, Pressed(worded.t, "yes"))[0]


def silent(aside: Aside) -> Aside:
    """The question asked in every way, and nobody has answered."""
    return replace(aside, question=replace(aside.question, tries=3))


def place(state: State, after: State, what: str) -> str:
    """The state's name, or the step before or after, whichever that is in a routine."""
    if what == TAKEN_BACK:
        return WAS
    if after.outcome == "finished":
        return NEXT
    if after.stance in APART or what in ALIKE:
        return after.stance.value
    if after.step != state.step:
        return NEXT if after.step > state.step else BEFORE
    return ANEW if state.stance in (Stance.HALTED, Stance.RINSING) else after.stance.value


def stops(program: Program, reached: Iterable[Reached]) -> dict[tuple[str, str], set[str]]:
    """Where the cream is and which stop phrase: where it leads. First aid under way is a place of its own."""
    found: dict[tuple[str, str], set[str]] = defaultdict(set)
    for state in (r.state for r in reached):
        if state.stance in APART:
            continue
        for phrase in STOPS:
            after, _ = advance(program, state, Heard(state.t, phrase))
            found[state.cream.value, phrase].add(after.stance.value)
    return found


def unused(reached: Iterable[Reached]) -> list[str]:
    seen = {r.state.stance for r in reached} | {Stance.READY}
    return sorted(stance.value for stance in TABLE if stance not in seen) or ["none"]


def page(program: Program, reached: Iterable[Reached]) -> str:
    """The whole page, as Markdown with a Mermaid diagram."""
    kept = list(reached)
    all_arrows = arrows(program, kept)
    drawn = {
        ends: names - ALIKE
        for ends, names in sorted(all_arrows.items())
        if names - ALIKE and ends[1] != BEFORE
    }
    lines = [INTRO, "```mermaid", "stateDiagram-v2"]
    nodes = sorted({node for ends in drawn for node in ends})
    lines += [f'  state "{node}" as {_id(node)}' for node in nodes]
    lines += [f"  {_id(a)} --> {_id(b)}: {_told(names)}" for (a, b), names in drawn.items()]
    lines += ["```", ""]
    lines += [
        "What the *next step* is says the routine; after the last one the run is closed. With cream on the head, the",
        "step of the rinse is entered with the *rinse call*.",
        "",
        f"In the table, and in no state of this routine: {', '.join(unused(kept))}.",
        "",
        f"`go_back` leads to the step before from: {', '.join(sorted(a for a, b in all_arrows if b == BEFORE))}.",
        "",
        "## What stops",
        "",
        "Wherever a step is at work, by where the cream is. `key stop` does what `stop_now` does.",
        "",
        "| the cream | " + " | ".join(f"`{phrase}`" for phrase in STOPS) + " |",
        "|---|" + "---|" * len(STOPS),
    ]
    table = stops(program, kept)
    for cream in Cream:
        cells = [" or ".join(sorted(table[cream.value, phrase])) or "-" for phrase in STOPS]
        lines.append(f"| {cream.value} | " + " | ".join(cells) + " |")
    lines += ["", "## What leads to the same from many states", ""]
    for what in EVERYWHERE:
        for there in sorted({b for (_, b), names in all_arrows.items() if what in names}):
            ways = sorted(a for (a, b), names in all_arrows.items() if what in names and b == there)
            lines.append(f"- `{what}` leads to *{there}* from: {', '.join(ways)}.")
    return "\n".join([*lines, ""])


def _told(names: set[str]) -> str:
    return ", ".join(sorted(names)).replace("_", " ")


def _id(node: str) -> str:
    return node.replace(" ", "_")
