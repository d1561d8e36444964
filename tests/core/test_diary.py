"""The diary: what a session leaves behind, and what several records say together."""

from __future__ import annotations

from datetime import date, datetime, timedelta, timezone

import pytest
from dateutil.relativedelta import relativedelta
from hypothesis import given, settings
from hypothesis import strategies as st

from assistant.core import pace
from assistant.core.diary import (
    PAGE_LINES,
    PAGE_WIDTH,
    Incident,
    RunRecord,
    incident_sheet,
    last_relaxed,
    next_days,
    pace_trend,
    trend_words,
    zone_times,
)
from assistant.core.diary_entry import from_session
from assistant.core.events import DeviceLost, Pressed
from assistant.core.kit_sheet import LimitMeans, Waits
from assistant.core.session import Stance
from tests.programs import kit, program
from tests.walker import Walk

STARTED = datetime(2024, 3, 14, 18, 30, tzinfo=timezone(timedelta(hours=1)))


def entry(walk: Walk, kind: str = "run") -> RunRecord:
    return from_session(walk.program, walk.events, id="r1", kind=kind, started=STARTED)  # type: ignore[arg-type]


@pytest.mark.parametrize("name", ["whole_head", "touch_up", "short_hair"])
def test_a_finished_run_leaves_each_zone_with_its_times(name: str) -> None:
    walk = Walk(program(name)).to_end()
    record = entry(walk)
    assert record.outcome == "finished"
    assert [z.zone for z in record.zones] == [z.zone for z in walk.state.ledger.zones]
    assert record.zones[0].first_s == 0.0
    for kept, was in zip(record.zones, walk.state.ledger.zones, strict=True):
        assert was.wet is not None
        assert was.clear is not None
        assert kept.wet_s == pytest.approx(was.wet - walk.state.ledger.began)  # type: ignore[operator]
        assert 0.0 <= kept.first_s <= kept.last_s <= kept.wet_s <= kept.clear_s  # type: ignore[operator]
    assert record.over_limit() == ()
    assert record.incidents == ()
    assert record.aftercare
    (call,) = record.calls
    assert call.cause in ("planned", "clock")
    assert call.clear_s == max(z.clear_s for z in record.zones if z.clear_s is not None)


def test_a_record_is_the_same_after_a_trip_through_its_file_format() -> None:
    record = entry(Walk(program()).to_end())
    assert RunRecord.model_validate_json(record.model_dump_json(by_alias=True), strict=True) == record


def test_a_call_by_the_clock_keeps_due_sounded_and_acknowledged() -> None:
    walk = Walk(program(), seconds={"cover": 100_000.0, "water": 25.0, "clear": 200.0, "confirm": 8.0})
    walk.to(Stance.RINSE_CALL)
    due = walk.state.due
    walk.to(Stance.LATHER)
    record = entry(walk)
    began = walk.state.ledger.began
    assert due is not None
    assert began is not None
    (call,) = record.calls
    assert call.due_s == pytest.approx(due - began)
    assert call.sounded_s == pytest.approx(due - began)
    assert call.acknowledged_s is not None
    assert call.acknowledged_s > call.sounded_s
    assert record.late_calls() == 0
    assert record.outcome == "broken off"


def test_a_burn_is_kept_with_place_time_and_the_first_aid_that_was_spoken() -> None:
    walk = Walk(program())
    walk.to(Stance.COVERING)
    zone = walk.state.todo[0]
    walk.hear("it_burns", after=30.0)
    said = walk.t
    walk.to(Stance.RINSING)
    water = walk.t
    walk.to_end()
    record = entry(walk)
    (incident,) = record.incidents
    assert incident.what == "skin or scalp burns"
    assert zone in incident.where
    assert incident.at == STARTED + timedelta(seconds=said)
    assert incident.cream_s == pytest.approx(30.0)
    assert any("ater" in line or "ink" in line for line in incident.first_aid)
    assert incident.water_s == pytest.approx(water - said)
    assert incident.over_s is not None
    assert incident.over_s >= 20 * 60  # cool running water at least 20 minutes: a hospital guideline
    assert [c.cause for c in record.calls] == ["it_burns"]


