"""`combside diary` and what `combside` alone says."""

from __future__ import annotations

import csv
import io
from datetime import date, timedelta

import pytest
import vobject

from assistant.app.resume import mark_closed
from assistant.core.diary import RunRecord
from assistant.core.session import Stance
from assistant.files.diary_file import load_runs, save_run
from assistant.files.places import runs_folder
from tests.app.test_keep import journal_of
from tests.cli.household_home import ANSWERS, TODAY, Home
from tests.core.test_diary import entry
from tests.programs import program
from tests.walker import Walk


def hurt() -> RunRecord:
    walk = Walk(program("touch_up"))
    walk.to(Stance.COVERING)
    walk.hear("in_my_eye", after=20.0)
    return entry(walk.to_end())


CALM, HURT = entry(Walk(program("touch_up")).to_end()), hurt()


def kept(home: Home, record: RunRecord = CALM, **more: object) -> RunRecord:
    """A run in the diary, with its journal."""
    id = str(more.get("id", "2024-03-14-1830"))
    made = record.model_copy(update={"id": id, "kit": "My Kit", "journal": f"{id}.jsonl", **more})
    save_run(made)
    (runs_folder() / made.journal).write_text('{"journal": "combside run"}\n')
    return made


def test_an_empty_diary_says_how_it_fills(home: Home) -> None:
    assert "nothing in the diary yet" in home.run("diary").out
    assert home.run("diary", "next").status == 0
    assert home.run("diary", "--json").json() == []
    assert home.run("diary", "last").status == 2


def test_list_and_show_one(home: Home) -> None:
    home.settled()
    run = kept(home)
    assert "14 March 2024  Ada  run finished, touch_up" in home.run("diary").out
    for name in ("last", run.id, run.id[:6]):
        shown = home.run("diary", name)
        assert shown.status == 0
        assert "crown" in shown.out
        assert "aftercare" in shown.out
    assert RunRecord.model_validate_json(home.run("diary", "show", "last", "--json").out) == run
    assert (home.data / "diary" / f"{run.id}.json").stat().st_mode & 0o777 == 0o600


def test_a_zone_over_its_limit_is_marked(home: Home) -> None:
    kept(home, limit_s=5.0)
    assert "OVER THE LIMIT" in home.run("diary", "last").out
    assert "zones over the limit" in home.run("diary").out


def test_next_days_with_reasons_and_as_a_calendar(home: Home) -> None:
    """Two weeks: common practice, no source. Eight weeks: AAD, seen second-hand; common practice."""
    home.settled()
    kept(home)
    waiting = home.run("diary", "next", "--json", "--today", "2024-03-20")
    assert waiting.status == 1
    days = {d["what"]: d for d in waiting.json()["Ada"]}
    assert days["permanent colour"]["from"] == "2024-03-28"
    assert days["relaxer"]["from"] == "2024-05-09"
    assert home.run("diary", "next", "--today", "2024-05-09").status == 0
    path = home.folder / "after.ics"
    home.run("diary", "next", "--calendar", path, "--today", "2024-03-20")
    read = {e.summary.value: e.dtstart.value for e in vobject.readOne(path.read_text()).vevent_list}
    assert read["Next relaxer not before today (Ada)"] == date(2024, 5, 9)
    assert "Look at the scalp and the ears (Ada)" not in read


def test_the_calendar_after_the_day_updates_the_one_from_before_it(home: Home) -> None:
    """The same UID, so that the days move to where the run really was."""
    home.settled()
    before, after = home.folder / "before.ics", home.folder / "after.ics"
    home.run(
        "consult",
        "--answers",
        home.put("a.yaml", ANSWERS),
        "--calendar",
        before,
        "--on",
        "2024-03-10",
        *TODAY,
    )
    kept(home)
    home.run("diary", "next", "--calendar", after, "--today", "2024-03-15")
    old = {e.uid.value: e.dtstart.value for e in vobject.readOne(before.read_text()).vevent_list}
    new = {e.uid.value: e.dtstart.value for e in vobject.readOne(after.read_text()).vevent_list}
    assert new.keys() <= old.keys()
    assert {new[uid] - old[uid] for uid in new} == {timedelta(days=4)}


def test_trend_export_and_incident_sheet(home: Home) -> None:
    home.settled()
    kept(home, id="a")
    kept(home, HURT, id="b", person="=Ada")
    assert "7 s a parting over 7 zones" in home.run("diary", "trend").out
    assert len(home.run("diary", "trend", "--json").json()["points"]) == 1
    assert [r["id"] for r in home.run("diary", "export").json()] == ["a", "b"]
    path = home.folder / "runs.csv"
    home.run("diary", "export", "--csv", path)
    rows = list(csv.DictReader(io.StringIO(path.read_bytes().decode())))
    assert [row["id"] for row in rows] == ["a", "b"]
    assert rows[1]["person"] == "'=Ada", "a spreadsheet must not take a name for a formula"
    assert rows[1]["incidents"] == "cream in an eye"
    page = home.run("diary", "incident", "b").out
    assert "cream in an eye" in page
    assert "poison centre: 000 111" in page
    assert "Call for help: 112" in page


def test_forgetting_a_run_takes_its_journal_too(home: Home) -> None:
    kept(home, id="a")
    kept(home, id="b")
    assert home.run("diary", "forget", "a", keys=("no",)).status == 1
    assert home.run("diary", "forget", "a", keys=()).status == 1
    assert len(load_runs()) == 2
    assert home.run("diary", "forget", "a", keys=("yes",)).status == 0
    assert [r.id for r in load_runs()] == ["b"]
    assert [p.name for p in runs_folder().iterdir()] == ["b.jsonl"]


