"""A slice of the damaged files and journals, and that a traceback among them would be seen."""

from __future__ import annotations

from pathlib import Path

import pytest

from tests.simulate import fuzz


def test_damaged_files_and_journals_end_in_words() -> None:
    files, raised = fuzz.tried(map(fuzz.damaged_file, range(60)), 0)
    journals, raised_too = fuzz.tried(map(fuzz.damaged_journal, range(40)), 0)
    assert raised + raised_too == []
    assert {name.split(":")[0] for name in files} == set(fuzz.kinds())
    assert journals["journal: read"] > 10
    assert journals["journal: complained"] > 2


@pytest.mark.parametrize("number", ["NaN", "-Infinity", "1e999"])
def test_a_number_without_an_end_breaks_its_line_only(tmp_path: Path, number: str) -> None:
    path = tmp_path / "run.jsonl"
    path.write_bytes(fuzz.good_journal().replace(b'"run_s":0.0', b'"run_s":' + number.encode()))
    found = fuzz.resume.read_back(path)
    assert found.lost == (2,)
    assert found.told()


def test_good_ones_are_read() -> None:
    for good, use in fuzz.kinds().values():
        use(good)


def test_a_traceback_is_seen(monkeypatch: pytest.MonkeyPatch) -> None:
    def broken(*arguments: object) -> None:
        raise KeyError("zones")

    monkeypatch.setattr(fuzz.checks, "routine_problems", broken)
    monkeypatch.setattr(fuzz.resume, "read_back", broken)
    assert fuzz._used_routine is fuzz.kinds()["routine"][1]
    routines = [n for n in range(0, 120, 6) if fuzz.damaged_file(n)[1] == "raised"]
    assert routines
    assert fuzz.damaged_journal(1)[1] == "raised"
