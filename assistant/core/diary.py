"""The diary: finished, stopped and practice runs, and what can be read from them.

Here the record and what follows from several of them: the next days that are
allowed, the pace, the page for a doctor. How a session becomes a record is
`core.diary_entry`; where records are kept is `files.diary_file`.
"""

from __future__ import annotations

import math
import textwrap
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from datetime import date, datetime, timedelta
from statistics import median
from typing import Annotated, Literal

from pydantic import AwareDatetime, Field

from assistant.core.answers import add_months, in_words
from assistant.core.household import Name
from assistant.core.kit_sheet import Hair, KitSheet, LimitMeans, ProductClass, Sheet, Waits
from assistant.core.pace import ZoneTime

RELAXER_DAYS = 56
"""8 weeks: the upper end of 6 to 8 weeks (common practice, no source); as in the consultation's rules."""
BETTER_MONTHS = 2
"""Touch-ups every two to three or four months (American Academy of Dermatology, seen second-hand)."""
TWO_WEEKS = 14
"""Before permanent colour and anti-dandruff shampoo (common practice, no source)."""

ALKALINE = "strongly alkaline; 12.1 to 12.6 in half of 121 relaxers measured (SAMJ 2019;109(12):941)"
PH: dict[str, str] = {
    "hydroxide": ALKALINE,
    "hydroxide to mix": ALKALINE,
    "thio": "7 to 9.5 (Regulation (EC) No 1223/2009, Annex III, entry 2a, seen second-hand)",
    "bisulfite": "not known here: see the package",
    "formaldehyde": "not known here: see the package",
}
FOR_THE_DOCTOR = (
    "Never neutralise a burn with acid. Alkali in an eye is an emergency: water 15 minutes or more "
    "(ANSI/ISEA Z358.1), and a doctor. Take the package along. From what people told combside while it "
    "happened; nothing was measured on the skin."
)
PAGE_WIDTH, PAGE_LINES = 78, 60
"""One printed page of plain text."""


class ZoneExposure(Sheet):
    """One zone, seconds since the first cream anywhere; None where it never came to that."""

    zone: str
    first_s: float
    last_s: float
    wet_s: float | None = None
    clear_s: float | None = None


class RinseCall(Sheet):
    """One rinse call, seconds since the first cream; `due_s` is None for a call no clock had set."""

    cause: str
    due_s: float | None = None
    sounded_s: float
    acknowledged_s: float | None = None
    clear_s: float | None = None
    withdrawn: bool = False


class Incident(Sheet):
    """Harm or near harm: what, where, when, what was said to do, and until when it was done.

    `at` is wall time; `cream_s` seconds since the first cream, None before any.
    `water_s` and `over_s` are seconds after `at`.
    """

    what: str
    where: str
    at: AwareDatetime
    cream_s: float | None = None
    first_aid: tuple[str, ...] = ()
    water_s: float | None = None
    over_s: float | None = None


class ZonePace(Sheet):
    """Work on one zone: `part` is "", "lengths", "scalp" or "smooth"; `expected_s` the first guess for it."""

    zone: str
    part: str
    seconds: float
    partings: int
    expected_s: float


class RunRecord(Sheet):
    """One run, as the diary keeps it."""

    schema_version: Literal[1] = Field(default=1, alias="schema")
    id: Annotated[str, Field(pattern=r"^[A-Za-z0-9][A-Za-z0-9_.-]{0,79}$")]
    kind: Literal["run", "practice", "strand test"]
    outcome: Literal["finished", "stopped", "broken off"]
    started: AwareDatetime
    person: Name
    helper: Name | None = None
    routine: str
    kit: str
    product_class: ProductClass
    hair: Hair
    limit_s: float
    limit_reason: str
    limit_means: LimitMeans
    began_s: float | None = Field(
        default=None, description="the first cream, seconds on the run clock; every other time counts from it"
    )
    zones: tuple[ZoneExposure, ...] = ()
    calls: tuple[RinseCall, ...] = ()
    incidents: tuple[Incident, ...] = ()
    pace: tuple[ZonePace, ...] = ()
    aftercare: tuple[str, ...] = ()
    journal: str = Field(
        default="", description="the file of the journal in the folder of runs, where it was kept"
    )

    @property
    def day(self) -> date:
        """The day it was done, where it was done."""
        return self.started.date()

    @property
    def cream_was_on(self) -> bool:
        return self.kind == "run" and bool(self.zones)

    def due_s(self, zone: ZoneExposure) -> float:
        """When the zone's limit runs out, seconds since the first cream anywhere."""
        return self.limit_s + (zone.first_s if self.limit_means is LimitMeans.BY_SECTION else 0.0)

    def exposure_s(self, zone: ZoneExposure) -> float | None:
        """What this kit's limit counts for the zone; None where the zone never came under water."""
        ends = zone.clear_s if self.limit_means is LimitMeans.UNTIL_CLEAR else zone.wet_s
        if ends is None:
            return None
        return ends - (zone.first_s if self.limit_means is LimitMeans.BY_SECTION else 0.0)

    def over_limit(self) -> tuple[str, ...]:
        """Zones whose exposure went over the limit, or was never seen to end."""
        return tuple(z.zone for z in self.zones if (s := self.exposure_s(z)) is None or s > self.limit_s)

    def late_calls(self) -> int:
        """Calls that sounded more than a second after they were due."""
        return sum(1 for c in self.calls if c.due_s is not None and c.sounded_s > c.due_s + 1.0)


