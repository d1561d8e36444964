"""The report of a run: one HTML page that needs nothing else, for the screen and for paper.

`report_page` is pure: an entry of the diary and what was read beside it in, text
out. Every value is escaped by the template engine, and what does not print is
made visible. The words are in `report.html.j2`, the looks in `report.css`.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from functools import cache
from pathlib import Path

from jinja2 import Environment, FileSystemLoader, StrictUndefined
from markupsafe import Markup

from assistant import __version__
from assistant.core.answers import in_words
from assistant.core.debrief import debrief
from assistant.core.diary import (
    FOR_THE_DOCTOR,
    PH,
    Incident,
    NextDay,
    RunRecord,
    ZonePace,
    seconds_in_words,
    wall,
)
from assistant.core.moments import Moment
from assistant.screens.harmless import harmless
from assistant.screens.plan_picture import PARTS, minutes
from assistant.screens.report_picture import svg

FOLDER = Path(__file__).parent
TEMPLATE, STYLES = "report.html.j2", "report.css"


@dataclass(frozen=True, slots=True)
class ExposureRow:
    """One line of the table of exposures, as it is read."""

    zone: str
    first: str
    last: str
    wet: str
    clear: str
    counted: str
    measured: str
    limit: str
    over: bool
    answer: str


@dataclass(frozen=True, slots=True)
class PaceRow:
    """One piece of work: expected, took, and how far apart."""

    work: str
    partings: str
    expected: str
    took: str
    difference: str


def report_page(
    record: RunRecord,
    *,
    moments: Sequence[Moment] = (),
    next_days: Sequence[NextDay] = (),
    contacts: Sequence[tuple[str, str]] = (),
    rehearsal: bool = False,
    measured: Mapping[str, float] | None = None,
) -> str:
    """The page as text.

    `moments`: from the journal. `next_days`: of this person, from `core.diary.next_days`.
    `contacts`: (name, number) to call. `rehearsal`: the household is invented.
    `measured`: counted exposure in seconds by zone, as a rehearsal's room saw it.
    """
    return (
        _templates()
        .get_template(TEMPLATE)
        .render(
            record=record,
            heading=heading(record, rehearsal),
            styles=Markup((FOLDER / STYLES).read_text("utf-8")),
            rehearsal=rehearsal,
            banners=tuple(banners(record, rehearsal)),
            answer=answer(record),
            about=tuple(about(record)),
            for_the_doctor=FOR_THE_DOCTOR,
            for_help=(
                *contacts,
                ("Product", f"{record.kit}; class: {record.product_class}"),
                ("pH", PH[record.product_class]),
            ),
            incident_facts=incident_facts,
            picture=Markup(svg(record, moments)),
            findings=debrief(record, moments),
            exposure=tuple(exposure_rows(record, measured or {})),
            measured=measured is not None,
            pace=tuple(pace_rows(record.pace)),
            next_days=next_days,
            no_days="No cream was on this head, so no wait begins with this run."
            if not record.cream_was_on
            else "The next days are not known here: combside diary next tells them.",
            moments=moments,
            time=time,
            in_words=in_words,
            version=__version__,
        )
    )


@cache
def _templates() -> Environment:
    return Environment(
        loader=FileSystemLoader(FOLDER),
        autoescape=True,
        undefined=StrictUndefined,
        trim_blocks=True,
        lstrip_blocks=True,
        finalize=_visible,
    )


def _visible(value: object) -> object:
    """Text of the household's: a character that does not print is shown as its number."""
    return harmless(value) if isinstance(value, str) and not isinstance(value, Markup) else value


def time(seconds: float | None) -> str:
    """4:05; "not seen" for None."""
    return "not seen" if seconds is None else minutes(seconds)


def heading(record: RunRecord, rehearsal: bool) -> str:
    kinds = {"run": "run", "practice": "practice run"}
    kind = "rehearsal" if rehearsal else kinds.get(record.kind, record.kind)
    when = "" if rehearsal else f", {in_words(record.day)}"
    return f"Report of a {kind}: {record.routine.replace('_', ' ')} for {record.person}{when}"


def banners(record: RunRecord, rehearsal: bool) -> Iterator[str]:
    if rehearsal:
        yield (
            "A rehearsal: an invented household, an invented kit, a made-up date. Nobody had cream on. "
            "Never use these times on a head."
        )
    elif record.kind == "practice":
        yield "A practice run: where this page says cream, it was conditioner."


def answer(record: RunRecord) -> str:
    """The run in one sentence."""
    ended = {
        "finished": "Finished.",
        "stopped": "Stopped before the end.",
        "broken off": "Broken off: the record has no end.",
    }
    over = record.over_limit()
    if not record.zones:
        told = "No cream came on the head."
    elif over:
        told = f"Over the limit, or end not seen: {', '.join(over)}."
    else:
        told = "Every zone stayed within its limit."
    harm = len(record.incidents)
    more = f" {harm} report{'s' * (harm != 1)} of harm or near harm." if harm else ""
    return f"{ended[record.outcome]} {told}{more}"


def about(record: RunRecord) -> Iterator[tuple[str, str]]:
    yield "Whose hair", record.person
    yield "Helper", record.helper or "nobody"
    yield "Begun", wall(record.started)
    yield "Routine", record.routine.replace("_", " ")
    yield "Kit", f"{record.kit} ({record.product_class})"
    yield "Hair", record.hair


def incident_facts(incident: Incident) -> tuple[tuple[str, str], ...]:
    """What is known of one incident, in pairs."""
    found = [("Where", incident.where), ("When", wall(incident.at))]
    if incident.cream_s is not None:
        found.append(("Since the first cream", seconds_in_words(incident.cream_s)))
    if incident.first_aid:
        found.append(("Told to do", " ".join(incident.first_aid)))
    if incident.water_s is not None:
        found.append(("Water running", f"{seconds_in_words(incident.water_s)} after it was reported"))
    over = (
        "not reported"
        if incident.over_s is None
        else f"{seconds_in_words(incident.over_s)} after it was reported"
    )
    return (*found, ("Reported over", over))


def exposure_rows(record: RunRecord, measured: Mapping[str, float]) -> Iterator[ExposureRow]:
    for z in record.zones:
        counted = record.exposure_s(z)
        over = counted is None or counted > record.limit_s
        left = None if counted is None else record.limit_s - counted
        if left is None:
            told = "END NOT SEEN"
        elif over:
            told = f"OVER by {minutes(-left)}"
        else:
            told = f"within, {minutes(left)} left"
        yield ExposureRow(
            z.zone, time(z.first_s), time(z.last_s), time(z.wet_s), time(z.clear_s), time(counted),
            time(measured.get(z.zone)), time(record.limit_s), over, told,
        )  # fmt: skip


def pace_rows(pace: Iterable[ZonePace]) -> Iterator[PaceRow]:
    """One row a timed piece of work, and their sum."""
    worked = tuple(pace)
    for p in worked:
        yield PaceRow(
            f"{PARTS[p.part]} {p.zone}",
            str(p.partings),
            time(p.expected_s),
            time(p.seconds),
            apart(p.seconds, p.expected_s),
        )
    if len(worked) > 1:
        took, guess = sum(p.seconds for p in worked), sum(p.expected_s for p in worked)
        yield PaceRow("together", "", time(guess), time(took), apart(took, guess))


def apart(took: float, expected: float) -> str:
    """How much longer or shorter, in words."""
    if expected <= 0:
        return ""
    change = took / expected - 1
    return (
        "as expected" if abs(change) < 0.05 else f"{abs(change):.0%} {'longer' if change > 0 else 'shorter'}"
    )
