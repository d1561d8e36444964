"""Clocks never go back, and across a reboot the larger elapsed time counts."""

from __future__ import annotations

import time
from datetime import datetime, timedelta, timezone
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st

from assistant import clocks, ports
from assistant.clocks import BootClock, RunClock, Stamp, elapsed_across_reboot

NOON = datetime(2025, 3, 9, 12, 0, tzinfo=timezone.utc)
LAST = Stamp(NOON, "boot-a", 5000.0, 600.0)
"""Ten minutes into a run."""


class Steps:
    """A source of seconds that goes where it is told."""

    def __init__(self, *seconds: float) -> None:
        self._seconds = list(seconds)

    def now(self) -> float:
        return self._seconds.pop(0)


def test_the_run_clock_starts_at_0_and_counts_with_its_source() -> None:
    clock: ports.Clock = RunClock(Steps(5000.0, 5000.0, 5001.5).now)
    assert [clock.now(), clock.now()] == [0.0, 1.5]


def test_a_resumed_run_goes_on_from_what_had_elapsed() -> None:
    clock = RunClock(Steps(70.0, 70.0, 80.0).now, elapsed=600.0)
    assert [clock.now(), clock.now()] == [600.0, 610.0]


@given(st.lists(st.floats(-1e6, 1e6), min_size=2, max_size=20))
def test_the_run_clock_never_goes_back(seconds: list[float]) -> None:
    clock = RunClock(Steps(*seconds).now)
    told = [clock.now() for _ in seconds[1:]]
    assert told == sorted(told)
    assert told[0] >= 0.0


def test_the_boot_clock_is_the_one_that_counts_sleep_where_there_is_one() -> None:
    """Linux: CLOCK_BOOTTIME is CLOCK_MONOTONIC and the time suspended (clock_gettime(2))."""
    clock = BootClock()
    first, second = clock.now(), clock.now()
    assert second >= first
    if hasattr(time, "CLOCK_BOOTTIME"):
        assert (clock.name, clock.counts_sleep) == ("CLOCK_BOOTTIME", True)
        before, now, after = (
            time.clock_gettime(time.CLOCK_BOOTTIME),
            clock.now(),
            time.clock_gettime(time.CLOCK_BOOTTIME),
        )
        assert before <= now <= after


def test_without_such_a_clock_the_monotonic_one_serves_and_says_so(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.delattr(time, "CLOCK_BOOTTIME", raising=False)
    clock = BootClock()
    assert (clock.name.split()[0], clock.counts_sleep) == ("monotonic", False)
    before, now, after = time.monotonic(), clock.now(), time.monotonic()
    assert before <= now <= after


@pytest.mark.parametrize("stepped", [timedelta(0), timedelta(days=3), -timedelta(days=3)])
def test_within_one_boot_a_stepped_wall_clock_changes_nothing(stepped: timedelta) -> None:
    assert elapsed_across_reboot(LAST, NOON + stepped, "boot-a", 5090.0) == 690.0


def test_within_one_boot_elapsed_time_does_not_shrink() -> None:
    assert elapsed_across_reboot(LAST, NOON, "boot-a", 4990.0) == 600.0


def test_across_a_reboot_the_wall_clock_counts_the_time_without_power() -> None:
    assert elapsed_across_reboot(LAST, NOON + timedelta(minutes=4), "boot-b", 20.0) == 840.0


def test_across_a_reboot_a_wall_clock_that_was_set_back_takes_nothing_away() -> None:
    assert elapsed_across_reboot(LAST, NOON - timedelta(days=1), "boot-b", 0.0) == 600.0


def test_across_a_reboot_the_time_since_that_boot_counts_when_the_wall_clock_forgot() -> None:
    """A board without a battery for its clock wakes up in the past."""
    assert elapsed_across_reboot(LAST, datetime(1970, 1, 1, tzinfo=timezone.utc), "boot-b", 45.0) == 645.0


@pytest.mark.parametrize(("before", "after"), [(None, None), (None, "boot-b"), ("boot-a", None)])
def test_where_the_boot_is_unknown_only_wall_clock_and_record_count(
    before: str | None, after: str | None
) -> None:
    last = Stamp(NOON, before, 5000.0, 600.0)
    assert elapsed_across_reboot(last, NOON + timedelta(seconds=60), after, 9999.0) == 660.0
    assert elapsed_across_reboot(last, NOON - timedelta(seconds=60), after, 9999.0) == 600.0


@given(
    st.datetimes(timezones=st.just(timezone.utc)),
    st.sampled_from([None, "boot-a", "boot-b"]),
    st.floats(0, 1e7),
)
def test_elapsed_time_never_shrinks_whatever_the_clocks_say(
    wall: datetime, boot: str | None, boot_s: float
) -> None:
    assert elapsed_across_reboot(LAST, wall, boot, boot_s) >= LAST.run_s


def test_offsets_do_not_matter() -> None:
    """Summer time may begin while cream is on."""
    summer = (NOON + timedelta(minutes=4)).astimezone(timezone(timedelta(hours=2)))
    assert elapsed_across_reboot(LAST, summer, "boot-b", 0.0) == 840.0


def test_the_boots_name_is_read_or_none(tmp_path: Path) -> None:
    assert clocks.boot_id(tmp_path / "none") is None
    (tmp_path / "empty").write_bytes(b"\n")
    assert clocks.boot_id(tmp_path / "empty") is None
    (tmp_path / "odd").write_bytes(b"\xff")
    assert clocks.boot_id(tmp_path / "odd") is None
    (tmp_path / "id").write_text("3f0e6a3c-0000-4000-8000-000000000000\n")
    assert clocks.boot_id(tmp_path / "id") == "3f0e6a3c-0000-4000-8000-000000000000"
    if clocks.BOOT_ID.exists():
        assert clocks.boot_id() == clocks.BOOT_ID.read_text().strip()


def test_the_wall_clock_knows_its_offset() -> None:
    assert clocks.wall_now().utcoffset() is not None
