"""The whole-routine checks: what can only be seen with the phrase book, the kit and the session together.

`routine_problems` and `book_problems` need the file alone; `program_problems`
explores the session's states for a prepared program. Each problem says where in
the document it is (`loc`), what is wrong and how to mend it; lines and columns
are the files' business.
"""

from __future__ import annotations

import difflib
import itertools
from collections.abc import Callable, Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, field

from assistant.core.actions import Action, Say
from assistant.core.events import Begun, Event, Heard, Ticked
from assistant.core.hearing import LivePhrase
from assistant.core.phrase_distance import NEAREST, Pair, nearest_pairs, too_short_to_teach
from assistant.core.phrases import PLACEHOLDER, PhraseBook
from assistant.core.program import Program
from assistant.core.routine import (
    Cover,
    Lather,
    LatherStand,
    Mix,
    Must,
    ReadBack,
    Rinse,
    Routine,
    Smooth,
    Strand,
)
from assistant.core.session import CREAM_OUT, STOPS, TABLE, Stance, State, advance, live_names

Loc = tuple[str | int, ...]

DELICATE = 4
"""Zones this delicate go last, whatever their resistance (common practice, no source)."""
BETWEEN = ("cover", "smooth", "let work", "confirm", "rinse")
"""Kinds of steps that may stand between the first cream and the rinse."""


@dataclass(frozen=True, slots=True)
class Problem:
    """Something wrong in a document: where, what, and the mend."""

    loc: Loc
    message: str
    hint: str = ""


def did_you_mean(word: str, known: Iterable[str]) -> str:
    """ "did you mean 'hairline'?" or ""."""
    near = difflib.get_close_matches(word, list(known), n=1, cutoff=0.6)
    return f"did you mean '{near[0]}'?" if near else ""


def routine_problems(routine: Routine) -> list[Problem]:
    """What is wrong with a routine by itself."""
    return [*_zones(routine), *_steps(routine), *_order(routine)]


def _zones(routine: Routine) -> Iterator[Problem]:
    names = routine.zone_names()
    for i, zone in enumerate(routine.zones):
        if zone.name in names[:i]:
            yield Problem(("zones", i, "name"), f"zone '{zone.name}' is there twice", "give each zone once")
    tough = [z for z in routine.zones if z.delicacy < DELICATE]
    for before, after in itertools.pairwise(tough):
        if after.resistance > before.resistance:
            yield Problem(
                ("zones", routine.zones.index(after), "resistance"),
                f"zone '{after.name}' resists more than '{before.name}' before it",
                "most resistant first: move it up, or correct its resistance",
            )
    seen_delicate = ""
    for i, zone in enumerate(routine.zones):
        if zone.delicacy >= DELICATE:
            seen_delicate = zone.name
        elif seen_delicate:
            yield Problem(
                ("zones", i),
                f"zone '{zone.name}' comes after the delicate '{seen_delicate}'",
                "delicate zones go last",
            )
    for i, step in enumerate(routine.steps):
        if isinstance(step, Cover):
            for j, name in enumerate(step.zones):
                if name not in names:
                    hint = did_you_mean(name, names) or f"the routine's zones are {', '.join(names)}"
                    yield Problem(("steps", i, "zones", j), f"there is no zone '{name}'", hint)


def _steps(routine: Routine) -> Iterator[Problem]:
    ids = [step.id for step in routine.steps]
    for i, name in enumerate(ids):
        if name in ids[:i]:
            yield Problem(
                ("steps", i, "id"), f"step id '{name}' is there twice", "give each step an id of its own"
            )
    for i, step in enumerate(routine.steps):
        spoken = (*step.caution, *step.say, *step.helper)
        if not spoken:
            yield Problem(("steps", i), f"step '{step.id}' says nothing", "add 'say' with a sentence")


