"""What a benchmark gives back, and how times are taken."""

from __future__ import annotations

import statistics
import time
from collections.abc import Callable
from dataclasses import dataclass, field


@dataclass(frozen=True, slots=True)
class Curve:
    """Cost against a size: `points` of (size, seconds), medians. `of` and `against` name the axes."""

    name: str
    against: str
    of: str
    points: tuple[tuple[float, float], ...]


@dataclass(frozen=True, slots=True)
class Result:
    """Figures by name, goals as (figure, at most), and curves to draw."""

    name: str
    figures: dict[str, float]
    at_most: dict[str, float] = field(default_factory=dict)
    curves: tuple[Curve, ...] = ()

    @property
    def missed(self) -> tuple[str, ...]:
        """Figures above their goal."""
        return tuple(name for name, most in self.at_most.items() if self.figures[name] > most)


def seconds(work: Callable[[], object], times: int = 7) -> float:
    """The median of so many runs, after one that warms up."""
    work()
    taken = []
    for _ in range(times):
        began = time.perf_counter()
        work()
        taken.append(time.perf_counter() - began)
    return statistics.median(taken)
