"""Times with offset as text and back, after RFC 3339.

Python before 3.11 reads only part of them, and no version reads a leap second.
"""

from __future__ import annotations

import re
from datetime import datetime, timedelta, timezone

_PATTERN = re.compile(
    r"(\d{4})-(\d{2})-(\d{2})[Tt ](\d{2}):(\d{2}):(\d{2})(?:\.(\d+))?(?:([Zz])|([+-])(\d{2}):(\d{2}))",
    re.ASCII,
)


def written(moment: datetime) -> str:
    """`moment` to the millisecond: "2025-03-09T18:30:00.000+01:00". Raises ValueError without an offset."""
    offset = moment.utcoffset()
    if offset is None:
        raise ValueError("a time in a journal needs an offset")
    if offset % timedelta(minutes=1):  # local mean times of old have seconds; RFC 3339 has none
        moment = moment.astimezone(timezone.utc)
    return moment.isoformat(timespec="milliseconds")


def read(text: str) -> datetime:
    """The moment, with its offset; a leap second is the second after it. Raises ValueError."""
    found = _PATTERN.fullmatch(text)
    if not found:
        raise ValueError(f"'{text}' is not a time with date and offset such as 2025-03-09T18:30:00+01:00")
    year, month, day, hour, minute, second = (int(part) for part in found.groups()[:6])
    fraction, zulu, sign, offset_h, offset_min = found.groups()[6:]
    if second > 60 or (not zulu and (int(offset_h) > 23 or int(offset_min) > 59)):
        raise ValueError(f"'{text}' is no time there is")
    offset = timedelta() if zulu else timedelta(hours=int(offset_h), minutes=int(offset_min))
    zone = timezone(-offset if sign == "-" else offset)
    leap = second == 60
    microsecond = int((fraction or "0")[:6].ljust(6, "0"))
    try:
        moment = datetime(year, month, day, hour, minute, 59 if leap else second, microsecond, zone)
        return moment + timedelta(seconds=leap)
    except (ValueError, OverflowError):
        raise ValueError(f"'{text}' is no time there is") from None
