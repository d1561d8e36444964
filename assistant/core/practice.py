"""A practice run: the same walk with conditioner instead of cream, to learn this household's pace and walk.

`practise` turns a prepared Program into its practice; the session runs it like
any other, so that what is timed is timed alike. What is only for the cream is
left out (consultation, mixing, strand test, lathers), nothing that is spoken is
about it, and every start says that it is practice. What it measured of the walk
stands in its diary entry: `walked`. Called by the app.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass, replace

from assistant.core.diary import RunRecord
from assistant.core.household import Household
from assistant.core.phrases import PhraseBook, SaidEntry
from assistant.core.program import Program
from assistant.core.routine import AnyStep, Confirm, Cover, Rinse, Smooth

KEPT = (Cover, Smooth, Rinse)
"""Kinds of steps whose work is practised."""

SAY: Mapping[str, tuple[tuple[str, ...], tuple[str, ...]]] = {
    "cover": (("Practice. Conditioner only, on damp hair.",), ("Work as you would on the day.",)),
    "smooth": (("Practice. Smooth the conditioner with your fingers.",), ()),
    "rinse": (("Practice. Lukewarm water, zone by zone.",), ()),
}
"""What each step says instead of its own words, for the person and for the helper."""

OPENING = Confirm(
    id="practice",
    kind="confirm",
    title="practice without cream",
    say=(
        "This is practice, with conditioner only.",
        "Leave the kit shut and out of the room. Say: next step.",
    ),
    helper=("Conditioner in the bowl, nothing else.",),
)

SAID: Mapping[str, SaidEntry] = {
    "call": SaidEntry(
        priority="rinse call",
        person=("Practice. Go to the sink now.",),
        helper=("Walk as you would on the day.",),
    ),
    "burn_check": SaidEntry(priority="information", person=("Practice. Is all well?",)),
    "burn_check.louder": SaidEntry(priority="information", person=("Practice. Is all well? Answer me.",)),
    "burn_check.tone": SaidEntry(priority="caution", person=("Practice. I hear no answer.",)),
    "burn_check.key": SaidEntry(priority="caution", person=("If all is well, press any key or the pedal.",)),
    "call.nobody": SaidEntry(
        priority="rinse call", person=("Practice. Nobody answers. Go to the sink now.",)
    ),
    "started.early": SaidEntry(
        priority="caution", person=("Practice. {zone} is begun. The clock runs from now.",)
    ),
    "has_cream": SaidEntry(person=("{zone} counts as covered.",)),
    "left_out": SaidEntry(person=("{zone} left out.",)),
    "left_out.roots": SaidEntry(person=("The roots of the {zone} are left out.",)),
    "forecast.no_new_zone": SaidEntry(
        priority="caution", person=("Practice. The rest will not fit in the time.",)
    ),
    "after_harm": SaidEntry(priority="caution", person=("When in doubt ask a doctor first.",)),
    "clear.too_soon": SaidEntry(person=("Every zone needs its water first.", "Keep rinsing the whole head.")),
    "lost.guard": SaidEntry(priority="caution", person=("Practice. My second clock has stopped.",)),
    "guard.stopped": SaidEntry(priority="caution", person=("Practice. The main program has stopped.",)),
    "guard.on": SaidEntry(priority="information", person=("Practice. The clock has run for {on}.",)),
    "guard.left": SaidEntry(priority="information", person=("Practice. {until} until the water.",)),
    "guard.start": SaidEntry(priority="information", person=("Practice can be begun again.",)),
    "guard.call": SaidEntry(priority="rinse call", person=("Practice. Go to the sink now.",)),
    "guard.remind": SaidEntry(priority="information", person=("Practice. Keep rinsing.",)),
    "finished": SaidEntry(person=("Practice is over. The times are kept.",)),
    "stopped": SaidEntry(person=("Practice ends here.",)),
}
"""Prompts that would be about the cream, as they are in practice. First aid keeps its words: harm is harm."""


def practise(program: Program) -> Program:
    """The same people, zones and limit, with conditioner."""
    steps = (OPENING, *(practised(step) for step in program.steps if isinstance(step, KEPT)))
    routine = program.routine.model_copy(update={"steps": steps, "aftercare": (), "title": "practice"})
    return replace(program, routine=routine, steps=steps, book=practice_book(program.book))


def practised(step: AnyStep) -> AnyStep:
    say, helper = SAY[step.kind]
    return step.model_copy(update={"caution": (), "say": say, "helper": helper, "only_if": "always"})


def practice_book(book: PhraseBook) -> PhraseBook:
    return book.model_copy(
        update={"said": {**book.said, **{n: e for n, e in SAID.items() if n in book.said}}}
    )


QUICKEST_WALK_S = 5.0
"""Nobody hears a call, gets up, walks and has water running sooner: an answer before that measured nothing (our choice)."""


@dataclass(frozen=True, slots=True)
class Walked:
    """What a practice run measured of the water, in seconds: from the call to running water, and rinsing in all."""

    to_the_water: float
    rinsing: float | None


def walked(record: RunRecord) -> Walked | None:
    """The walk of a practice run; None for any other run, where no water ran after a call or somebody said so too soon.

    Only a call that somebody may walk to as on the day counts: the planned one or the clock's.
    """
    if record.kind != "practice":
        return None
    for call in record.calls:
        if call.acknowledged_s is not None and not call.withdrawn and call.cause in ("planned", "clock"):
            took = call.acknowledged_s - call.sounded_s
            rinsing = None if call.clear_s is None else call.clear_s - call.acknowledged_s
            return Walked(took, rinsing) if took >= QUICKEST_WALK_S else None
    return None


def with_walk(household: Household, walks: Iterable[Walked]) -> Household:
    """The household with its walk as measured: the slowest of the practice runs."""
    times = [w.to_the_water for w in walks]
    if not times:
        return household
    water = household.water.model_copy(update={"walk_seconds": min(600.0, max(times))})
    return household.model_copy(update={"water": water})
