"""Keeping a run: the diary has what the journal says, and the next plan counts with it."""

from __future__ import annotations

import stat
from datetime import date, datetime, timedelta, timezone
from pathlib import Path

import pytest

from assistant.app import load
from assistant.app.keep import entry, keep, keep_missed
from assistant.app.learned import learn, load_learned
from assistant.app.resume import about, mark_closed
from assistant.core.actions import Close
from assistant.core.practice import practise
from assistant.core.session import Stance
from assistant.files.diary_file import diary_folder, load_runs
from assistant.files.places import routines_folder, runs_folder
from assistant.journal.journal import FileJournal, UnreadableJournal
from assistant.journal.record import of_action, of_event
from tests.programs import household, program
from tests.walker import Walk

STARTED = datetime(2024, 3, 14, 18, 30, tzinfo=timezone(timedelta(hours=1)))


@pytest.fixture(autouse=True)
def home(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    monkeypatch.setenv("COMBSIDE_HOME", str(tmp_path / "home"))
    return tmp_path


def journal_of(walk: Walk, path: Path, kind: str = "run") -> Path:
    """The walk on disk, as a run writes it: made ready for 4 s, then the clocks, then what happened."""
    t = -4.0

    def now() -> datetime:
        return STARTED + timedelta(seconds=t)

    header = {**about(walk.program), "kind": kind}
    journal = FileJournal.begin(path, now, header, sync=lambda handle: None)
    t = 0.25
    journal.write({"clock": {"boot": None, "boot_s": 100.25, "run_s": 0.25}})
    for event in walk.events:
        t = event.t
        journal.write(of_event(event))
    if walk.state.outcome:
        journal.write(of_action(Close(walk.state.outcome), t))
    journal.close()
    return path


def test_a_run_and_its_replay_give_the_same_entry(home: Path) -> None:
    walk = Walk(program("touch_up"))
    walk.to(Stance.COVERING)
    walk.hear("cream_on_skin", after=5.0)
    walk.hear("wiped_off", after=9.0)
    walk.to_end()
    path = journal_of(walk, home / "2024-03-14T18-30-00.jsonl")
    kept = keep(walk.program, path, kind="run", events=walk.events, started=STARTED)
    assert (kept.outcome, kept.id, kept.started) == ("finished", "2024-03-14T18-30-00", STARTED)
    assert [i.what for i in kept.incidents] == ["cream on skin"]
    assert {p.zone for p in kept.pace} == set(walk.program.zones) and kept.zones and kept.aftercare
    assert entry(walk.program, path, kind="run") == kept
    assert load_runs() == (kept,)
    (file,) = diary_folder().glob("*.json")
    assert stat.S_IMODE(file.stat().st_mode) == 0o600
    keep(walk.program, path, kind="run")
    assert load_runs() == (kept,)


def test_what_the_disk_did_not_take_is_kept_from_memory(home: Path) -> None:
    """A full disk loses the end of the journal, a broken one all of it; the diary has it whole."""
    walk = Walk(program("touch_up")).to_end()
    path = journal_of(walk, home / "r.jsonl")
    whole = entry(walk.program, path, kind="run")
    lines = path.read_text("utf-8").splitlines(keepends=True)
    path.write_text("".join(lines[: len(lines) // 2]), "utf-8")
    assert entry(walk.program, path, kind="run").outcome == "broken off"
    assert entry(walk.program, path, kind="run", events=walk.events, started=STARTED) == whole
    path.write_text("", "utf-8")
    assert entry(walk.program, path, kind="run", events=walk.events, started=STARTED) == whole
    with pytest.raises(UnreadableJournal):
        entry(walk.program, path, kind="run")


def test_what_ended_and_was_never_entered_is_entered_later(home: Path) -> None:
    """Power lost after the last step, or a broken run that was closed: the journal has the program and all else."""
    done = Walk(program("touch_up")).to_end()
    practised = Walk(practise(program("touch_up"))).to(Stance.SMOOTHING)
    broken = Walk(program("touch_up")).to(Stance.COVERING)
    journal_of(done, runs_folder() / "a.jsonl")
    journal_of(practised, runs_folder() / "b.jsonl", "practice")
    left = journal_of(broken, runs_folder() / "c.jsonl")
    (runs_folder() / "d.jsonl").write_text('{"journal":"combside run","schema":1}\n{"closed":"x"}\n', "utf-8")
    assert [(r.id, r.kind, r.outcome) for r in keep_missed()] == [
        ("a", "run", "finished"),
        ("b", "practice", "broken off"),
    ]
    assert load_runs()[0] == entry(done.program, runs_folder() / "a.jsonl", kind="run")
    assert keep_missed() == (), "nothing is entered twice, and a run that may still go on waits"
    mark_closed(left)
    assert [(r.id, r.outcome) for r in keep_missed()] == [("c", "broken off")]


def test_a_practice_run_moves_the_next_plan(home: Path) -> None:
    """Hands slower than guessed, and a long way to the tap: both are believed from then on."""
    routine, sheet = routines_folder() / "touch_up.yaml", routines_folder() / load.EXAMPLE_KIT
    before, _ = load_learned(routine, sheet, household(), STARTED.date())
    slow = Walk(
        practise(before), seconds={"cover": 140.0, "smooth_zone": 50.0, "water": 75.0, "clear": 200.0}
    )
    record = keep(slow.program, journal_of(slow.to_end(), home / "p.jsonl", "practice"), kind="practice")
    after, known = load_learned(routine, sheet, household(), STARTED.date())
    assert after.pace.factor > before.pace.factor * 1.2
    assert after.pace.sd < before.pace.sd
    assert after.household.water.walk_seconds == 75.0
    assert "practice" in known.pace_words and "75 s" in known.walk_words
    alone = learn(household().model_copy(update={"helper": None}), [record], date(2024, 3, 15))
    assert alone.pace.factor == 1.0, "other hands, another pace"
    assert alone.household.water.walk_seconds == 75.0, "the same way to the tap"
