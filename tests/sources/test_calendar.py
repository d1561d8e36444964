"""The calendar file against RFC 5545, read with another library than it is written with, and as text."""

from __future__ import annotations

import re
from datetime import date, datetime, timedelta, timezone
from pathlib import Path

import pytest
import vobject
from dateutil.relativedelta import relativedelta
from icalendar import vDuration

from assistant.core.answers import Value
from assistant.core.calendar_plan import Entry, aftermath, run_up
from assistant.core.kit_sheet import Waits
from assistant.files.calendar_file import calendar_text, uid, write_calendar
from tests.core.test_consultation import form
from tests.programs import kit

DAY, TODAY = date(2024, 3, 1), date(2024, 2, 1)
MADE = datetime(2024, 2, 1, 23, 30, tzinfo=timezone(timedelta(hours=-11)))
EVERYTHING: dict[str, Value] = {
    "dandruff_shampoo": TODAY,
    "next_colour": "none",
    "last_colour": TODAY,
    "braids": TODAY,
}


def entries() -> tuple[Entry, ...]:
    sheet = kit().model_copy(update={"patch_test_hours": 48.0})
    return (*run_up(form(), sheet, DAY, TODAY, EVERYTHING), *aftermath(form(), sheet, DAY))


def events(text: bytes) -> dict[str, object]:
    calendar = vobject.readOne(text.decode("utf-8"))
    return {str(event.uid.value): event for event in calendar.vevent_list}


def test_every_day_is_where_the_rules_put_it() -> None:
    """Two weeks around colour, braids, shampoo: common practice, no source. 8 weeks, 2 months: AAD."""
    found = {e.key: e.day for e in entries()}
    assert found == {
        "dandruff": DAY - relativedelta(weeks=2),
        "colour_before": DAY - relativedelta(weeks=2),
        "braids": DAY - relativedelta(weeks=2),
        "patch_test": DAY - relativedelta(days=3),
        "strand_test": DAY - relativedelta(days=3),
        "wash": date(2024, 2, 28),
        "condition": date(2024, 2, 28),
        "day": DAY,
        "look": DAY + relativedelta(days=1),
        "colour_after": DAY + relativedelta(weeks=2),
        "dandruff_after": DAY + relativedelta(weeks=2),
        "relaxer": DAY + relativedelta(weeks=8),
        "better": DAY + relativedelta(months=2),
    }


def test_the_leaflet_s_longer_waits_move_the_days() -> None:
    sheet = kit().model_copy(update={"waits": Waits(colour_weeks=4, relaxer_weeks=12, wash_days=3)})
    found = {
        e.key: e.day for e in (*run_up(form(), sheet, DAY, TODAY, EVERYTHING), *aftermath(form(), sheet, DAY))
    }
    assert found["colour_before"] == DAY - relativedelta(weeks=4)
    assert found["colour_after"] == DAY + relativedelta(weeks=4)
    assert found["wash"] == DAY - relativedelta(days=3)
    assert found["relaxer"] == DAY + relativedelta(weeks=12)
    assert "better" not in found


def test_what_does_not_apply_or_is_over_is_left_out() -> None:
    nothing: dict[str, Value] = {
        "dandruff_shampoo": "never",
        "next_colour": "none",
        "last_colour": "never",
        "braids": "none",
    }
    assert {e.key for e in run_up(form(), kit(), DAY, TODAY, nothing)} == {
        "strand_test",
        "wash",
        "condition",
        "day",
    }
    assert {e.key for e in run_up(form(), kit(), DAY, DAY, EVERYTHING)} == {"day"}
    late = {e.key: e.day for e in run_up(form(), kit(), DAY, DAY - timedelta(days=1), EVERYTHING)}
    assert late["strand_test"] == DAY - timedelta(days=1)


