"""How much hair has grown since the last relaxer, and whether a touch-up has enough of it.

An expectation, never a judgement of somebody's hair: the ruler decides.
Called by `combside plan`.
"""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date
from typing import Literal

from assistant.core.pace import CM_AN_INCH

CM_A_MONTH = 1.25
"""Expected growth (from memory)."""
SLOW_CM_A_MONTH = 0.75
FAST_CM_A_MONTH = 1.5
"""The range that is shown: tightly curled hair is often slower (from memory)."""
DAYS_A_MONTH = 365.25 / 12
ENOUGH_CM = 0.5 * CM_AN_INCH
"""New growth from 1/2 in on can be covered by itself (1/2 to 1 in, about 8 weeks: a secondary source)."""
LONG_CM = 1.0 * CM_AN_INCH

Enough = Literal["yes", "measure", "no"]
Risk = Literal["high", "some", "low"]


@dataclass(frozen=True, slots=True)
class Growth:
    """Expected new growth in cm, with its range. `enough` for a touch-up: yes, no, or only a ruler can tell.

    `overlap_risk`: how hard it is to keep the cream off hair that was relaxed before.
    """

    days: int
    expected_cm: float
    least_cm: float
    most_cm: float
    enough: Enough
    overlap_risk: Risk

    @property
    def words(self) -> str:
        told = {
            "yes": "That is enough for a touch-up; measure it all the same.",
            "measure": "It may not be enough: measure it. Under half an inch, wait.",
            "no": "Too little for a touch-up: the cream would lie on hair that was relaxed before. Wait.",
        }[self.enough]
        return (
            f"New growth after {self.days} days: about {self.expected_cm:.1f} cm "
            f"({self.least_cm:.1f} to {self.most_cm:.1f} cm; {CM_A_MONTH:g} cm a month, from memory). {told} "
            f"Overlap risk: {self.overlap_risk}."
        )


def since(last: date, today: date) -> Growth:
    """Growth between two days. Raises ValueError when the last relaxer lies ahead."""
    days = (today - last).days
    if days < 0:
        raise ValueError(
            f"the last relaxer ({last.isoformat()}) lies after the day that is planned ({today.isoformat()})"
        )
    months = days / DAYS_A_MONTH
    return judged(days, CM_A_MONTH * months, SLOW_CM_A_MONTH * months, FAST_CM_A_MONTH * months)


def measured(days: int, cm: float) -> Growth:
    """The same from a ruler: no range is left. Raises ValueError for a length below 0."""
    if cm < 0:
        raise ValueError(f"a length can not be {cm:g} cm")
    return judged(days, cm, cm, cm)


def judged(days: int, expected: float, least: float, most: float) -> Growth:
    enough: Enough = "yes" if least >= ENOUGH_CM else "measure" if most >= ENOUGH_CM else "no"
    risk: Risk = "high" if expected < ENOUGH_CM else "some" if expected < LONG_CM else "low"
    return Growth(days, expected, least, most, enough, risk)
