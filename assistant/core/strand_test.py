"""The strand test's result: what it says of the limit, or that it says no.

A frozen value to be stored beside the kit sheet, and pure functions on it. Who
walks the people through the test is the session's business, where it is stored
the files'. Called by `core.program`.
"""

from __future__ import annotations

from collections.abc import Iterable
from datetime import date
from typing import Literal

from pydantic import Field, model_validator

from assistant.core.kit_sheet import Hair, KitSheet, Minutes, Sheet
from assistant.core.reasons import Limit, Reason

Outcome = Literal["straight", "not straight", "broke", "gummed", "changed colour", "harmed"]
"""Harmed: it broke, gummed or changed colour, and which of them was not told."""
BAD = ("broke", "gummed", "changed colour", "harmed")
"""Any of these and nothing goes on the head (strand test before: vocational curriculum)."""

GOOD_FOR_DAYS = 56
"""Hair changes: a test older than the shortest time between two relaxers is done again (our choice)."""


WENT = {outcome: outcome for outcome in BAD} | {"harmed": "was harmed"}


class StrandResult(Sheet):
    """One test on one strand. `minutes` until it was straight, or how long it was on."""

    schema_version: Literal[1] = Field(default=1, alias="schema")
    person: str = Field(min_length=1, max_length=40)
    kit: str = Field(min_length=1, max_length=80, description="the kit sheet's name")
    hair: Hair
    on: date
    outcome: Outcome
    minutes: Minutes

    @model_validator(mode="after")
    def _a_minute(self) -> StrandResult:
        if self.outcome == "straight" and self.minutes < 1:
            raise ValueError("a strand that is straight within a minute is no test; do it again")
        return self


def told(result: StrandResult, kit: KitSheet, person: str, hair: Hair) -> Limit | Reason | None:
    """What a result says for this person and this kit: a limit, a no, or nothing (not straight).

    The limit is rounded down to whole minutes, as in a run.
    """
    other = [
        name
        for name, mine, theirs in (
            ("kit", result.kit, kit.name),
            ("person", result.person, person),
            ("hair", result.hair, hair),
        )
        if mine != theirs
    ]
    if other:
        words = f"The strand test is of another {' and another '.join(other)}: do it again."
        return Reason("strand test", words, "household")
    if result.outcome in BAD:
        return Reason(
            "strand test",
            f"The strand {WENT[result.outcome]} on {result.on.isoformat()}. Not on this head.",
            "published",
        )
    if result.outcome == "not straight":
        return None
    whole = int(result.minutes)
    words = f"The strand was straight after {whole} minutes on {result.on.isoformat()}."
    return Limit(whole * 60.0, Reason("strand test", words, "household"))


def that_counts(
    results: Iterable[StrandResult], hair: Hair | None, today: date, last_run: date | None = None
) -> StrandResult | None:
    """Of one person's tests with one kit, the one that counts today: a bad one, else the quickest, else any.

    Tests of other hair, of days to come, too old ones and those from before the last run count for nothing.
    """
    fresh = [
        r
        for r in results
        if r.hair == hair
        and 0 <= (today - r.on).days <= GOOD_FOR_DAYS
        and (last_run is None or r.on > last_run)
    ]
    bad = [r for r in fresh if r.outcome in BAD]
    straight = [r for r in fresh if r.outcome == "straight"]
    if bad:
        return max(bad, key=lambda r: r.on)
    return min(straight, key=lambda r: r.minutes) if straight else next(iter(fresh), None)
