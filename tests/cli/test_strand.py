"""`combside kit strand` without sound: a test that is told, what it does to the plan, and its file."""

from __future__ import annotations

import stat

from assistant.files.strand_file import strand_folder
from tests.cli.household_home import ANSWERS, TODAY, Home

PLAN = ("plan", "touch_up", "--json", *TODAY)


def strand(home: Home, outcome: str, minutes: str, *more: str) -> int:
    return home.run("kit", "strand", "--outcome", outcome, "--minutes", minutes, *TODAY, *more).status


def test_the_limit_is_the_lowest_and_a_bad_strand_is_a_no(home: Home) -> None:
    home.settled()
    assert home.run(*PLAN).json()["limit_min"] == 18
    assert strand(home, "straight", "21.5") == 0
    assert home.run(*PLAN).json()["limit_min"] == 18
    told = home.run("kit", "strand", "--outcome", "straight", "--minutes", "13.9", *TODAY, "--json").json()
    assert told["ok"] and "straight after 13 minutes" in told["words"]
    plan = home.run(*PLAN).json()
    assert plan["limit_min"] == 13 and "strand" in plan["limit_reason"]
    assert home.run("plan", "touch_up", "--json", "--today", "2024-06-01").json()["limit_min"] == 18, (
        "too old"
    )
    assert strand(home, "gummed", "5") == 1
    no = home.run(*PLAN)
    assert no.status == 1
    assert no.json()["reasons"][0]["rule"] == "strand test" and "gummed" in no.json()["reasons"][0]["words"]
    files = sorted(strand_folder().glob("*.yaml"))
    assert len(files) == 3, "every test is kept, two in one second too"
    assert {stat.S_IMODE(f.stat().st_mode) for f in files} == {0o600}
    assert "3 strand tests" in home.run("diary", "forget", "--person", "Ada", "--yes").out
    assert not list(strand_folder().glob("*.yaml"))


def test_what_is_wrong_in_a_file_is_told_with_its_place(home: Home) -> None:
    home.settled()
    strand(home, "straight", "14")
    (file,) = strand_folder().glob("*.yaml")
    right = file.read_text("utf-8")
    file.write_text(right.replace("outcome: straight", "outcome: fine"), "utf-8")
    line = 1 + right.splitlines().index("outcome: straight")
    wrong = home.run(*PLAN)
    assert wrong.status == 2 and f"{file}:{line}:10" in wrong.err
    file.write_text(right.replace("schema: 1", "schema: 2"), "utf-8")
    assert home.run(*PLAN).status == 2
    assert "schema: 2" in file.read_text("utf-8"), "a newer file stays as it is"


def test_no_cream_is_opened_for_whom_the_consultation_says_no(home: Home) -> None:
    home.settled()
    assert "combside consult" in home.run("kit", "strand", *TODAY).err
    home.run(
        "consult", "--answers", home.put("a.yaml", ANSWERS.replace("bleached: no", "bleached: yes")), *TODAY
    )
    refused = home.run("kit", "strand", *TODAY)
    assert refused.status == 1 and "Bleached hair is not relaxed." in refused.err


def test_half_an_answer_is_told(home: Home) -> None:
    home.settled()
    assert "--minutes" in home.run("kit", "strand", "--outcome", "straight", *TODAY).err
    assert (
        "within a minute"
        in home.run("kit", "strand", "--outcome", "straight", "--minutes", "0.4", *TODAY).err
    )
    assert home.run("kit", "strand", "--outcome", "straight", "--minutes", "-3", *TODAY).status == 2


def test_a_strand_that_is_too_quick_for_any_work_is_a_no(home: Home) -> None:
    home.settled()
    done = home.run("kit", "strand", "--outcome", "straight", "--minutes", "2", *TODAY)
    assert done.status == 1
    assert "leave no time to work" in done.out and "licensed professional" in done.out
