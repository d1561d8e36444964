"""The journal: what is written is read back, whatever happened to the disk in between."""

from __future__ import annotations

import dataclasses
import json
import os
import stat
import sys
from collections.abc import Callable, Iterator
from datetime import datetime, timedelta, timezone
from pathlib import Path
from typing import Any, get_args

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from assistant import ports
from assistant.core.actions import Action, Arm, Drop, Priority, Say, Sentence
from assistant.core.events import Event, Heard, Pressed, Ticked
from assistant.journal import record, rfc3339
from assistant.journal.journal import KIND, SCHEMA, FileJournal, UnreadableJournal, read
from assistant.journal.patient import PatientJournal
from tests.ports.journals import FailingJournal, MemoryJournal

NOON = datetime(2025, 3, 9, 12, 0, tzinfo=timezone(timedelta(hours=1)))
posix = pytest.mark.skipif(os.name != "posix", reason="POSIX files")


def clock() -> Callable[[], datetime]:
    """A wall clock that goes on by a second each time it is looked at."""
    seconds = iter(range(10**6))
    return lambda: NOON + timedelta(seconds=next(seconds))


@pytest.fixture
def path(tmp_path: Path) -> Path:
    return tmp_path / "runs" / "run.jsonl"


@pytest.fixture
def journal(path: Path) -> Iterator[FileJournal]:
    journal = FileJournal.begin(path, clock(), {"routine": "touch_up"})
    yield journal
    journal.close()


def lines(path: Path) -> list[dict[str, Any]]:
    raw = path.read_bytes()
    assert raw.endswith(b"\n")
    return [json.loads(line) for line in raw.decode("utf-8").split("\n")[:-1]]


# Every journal, fakes too.


@pytest.fixture(params=["file", "memory", "failing", "patient"])
def any_journal(request: pytest.FixtureRequest, path: Path) -> tuple[ports.Journal, Callable[[], list[Any]]]:
    """A journal and a way to see the records in it."""
    if request.param == "file":
        return FileJournal.begin(path, clock()), lambda: list(read(path).records)
    if request.param == "patient":
        return PatientJournal(FileJournal.begin(path, clock()), clock()), lambda: list(read(path).records)
    fake = MemoryJournal() if request.param == "memory" else FailingJournal()
    return fake, lambda: list(fake.records)


def test_a_journal_keeps_its_records_in_order(
    any_journal: tuple[ports.Journal, Callable[[], list[Any]]],
) -> None:
    journal, kept = any_journal
    events: list[Event] = [Heard(1.5, "done_with", "crown"), Pressed(2.0, "yes"), Ticked(3.25)]
    for event in events:
        journal.write(record.of_event(event))
    journal.close()
    assert [record.event_of(r) for r in kept()] == events


def test_a_closed_journal_takes_nothing(any_journal: tuple[ports.Journal, Callable[[], list[Any]]]) -> None:
    journal, kept = any_journal
    journal.close()
    journal.close()
    with pytest.raises(OSError, match="closed"):
        journal.write(record.of_event(Ticked(1.0)))
    assert kept() == []


# The file.


def test_the_first_line_says_what_the_file_is(journal: FileJournal, path: Path) -> None:
    assert lines(path) == [
        {"journal": KIND, "schema": SCHEMA, "at": "2025-03-09T12:00:00.000+01:00", "routine": "touch_up"}
    ]


def test_a_record_is_one_line_with_run_clock_and_wall_clock(journal: FileJournal, path: Path) -> None:
    """JSON Lines: UTF-8, one value a line, "\\n" between; U+2028 in a value is no line break."""
    journal.write(record.of_event(Heard(12.5, "done_with", "crown \u2028\n Zoë")))
    assert lines(path)[1:] == [
        {"t": 12.5, "event": "Heard", "phrase": "done_with", "slot": "crown \u2028\n Zoë"}
        | {"at": "2025-03-09T12:00:01.000+01:00"}
    ]
    assert "Zoë".encode() in path.read_bytes()


