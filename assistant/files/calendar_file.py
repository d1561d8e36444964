"""Days as an RFC 5545 calendar file, made with the icalendar library.

UIDs depend on the person, the entry and which relaxer it is, on nothing else:
importing a newer file moves entries and never doubles them.
"""

from __future__ import annotations

import uuid
from collections.abc import Iterable
from datetime import datetime, timedelta, timezone
from pathlib import Path

from icalendar import Alarm, Calendar, Event

from assistant.core.calendar_plan import Entry
from assistant.files import private

PRODUCT = "-//combside//before and after the day//EN"
_OURS = uuid.UUID("5f0c7f0e-3d57-4d0b-9a3e-6f6a3f5f5b1c")
MORNING = timedelta(hours=9)
"""Alarms come at nine: of the day itself, or of the day so many days before."""


def calendar_text(entries: Iterable[Entry], person: str, made: datetime, nth: int = 1) -> bytes:
    """The file's bytes. `made`: the wall time with its offset; `nth`: which relaxer of this person's.

    Raises ValueError for a time without an offset: DTSTAMP is in UTC.
    """
    if made.tzinfo is None:
        raise ValueError("the time of making needs its offset")
    stamp = made.astimezone(timezone.utc).replace(microsecond=0)
    calendar = Calendar()
    calendar.add("prodid", PRODUCT)
    calendar.add("version", "2.0")
    calendar.add("calscale", "GREGORIAN")
    calendar.add("method", "PUBLISH")
    for entry in entries:
        event = Event()
        event.add("uid", uid(person, entry.key, nth))
        event.add("dtstamp", stamp)
        event.add("last-modified", stamp)
        event.add("sequence", int(stamp.timestamp()) // 60 % 2**31)
        event.add("dtstart", entry.day)
        event.add("dtend", entry.day + timedelta(days=1))
        event.add("summary", f"{entry.title} ({person})")
        event.add("description", f"{entry.words}\nThe kit's own leaflet always rules.")
        event.add("class", "PRIVATE")
        event.add("transp", "TRANSPARENT")
        for days in entry.remind_days:
            alarm = Alarm()
            alarm.add("action", "DISPLAY")
            alarm.add("description", f"{entry.title} ({person})")
            alarm.add("trigger", MORNING - timedelta(days=days))
            event.add_component(alarm)
        calendar.add_component(event)
    return bytes(calendar.to_ical())


def uid(person: str, key: str, nth: int) -> str:
    """The same for the same person, entry and relaxer, for ever."""
    return f"{uuid.uuid5(_OURS, f'{person}/{key}/{nth}')}@combside"


def write_calendar(path: Path, entries: Iterable[Entry], person: str, made: datetime, nth: int = 1) -> None:
    """Write the file, readable by its owner alone. Raises OSError."""
    private.write(path, calendar_text(entries, person, made, nth).decode("utf-8"))