def test_an_eye_before_cream_is_on_the_head_is_kept_without_a_cream_clock() -> None:
    walk = Walk(program())
    walk.to(Stance.MIXING)
    walk.hear("in_my_eye")
    walk.to_end()
    (incident,) = entry(walk).incidents
    assert (incident.what, incident.where, incident.cream_s) == ("cream in an eye", "an eye", None)
    assert incident.first_aid
    assert incident.over_s is not None


def test_cream_on_skin_is_over_when_it_is_wiped_off() -> None:
    walk = Walk(program())
    walk.to(Stance.COVERING)
    walk.hear("cream_on_skin")
    walk.hear("wiped_off", after=12.0)
    (incident,) = entry(walk).incidents
    assert incident.what == "cream on skin"
    assert incident.over_s == pytest.approx(12.0)


def test_a_call_that_was_taken_back_says_so() -> None:
    walk = Walk(program())
    walk.to(Stance.COVERING)
    walk.hear("rinse_now", after=20.0)
    walk.hear("false_alarm", after=2.0)
    walk.happen(Pressed(walk.t + 1, "yes"))
    assert walk.state.stance is Stance.COVERING
    record = entry(walk)
    assert [c.withdrawn for c in record.calls] == [True]


def test_every_zone_s_work_is_timed_and_says_what_was_expected() -> None:
    walk = Walk(program("touch_up"), seconds={"cover": 9.0, "smooth_zone": 2.0, "clear": 200.0}).to_end()
    record = entry(walk)
    covered = [p for p in record.pace if p.part == ""]
    assert [p.zone for p in covered] == list(walk.program.zones)
    assert all(p.seconds == pytest.approx(9.0) for p in covered)
    assert all(p.partings >= 1 and p.expected_s > 0 for p in covered)
    learned = pace.learned(zone_times([record], record.day))
    assert learned.sd < pace.Belief().sd


def test_a_device_that_is_lost_changes_nothing_in_the_entry() -> None:
    walk = Walk(program())
    walk.to(Stance.COVERING)
    walk.happen(DeviceLost(walk.t + 1, "microphone"))
    assert entry(walk).incidents == ()


def made(day: date, **more: object) -> RunRecord:
    whole = entry(Walk(program("touch_up")).to_end())
    started = datetime(day.year, day.month, day.day, 23, 59, tzinfo=timezone(timedelta(hours=-11)))
    return whole.model_copy(update={"started": started, **more})


@settings(deadline=None, max_examples=40)
@given(st.dates(date(2000, 1, 1), date(2100, 1, 1)))
def test_next_days_are_those_of_another_library(day: date) -> None:
    """Two weeks: common practice, no source. Eight weeks and two calendar months: AAD, seen second-hand."""
    days = {n.what: n.day for n in next_days([BASE.model_copy(update={"started": at(day)})], "Ada")}
    assert days == {
        "permanent colour": day + relativedelta(weeks=2),
        "anti-dandruff shampoo": day + relativedelta(weeks=2),
        "relaxer": day + relativedelta(weeks=8),
        "relaxer, better": day + relativedelta(months=2),
    }


def at(day: date) -> datetime:
    return datetime(day.year, day.month, day.day, 23, 59, tzinfo=timezone(timedelta(hours=-11)))


BASE = entry(Walk(program("touch_up")).to_end())


def test_the_leaflet_s_longer_wait_counts_and_is_named() -> None:
    longer = kit().model_copy(update={"waits": Waits(relaxer_weeks=10, colour_weeks=1)})
    days = {n.what: n for n in next_days([BASE], "Ada", longer)}
    assert days["relaxer"].day == BASE.day + timedelta(days=70)
    assert days["relaxer"].mark == "leaflet"
    assert days["permanent colour"].day == BASE.day + timedelta(days=14)


