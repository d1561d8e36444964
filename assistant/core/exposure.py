"""The exposure ledger: for each zone when cream went on, when water came, when it ran clear.

All times are seconds on the run clock. A ledger only ever learns: an earlier
first touch replaces a later one, never the other way round.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass, field, replace

from assistant.core.kit_sheet import LimitMeans


@dataclass(frozen=True, slots=True)
class Exposure:
    """One zone: first touch, last touch, water reaches it, it runs clear."""

    zone: str
    first: float
    last: float
    wet: float | None = None
    clear: float | None = None

    def so_far(self, now: float) -> float:
        """Seconds from the first touch until water, or until `now`."""
        return (self.wet if self.wet is not None else now) - self.first


@dataclass(frozen=True, slots=True)
class Ledger:
    """Every touched zone in order of its first touch."""

    zones: tuple[Exposure, ...] = ()
    began: float | None = field(default=None)

    def get(self, zone: str) -> Exposure | None:
        return next((z for z in self.zones if z.zone == zone), None)

    def touch(self, zone: str, t: float) -> Ledger:
        """Cream on `zone` at `t`: its first touch if none is earlier, its last if none is later."""
        known = self.get(zone)
        if known is None:
            zones = (*self.zones, Exposure(zone, t, t))
        else:
            newer = replace(known, first=min(known.first, t), last=max(known.last, t))
            zones = tuple(newer if z.zone == zone else z for z in self.zones)
        began = t if self.began is None else min(self.began, t)
        return Ledger(tuple(sorted(zones, key=lambda z: z.first)), began)

    def wetted(self, times: Iterable[tuple[str, float]]) -> Ledger:
        """Water reached these zones; a zone that was wet before keeps its time."""
        wet = dict(times)
        return replace(
            self,
            zones=tuple(
                replace(z, wet=wet[z.zone]) if z.wet is None and z.zone in wet else z for z in self.zones
            ),
        )

    def cleared(self, t: float) -> Ledger:
        """Everything runs clear at `t`; a zone never seen wet counts as wet only now."""
        return replace(
            self,
            zones=tuple(
                replace(z, wet=z.wet if z.wet is not None else t, clear=z.clear if z.clear is not None else t)
                for z in self.zones
            ),
        )

    def order(self) -> tuple[str, ...]:
        """Zones in the order cream went on."""
        return tuple(z.zone for z in self.zones)

    def due(self, zone: str, limit_s: float, means: LimitMeans) -> float | None:
        """When this zone's limit runs out; None before the clock runs or, by section, before its first touch."""
        if self.began is None:
            return None
        if means is LimitMeans.BY_SECTION:
            touched = self.get(zone)
            return None if touched is None else touched.first + limit_s
        return self.began + limit_s
