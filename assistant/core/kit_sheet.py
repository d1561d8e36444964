"""The kit sheet: what a person copied from the leaflet of their own kit.

combside has no processing time of its own. Every minute it counts on somebody's
head comes from here, and the leaflet outranks the sheet.
"""

from __future__ import annotations

from enum import Enum
from typing import Annotated, Literal

from pydantic import BaseModel, ConfigDict, Field, model_validator

Minutes = Annotated[float, Field(gt=0, le=240)]
Hair = Literal["fine", "medium", "coarse"]
ProductClass = Literal["hydroxide", "hydroxide to mix", "thio", "bisulfite", "formaldehyde"]


class LimitMeans(str, Enum):
    """What the leaflet's greatest time runs from and to."""

    FIRST_TOUCH = "from the first touch to the rinse"
    BY_SECTION = "by section"
    UNTIL_CLEAR = "until clear"


class Sheet(BaseModel):
    """Base of every model read from a file: unknown keys are errors, values do not change."""

    model_config = ConfigDict(extra="forbid", frozen=True)


class ChartRow(Sheet):
    """One row of the leaflet's timing chart."""

    hair: Hair
    least_minutes: Minutes | None = None
    greatest_minutes: Minutes

    @model_validator(mode="after")
    def _least_first(self) -> ChartRow:
        if self.least_minutes is not None and self.least_minutes > self.greatest_minutes:
            raise ValueError("least_minutes is above greatest_minutes; read the leaflet's chart again")
        return self


class Span(Sheet):
    """A time with a least and a greatest, in minutes."""

    least: Minutes
    greatest: Minutes

    @model_validator(mode="after")
    def _least_first(self) -> Span:
        if self.least > self.greatest:
            raise ValueError("least is above greatest; read the leaflet again")
        return self


class StrandTest(Sheet):
    """What the leaflet says of the test on a strand."""

    check_every_minutes: Minutes = 3
    greatest_minutes: Minutes | None = Field(
        default=None, description="when the leaflet ends the test earlier than the chart does"
    )


class Waits(Sheet):
    """Weeks or days the leaflet asks for; None where it says nothing."""

    relaxer_weeks: Annotated[float, Field(ge=0, le=104)] | None = Field(
        default=None, description="between two relaxers"
    )
    colour_weeks: Annotated[float, Field(ge=0, le=104)] | None = Field(
        default=None, description="before and after permanent colour"
    )
    braids_weeks: Annotated[float, Field(ge=0, le=104)] | None = Field(
        default=None, description="after braids or extensions come out"
    )
    dandruff_weeks: Annotated[float, Field(ge=0, le=104)] | None = Field(
        default=None, description="around anti-dandruff shampoo"
    )
    wash_days: Annotated[float, Field(ge=0, le=60)] | None = Field(
        default=None, description="without washing before the relaxer"
    )
    halves_days: Annotated[float, Field(ge=1, le=365)] | None = Field(
        default=None,
        description="days between two halves of one head, only where the leaflet allows it on two days",
    )


class KitSheet(Sheet):
    """A kit sheet."""

    schema_version: Literal[1] = Field(default=1, alias="schema")
    name: Annotated[str, Field(min_length=1, max_length=80)]
    example: bool = Field(
        default=False, description="true only for the invented kit that ships with combside"
    )
    product_class: ProductClass
    limit_means: LimitMeans = LimitMeans.FIRST_TOUCH
    chart: Annotated[tuple[ChartRow, ...], Field(min_length=1)]
    mixing_least_minutes: Minutes | None = Field(
        default=None, description="for a cream that is mixed; at least one minute counts whatever is written"
    )
    strand_test: StrandTest = StrandTest()
    second_lather_minutes: Span
    conditioner_heat_minutes: Span
    conditioner_minutes: Span
    colour_indicator: bool = Field(
        default=False, description="the neutralising shampoo shows leftover cream by a colour"
    )
    zone_order: tuple[str, ...] = Field(
        default=(), description="the leaflet's own order, where it differs from the routine's"
    )
    least_age: Annotated[int, Field(ge=0, le=120)] | None = None
    waits: Waits = Waits()
    patch_test_hours: Annotated[float, Field(gt=0, le=336)] | None = Field(
        default=None, description="how long before the day the leaflet wants a patch test on the skin begun"
    )
    emergency: Annotated[str, Field(max_length=400)] = ""

    @model_validator(mode="after")
    def _whole(self) -> KitSheet:
        seen = [row.hair for row in self.chart]
        if len(set(seen)) != len(seen):
            raise ValueError("the chart has two rows for the same hair")
        if self.product_class == "hydroxide to mix" and self.mixing_least_minutes is None:
            raise ValueError("a cream to mix needs mixing_least_minutes from the leaflet")
        if self.product_class == "formaldehyde":
            raise ValueError(
                "formaldehyde-releasing heat kits are another class of product (an IARC carcinogen): "
                "not with combside"
            )
        return self

    def row_for(self, hair: Hair) -> ChartRow | None:
        """The chart's row for this hair, or None where the leaflet has none (then no limit and no run)."""
        return next((row for row in self.chart if row.hair == hair), None)