def test_practice_counts_for_pace_but_not_for_waits() -> None:
    practice = BASE.model_copy(update={"kind": "practice"})
    assert last_relaxed([practice], "Ada") is None
    assert next_days([practice], "Ada") == ()
    assert zone_times([practice], BASE.day)[0].practice
    assert last_relaxed([BASE, practice], "Bo") is None


def test_a_stopped_run_with_cream_on_the_head_counts_for_waits() -> None:
    assert last_relaxed([BASE.model_copy(update={"outcome": "stopped"})], "Ada") is not None


def test_the_trend_compares_the_last_run_with_those_before() -> None:
    def run(days: int, factor: float) -> RunRecord:
        zones = tuple(p.model_copy(update={"seconds": p.expected_s * factor}) for p in BASE.pace)
        return BASE.model_copy(
            update={"id": f"r{days}", "started": BASE.started + timedelta(days=days), "pace": zones}
        )

    points = pace_trend([run(120, 0.8), run(0, 1.2), run(60, 1.2)])
    assert [p.factor for p in points] == pytest.approx([1.2, 1.2, 0.8])
    assert "Quicker than before by 33%" in trend_words(points)
    assert "As quick" in trend_words(pace_trend([run(0, 1.0), run(1, 1.05)]))
    assert "Slower" in trend_words(pace_trend([run(0, 1.0), run(1, 1.5)]))
    assert "One run" in trend_words(points[:1])
    assert "No zone" in trend_words(())


def test_exposure_is_counted_as_the_leaflet_s_limit_means_it() -> None:
    zone = BASE.zones[1]
    by_section = BASE.model_copy(update={"limit_means": LimitMeans.BY_SECTION})
    until_clear = BASE.model_copy(update={"limit_means": LimitMeans.UNTIL_CLEAR})
    assert BASE.exposure_s(zone) == zone.wet_s
    assert by_section.exposure_s(zone) == pytest.approx(zone.wet_s - zone.first_s)  # type: ignore[operator]
    assert until_clear.exposure_s(zone) == zone.clear_s
    never_rinsed = zone.model_copy(update={"wet_s": None, "clear_s": None})
    assert BASE.model_copy(update={"zones": (never_rinsed,)}).over_limit() == (zone.zone,)
    tight = BASE.model_copy(update={"limit_s": zone.wet_s - 1})  # type: ignore[operator]
    assert zone.zone in tight.over_limit()


def test_the_incident_sheet_is_one_page_and_says_what_a_doctor_asks() -> None:
    walk = Walk(program())
    walk.to(Stance.COVERING)
    walk.hear("cream_on_skin")
    walk.hear("wiped_off", after=12.0)
    walk.hear("in_my_eye", after=5.0)
    walk.to_end()
    page = incident_sheet(entry(walk), [("Poison centre", "000 000")])
    lines = page.splitlines()
    assert len(lines) <= PAGE_LINES
    assert max(map(len, lines)) <= PAGE_WIDTH
    flat = " ".join(page.split())
    for needed in (
        "cream in an eye", "hydroxide to mix", "12.1 to 12.6", "14 March 2024", "UTC+01:00", "water running",
        "Never neutralise a burn with acid", "Poison centre: 000 000", "told to do:",
    ):  # fmt: skip
        assert needed in flat


def test_the_incident_sheet_of_a_very_bad_day_is_still_one_page() -> None:
    bad = tuple(
        Incident(
            what="cream on skin",
            where="skin",
            at=STARTED,
            cream_s=float(n),
            first_aid=("Wipe it off.",),
            over_s=3,
        )
        for n in range(40)
    )
    page = incident_sheet(BASE.model_copy(update={"incidents": bad}))
    assert len(page.splitlines()) == PAGE_LINES
    assert "more lines" in page