def test_forgetting_a_person_leaves_their_name_nowhere(home: Home) -> None:
    home.settled()
    home.run("consult", "--answers", home.put("a.yaml", ANSWERS.replace("Ada", "Bo")), "--no-save", *TODAY)
    home.run(
        "household",
        "new",
        *TODAY,
        keys=(
            "yes",
            "Ada",
            "",
            "yes",
            "coarse",
            "well",
            "yes",
            "Bo",
            "",
            "yes",
            "well",
            "no",
            "30",
            "112",
            "",
        ),
    )
    home.run("consult", "Bo", "--answers", home.put("b.yaml", ANSWERS.replace("Ada", "Bo")), *TODAY)
    kept(home, id="a", person="Ada", helper="Bo")
    kept(home, id="b", person="Bo", helper=None)
    assert any("Bo" in p.read_text() for p in home.data.rglob("*") if p.is_file())
    done = home.run("diary", "forget", "--person", "Bo", "--yes")
    assert done.status == 0, done.err
    left = {p.name: p.read_text() for p in home.data.rglob("*") if p.is_file()}
    assert [name for name, text in left.items() if "Bo" in text] == []
    assert [r.person for r in load_runs()] == ["Ada"]
    assert home.run("diary", "forget", "--person", "Bo", "--yes").status == 2


def test_an_entry_of_a_newer_version_is_refused_and_stays(home: Home) -> None:
    kept(home, id="a")
    path = home.data / "diary" / "a.json"
    newer = path.read_text().replace('"schema": 1', '"schema": 2')
    path.write_text(newer)
    done = home.run("diary")
    assert done.status == 2
    assert "not touched" in done.err
    assert path.read_text() == newer


def test_a_journal_s_name_that_leads_elsewhere_removes_nothing_there(home: Home) -> None:
    other = home.put("elsewhere.txt", "mine")
    save_run(CALM.model_copy(update={"id": "a", "journal": "../../elsewhere.txt"}))
    assert home.run("diary", "forget", "a", "--yes").status == 0
    assert other.read_text() == "mine"


# -- what combside alone says ------------------------------------------------------------


def test_combside_alone_leads_from_nothing_to_a_run(home: Home, monkeypatch: pytest.MonkeyPatch) -> None:
    from assistant.cli import standing

    def says(day: str = "2024-03-01") -> str:
        home.capture.readouterr()
        assert standing.show(date.fromisoformat(day)) == 0
        return " ".join(home.capture.readouterr().out.split())

    assert "combside household new" in home.run().out
    home.settled()
    (home.data / "kits" / "my-kit.yaml").rename(home.folder / "kit.yaml")
    assert "No kit sheet yet." in says()
    assert "combside kit new" in says()
    (home.folder / "kit.yaml").rename(home.data / "kits" / "my-kit.yaml")
    assert "No consultation yet." in says()
    home.run("consult", *TODAY, keys=("yes", "sound", "stop"))
    assert "not finished" in says()
    home.run("consult", "--answers", home.put("a.yaml", ANSWERS.replace("2023-12-01", "2024-01-18")), *TODAY)
    assert "Cleared from 14 March 2024 with My Kit: strand test next." in says()
    assert "combside kit strand" in says()
    assert "Cleared with My Kit: strand test next." in says("2024-03-14")
    strand = ("kit", "strand", "--outcome", "straight", "--minutes", "14.7", "--today")
    assert home.run(*strand, "2024-03-02").status == 0
    assert "days.ics" in says("2024-03-02")
    assert "straight after 14 minutes" in says("2024-03-14")
    assert "combside practice" in says("2024-03-14")
    kept(home, id="p", kind="practice")
    assert "combside plan" in says("2024-03-14")
    kept(home, id="r", person="Ada")
    after = says("2024-03-15")
    assert "Last relaxer with combside: 14 March 2024" in after
    assert "not before 9 May 2024" in after
    assert "anti-dandruff" in after
    assert "a consultation of its own" in says("2024-05-09")
    assert "combside consult" in says("2024-05-09")


def test_combside_alone_says_what_stands_in_the_way(home: Home) -> None:
    from assistant.cli import standing

    home.settled()
    home.run(
        "consult", "--answers", home.put("a.yaml", ANSWERS.replace("bleached: no", "bleached: yes")), *TODAY
    )
    home.capture.readouterr()
    standing.show(date(2024, 3, 1))
    out = home.capture.readouterr().out
    assert "Bleached hair is not relaxed." in out
    assert "What would change it: the bleached hair has been cut off." in out
    standing.show(date(2024, 6, 1))
    assert "no longer holds" in home.capture.readouterr().out


def test_combside_alone_puts_a_run_that_broke_off_first(home: Home) -> None:
    home.settled()
    walk = Walk(program("touch_up")).to(Stance.COVERING)
    journal_of(walk, runs_folder() / "a.jsonl")
    said = home.run()
    assert "A run broke off: touch_up" in said.out and "If cream is on, rinse now." in said.out
    assert said.out.count("combside run") == 1
    assert not home.run("diary").err, "it is not over, and not entered"
    mark_closed(runs_folder() / "a.jsonl")
    assert "entered in the diary now: a, run broken off" in home.run().err
    assert "broken off" in home.run("diary").out