def test_another_library_reads_the_same_days_titles_and_alarms() -> None:
    read = events(calendar_text(entries(), "Ada", MADE))
    for entry in entries():
        event = read[uid("Ada", entry.key, 1)]
        assert event.dtstart.value == entry.day  # type: ignore[attr-defined]
        assert event.dtend.value == entry.day + timedelta(days=1)  # type: ignore[attr-defined]
        assert event.summary.value == f"{entry.title} (Ada)"  # type: ignore[attr-defined]
        alarms = event.valarm_list  # type: ignore[attr-defined]
        assert [a.action.value for a in alarms] == ["DISPLAY"] * len(entry.remind_days)
        assert [a.trigger.value for a in alarms] == [
            timedelta(hours=9) - timedelta(days=d) for d in entry.remind_days
        ]
    assert len(read) == len(entries())


def test_importing_twice_updates() -> None:
    """RFC 5545 3.8.4.7 and 3.8.7.4: the same UID with a higher SEQUENCE is the same event, revised."""
    first = events(calendar_text(entries(), "Ada", MADE))
    moved = tuple(Entry(e.key, e.day + timedelta(days=7), e.title, e.words, e.remind_days) for e in entries())
    second = events(calendar_text(moved, "Ada", MADE + timedelta(minutes=1)))
    assert first.keys() == second.keys()
    for name in first:
        assert int(second[name].sequence.value) > int(first[name].sequence.value)  # type: ignore[attr-defined]
    assert first.keys().isdisjoint(events(calendar_text(entries(), "Bo", MADE)))
    assert first.keys().isdisjoint(events(calendar_text(entries(), "Ada", MADE, nth=2)))


def test_the_text_keeps_rfc_5545_s_lines() -> None:
    """Lines end with CRLF and are folded at 75 octets; what is required is there (from memory)."""
    text = calendar_text(entries(), "Adéle, with ; and \\ in the name", MADE)
    assert text.endswith(b"END:VCALENDAR\r\n")
    assert b"\n" not in text.replace(b"\r\n", b"")
    assert max(len(line) for line in text.split(b"\r\n")) <= 75
    unfolded = text.replace(b"\r\n ", b"").decode("utf-8")
    for block in re.findall(r"BEGIN:VEVENT.*?END:VEVENT", unfolded, re.DOTALL):
        assert len(re.findall(r"^UID:", block, re.MULTILINE)) == 1
        assert "DTSTAMP:20240202T103000Z" in block
    for block in re.findall(r"BEGIN:VALARM.*?END:VALARM", unfolded, re.DOTALL):
        assert "ACTION:DISPLAY" in block
        assert re.search(r"TRIGGER(;[^:]*)?:-?P", block)
    for length in re.findall(r"TRIGGER(?:;[^:]*)?:(\S+)", unfolded):
        assert re.fullmatch(
            r"-?P(\d+W|\d+D(T(\d+H(\d+M(\d+S)?)?|\d+M(\d+S)?|\d+S))?|T(\d+H(\d+M(\d+S)?)?|\d+M(\d+S)?|\d+S))",
            length,
        )


def test_the_standard_s_own_length_is_read_by_the_library_that_writes() -> None:
    """RFC 5545 3.3.6: P15DT5H0M20S is 15 days, 5 hours and 20 seconds: 1 314 020 s (seen second-hand)."""
    assert vDuration.from_ical("P15DT5H0M20S").total_seconds() == 1_314_020
    assert vDuration.from_ical("PT1H0M20S").total_seconds() == 3620


def test_a_time_without_its_offset_is_refused() -> None:
    with pytest.raises(ValueError, match="offset"):
        calendar_text(entries(), "Ada", datetime(2024, 2, 1))


def test_the_file_is_its_owner_s_alone(tmp_path: Path) -> None:
    path = tmp_path / "new" / "days.ics"
    write_calendar(path, entries(), "Ada", MADE)
    assert path.stat().st_mode & 0o777 == 0o600
    assert path.read_bytes() == calendar_text(entries(), "Ada", MADE)
