"""The place of the second process: until it exists, deadlines are only noted. Meets `ports.Guard`."""

from __future__ import annotations


class AbsentGuard:
    """Notes when rinse calls were due, on the run clock."""

    def __init__(self) -> None:
        self.due: list[float] = []

    def arm(self, due: float) -> None:
        self.due.append(due)

    def disarm(self) -> None:
        """Nothing to let go of."""