@dataclass(frozen=True, slots=True)
class NextDay:
    """Something is allowed from `day` on."""

    what: str
    day: date
    words: str
    mark: str


def last_relaxed(records: Iterable[RunRecord], person: str) -> RunRecord | None:
    """The last run in which this person had cream on the head; practice does not count."""
    mine = [r for r in records if r.person == person and r.cream_was_on]
    return max(mine, key=lambda r: r.started, default=None)


def next_days(records: Iterable[RunRecord], person: str, kit: KitSheet | None = None) -> tuple[NextDay, ...]:
    """What is allowed from when, after this person's last run. `kit`: its leaflet's longer waits count.

    A run that was stopped counts like a finished one: the cream was on the head.
    """
    last = last_relaxed(records, person)
    if last is None:
        return ()
    done = in_words(last.day)

    def later(what: str, days: int, weeks: float | None, why: str, mark: str) -> NextDay:
        asked = 0 if weeks is None else math.ceil(weeks * 7)
        if asked > days:
            return NextDay(
                what,
                last.day + timedelta(days=asked),
                f"{asked} days after {done}, as the leaflet says",
                "leaflet",
            )
        return NextDay(what, last.day + timedelta(days=days), f"{why} after {done}", mark)

    waits = Waits() if kit is None else kit.waits
    better = add_months(last.day, BETTER_MONTHS)
    return (
        later("permanent colour", TWO_WEEKS, waits.colour_weeks, "two weeks", "common practice"),
        later("anti-dandruff shampoo", TWO_WEEKS, waits.dandruff_weeks, "two weeks", "common practice"),
        later("relaxer", RELAXER_DAYS, waits.relaxer_weeks, "eight weeks", "published"),
        NextDay("relaxer, better", better, f"two calendar months after {done}; new growth only", "published"),
    )


@dataclass(frozen=True, slots=True)
class PacePoint:
    """One run's pace: the median over its zones of seconds a parting, and against the first guess."""

    id: str
    day: date
    zones: int
    seconds_a_parting: float
    factor: float


def pace_trend(records: Iterable[RunRecord], person: str | None = None) -> tuple[PacePoint, ...]:
    """One point a run that timed at least one zone, oldest first."""
    points = []
    for record in sorted(records, key=lambda r: r.started):
        worked = [p for p in record.pace if p.part != "smooth" and p.seconds > 0]
        if worked and person in (None, record.person):
            each = median(p.seconds / p.partings for p in worked)
            factor = median(p.seconds / p.expected_s for p in worked)
            points.append(PacePoint(record.id, record.day, len(worked), each, factor))
    return tuple(points)


def trend_words(points: Sequence[PacePoint]) -> str:
    """The trend in a sentence; under two runs there is none."""
    if len(points) < 2:
        return "One run says nothing of a trend yet." if points else "No zone was timed yet."
    before = median(p.seconds_a_parting for p in points[:-1])
    change = points[-1].seconds_a_parting / before - 1
    if abs(change) < 0.1:
        return f"As quick as before: {points[-1].seconds_a_parting:.0f} seconds a parting."
    how = "Slower" if change > 0 else "Quicker"
    now = points[-1].seconds_a_parting
    return f"{how} than before by {abs(change):.0%}: {now:.0f} seconds a parting, before {before:.0f}."


