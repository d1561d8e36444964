"""What in a kit sheet looks unlike any leaflet: to be read again, never corrected.

The leaflet always rules; these are ranges in which leaflets are usually found.
Contradictions are refused by `core.kit_sheet` itself.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from itertools import pairwise

from assistant.core.kit_sheet import ChartRow, KitSheet

Loc = tuple[str | int, ...]
TRADE = "common practice, no source"


@dataclass(frozen=True, slots=True)
class Usual:
    """Where a number of a leaflet usually lies, with where that is known from."""

    least: float
    greatest: float
    unit: str
    source: str

    def doubt(self, value: float | None) -> str:
        """What to say of `value`; "" where there is nothing to say."""
        if value is None or self.least <= value <= self.greatest:
            return ""
        return (
            f"{value:g} {self.unit} is outside what is usual, {self.least:g} to {self.greatest:g} "
            f"({self.source}). "
            "Read the leaflet again; what it says counts."
        )


USUAL: dict[str, Usual] = {
    "chart": Usual(10, 18, "minutes", "examples of trade charts from memory, no source"),
    "mixing_least_minutes": Usual(1, 5, "minutes", TRADE),
    "second_lather_minutes": Usual(2, 3, "minutes", f"{TRADE}, in part seen second-hand"),
    "conditioner_heat_minutes": Usual(10, 15, "minutes", TRADE),
    "conditioner_minutes": Usual(45, 60, "minutes", TRADE),
    "relaxer_weeks": Usual(6, 17, "weeks", "6 to 8 weeks, common practice; two to four months, American "
        "Academy of Dermatology, seen second-hand"),
    "colour_weeks": Usual(1, 4, "weeks", "two weeks, common practice, no source"),
    "braids_weeks": Usual(1, 4, "weeks", "two weeks, common practice, no source"),
    "dandruff_weeks": Usual(1, 4, "weeks", "two weeks, common practice, no source"),
    "wash_days": Usual(1, 7, "days", TRADE),
    "patch_test_hours": Usual(24, 72, "hours", TRADE),
    "least_age": Usual(12, 21, "years", TRADE),
}  # fmt: skip


@dataclass(frozen=True, slots=True)
class Doubt:
    """Something to read again in the leaflet; `loc` leads to it in the sheet."""

    loc: Loc
    words: str


def doubts(kit: KitSheet) -> tuple[Doubt, ...]:
    """Everything of the sheet that is worth reading again."""
    return (*_numbers(kit), *_between(kit))


def _numbers(kit: KitSheet) -> Iterator[Doubt]:
    found: list[tuple[Loc, str, float | None]] = []
    for i, row in enumerate(kit.chart):
        found += [
            (("chart", i, "greatest_minutes"), "chart", row.greatest_minutes),
        ]
    for name in ("second_lather_minutes", "conditioner_heat_minutes", "conditioner_minutes"):
        span = getattr(kit, name)
        found += [((name, "least"), name, span.least), ((name, "greatest"), name, span.greatest)]
    for name in ("relaxer_weeks", "colour_weeks", "braids_weeks", "dandruff_weeks", "wash_days"):
        found.append((("waits", name), name, getattr(kit.waits, name)))
    for name in ("mixing_least_minutes", "patch_test_hours", "least_age"):
        found.append(((name,), name, getattr(kit, name)))
    for loc, name, value in found:
        words = USUAL[name].doubt(value)
        if words:
            yield Doubt(loc, words)


def _between(kit: KitSheet) -> Iterator[Doubt]:
    """What does not fit together in the trade's eyes."""
    order = ("fine", "medium", "coarse")
    rows = sorted(kit.chart, key=lambda row: order.index(row.hair))
    for finer, coarser in pairwise(rows):
        if finer.greatest_minutes > coarser.greatest_minutes:
            yield Doubt(
                ("chart", kit.chart.index(finer), "greatest_minutes"),
                f"The chart gives {finer.hair} hair longer than {coarser.hair} hair; usually it is the "
                f"other way round ({TRADE}). "
                "Read the leaflet again; what it says counts.",
            )
    longest = max(_greatest(row) for row in kit.chart)
    test = kit.strand_test
    if test.greatest_minutes is not None and test.greatest_minutes > longest:
        yield Doubt(
            ("strand_test", "greatest_minutes"),
            f"The strand test may last {test.greatest_minutes:g} minutes, longer than the chart's "
            f"{longest:g}. Read the leaflet again.",
        )
    if test.check_every_minutes >= min(_greatest(row) for row in kit.chart):
        yield Doubt(
            ("strand_test", "check_every_minutes"),
            f"The strand would be looked at every {test.check_every_minutes:g} minutes, not once "
            f"before the chart's time is over.",
        )
    if kit.product_class == "hydroxide" and kit.mixing_least_minutes is not None:
        yield Doubt(
            ("mixing_least_minutes",),
            "A cream that is mixed is of class 'hydroxide to mix'; this sheet says 'hydroxide' and a "
            "time for mixing. Read the leaflet again.",
        )
    if kit.conditioner_heat_minutes.greatest > kit.conditioner_minutes.greatest:
        yield Doubt(
            ("conditioner_heat_minutes",),
            f"The conditioner stays on longer with heat than without ({TRADE}: shorter). Read the "
            f"leaflet again.",
        )
    if kit.least_age is None:
        yield Doubt(
            (), "The sheet gives no age; without one nobody under 18 is cleared. Look for it in the leaflet."
        )
    if not kit.emergency:
        yield Doubt((), "The sheet has no emergency text. Copy what the leaflet says about eyes and skin.")


def _greatest(row: ChartRow) -> float:
    return row.greatest_minutes
