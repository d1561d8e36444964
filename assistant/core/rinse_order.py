"""In which order to rinse, and the latest moment the rinse call may come.

One pair of hands at one tap is one machine. The rinse is a wetting pass over
the whole head, then clearing passes. Water must START on a zone by its due
time: order by due + own wetting time. "Until clear": a zone must be DONE by
then: order by due (Jackson's rule, from memory). Both are proven against every
permutation in the tests.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from assistant.core.kit_sheet import LimitMeans


@dataclass(frozen=True, slots=True)
class Job:
    """One zone at the tap: seconds of work and when its limit runs out (run clock)."""

    zone: str
    seconds: float
    due: float


@dataclass(frozen=True, slots=True)
class RinsePlan:
    """`order` of zones; `latest` moment of the call (run clock, walk taken off); `binding` is the zone that sets it."""

    order: tuple[str, ...]
    latest: float
    binding: str


def plan(jobs: Sequence[Job], walk_s: float, means: LimitMeans) -> RinsePlan:
    """The order that allows the latest call, and that latest call. Ties keep the order given.

    Raises ValueError without a job.
    """
    if not jobs:
        raise ValueError("no zone to rinse")
    until_clear = means is LimitMeans.UNTIL_CLEAR
    ordered = sorted(jobs, key=lambda j: j.due if until_clear else j.due + j.seconds)
    spent = 0.0
    latest, binding = float("inf"), ordered[0].zone
    for job in ordered:
        if until_clear:
            spent += job.seconds
        if job.due - spent < latest:
            latest, binding = job.due - spent, job.zone
        if not until_clear:
            spent += job.seconds
    return RinsePlan(tuple(j.zone for j in ordered), latest - walk_s, binding)
