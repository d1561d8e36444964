"""The strand test by itself, days before: a walk of its own, and the result that it or a run's own test left.

`walk_strand` turns a prepared Program into the walk; the session runs it like
any other. No zone is covered, so no phrase about zones can be heard; stop
phrases and first aid are the run's. Called by the app.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import replace
from datetime import date

from assistant.core.actions import Say
from assistant.core.events import Event
from assistant.core.phrases import SaidEntry
from assistant.core.program import Program
from assistant.core.routine import AnyStep, Both, Confirm, Item, Mix, Must, Strand, TickOff
from assistant.core.session import Stance, State, advance
from assistant.core.strand_test import Outcome, StrandResult

NOT_HEARD = ("started", "done_with", "leave_out")
"""Phrases about zones: there are none here."""

BEFORE: tuple[AnyStep, ...] = (
    Confirm(
        id="strand_begin",
        kind="confirm",
        title="a test on one strand",
        caution=("This cream can burn skin and eyes.", "The kit's own leaflet always rules."),
        say=(
            "This is a test on one strand. Nothing goes on the head.",
            "Read what the leaflet says of it. Then say: next step.",
        ),
        helper=("You watch the strand with us.",),
    ),
    TickOff(
        id="strand_layout",
        kind="tick off",
        title="laying out",
        say=("I name what is needed, one by one.", "Answer: we have it, or: that is missing."),
        items=(
            Item(name="the kit and its leaflet"),
            Item(name="gloves", why="A drop on the skin burns."),
            Item(name="a small plastic bowl and a plastic stick", why="Metal spoils the cream."),
            Item(name="a plastic clip for the strand"),
            Item(name="neutralising shampoo open at the sink"),
            Item(name="a damp cloth for skin"),
            Item(name="a dry towel"),
        ),
    ),
    Confirm(
        id="strand_words",
        kind="confirm",
        title="the words for the strand",
        say=(
            "Later you say: the strand is straight, or: not straight yet.",
            "If it is harmed, say: the strand broke, or: it feels gummy.",
            "If anything hurts, say: stop right now, or: my skin burns.",
            "Say: next step.",
        ),
    ),
    Both(
        id="strand_gloves",
        kind="both",
        title="metal off and gloves on",
        caution=("From now on the cream is open.",),
        say=("Metal off, lenses out, gloves on.", "Then say: I am ready."),
        helper=("You too. Then say: helper is ready.",),
    ),
    Mix(
        id="strand_mix",
        kind="mix",
        title="a small part of the cream",
        caution=("No metal in the bowl. Keep it off skin.",),
        say=("Take a small part, as the leaflet says, and stir it.", "I count the time."),
    ),
)
STRAND = Strand(
    id="strand",
    kind="strand test",
    title="the strand",
    say=("Cream on one hidden strand, away from the scalp.", "Tell me when it is on."),
)
"""For a routine that has no strand test of its own."""
DRY = Must(
    id="strand_dry",
    kind="must",
    title="the strand when it is dry",
    say=(
        "Lather the strand with the neutralising shampoo. Rinse and dry it.",
        "Pull it gently. Whole, and it springs back? Yes please, or not yet?",
    ),
    if_no=("Not on this head.", "Ask a licensed professional before anything else."),
)
AFTER = Confirm(
    id="strand_end",
    kind="confirm",
    title="cleaning up",
    say=("Throw away what is left in the bowl and wash it.", "Then say: next step."),
)
SAID = {
    "finished": SaidEntry(person=("The strand test is done and kept.",)),
    "stopped": SaidEntry(person=("We stop here. Nothing goes on the head.",)),
}


def walk_strand(program: Program) -> Program:
    """The same people, kit and limit, and a walk with one strand."""
    own = next((step for step in program.steps if isinstance(step, Strand)), STRAND)
    steps = (*BEFORE, own, DRY, AFTER)
    book = program.book.model_copy(
        update={
            "heard": {n: e for n, e in program.book.heard.items() if n not in NOT_HEARD},
            "said": {**program.book.said, **SAID},
        }
    )
    routine = program.routine.model_copy(update={"steps": steps, "aftercare": (), "title": "strand test"})
    return replace(program, routine=routine, steps=steps, book=book)


def result_of(program: Program, events: Iterable[Event], on: date) -> StrandResult | None:
    """What became of the strand, in a walk of its own or in a run; None where none was tested to an end."""
    state = State()
    found: tuple[Outcome, float] | None = None
    for event in events:
        before = state
        state, actions = advance(program, state, event)
        names = {action.name for action in actions if isinstance(action, Say)}
        if before.stance is Stance.STRAND_WORKS and before.strand_since is not None:
            minutes = (state.t - before.strand_since) / 60
            if names & {"strand.straight", "strand.too_quick"}:
                found = "straight", max(1.0, float(int(minutes)))
            elif "strand.over" in names:
                found = "not straight", minutes
            elif "strand.bad" in names:
                found = "harmed", minutes
        if found is not None and f"step:{DRY.id}:no" in names:
            found = "harmed", found[1]
    if found is None:
        return None
    outcome, took = found
    return StrandResult(
        person=program.household.person,
        kit=program.kit.name,
        hair=program.hair,
        on=on,
        outcome=outcome,
        minutes=round(max(took, 0.01), 2),
    )
