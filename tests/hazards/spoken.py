"""The shipped words with one response taken out, and what a run says: for the table's tests and their proof."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from contextlib import contextmanager
from dataclasses import dataclass, field
from datetime import date
from pathlib import Path

import assistant.core
from assistant.app.load import load_book, load_routine
from assistant.core.actions import Action, Say
from assistant.core.checks import plain
from assistant.core.household import Household
from assistant.core.phrases import PhraseBook
from assistant.core.program import Program, prepare
from assistant.core.reasons import Reason
from assistant.core.routine import Routine
from assistant.core.session import Stance, State
from assistant.files.places import routines_folder
from tests.programs import household, kit
from tests.walker import Walk


@dataclass
class Words:
    """What is spoken: the book, the routine and reasons for a no, each with nothing or something taken out."""

    book: PhraseBook = field(default_factory=load_book)
    routine: Routine = field(default_factory=lambda: load_routine(routines_folder() / "touch_up.yaml"))
    silent_reasons: tuple[str, ...] = ()

    def without(self, name: str) -> Words:
        """The same with the response `name` silent. Raises KeyError when there is none of that name."""
        kind, _, rest = name.partition(":")
        if kind == "no":
            return Words(self.book, self.routine, (rest,))
        if name == "aftercare":
            return Words(self.book, self.routine.model_copy(update={"aftercare": ()}))
        if kind == "item":
            return Words(self.book, self._without_item(rest))
        if kind == "step":
            return Words(self.book, self._without_step(*rest.split(":")))
        silent = self.book.said[name].model_copy(update={"person": (), "helper": ()})
        return Words(self.book.model_copy(update={"said": {**self.book.said, name: silent}}), self.routine)

    def _without_step(self, step_id: str, part: str = "say") -> Routine:
        fields = {"say": ("say", "helper"), "caution": ("caution",), "no": ("if_no",)}[part]
        if step_id not in {step.id for step in self.routine.steps}:
            raise KeyError(step_id)
        steps = tuple(
            step.model_copy(update=dict.fromkeys(fields, ())) if step.id == step_id else step
            for step in self.routine.steps
        )
        return self.routine.model_copy(update={"steps": steps})

    def _without_item(self, name: str) -> Routine:
        if name not in {item.name for step in self.routine.steps for item in getattr(step, "items", ())}:
            raise KeyError(name)
        steps = tuple(
            step.model_copy(update={"items": tuple(i for i in step.items if i.name != name)})
            if hasattr(step, "items") else step
            for step in self.routine.steps
        )  # fmt: skip
        return self.routine.model_copy(update={"steps": steps})

    def of(self, name: str) -> str:
        """Every word of the response `name`, as it is heard. Raises KeyError."""
        kind, _, rest = name.partition(":")
        if kind == "no":
            return _reasons()
        if name == "aftercare":
            texts: Sequence[str] = self.routine.aftercare
        elif kind == "item":
            items = [i for s in self.routine.steps for i in getattr(s, "items", ()) if i.name == rest]
            if not items:
                raise KeyError(rest)
            texts = [f"{items[0].name}. {items[0].why}"]
        elif kind == "step":
            step_id, _, part = rest.partition(":")
            step = {s.id: s for s in self.routine.steps}[step_id]
            texts = {
                "": (*step.say, *step.helper), "caution": step.caution, "no": getattr(step, "if_no", ()),
            }[part]  # fmt: skip
        else:
            entry = self.book.said[name]
            texts = (*entry.person, *entry.helper)
        return " ".join(texts)


def _reasons() -> str:
    """The source of the core, where reasons for a no have their words."""
    return " ".join(path.read_text("utf-8") for path in sorted(CORE.glob("*.py")))


CORE = Path(assistant.core.__file__).parent

_now: list[Words] = []
_shipped: list[Words] = []


def words() -> Words:
    """What is spoken at the moment: the shipped words, or those of `taken_out`."""
    if _now:
        return _now[-1]
    if not _shipped:
        _shipped.append(Words())
    return _shipped[0]


@contextmanager
def taken_out(name: str) -> Iterator[None]:
    """Within it the response `name` is not spoken."""
    _now.append(words().without(name))
    try:
        yield
    finally:
        _now.pop()


def prepared(
    people: Household | None = None, *, today: date | None = None, **kit_changes: object
) -> Program | tuple[Reason, ...]:
    """The touch-up with the words of the moment, or why not; a reason that was taken out is not told."""
    sheet = kit().model_copy(update=kit_changes)
    made = prepare(words().routine, sheet, people or household(), words().book, today=today)
    if isinstance(made, Program):
        return made
    return tuple(reason for reason in made if reason.rule not in words().silent_reasons)


def walk(**kit_changes: object) -> Walk:
    """A willing household at the beginning of the touch-up."""
    made = prepared(**kit_changes)  # type: ignore[arg-type]
    assert isinstance(made, Program)
    return Walk(made)


def at(stance: Stance, **kit_changes: object) -> Walk:
    return walk(**kit_changes).to(stance)


def at_step(step_id: str) -> Walk:
    """Just after the step's first words."""
    w = walk()
    wanted = next(i for i, step in enumerate(w.program.steps) if step.id == step_id)

    def there(state: State) -> bool:
        return state.step == wanted and state.stance is not Stance.READY

    return w.go(there)


def spoken(actions: Sequence[Action] | Walk) -> str:
    """Everything that was said, as it is heard."""
    told = [action for _, action in actions.actions] if isinstance(actions, Walk) else actions
    return " ".join(plain(action) for action in told if isinstance(action, Say))
