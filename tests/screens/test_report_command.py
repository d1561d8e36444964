"""`combside diary report`: from a kept run and its journal to a page of its owner's alone, and gone with the run."""

from __future__ import annotations

import stat
from datetime import datetime, timedelta, timezone
from pathlib import Path

from assistant.app.keep import keep
from assistant.app.report import keep_report
from assistant.core.diary import RunRecord
from assistant.core.session import Stance
from assistant.files.places import runs_folder
from assistant.journal.journal import FileJournal
from assistant.journal.record import of_action, of_event
from tests.cli.household_home import Home, home
from tests.programs import program
from tests.screens.test_report import Page
from tests.walker import Walk

__all__ = ["home"]

STARTED = datetime(2024, 3, 14, 18, 30, tzinfo=timezone(timedelta(hours=1)))
BURNS = program("touch_up").book.taught("it_burns")


def kept() -> RunRecord:
    """A run that burnt while the third zone was covered, as `run` leaves it: journal and entry."""
    walk = Walk(program("touch_up"))
    walk.go(lambda s: s.stance is Stance.COVERING and len(s.ledger.zones) == 3)
    walk.hear("it_burns")
    walk.to_end()
    path = runs_folder() / "2024-03-14T18-30-00.jsonl"
    journal = FileJournal.begin(path, lambda: STARTED, {"kind": "run"}, sync=lambda handle: None)
    journal.write({"clock": {"boot": None, "boot_s": 100.25, "run_s": 0.25}})
    ordered = list(walk.actions)
    for event in walk.events:
        journal.write(of_event(event))
        while ordered and ordered[0][0] <= event.t:
            t, action = ordered.pop(0)
            journal.write(of_action(action, t))
    journal.close()
    return keep(program("touch_up"), path, kind="run")


def test_the_page_has_the_entry_the_journal_and_whom_to_call(home: Home) -> None:
    """Times count from the first cream, not from the run's begin; the household's numbers stand with the harm."""
    record = kept()
    assert record.began_s is not None
    home.settled()
    out = home.folder / "report.html"
    done = home.run("diary", "report", "last", "--out", out)
    assert (done.status, done.err) == (0, "")
    assert stat.S_IMODE(out.stat().st_mode) == 0o600
    page = Page(out.read_text("utf-8"))
    (burnt,) = [cells for cells in page.cells if cells[1:] == ["heard", BURNS]]
    (incident,) = record.incidents
    assert incident.cream_s is not None
    assert burnt[0] == f"{int(incident.cream_s + 0.5) // 60}:{int(incident.cream_s + 0.5) % 60:02d}"
    assert any(cells[1:2] == ["heard"] and cells[0].startswith("-") for cells in page.cells)
    assert "poison centre 000 111" in page.text
    assert page.text.index("Call for help 112") < page.text.index("The run in one picture")


def test_a_torn_journal_costs_only_what_was_torn(home: Home) -> None:
    """The report needs the entry alone; of the journal it takes what can be read, and touches nothing."""
    record = kept()
    journal = runs_folder() / record.journal
    journal.write_bytes(
        journal.read_bytes()[:-200] + b'{"t": 1, "event": "Of a newer version"}\n{"t": 3, "ev'
    )
    before = journal.read_bytes()
    page = Page(keep_report(record).read_text("utf-8"))
    assert any(cells[1:] == ["heard", BURNS] for cells in page.cells)
    assert journal.read_bytes() == before
    journal.unlink()
    assert "The journal of this run is not there" in Page(keep_report(record).read_text("utf-8")).text


def test_a_forgotten_run_leaves_no_report(home: Home) -> None:
    """The page holds names and harm; it goes with the entry."""
    kept()
    done = home.run("diary", "report", "last", "--json")
    page = Path(done.json()["report"])
    assert page.is_file() and page.is_relative_to(home.data)
    assert home.run("diary", "forget", "last", "--yes").status == 0
    assert not page.exists()
    assert home.run("diary", "report", "last").status == 2
