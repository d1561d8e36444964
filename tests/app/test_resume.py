"""A run that broke off: killed at any line of its journal, found again, its clock set, and never two at once."""

from __future__ import annotations

import hashlib
import json
import os
import stat
from datetime import datetime, timedelta, timezone
from pathlib import Path

import pytest

from assistant import clocks
from assistant.app.load import Refused
from assistant.app.resume import NotThisOne, alone, last_stamp, mark_closed, read_back, replayed, unfinished
from assistant.core.session import Stance, State
from assistant.journal.journal import Reading, read
from assistant.journal.record import event_of
from tests.app.broken_off import left_behind, records
from tests.programs import ROUTINES, program
from tests.walker import Walk


@pytest.mark.parametrize("name", ROUTINES)
def test_killed_at_every_line_the_state_is_the_one_of_its_last_event(name: str, tmp_path: Path) -> None:
    """The journal is cut in the middle of each line in turn: all before it counts, and nothing else."""
    made = program(name)
    events = Walk(made).to_end().events
    wanted = records(made, events)
    whole = tmp_path / "whole.jsonl"
    left_behind(whole, made, events, 0.0)
    lines = whole.read_bytes().splitlines(keepends=True)
    assert len(lines) == len(wanted) + 2  # the header and the clocks
    path, happened, known = tmp_path / "cut.jsonl", 0, State()
    for k, (record, state) in enumerate(wanted):
        half = lines[k + 2][: len(lines[k + 2]) // 2]
        path.write_bytes(b"".join(lines[: k + 2]) + half)
        before = read(path, put_aside=k % 20 == 0)  # which waits for the disk
        assert (len(before.records), before.broken_lines) == (k + 1, (k + 3,))
        if before.torn is not None:
            assert before.torn.read_bytes().endswith(half + b"\n")
            assert read(path).records == before.records
        assert (before.torn is not None) == (k % 20 == 0)
        if "event" in record:
            if happened % 8 == 0:  # the same events give the same state: not every time anew
                assert replayed(made, before) == (known, ())
            happened, known = happened + 1, state
        assert [event_of(r) for r in before.records if "event" in r] == events[
            : happened - ("event" in record)
        ]
    assert happened == len(events)
    assert replayed(made, read(whole)) == (known, ())
    assert known.stance is Stance.CLOSED


@pytest.fixture
def broken(tmp_path: Path) -> tuple[Path, Walk]:
    """A run that broke off 100 s ago, cream on."""
    walk = Walk(program()).to(Stance.COVERING)
    path = tmp_path / "2026-01-01T09-00-00.jsonl"
    left_behind(path, walk.program, walk.events, 100.0)
    return path, walk


def test_it_is_found_with_its_program_its_state_and_its_time(broken: tuple[Path, Walk]) -> None:
    path, walk = broken
    assert unfinished(path.parent) == path
    found = read_back(path)
    assert found.program == walk.program
    assert found.state == walk.state
    assert found.cream_on
    assert found.elapsed_s == pytest.approx(walk.t + 100.0, abs=2.0)
    assert "Cream has been on for 2 minutes" in found.told()


def test_a_finished_a_closed_and_a_rehearsed_run_are_not(broken: tuple[Path, Walk]) -> None:
    path, walk = broken
    left_behind(path.with_name("2026-01-02T09-00-00.jsonl"), walk.program, Walk(program()).to_end().events, 0)
    rehearsal = path.with_name("2026-01-03T09-00-00.jsonl")
    rehearsal.write_text(path.read_text("utf-8").replace('"kind":"run"', '"kind":"practice"'), "utf-8")
    path.with_name("2026-01-04T09-00-00.jsonl").write_text('{"journal":"combside', "utf-8")
    assert unfinished(path.parent) == path
    mark_closed(path)
    assert unfinished(path.parent) is None
    assert read_back(path).state == walk.state  # nothing of it is lost


def test_damage_in_the_middle_is_told_and_the_rest_counts(broken: tuple[Path, Walk]) -> None:
    path, walk = broken
    lines = path.read_bytes().splitlines(keepends=True)
    unknown = b'{"t":1.0,"event":"Teleported","at":"2026-01-01T09:00:00Z"}\n'
    path.write_bytes(b"".join([*lines[:4], b"\xff\xfe{\n", unknown, *lines[4:]]))
    found = read_back(path)
    assert found.state == walk.state
    assert len(found.lost) == 2
    assert "can not be read" in found.told()


def test_a_program_that_is_damaged_or_of_another_version_is_refused_in_words(
    broken: tuple[Path, Walk],
) -> None:
    path, _ = broken
    first, rest = path.read_text("utf-8").split("\n", 1)
    header = json.loads(first)
    header["program"]["limit"]["seconds"] = 7200.0
    path.write_text(json.dumps(header) + "\n" + rest, "utf-8")
    with pytest.raises(NotThisOne, match="is damaged"):
        read_back(path)
    header["program"]["zones"] = 7
    header["sha256"] = hashlib.sha256(json.dumps(header["program"], sort_keys=True).encode()).hexdigest()
    path.write_text(json.dumps(header) + "\n" + rest, "utf-8")
    with pytest.raises(NotThisOne, match="another version"):
        read_back(path)


@pytest.mark.parametrize(
    ("boot", "boot_s", "wall_later_s", "away_s"),
    [
        ("boot-a", 5100.0, 100.0, 100.0),
        (
            "boot-a",
            5100.0,
            3700.0,
            100.0,
        ),  # the wall clock stepped an hour on: within one boot it decides nothing
        ("boot-a", 5100.0, -3500.0, 100.0),
        ("boot-b", 30.0, 100.0, 100.0),  # a power cut: the larger of the two
        ("boot-b", 30.0, -3500.0, 30.0),
    ],
)
def test_10_the_clocks_of_the_journal_say_how_long_it_was_away(
    boot: str, boot_s: float, wall_later_s: float, away_s: float
) -> None:
    """The stamp is that of the last line, by the clocks told at the last start before it."""
    nine = datetime(2026, 1, 1, 9, tzinfo=timezone.utc)

    def line(run_s: float, **more: object) -> dict[str, object]:
        return {"t": run_s, "at": (nine + timedelta(seconds=run_s)).isoformat(), **more}

    first = {"clock": {"boot": "boot-0", "boot_s": 70.0, "run_s": 0.0}, "at": nine.isoformat()}
    again = {**line(500.0), "clock": {"boot": "boot-a", "boot_s": 4900.0, "run_s": 500.0}}
    reading = Reading({}, (first, line(10.0, event="Ticked"), again, line(600.0, event="Ticked")))
    last = last_stamp(reading)
    assert last is not None
    assert (last.boot_id, last.boot_s, last.run_s) == ("boot-a", 5000.0, 600.0)
    now = last.wall + timedelta(seconds=wall_later_s)
    assert clocks.elapsed_across_reboot(last, now, boot, boot_s) == pytest.approx(600.0 + away_s)


def test_a_second_start_refuses_and_says_who_runs(tmp_path: Path) -> None:
    with alone(tmp_path / "runs") as note:
        with pytest.raises(Refused, match=rf"already \(process {os.getpid()}\)"), alone(tmp_path / "runs"):
            pytest.fail("two runs at once")
        note.took_over(12.5, rinsed=False)
    told = json.loads(note.path.read_text("utf-8"))
    assert (told["run"], told["took_over"], told["due"]) == (note.run, True, 12.5)
    with alone(tmp_path / "runs") as other:
        assert other.run != note.run
    for path in (tmp_path / "runs").iterdir():
        assert stat.S_IMODE(path.stat().st_mode) == 0o600
    assert stat.S_IMODE((tmp_path / "runs").stat().st_mode) == 0o700