def test_an_event_is_forced_to_the_disk_before_write_returns_and_an_action_with_the_next_event(
    path: Path,
) -> None:
    forced: list[int] = []
    journal = FileJournal.begin(path, clock(), sync=lambda handle: forced.append(os.fstat(handle).st_size))
    assert len(forced) == 2  # the first line, and the folder that names the file
    journal.write(record.of_event(Ticked(1.0)))
    assert forced[2:] == [path.stat().st_size]
    journal.write(record.of_action(Drop("zone"), 1.0))
    assert len(forced) == 3
    assert len(lines(path)) == 3  # and yet it is in the file for whoever reads it
    journal.write(record.of_event(Ticked(2.0)))
    assert forced[3:] == [path.stat().st_size]


def test_a_disk_that_cannot_force_is_told(path: Path) -> None:
    def sync(handle: int) -> None:
        if stat.S_ISREG(os.fstat(handle).st_mode) and os.fstat(handle).st_size > 200:
            raise OSError("gone")

    journal = FileJournal.begin(path, clock(), sync=sync)
    with pytest.raises(OSError, match="gone"):
        for t in range(10):
            journal.write(record.of_event(Ticked(float(t))))


@posix
def test_file_and_new_folders_are_the_owners_alone(tmp_path: Path) -> None:
    path = tmp_path / "a" / "b" / "run.jsonl"
    FileJournal.begin(path, clock()).close()
    assert [stat.S_IMODE(p.stat().st_mode) for p in (path, path.parent, path.parent.parent)] == [
        0o600,
        0o700,
        0o700,
    ]


def test_a_journal_is_never_written_over(journal: FileJournal, path: Path) -> None:
    before = path.read_bytes()
    with pytest.raises(FileExistsError):
        FileJournal.begin(path, clock())
    assert path.read_bytes() == before


@posix
def test_a_full_disk_leaves_whole_lines_and_is_survived(journal: FileJournal, path: Path) -> None:
    """The system's limit on a file's size stands in for the full disk: a write is cut short, then refused."""
    import resource

    journal.write(record.of_event(Ticked(1.0)))
    before = path.read_bytes()
    soft, hard = resource.getrlimit(resource.RLIMIT_FSIZE)
    resource.setrlimit(resource.RLIMIT_FSIZE, (len(before) + 20, hard))
    try:
        with pytest.raises(OSError):
            journal.write(record.of_event(Ticked(2.0)))
    finally:
        resource.setrlimit(resource.RLIMIT_FSIZE, (soft, hard))
    assert path.read_bytes() == before
    journal.write(record.of_event(Ticked(3.0)))
    assert [r["t"] for r in read(path).records] == [1.0, 3.0]