def _order(routine: Routine) -> Iterator[Problem]:
    """The order of the work: read back, mix, strand, cover, smooth, rinse, two lathers, the second standing."""
    steps = routine.steps

    def first(kind: type) -> int | None:
        return next((i for i, step in enumerate(steps) if isinstance(step, kind)), None)

    mix, cover, rinse, back = first(Mix), first(Cover), first(Rinse), first(ReadBack)
    alarm = next((i for i, s in enumerate(steps) if isinstance(s, Must) and s.plays_alarm), None)
    if cover is None:
        yield Problem(("steps",), "no step puts cream on", "add a step of kind 'cover'")
        return
    if rinse is None or rinse < cover:
        yield Problem(
            ("steps", cover),
            "cream goes on and no rinse follows: an exposure without an end",
            "add a step of kind 'rinse' after it",
        )
        return
    if mix is None or mix > cover:
        yield Problem(
            ("steps", cover), "cream goes on before it is mixed", "put a step of kind 'mix' before it"
        )
    before_cream = mix if mix is not None else cover
    if back is None or back > before_cream:
        yield Problem(
            ("steps", before_cream),
            "no timer of the people's own is set and read back before the cream is opened",
            "put a step of kind 'read back' before it",
        )
    if alarm is None or alarm > before_cream:
        yield Problem(
            ("steps", before_cream),
            "the people have not heard the rinse alarm before the cream is opened",
            "put a step of kind 'must' with 'plays_alarm: true' before it",
        )
    for i in range(cover + 1, rinse):
        if steps[i].kind not in BETWEEN:
            yield Problem(
                ("steps", i, "kind"),
                f"a step of kind '{steps[i].kind}' stands between the first cream and the rinse",
                f"there only: {', '.join(BETWEEN)}",
            )
    for i in range(rinse + 1, len(steps)):
        if isinstance(steps[i], Cover | Smooth | Mix | Strand):
            yield Problem(
                ("steps", i, "kind"),
                f"'{steps[i].kind}' after the rinse: nothing leads back to cream",
                "move it before the rinse",
            )
    lathers = [s for s in steps[rinse:] if isinstance(s, Lather | LatherStand)]
    if len(lathers) < 2 or not any(isinstance(s, LatherStand) for s in lathers[1:]):
        yield Problem(
            ("steps", rinse),
            "after the rinse come at least two lathers, the second one standing",
            "add steps of kind 'lather' and 'lather and stand'",
        )


def program_problems(
    program: Program,
    unknown_words: Callable[[Iterable[str]], tuple[str, ...]],
    pronunciations: Mapping[str, Sequence[str]],
) -> list[Problem]:
    """What is wrong with this routine in this language for this kit."""
    problems = list(_placeholders(program))
    if problems:
        return problems
    reached = explore(program)
    problems += _unreachable(program, reached)
    problems += _stops(reached, program)
    problems += _no_way_out(reached)
    live = program.live(program.book.heard)
    missing = unknown_words({word for phrase in live for word in phrase.text.split()})
    for word in missing:
        name = next(p.name for p in live if word in p.text.split())
        problems.append(
            Problem(
                ("heard", name),
                f"the recogniser does not know the word '{word}'",
                "say it another way, or use another recogniser",
            )
        )
    if not missing:
        problems += confusable(program, reached, pronunciations)
    return problems


def _placeholders(program: Program) -> Iterator[Problem]:
    known = program.domains()
    for i, step in enumerate(program.routine.steps):
        for part in ("caution", "say", "helper", "if_no"):
            for j, text in enumerate(getattr(step, part, ())):
                for name in PLACEHOLDER.findall(text):
                    if name not in ("limit", "person", "helper", "kit", "mix_least", "help"):
                        hint = (
                            did_you_mean(name, known)
                            or "there are {limit}, {person}, {helper}, {kit}, {mix_least}, {help}"
                        )
                        yield Problem(("steps", i, part, j), f"'{{{name}}}' stands for nothing here", hint)
    yield from book_problems(program.book, known)


