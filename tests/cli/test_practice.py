"""`combside practice` and `combside kit strand` from end to end but for the sound: a household of values walks."""

from __future__ import annotations

from pathlib import Path

import pytest

from assistant.cli import practice, strand
from assistant.core.program import Program
from assistant.files.diary_file import load_runs
from assistant.files.places import runs_folder
from assistant.files.strand_file import load_strands
from tests.app.test_keep import journal_of
from tests.cli.household_home import ANSWERS, TODAY, Home
from tests.walker import Walk

ON_THE_DAY = ("--today", "2024-03-14")
"""The day of the journals that `journal_of` writes."""


@pytest.fixture(autouse=True)
def walked(monkeypatch: pytest.MonkeyPatch) -> dict[str, float]:
    """The seconds this household takes; a walk ends at once, with its journal."""
    seconds = {"cover": 120.0, "smooth_zone": 30.0, "water": 48.0, "clear": 200.0, "confirm": 8.0}

    def walk(program: Program, chosen: object, kind: str) -> tuple[str, Path]:
        done = Walk(program, seconds=seconds).to_end()
        path = runs_folder() / f"{kind.replace(' ', '-')}.jsonl"
        path.unlink(missing_ok=True)
        return done.state.outcome, journal_of(done, path, kind)

    monkeypatch.setattr(practice, "walk", walk)
    monkeypatch.setattr(strand, "walk", walk)
    return seconds


def test_practice_without_a_kit_is_kept_told_and_believed(home: Home) -> None:
    """No cream is opened, so the invented kit does; the next plan knows these hands and this way."""
    home.settled()
    (home.data / "kits" / "my-kit.yaml").unlink()
    before = home.run("plan", "touch_up", "--json", *ON_THE_DAY).json()
    done = home.run("practice", "touch_up", *ON_THE_DAY)
    assert done.status == 0
    assert done.out.startswith("PRACTICE, with conditioner only. Leave the kit shut")
    assert "to the water 48 s" in done.out and "7 zones timed" in done.out
    (record,) = load_runs()
    assert (record.kind, record.outcome, record.person, record.helper) == (
        "practice",
        "finished",
        "Ada",
        "Bo",
    )
    after = home.run("plan", "touch_up", "--json", *ON_THE_DAY).json()
    assert (before["walk_s"], after["walk_s"]) == (30.0, 48.0)
    assert after["rinse_call_min"] == pytest.approx(before["rinse_call_min"] - 18 / 60)
    assert after["done_min"] > before["done_min"]
    assert home.run("diary", "next", *ON_THE_DAY).out.startswith("nobody had a relaxer"), (
        "practice counts for no wait"
    )


def test_practice_needs_to_know_whose_hands_they_are(home: Home) -> None:
    refused = home.run("practice")
    assert refused.status == 1 and "combside household new" in refused.err


def test_the_strand_test_by_voice_is_kept_and_lowers_the_limit(home: Home) -> None:
    home.settled().run("consult", "--answers", home.put("a.yaml", ANSWERS), *TODAY)
    sheet = home.data / "kits" / "my-kit.yaml"
    sheet.write_text(
        sheet.read_text("utf-8") + "strand_test: {check_every_minutes: 5, greatest_minutes: 16}\n", "utf-8"
    )
    done = home.run("kit", "strand", *ON_THE_DAY)
    assert done.status == 0, done.err
    assert "Not straight after 16 minutes" in done.out, (
        "this hair takes 18 minutes, and the leaflet ends the test before"
    )
    sheet.write_text(sheet.read_text("utf-8").replace("greatest_minutes: 16", "greatest_minutes: 30")
                     .replace("greatest_minutes: 18}", "greatest_minutes: 25}"), "utf-8")  # fmt: skip
    assert "straight after 20 minutes" in home.run("kit", "strand", *ON_THE_DAY).out
    assert [r.outcome for r in load_strands("Ada", "My Kit")] == ["straight"], "the same journal is one test"
    assert home.run("plan", "touch_up", "--json", *ON_THE_DAY).json()["limit_min"] == 20
    assert [r.kind for r in load_runs()] == ["strand test"]
    home.run("diary", "forget", "strand-test", "--yes")
    assert not load_strands("Ada", "My Kit") and not load_runs()
