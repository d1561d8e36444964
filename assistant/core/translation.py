"""A routine in another language: its texts alone, laid over the routine, which stays what it is.

Steps, their kinds and their order stand once, in the routine; a translation that
lacks a sentence or has one too many is refused, so that no caution is lost on the
way. Called by `app.load`.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from typing import Annotated, Literal

from pydantic import Field

from assistant.core.checks import Loc, Problem
from assistant.core.household import Name
from assistant.core.kit_sheet import KitSheet, Sheet
from assistant.core.routine import Cover, Item, Routine, Sentences, Step, TickOff

ZoneName = Annotated[str, Field(pattern=r"^[^\W\d_A-Z]+( [^\W\d_A-Z]+)?$")]
PARTS = ("caution", "say", "helper", "if_no", "items")


class StepTexts(Sheet):
    """A step's texts; what they are for says `core.routine`."""

    title: Annotated[str, Field(min_length=2, max_length=60)]
    caution: Sentences = ()
    say: Sentences = ()
    helper: Sentences = ()
    if_no: Sentences = ()
    items: tuple[Item, ...] = ()


class Translation(Sheet):
    """All texts of one routine in one language."""

    schema_version: Literal[1] = Field(1, alias="schema")
    routine: str
    language: Annotated[str, Field(pattern=r"^[a-z]{2,3}$")]
    title: Name
    zones: dict[str, ZoneName] = Field(description="each zone of the routine and its name here")
    steps: dict[str, StepTexts] = Field(description="by the id of the step")
    aftercare: Sentences = ()


def translation_problems(routine: Routine, texts: Translation) -> Iterator[Problem]:
    """What the translation lacks, and what it has for nothing."""
    yield from _same_names("zone", ("zones",), list(routine.zone_names()), list(texts.zones))
    if len(set(texts.zones.values())) != len(texts.zones):
        yield Problem(("zones",), "two zones have the same name", "give each a name of its own")
    yield from _same_names("step", ("steps",), [step.id for step in routine.steps], list(texts.steps))
    for step in routine.steps:
        told = texts.steps.get(step.id)
        for part in PARTS if told is not None else ():
            has, needs = len(getattr(told, part)), len(getattr(step, part, ()))
            if has != needs:
                yield Problem(
                    ("steps", step.id, part) if has else ("steps", step.id),
                    f"step '{step.id}' has {needs} of '{part}' and here are {has}",
                    "translate each one, in the same order",
                )
    if len(texts.aftercare) != len(routine.aftercare):
        yield Problem(
            ("aftercare",),
            f"the routine has {len(routine.aftercare)} sentences of aftercare and here are {len(texts.aftercare)}",
            "translate each one, in the same order",
        )


def translated(routine: Routine, texts: Translation) -> Routine:
    """The routine with these texts. They must have no `translation_problems`."""
    return routine.model_copy(
        update={
            "title": texts.title,
            "zones": tuple(z.model_copy(update={"name": texts.zones[z.name]}) for z in routine.zones),
            "steps": tuple(_step(step, texts.steps[step.id], texts.zones) for step in routine.steps),
            "aftercare": texts.aftercare,
        }
    )


def kit_in_words(kit: KitSheet, texts: Translation) -> KitSheet:
    """The kit sheet with its order of zones in the translation's names; what is no zone stays, to be refused."""
    return kit.model_copy(update={"zone_order": tuple(texts.zones.get(z, z) for z in kit.zone_order)})


def _step(step: Step, told: StepTexts, zones: Mapping[str, str]) -> Step:
    words: dict[str, object] = {
        "title": told.title,
        "caution": told.caution,
        "say": told.say,
        "helper": told.helper,
    }
    if told.if_no:
        words["if_no"] = told.if_no
    if isinstance(step, TickOff):
        words["items"] = told.items
    if isinstance(step, Cover):
        words["zones"] = tuple(zones[z] for z in step.zones)
    return step.model_copy(update=words)


def _same_names(kind: str, loc: Loc, needed: list[str], there: list[str]) -> Iterator[Problem]:
    for name in needed:
        if name not in there:
            yield Problem(loc, f"{kind} '{name}' is not translated", f"add '{name}'")
    for name in there:
        if name not in needed:
            yield Problem((*loc, name), f"the routine has no {kind} '{name}'", "take it out")