def book_problems(book: PhraseBook, known: Iterable[str]) -> Iterator[Problem]:
    """Placeholders of the book's prompts that stand for nothing, and prompts or phrases the session needs and the book lacks."""
    known = list(known)
    for name, entry in book.said.items():
        for part in ("person", "helper"):
            for j, text in enumerate(getattr(entry, part)):
                for slot in PLACEHOLDER.findall(text):
                    if slot not in known:
                        yield Problem(
                            ("said", name, part, j),
                            f"'{{{slot}}}' stands for nothing",
                            did_you_mean(slot, known),
                        )
    taught = {name: entry.ways[0] for name, entry in book.heard.items()}
    for phrase in too_short_to_teach(book.live(book.heard, ()), taught):
        yield Problem(
            ("heard", phrase.name, "ways", 0),
            f"'{phrase.text}' is taught for '{phrase.name}' and is a single word",
            "put a way of several words first: one short word alone is badly heard",
        )
    needed = {trigger for row in TABLE.values() for trigger in row}
    for trigger in sorted(needed):
        plain = not trigger.startswith(("timer:", "key_")) and trigger not in (
            "begun",
            "doubted",
            "lost",
            "back",
        )
        if plain and trigger not in book.heard:
            yield Problem(
                ("heard",),
                f"the phrase '{trigger}' is missing",
                f"add '{trigger}' with its risk and its ways",
            )


@dataclass
class Reached:
    """One kind of state the exploration met, and where it can lead."""

    state: State
    leads_to: set[tuple[object, ...]] = field(default_factory=set)


def signature(state: State) -> tuple[object, ...]:
    """States alike in everything but their times. Where a call can not be taken back, what was to be done no longer matters."""
    over = state.call is not None and state.call.before is None
    return (
        state.stance, state.step, state.item, state.cream, () if over else state.todo, state.left_out, state.answered,
        state.question.asks if state.question else "", tuple(a.kind for a in state.asides),
        state.limit.seconds < state.limit_read_back,  # then the timer is set and read back once more
        (state.call.cause, bool(state.call.harms), state.call.by_voice, state.call.clear is not None) if state.call else None,
    )  # fmt: skip


def explore(program: Program, most: int = 20_000) -> dict[tuple[object, ...], Reached]:
    """Every kind of state that events can lead to: phrases (first way), and whatever is due next.

    Zones are only reported in their order, so that the number of states stays
    that of the routine and not of the orders a head could be covered in.
    """
    state, _ = advance(program, State(), Begun(0.0))
    reached = {signature(state): Reached(state)}
    waiting = [signature(state)]
    while waiting and len(reached) < most:
        here = reached[waiting.pop()]
        for event in possible(program, here.state):
            after, _actions = advance(program, here.state, event)
            there = signature(after)
            here.leads_to.add(there)
            if there not in reached:
                reached[there] = Reached(after)
                waiting.append(there)
    return reached


PATIENT = {
    Stance.RINSING: {"runs_clear": 200.0, "help_says_stop": 1300.0},
    Stance.CARE: {"help_says_stop": 1300.0},
}
"""Answers that only count after so many seconds under water."""


