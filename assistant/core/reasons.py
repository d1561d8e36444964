"""A number or a refusal, with the rule it comes from, in plain words."""

from __future__ import annotations

from dataclasses import dataclass


@dataclass(frozen=True, slots=True)
class Reason:
    """`rule` is a short name, `words` what a person is told, `mark` where it comes from
    ("leaflet", "published", "common practice", "household", "this run")."""

    rule: str
    words: str
    mark: str


@dataclass(frozen=True, slots=True)
class Limit:
    """A limit in seconds and why it is what it is."""

    seconds: float
    reason: Reason

    def lower_of(self, other: Limit | None) -> Limit:
        """The stricter of two; a tie keeps the first."""
        return other if other is not None and other.seconds < self.seconds else self
