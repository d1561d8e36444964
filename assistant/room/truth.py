"""What really happened in the room: who said what when, what the hands did, what was played.

Written down by the room and its people as it happens; read by `room.measure`
when the run is over. The session never sees it, and nothing here comes from
the session. Times are seconds on the run clock.
"""

from __future__ import annotations

from dataclasses import dataclass, field

from assistant.core.actions import Say
from assistant.core.hearing import Hypothesis, Verdict


@dataclass(frozen=True, slots=True)
class Utterance:
    """Speech of a person, `begin` to `end` without the silence around it.

    `name` and `slot` are the phrase book's; "" for talk that is no phrase.
    """

    who: str
    begin: float
    end: float
    text: str
    name: str = ""
    slot: str = ""


@dataclass(frozen=True, slots=True)
class KeyPress:
    t: float
    who: str
    key: str


@dataclass(frozen=True, slots=True)
class Played:
    """A prompt as it left the speaker. `understood`: the people made it out; `cut`: it was interrupted."""

    prompt: Say
    begin: float
    end: float
    cut: bool
    understood: bool
    over_noise_db: float


@dataclass(frozen=True, slots=True)
class Outcome:
    """What the ears and the hearing decision made of something, at `t`."""

    t: float
    hypothesis: Hypothesis
    verdict: Verdict


@dataclass(slots=True)
class ZoneDeeds:
    """What the hands did to one zone."""

    first: float
    last: float
    wet: float | None = None
    clear: float | None = None


@dataclass(slots=True)
class Truth:
    """The record of one rehearsal."""

    utterances: list[Utterance] = field(default_factory=list)
    keys: list[KeyPress] = field(default_factory=list)
    played: list[Played] = field(default_factory=list)
    outcomes: list[Outcome] = field(default_factory=list)
    zones: dict[str, ZoneDeeds] = field(default_factory=dict)
    speaker_sound: list[tuple[float, float]] = field(default_factory=list)
    faults: list[tuple[float, str, bool]] = field(default_factory=list)

    def touch(self, zone: str, t: float) -> None:
        """Cream on `zone` at `t`."""
        deeds = self.zones.get(zone)
        if deeds is None:
            self.zones[zone] = ZoneDeeds(t, t)
        else:
            deeds.first = min(deeds.first, t)
            deeds.last = max(deeds.last, t)

    def water(self, zone: str, t: float) -> None:
        """Water reaches `zone`; only the first time counts."""
        if zone in self.zones and self.zones[zone].wet is None:
            self.zones[zone].wet = t

    def clear(self, zone: str, t: float) -> None:
        """`zone` runs clear."""
        if zone in self.zones:
            self.zones[zone].clear = t

    def cream_on(self) -> float | None:
        """The first touch anywhere."""
        return min((deeds.first for deeds in self.zones.values()), default=None)
