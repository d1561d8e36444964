"""RFC 3339, section 5.8: its own examples. Unix times of the first two: quoted from a secondary page [2]."""

from __future__ import annotations

from datetime import datetime, timedelta, timezone

import pytest
from hypothesis import given
from hypothesis import strategies as st
from pydantic import AwareDatetime, TypeAdapter

from assistant.journal import rfc3339


@pytest.mark.parametrize(
    ("text", "unix_s", "offset_min"),
    [
        ("1985-04-12T23:20:50.52Z", 482196050.52, 0),
        ("1996-12-19T16:39:57-08:00", 851042397.0, -480),
        ("1990-12-31T23:59:60Z", 662688000.0, 0),  # a leap second; Unix time counts the second after it
        ("1990-12-31T15:59:60-08:00", 662688000.0, -480),  # the same
        ("1937-01-01T12:00:27.87+00:20", -1041337172.13, 20),  # the Netherlands, nearest whole minutes
    ],
)
def test_the_examples_of_the_standard(text: str, unix_s: float, offset_min: int) -> None:
    moment = rfc3339.read(text)
    assert moment.timestamp() == pytest.approx(unix_s, abs=1e-6)
    assert moment.utcoffset() == timedelta(minutes=offset_min)


def test_small_letters_and_long_fractions_are_allowed() -> None:
    """Sections 5.6: "T" and "Z" may be lower case; any number of digits may follow the point."""
    assert rfc3339.read("1985-04-12t23:20:50.123456789z") == datetime(
        1985, 4, 12, 23, 20, 50, 123456, tzinfo=timezone.utc
    )


@pytest.mark.parametrize(
    "text",
    [
        "", "now", "482196050", "1985-04-12", "1985-04-12T23:20:50", "1985-04-12T23:20Z",
        "1985-04-12T23:20:50.Z",
        "85-04-12T23:20:50Z", "1985-4-12T23:20:50Z", "1985-13-12T23:20:50Z", "1985-02-29T23:20:50Z",
        "1985-04-12T24:00:00Z", "1985-04-12T23:60:00Z", "1985-04-12T23:20:61Z", "1985-04-12T23:20:50+24:00",
        "1985-04-12T23:20:50+01:60", "1985-04-12T23:20:50+0100", "1985-04-12T23:20:50Z ",
        "9999-12-31T23:59:60Z", "\uff11985-04-12T23:20:50Z",
    ],
)  # fmt: skip
def test_what_is_no_time_of_the_standard_is_refused(text: str) -> None:
    with pytest.raises(ValueError, match="no"):
        rfc3339.read(text)


OFFSETS = st.integers(-1439, 1439).map(lambda minutes: timezone(timedelta(minutes=minutes)))
MOMENTS = st.datetimes(datetime(1900, 1, 2), datetime(2200, 1, 1), timezones=OFFSETS)


@given(MOMENTS)
def test_what_is_written_is_read_back_to_the_millisecond(moment: datetime) -> None:
    again = rfc3339.read(rfc3339.written(moment))
    assert again == moment.replace(microsecond=moment.microsecond // 1000 * 1000)
    assert again.utcoffset() == moment.utcoffset()


@given(MOMENTS)
def test_an_independent_reader_agrees(moment: datetime) -> None:
    """pydantic's reader (the speedate library, written to RFC 3339 and ISO 8601)."""
    text = rfc3339.written(moment)
    assert TypeAdapter(AwareDatetime).validate_python(text) == rfc3339.read(text)


def test_a_time_without_offset_cannot_be_written() -> None:
    with pytest.raises(ValueError, match="offset"):
        rfc3339.written(datetime(2025, 3, 9))


def test_an_offset_with_seconds_is_written_in_utc() -> None:
    """RFC 3339 offsets have no seconds; local mean times of the nineteenth century did."""
    odd = datetime(1880, 1, 1, tzinfo=timezone(timedelta(minutes=19, seconds=32)))
    assert rfc3339.written(odd) == "1879-12-31T23:40:28.000+00:00"