def possible(program: Program, state: State) -> Iterator[Event]:
    """What can happen in a state: each live phrase, and the next thing that is due."""
    t = state.t + 1.0
    if state.timers:
        yield Ticked(max(state.t, state.timers[0][0]))
    if state.stance is Stance.STRAND_WORKS:  # to its greatest time: a strand that is quick leads nowhere
        yield Ticked(max(at for at, _ in state.timers))
    if state.stance in PATIENT:
        for name, seconds in PATIENT[state.stance].items():
            yield Heard(state.t + seconds, name)
    for name in live_names(program, state):
        slot = program.book.heard[name].slot()
        if slot == "zone":
            if (name == "done_with" and state.todo) or (name == "started" and state.todo):
                yield Heard(t, name, state.todo[0])
        elif slot == "minutes":
            yield Heard(t, name, str(int(state.limit.seconds // 60)))
        else:
            yield Heard(t, name)


def _unreachable(program: Program, reached: Mapping[tuple[object, ...], Reached]) -> Iterator[Problem]:
    seen = {(r.state.step) for r in reached.values()}
    for i, step in enumerate(program.steps):
        if i not in seen and step.only_if == "always":
            yield Problem(
                ("steps", program.routine.steps.index(step)),
                f"nothing leads to step '{step.id}'",
                "check the steps before it",
            )


def _stops(reached: Mapping[tuple[object, ...], Reached], program: Program) -> Iterator[Problem]:
    told = set()
    for r in reached.values():
        if r.state.cream not in CREAM_OUT or r.state.stance is Stance.CLOSED:
            continue
        for name in set(STOPS) - set(live_names(program, r.state)):
            if (name, r.state.stance) not in told:
                told.add((name, r.state.stance))
                yield Problem(
                    ("heard", name),
                    f"the stop phrase '{name}' is not live while {r.state.stance.value}",
                    "this is a fault of combside: report it",
                )


def _no_way_out(reached: Mapping[tuple[object, ...], Reached]) -> Iterator[Problem]:
    for here, r in reached.items():
        if r.state.stance is not Stance.CLOSED and r.leads_to <= {here}:
            yield Problem(
                ("steps", r.state.step),
                f"no way leads out of '{r.state.stance.value}'",
                "add an answer that goes on",
            )


def live_together(program: Program, reached: Mapping[tuple[object, ...], Reached]) -> set[tuple[str, ...]]:
    """Every set of phrase names that is live at the same time."""
    return {live_names(program, r.state) for r in reached.values()}


def confusable(
    program: Program,
    reached: Mapping[tuple[object, ...], Reached],
    pronunciations: Mapping[str, Sequence[str]],
) -> list[Problem]:
    """Pairs that are live together, mean different things and sound alike."""
    live = program.live(program.book.heard)
    return [
        Problem(
            ("heard", pair.one.name),
            f"'{pair.one.text}' and '{pair.other.text}' are live together and sound alike "
            f"({pair.apart} phonemes apart, at least {NEAREST} are needed)",
            "say one of them another way",
        )
        for pair in pairs_live_together(program, reached, pronunciations, live, NEAREST)
    ]


def pairs_live_together(
    program: Program,
    reached: Mapping[tuple[object, ...], Reached],
    pronunciations: Mapping[str, Sequence[str]],
    live: Sequence[LivePhrase],
    below: float = float("inf"),
) -> list[Pair]:
    """Pairs of `live` less than `below` phonemes apart that some state takes at the same time, the nearest first."""
    sets = [set(names) for names in live_together(program, reached)]
    known: dict[tuple[str, str], bool] = {}

    def together(one: str, other: str) -> bool:
        if (one, other) not in known:
            known[one, other] = any(one in names and other in names for names in sets)
        return known[one, other]

    return nearest_pairs(live, pronunciations, below, together)


def spoken_with_live_stop(
    program: Program, reached: Mapping[tuple[object, ...], Reached]
) -> list[tuple[str, str]]:
    """Prompts that contain a stop phrase which would do something in the state they are spoken in: (prompt, phrase)."""
    found = []
    stops = list(program.live(STOPS))
    for r in reached.values():
        for event in possible(program, r.state):
            after, actions = advance(program, r.state, event)
            if after.cream not in CREAM_OUT:
                continue
            for prompt in _spoken(actions):
                text = f" {plain(prompt)} "
                for phrase in stops:
                    if f" {phrase.text} " in text and phrase.name in live_names(program, after):
                        again, _ = advance(program, after, Heard(after.t, phrase.name))
                        if signature(again) != signature(after):
                            found.append((prompt.name, phrase.text))
    return sorted(set(found))


def _spoken(actions: Iterable[Action]) -> Iterator[Say]:
    return (action for action in actions if isinstance(action, Say))


def plain(prompt: Say) -> str:
    """A prompt's words as they are heard: lower case, no punctuation."""
    words = " ".join(sentence.text for sentence in prompt.sentences).lower()
    return " ".join("".join(c if c.isalnum() or c == "'" else " " for c in words).split())