@posix
def test_half_a_line_that_cannot_be_cut_off_costs_only_itself(
    journal: FileJournal, path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    real_write = os.write

    def half_then_nothing(handle: int, raw: bytes) -> int:
        if len(raw) < 20:
            raise OSError("broken")
        return real_write(handle, raw[:-10])

    def no_cutting(handle: int, size: int) -> None:
        raise OSError("broken")

    journal.write(record.of_event(Ticked(1.0)))
    monkeypatch.setattr(os, "write", half_then_nothing)
    monkeypatch.setattr(os, "ftruncate", no_cutting)
    with pytest.raises(OSError, match="broken"):
        journal.write(record.of_event(Ticked(2.0)))
    monkeypatch.undo()
    journal.write(record.of_event(Ticked(3.0)))
    reading = read(path)
    assert ([r["t"] for r in reading.records], reading.broken_lines) == ([1.0, 3.0], (3,))


def test_a_number_that_is_none_is_refused_before_it_reaches_the_file(
    journal: FileJournal, path: Path
) -> None:
    before = path.read_bytes()
    with pytest.raises(ValueError, match="due is not finite"):
        journal.write(record.of_action(Arm(float("inf")), 1.0))
    with pytest.raises(ValueError, match="t is not finite"):
        journal.write(record.of_event(Ticked(float("nan"))))
    assert path.read_bytes() == before


# Reading.


def some_run(path: Path) -> bytes:
    journal = FileJournal.begin(path, clock())
    for t in range(1, 4):
        journal.write(record.of_event(Heard(float(t), "next_step")))
    journal.close()
    return path.read_bytes()


def test_wherever_a_journal_is_torn_only_the_torn_line_is_put_aside(path: Path) -> None:
    raw = some_run(path)
    first_line = raw.index(b"\n") + 1
    for size in range(first_line, len(raw) + 1):
        path.write_bytes(raw[:size])
        side = path.with_name("run.jsonl.torn")
        side.unlink(missing_ok=True)
        *whole, tail = raw[:size].split(b"\n")
        reading = read(path)
        if tail and tail + b"\n" in raw:  # nothing but the line break is missing
            whole.append(tail)
            tail = b""
        assert [dict(r) for r in reading.records] == [json.loads(line) for line in whole[1:]]
        if tail:
            assert (reading.torn, reading.broken_lines) == (side, (len(whole) + 1,))
            assert side.read_bytes() == tail + b"\n"
            assert path.read_bytes() == b"\n".join(whole) + b"\n"
        else:
            assert (reading.torn, reading.broken_lines) == (None, ())
            assert not side.exists()
            assert path.read_bytes() == raw[:size]


@posix
def test_what_was_put_aside_is_the_owners_alone_and_never_lost_to_the_next(path: Path) -> None:
    raw = some_run(path)
    for tail in (b'{"t": 1', b"\x00\x00\x00"):  # a file grown before its content came is full of NULs
        path.write_bytes(raw + tail)
        read(path)
    side = path.with_name("run.jsonl.torn")
    assert side.read_bytes() == b'{"t": 1\n\x00\x00\x00\n'
    assert stat.S_IMODE(side.stat().st_mode) == 0o600


def test_a_journal_somebody_may_be_writing_is_read_without_touching_it(path: Path) -> None:
    raw = some_run(path) + b'{"t": 4'
    path.write_bytes(raw)
    reading = read(path, put_aside=False)
    assert (len(reading.records), reading.broken_lines, reading.torn) == (3, (5,), None)
    assert path.read_bytes() == raw
    assert not path.with_name("run.jsonl.torn").exists()


@pytest.mark.parametrize("bad", [b"nonsense", b"[1]", b"3", b'{"t": \xff}', b"[" * 100_000, b""])
def test_a_broken_line_in_the_middle_is_reported_and_loses_nothing_else(path: Path, bad: bytes) -> None:
    first, second, *rest = some_run(path).split(b"\n")
    raw = b"\n".join([first, second, bad, *rest])
    path.write_bytes(raw)
    reading = read(path)
    assert ([r["t"] for r in reading.records], reading.broken_lines) == ([1.0, 2.0, 3.0], (3,))
    assert path.read_bytes() == raw


@pytest.mark.parametrize(
    ("first", "message"),
    [
        (b"", "is not a journal"),
        (b"\n", "is not a journal"),
        (b'{"journal": "comb', "is not a journal"),
        (b'{"t": 1, "event": "Ticked"}\n', "is not a journal"),
        (b'{"journal": "another", "schema": 1}\n', "is not a journal"),
        (b'{"journal": "combside run"}\n', "does not say which schema"),
        (b'{"journal": "combside run", "schema": true}\n', "does not say which schema"),
        (b'{"journal": "combside run", "schema": 2}\n{"t": 1', r"newer combside \(schema 2, known here: 1\)"),
    ],
)
def test_what_is_no_journal_of_ours_is_refused_untouched(path: Path, first: bytes, message: str) -> None:
    path.parent.mkdir()
    path.write_bytes(first)
    for reader in (read, lambda p: FileJournal.resume(p, clock())):
        with pytest.raises(UnreadableJournal, match=message):
            reader(path)
    assert path.read_bytes() == first
    assert list(path.parent.iterdir()) == [path]


@pytest.mark.parametrize("cut", [0, 1, 5])
def test_a_run_goes_on_in_its_journal(path: Path, cut: int) -> None:
    """After a clean end, without the last line break, and with a torn line."""
    raw = some_run(path)
    path.write_bytes(raw[: len(raw) - cut])
    journal, reading = FileJournal.resume(path, clock())
    kept = [r["t"] for r in reading.records]
    assert kept == ([1.0, 2.0] if cut == 5 else [1.0, 2.0, 3.0])
    journal.write(record.of_event(Ticked(9.0)))
    journal.close()
    assert [r["t"] for r in read(path).records] == [*kept, 9.0]
    assert read(path).broken_lines == ()


# Records.

TEXT = st.text(st.characters(codec="utf-8"), max_size=12)
FINITE = st.floats(allow_nan=False, allow_infinity=False)
SENTENCES = st.lists(st.builds(Sentence, TEXT, TEXT), max_size=3).map(tuple)
OF_A_KIND = {
    "float": FINITE,
    "str": TEXT,
    "bool": st.booleans(),
    "Priority": st.sampled_from(Priority),
    "tuple[Sentence, ...]": SENTENCES,
    "tuple[tuple[str, str], ...]": st.lists(st.tuples(TEXT, TEXT), max_size=3).map(tuple),
}


def instances(union: Any) -> st.SearchStrategy[Any]:
    """Any instance of any class of the union, fields by their declared type."""
    return st.one_of(
        [
            st.builds(kind, **{f.name: OF_A_KIND[str(f.type)] for f in dataclasses.fields(kind)})
            for kind in get_args(union)
        ]
    )


@settings(max_examples=300, deadline=None, derandomize=True)
@given(instances(Event))
def test_every_event_comes_back_from_its_line(event: Event) -> None:
    row = record.of_event(event)
    assert list(row)[:2] == ["t", "event"]
    assert record.event_of(json.loads(json.dumps(row))) == event


@settings(max_examples=300, deadline=None, derandomize=True)
@given(instances(Action), FINITE)
def test_every_action_comes_back_from_its_line(action: Action, t: float) -> None:
    row = record.of_action(action, t)
    assert list(row.items())[:2] == [("t", t), ("action", type(action).__name__)]
    assert record.action_of(json.loads(json.dumps(row))) == action


def test_the_two_tests_above_meet_every_class() -> None:
    assert set(record.EVENTS) == {k.__name__ for k in get_args(Event)} >= {"Begun", "Heard", "DeviceBack"}
    assert set(record.ACTIONS) == {k.__name__ for k in get_args(Action)} >= {"Say", "Close"}


def test_no_field_hides_behind_a_key_of_the_record() -> None:
    for kind in get_args(Event):
        assert not {f.name for f in dataclasses.fields(kind)} & {"event", "action", "at"}
        assert next(iter(dataclasses.fields(kind))).name == "t"
    for kind in get_args(Action):
        assert not {f.name for f in dataclasses.fields(kind)} & {"event", "action", "at", "t"}


def test_the_time_of_writing_is_no_part_of_an_event(journal: FileJournal, path: Path) -> None:
    say = Say(
        "water", (Sentence("Rinse now."), Sentence("Helper: go.", "helper")), Priority.RINSE_CALL, alarm=True
    )
    journal.write(record.of_action(say, 4.0))
    (row,) = read(path).records
    assert "at" in row
    assert record.action_of(row) == say


@pytest.mark.parametrize(
    ("row", "message"),
    [
        ({"t": 1.0}, "no event of this version: None"),
        ({"t": 1.0, "event": "Dreamt"}, "no event of this version: 'Dreamt'"),
        ({"t": 1.0, "event": ["Heard"]}, "no event of this version"),
        ({"t": 1.0, "event": "Ticked", "mood": 1}, "event Ticked has no mood"),
        ({"t": "1", "event": "Ticked"}, "event Ticked: t: "),
        ({"t": True, "event": "Ticked"}, "event Ticked: t: "),
        ({"event": "Ticked"}, "event Ticked: t: "),
        ({"t": 1.0, "event": "Heard"}, "event Heard: phrase: "),
    ],
)
def test_a_record_that_is_no_event_is_refused(row: dict[str, object], message: str) -> None:
    with pytest.raises(record.UnknownRecord, match=message):
        record.event_of(row)


def test_a_time_in_the_journal_is_read_back_by_its_own_reader(journal: FileJournal, path: Path) -> None:
    assert rfc3339.read(str(read(path).header["at"])) == NOON


def test_half_a_surrogate_pair_does_not_break_the_file(journal: FileJournal, path: Path) -> None:
    journal.write({"t": 1.0, "event": "Heard", "phrase": "a\ud800b"})
    assert read(path).records[0]["phrase"] == "a?b"


@pytest.mark.skipif(sys.platform != "linux", reason="needs /dev/full")
def test_the_real_full_device_refuses(path: Path) -> None:
    handle = os.open("/dev/full", os.O_WRONLY)
    journal = FileJournal(handle, clock(), lambda _: None, 0)
    with pytest.raises(OSError, match="No space left"):
        journal.write(record.of_event(Ticked(1.0)))
    journal.close()