def zone_times(records: Iterable[RunRecord], today: date) -> tuple[ZoneTime, ...]:
    """What the forecast learns from: every timed zone with its age."""
    return tuple(
        ZoneTime(
            p.zone, p.seconds, p.partings, p.expected_s, float((today - r.day).days), r.kind == "practice"
        )
        for r in records
        for p in r.pace
    )


def seconds_in_words(seconds: float | None) -> str:
    """ "12 min 05 s"; "not seen" for None."""
    if seconds is None:
        return "not seen"
    whole = round(abs(seconds))
    sign = "-" if seconds < 0 and whole else ""
    return f"{sign}{whole // 60} min {whole % 60:02d} s" if whole >= 60 else f"{sign}{whole} s"


def wall(moment: datetime) -> str:
    """ "14 March 2024, 18:30:05 (UTC+01:00)"; a journal's times are local with their offset."""
    offset = moment.strftime("%z")
    return f"{in_words(moment.date())}, {moment:%H:%M:%S} (UTC{offset[:3]}:{offset[3:5]})"


def incident_sheet(record: RunRecord, contacts: Iterable[tuple[str, str]] = ()) -> str:
    """One printable page for a doctor: what, where, how long, the product, the times, the first aid given.

    It states what was told to combside and judges nothing.
    """
    lines = [
        "INCIDENT SHEET: HAIR RELAXER, ON THE SKIN OF THE HEAD OR NEAR IT".center(PAGE_WIDTH).rstrip(),
        "",
        *_pair("Person", record.person),
        *_pair("Begun", wall(record.started)),
        *_pair("Product", f"{record.kit}; class: {record.product_class}"),
        *_pair("pH", PH[record.product_class]),
        *_pair("Ended", record.outcome + (", practice without cream" if record.kind == "practice" else "")),
        "",
        "CREAM ON THE HEAD (from the first cream on that zone to water, to clear)",
    ]
    for z in record.zones:
        wet = None if z.wet_s is None else z.wet_s - z.first_s
        clear = None if z.clear_s is None else z.clear_s - z.first_s
        lines.append(
            f"  {z.zone:<16} to water {seconds_in_words(wet):<14} to clear {seconds_in_words(clear)}"
        )
    lines += [] if record.zones else ["  none"]
    lines += [
        "",
        f"Limit of the kit's sheet: {seconds_in_words(record.limit_s)}, {record.limit_means.value}.",
    ]
    lines += ["", "WHAT HAPPENED"]
    for number, incident in enumerate(record.incidents, 1):
        lines += _wrapped(f"{number}. {incident.what}; where: {incident.where}", "  ")
        lines.append(f"     at {wall(incident.at)}")
        if incident.cream_s is not None:
            lines.append(f"     {seconds_in_words(incident.cream_s)} after the first cream")
        if incident.first_aid:
            lines += _wrapped("told to do: " + " ".join(incident.first_aid), "     ")
        if incident.water_s is not None:
            lines.append(f"     water running {seconds_in_words(incident.water_s)} after it was reported")
        if incident.over_s is not None:
            lines.append(f"     reported over {seconds_in_words(incident.over_s)} after it was reported")
    lines += [] if record.incidents else ["  nothing was reported"]
    lines += [
        "",
        "Where exactly, how it looks now, medicines, allergies (by hand):",
        "",
        "_" * PAGE_WIDTH,
        "",
        "_" * PAGE_WIDTH,
        "",
    ]
    lines += [f"{name}: {phone}" for name, phone in contacts]
    lines += _wrapped(FOR_THE_DOCTOR, "")
    if len(lines) > PAGE_LINES:
        head = lines[: PAGE_LINES - 1]
        lines = [*head, f"  ... {len(lines) - len(head)} more lines: combside diary {record.id} --json"]
    return "\n".join(lines) + "\n"


def _pair(name: str, value: str) -> list[str]:
    return _wrapped(f"{name + ':':<10}{value}", "", " " * 10)


def _wrapped(text: str, indent: str, more: str | None = None) -> list[str]:
    return textwrap.wrap(
        text,
        PAGE_WIDTH,
        initial_indent=indent,
        subsequent_indent=more if more is not None else indent + "   ",
    )
