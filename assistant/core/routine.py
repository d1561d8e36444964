"""A routine: the steps of one way of relaxing hair, as a person wrote them in YAML.

Here the shape of each step and what can be checked within the file. What needs
the kit sheet, the phrase book and the session's states is in `core.checks`.
"""

from __future__ import annotations

from typing import Annotated, Literal

from pydantic import Field, model_validator

from assistant.core.household import Name
from assistant.core.kit_sheet import Minutes, ProductClass, Sheet

Sentences = Annotated[tuple[Annotated[str, Field(min_length=2, max_length=120)], ...], Field(max_length=4)]
OnlyIf = Literal["always", "helper", "alone", "to mix", "colour indicator", "limit came down"]


class Zone(Sheet):
    """A part of the head.

    `resistance` 1..5 says how slowly it takes (most resistant first), `delicacy`
    1..5 how soon it is hurt; delicacy 4 and 5 go last whatever their resistance.
    Common practice, no source.
    """

    name: Annotated[str, Field(pattern=r"^[a-z]+( [a-z]+)?$")]
    resistance: Annotated[int, Field(ge=1, le=5)]
    delicacy: Annotated[int, Field(ge=1, le=5)]
    depth_cm: Annotated[float, Field(gt=0, le=60)] | None = Field(
        None, description="how far it reaches across its partings; with their width it gives their number"
    )
    parting_cm: Annotated[float, Field(ge=0.3, le=2.6)] | None = Field(
        None, description="its own parting width where it differs; up to 1 in on top is common practice"
    )


class Step(Sheet):
    """What every step has. `say` is for the person, `helper` for the helper; `caution` is spoken before both."""

    id: Annotated[str, Field(pattern=r"^[a-z][a-z0-9_]*$")]
    title: Annotated[str, Field(min_length=2, max_length=60)]
    caution: Sentences = ()
    say: Sentences = ()
    helper: Sentences = ()
    only_if: OnlyIf = "always"


class Confirm(Step):
    """Say it; wait until it is done."""

    kind: Literal["confirm"]


class Item(Sheet):
    name: Annotated[str, Field(min_length=2, max_length=60)]
    why: Annotated[str, Field(max_length=100)] = ""


class TickOff(Step):
    """A list, one item at a time; nothing goes on while one is missing."""

    kind: Literal["tick off"]
    items: Annotated[tuple[Item, ...], Field(min_length=1, max_length=30)]


class Both(Step):
    """Confirmed by the person and by the helper, each for themselves."""

    kind: Literal["both"]


class Must(Step):
    """A question whose only way on is yes; with no, nothing goes on the head today.

    `no_ends` false: no only holds the run until it can be asked again.
    `plays_alarm`: the rinse alarm sounds before the words, so that people know it.
    """

    kind: Literal["must"]
    if_no: Sentences
    no_ends: bool = True
    plays_alarm: bool = False


class ReadBack(Step):
    """The people set a timer of their own to the limit and read its value back."""

    kind: Literal["read back"]


class Stand(Step):
    """Something stands for a time with a least and a greatest."""

    kind: Literal["stand"]
    least_minutes: Minutes
    greatest_minutes: Minutes

    @model_validator(mode="after")
    def _least_first(self) -> Stand:
        if self.least_minutes > self.greatest_minutes:
            raise ValueError("least_minutes is above greatest_minutes")
        return self


class Mix(Step):
    """Mix until smooth and at least a minute (common practice, no source), or longer where the kit says so."""

    kind: Literal["mix"]


class Strand(Step):
    """A test on a strand; the time it takes can only lower the limit."""

    kind: Literal["strand test"]


class Cover(Step):
    """Cream on zone after zone."""

    kind: Literal["cover"]
    part: Literal["", "lengths", "scalp"] = Field(
        "", description="first-time hair: lengths first, scalp area last"
    )
    zones: tuple[str, ...] = Field(
        (), description="in this order; left out: every zone of the routine in its order"
    )


class Smooth(Step):
    """Smooth in the order of application."""

    kind: Literal["smooth"]


class LetWork(Step):
    """Stand by until the strand is straight or the rinse call comes."""

    kind: Literal["let work"]


class Rinse(Step):
    """Rinse until clear. Entering it is a rinse call like any other."""

    kind: Literal["rinse"]


class Lather(Step):
    """Neutralising shampoo, and out again."""

    kind: Literal["lather"]


class LatherStand(Step):
    """Neutralising shampoo that stands for the kit sheet's time."""

    kind: Literal["lather and stand"]


class Condition(Step):
    """Conditioner, with heat or without, for the kit sheet's time."""

    kind: Literal["condition"]


AnyStep = Annotated[
    Confirm
    | TickOff
    | Both
    | Must
    | ReadBack
    | Stand
    | Mix
    | Strand
    | Cover
    | Smooth
    | LetWork
    | Rinse
    | Lather
    | LatherStand
    | Condition,
    Field(discriminator="kind"),
]


class Routine(Sheet):
    """A routine."""

    schema_version: Literal[1] = Field(1, alias="schema")
    name: Annotated[str, Field(pattern=r"^[a-z][a-z0-9_]*$")]
    title: Name
    treats: Literal["never relaxed", "new growth"]
    helper: Literal["required", "welcome"]
    product_classes: Annotated[tuple[ProductClass, ...], Field(min_length=1)]
    zones: Annotated[tuple[Zone, ...], Field(min_length=1, max_length=12)]
    steps: Annotated[tuple[AnyStep, ...], Field(min_length=3)]
    aftercare: Sentences = ()

    def zone_names(self) -> tuple[str, ...]:
        return tuple(zone.name for zone in self.zones)
