"""Where no second process is wanted: a rehearsal's deadlines are only noted. Meets `ports.Guard`."""

from __future__ import annotations


class AbsentGuard:
    """Notes what it is told. Times on the run clock."""

    problem = ""

    def __init__(self) -> None:
        self.due: list[float] = []
        self.armed: float | None = None
        self.calls = 0
        self.place = ""

    def arm(self, due: float, since: float) -> None:
        self.due.append(due)
        self.armed = due

    def disarm(self) -> None:
        self.armed = None

    def called(self) -> None:
        self.calls += 1

    def beat(self, place: str) -> None:
        self.place = place
