"""`combside consult`, by file and by keys."""

from __future__ import annotations

import io
import re
from datetime import date
from pathlib import Path

import pytest
import vobject
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from assistant.app.consult import again_today, load_form, may_run
from assistant.cli.asking import Stopped, Terminal
from assistant.cli.day_questions import todays_answers
from assistant.files.complaint import BadFile
from assistant.files.household_file import find_kit, load_kit
from tests.cli.household_home import ANSWERS, HOUSEHOLD, TODAY, Home

GOOD_KEYS = (
    "yes",
    "sound",
    "sound",
    "normal",
    "good",
    "no",
    "no",
    "none",
    "2023-12-01",
    "hydroxide",
    "never",
    "none",
    "none",
    "never",
    "10 days ago",
    "no",
    "none",
    "no",
    "none",
    "none",
)
"""Answers for somebody whose age, hair, hearing and helper the household's file knows."""
WRONG = ("", "qqqq", "\x1b[2J", "999999999999", "-1", "2024-02-30", "\U000e0001", "?", "yes and no")


def answers(home: Home, *changes: tuple[str, str], name: str = "answers.yaml") -> Path:
    text = ANSWERS
    for key, value in changes:
        text = re.sub(rf"(?m)^  {key}: .*$", f"  {key}: {value}", text)
    return home.put(name, text)


def test_go_by_file(home: Home) -> None:
    done = home.settled().run("consult", "--answers", answers(home), "--json", *TODAY)
    found = done.json()
    assert done.status == 0
    assert (found["verdict"], found["not_before"], found["reasons"]) == ("go", None, [])
    assert found["cautions"]


@pytest.mark.parametrize(
    ("change", "status", "verdict", "not_before", "rules"),
    [
        (("last_relaxer", "2024-01-05"), 0, "go", None, []),
        (("last_relaxer", "2024-01-06"), 1, "wait", "2024-03-02", ["relaxer_wait"]),
        (("bleached", "yes"), 1, "no", None, ["bleached"]),
        (("pregnancy", "unknown"), 1, "ask", None, ["pregnancy"]),
    ],
)
def test_verdict_day_reasons_and_status(
    home: Home, change: tuple[str, str], status: int, verdict: str, not_before: str | None, rules: list[str]
) -> None:
    done = home.settled().run("consult", "--answers", answers(home, change), "--json", *TODAY)
    found = done.json()
    assert (done.status, found["verdict"], found["not_before"]) == (status, verdict, not_before)
    assert [r["rule"] for r in found["reasons"]] == rules
    for reason in found["reasons"]:
        assert {"rule", "words", "mark", "until"} <= reason.keys()


def test_no_household_is_needed_for_a_file_that_says_everything(home: Home) -> None:
    kit = home.put(
        "kit.yaml",
        "schema: 1\nname: K\nproduct_class: hydroxide\nchart: "
        "[{hair: coarse, greatest_minutes: 18}]\n"
        "second_lather_minutes: {least: 2, greatest: 3}\nconditioner_heat_minutes: "
        "{least: 10, greatest: 15}\n"
        "conditioner_minutes: {least: 45, greatest: 60}\nleast_age: 18\n",
    )
    done = home.run("consult", "--answers", answers(home), "--kit", kit, "--json", "--no-save", *TODAY)
    assert done.status == 0
    assert done.json()["person"] == "Ada"
    assert not (home.data / "consultations").exists()


def test_every_wrong_answer_of_a_file_is_told_at_its_place(home: Home) -> None:
    path = answers(home, ("scalp", "fine"), ("last_wash", "2031-01-01"), ("age", "old"))
    path.write_text(path.read_text().replace("  helper: adult\n", "  hlper: adult\n"))
    done = home.settled().run("consult", "--answers", path, *TODAY)
    assert done.status == 2
    for words, line in (
        ("'fine' is not one of the answers", 6),
        ("1 January 2031 is still to come", 19),
        ("'old' is no whole number", 4),
    ):
        assert words in done.err
        assert f"answers.yaml:{line}:" in done.err
    assert "nobody asks 'hlper'" in done.err


def test_what_a_file_leaves_out_is_named_unless_the_household_knows_it(home: Home) -> None:
    text = "".join(
        line + "\n" for line in ANSWERS.splitlines() if not re.match("  (age|helper|pregnancy):", line)
    )
    done = home.settled().run("consult", "--answers", home.put("a.yaml", text), *TODAY)
    assert done.status == 2
    assert "'pregnancy' is not answered" in done.err
    assert "'age'" not in done.err
    assert "'helper'" not in done.err


@pytest.mark.parametrize(
    ("tail", "words"),
    [
        ("allowed: {pregnanzy: the midwife}\n", "there is no rule 'pregnanzy'"),
        ("allowed: {bleached: a hairdresser}\n", "nobody's yes lifts 'bleached'"),
        ("asked_on: 2030-01-01\n", "still to come"),
        ("asked_on: yesterday\n", "a date"),
        ("anwers: {}\n", "unknown key 'anwers'"),
    ],
)
def test_a_file_that_is_wrong_elsewhere_is_told_too(home: Home, tail: str, words: str) -> None:
    done = home.settled().run("consult", "--answers", home.put("a.yaml", ANSWERS + tail), *TODAY)
    assert done.status == 2
    assert words in done.err


def test_never_relaxed_and_yet_a_class_is_a_contradiction(home: Home) -> None:
    done = home.settled().run("consult", "--answers", answers(home, ("last_relaxer", "never")), *TODAY)
    assert done.status == 2
    assert "never relaxed, and yet" in done.err


def test_the_template_filled_in_is_a_good_answers_file(home: Home) -> None:
    template = home.settled().run("consult", "--template", *TODAY).out
    empty = home.run("consult", "--answers", home.put("t.yaml", template), *TODAY)
    assert empty.status == 2
    given = dict(re.findall(r"(?m)^  (\w+): (.+)$", ANSWERS))
    filled = re.sub(
        r"(?m)^  (?:# )?(\w+): $", lambda m: f"  {m[1]}: {given[m[1]]}" if m[1] in given else "", template
    )
    done = home.run("consult", "--answers", home.put("t.yaml", filled), "--json", *TODAY)
    assert done.json()["verdict"] == "go"


def test_go_by_keys_and_the_result_is_kept_for_its_owner_alone(home: Home) -> None:
    done = home.settled().run("consult", *TODAY, keys=GOOD_KEYS)
    assert done.status == 0, done.out
    assert "GO   (Ada, My Kit)" in done.out
    (kept,) = (home.data / "consultations").glob("*.json")
    assert kept.stat().st_mode & 0o777 == 0o600
    assert kept.parent.stat().st_mode & 0o777 == 0o700
    assert "Ada" not in kept.name


def test_wrong_answers_at_every_question_are_explained_and_asked_again(home: Home) -> None:
    """Tried as a new user would: nothing is lost, nothing is asked twice once it was answered."""
    keys = tuple(
        key for good in GOOD_KEYS for key in ("", "qqqq", "?", "99", good) if (key, good) != ("qqqq", "none")
    )
    medicines = GOOD_KEYS.index("none", 16)
    assert GOOD_KEYS[medicines] == "none"
    done = home.settled().run("consult", *TODAY, keys=keys)
    assert "Traceback" not in done.out + done.err
    assert done.out.count("  ! ") >= 2 * len(GOOD_KEYS)
    assert done.status == 0, done.out[-3000:]
    asked = re.findall(r"(?m)^\[(\d+) of \d+\]", done.out)
    assert list(dict.fromkeys(asked)) == sorted(set(asked), key=int), "questions come once each, in order"


@settings(deadline=None, max_examples=15, suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(
    st.lists(
        st.one_of(
            st.sampled_from(WRONG),
            st.sampled_from(GOOD_KEYS),
            st.sampled_from(["back", "yes"]),
            st.text(max_size=12),
        ),
        max_size=60,
    )
)
def test_no_keys_end_in_a_traceback(home: Home, keys: list[str]) -> None:
    done = home.settled().run(
        "consult", "--no-save", *TODAY, keys=tuple(k.replace("\n", " ").replace("\r", " ") for k in keys)
    )
    assert done.status in (0, 1, 2)
    assert "\x1b" not in done.out + done.err


def test_stopping_loses_nothing_and_nothing_is_asked_twice(home: Home) -> None:
    first = home.settled().run("consult", *TODAY, keys=(*GOOD_KEYS[:6], "stop"))
    assert first.status == 2
    assert "goes on from here" in first.err
    second = home.run("consult", *TODAY, keys=GOOD_KEYS[6:])
    assert second.status == 0, second.out
    assert "answers were kept" in second.out
    assert "Look at the whole scalp" not in second.out
    assert not list((home.data / "consultations").glob("*.draft.json"))


def test_the_scalp_is_asked_again_when_it_goes_on_another_day(home: Home) -> None:
    home.settled().run("consult", *TODAY, keys=(*GOOD_KEYS[:6], "stop"))
    second = home.run("consult", "--today", "2024-03-02", keys=("sound", *GOOD_KEYS[6:]))
    assert "Look at the whole scalp" in second.out
    assert second.status == 0, second.out


def test_back_takes_the_last_answer_back(home: Home) -> None:
    keys = ("yes", "scratched", "back", *GOOD_KEYS[1:])
    done = home.settled().run("consult", "--json", *TODAY, keys=keys)
    assert done.json()["verdict"] == "go"
    assert "Taken back" in done.err


def test_what_is_no_longer_right_in_the_household_is_asked(home: Home) -> None:
    done = home.settled().run("consult", "--json", *TODAY, keys=("helper", *GOOD_KEYS[1:], "nobody"))
    assert done.status == 0
    done = home.run("consult", "--json", *TODAY, keys=("helper, age", "17", *GOOD_KEYS[1:], "nobody"))
    assert [r["rule"] for r in done.json()["reasons"]] == ["below_leaflet_age"]


def test_what_says_ask_is_cleared_by_naming_who_said_yes(home: Home) -> None:
    keys = [*GOOD_KEYS]
    keys[16] = "an ointment"
    asked = home.settled().run("consult", "--json", *TODAY, keys=(*keys, "no"))
    assert (asked.status, asked.json()["verdict"]) == (1, "ask")
    cleared = home.run("consult", "--json", *TODAY, keys=(*keys, "yes", "the pharmacist on 28 February"))
    assert (cleared.status, cleared.json()["verdict"]) == (0, "go")
    assert "the pharmacist" in cleared.json()["notes"][0]["words"]


def test_the_calendar_holds_the_run_up_to_the_day_that_is_allowed(home: Home) -> None:
    path = home.folder / "days.ics"
    done = home.settled().run(
        "consult", "--answers", answers(home, ("last_relaxer", "2024-02-01")), "--calendar", path, *TODAY
    )
    assert done.status == 1
    days = {e.summary.value: e.dtstart.value for e in vobject.readOne(path.read_text()).vevent_list}
    assert days["Relaxer day (Ada)"] == date(2024, 3, 28)
    assert path.stat().st_mode & 0o777 == 0o600
    early = home.run(
        "consult",
        "--answers",
        answers(home, ("last_relaxer", "2024-02-01")),
        "--calendar",
        path,
        "--on",
        "2024-03-27",
        *TODAY,
    )
    assert early.status == 2
    assert "is before 28 March 2024" in early.err
    no = home.run(
        "consult",
        "--answers",
        answers(home, ("bleached", "yes")),
        "--calendar",
        home.folder / "no.ics",
        *TODAY,
    )
    assert "No calendar was written" in no.out
    assert not (home.folder / "no.ics").exists()


@pytest.mark.parametrize(
    "arguments",
    [
        ("consult", "Nobody"),
        ("consult", "--kit", "other"),
        ("consult", "--answers", "/nowhere"),
        ("consult", "--answers", "/nowhere", "--calendar", "/nowhere/else/x.ics"),
        ("kit", "show", "other"),
        ("diary", "nothing"),
    ],
)
def test_wrong_input_is_status_2_with_a_way_on(home: Home, arguments: tuple[str, ...]) -> None:
    done = home.settled().run(*arguments)
    assert done.status == 2
    assert "error:" in done.err


def test_a_consultation_of_a_newer_version_is_refused_and_stays_as_it_is(home: Home) -> None:
    home.settled().run("consult", "--answers", answers(home), *TODAY)
    (kept,) = (home.data / "consultations").glob("*.json")
    newer = kept.read_text().replace('"schema": 1', '"schema": 2')
    kept.write_text(newer)
    done = home.run()
    assert done.status == 2
    assert "can not be read" in done.err
    assert kept.read_text() == newer


def test_a_run_needs_a_consultation_that_still_says_go(home: Home) -> None:
    """The gate that `run` asks: this person, this kit, today, and the scalp once more."""
    home.settled()
    kit = load_kit(find_kit(None))
    scalp = {"scalp": "sound"}
    assert [r.rule for r in may_run("Ada", kit, date(2024, 3, 1), scalp)] == ["no consultation"]
    home.run("consult", "--answers", answers(home, ("last_relaxer", "2024-01-06")), *TODAY)
    assert [r.rule for r in may_run("Ada", kit, date(2024, 3, 1), scalp)] == ["relaxer_wait"]
    assert may_run("Ada", kit, date(2024, 3, 2), scalp) == ()
    assert [r.rule for r in may_run("Ada", kit, date(2024, 3, 2), {"scalp": "scratched"})] == ["scalp_hurt"]
    assert [r.rule for r in may_run("Bo", kit, date(2024, 3, 2), scalp)] == ["no consultation"]
    assert [name for name, _, _ in again_today(load_form())] == ["scalp"]


def test_a_run_needs_a_routine_for_this_hair(home: Home) -> None:
    """New growth only, never over relaxed hair (American Academy of Dermatology, seen second-hand)."""
    home.settled()
    kit, day, scalp = load_kit(find_kit(None)), date(2024, 3, 1), {"scalp": "sound"}
    home.run("consult", "--answers", answers(home), *TODAY)
    assert may_run("Ada", kit, day, scalp, treats="new growth") == ()
    (no,) = may_run("Ada", kit, day, scalp, treats="never relaxed")
    assert "never over relaxed hair" in no.words
    path = answers(home, ("last_relaxer", "never"))
    path.write_text(path.read_text().replace("  last_relaxer_class: hydroxide\n", ""))
    assert home.run("consult", "--answers", path, *TODAY).status == 0
    assert may_run("Ada", kit, day, scalp, treats="never relaxed") == ()
    (no,) = may_run("Ada", kit, day, scalp, treats="new growth")
    assert "was never relaxed" in no.words


def test_an_answers_file_is_checked_without_a_kit(home: Home) -> None:
    assert "a answers file" not in home.run("check", answers(home)).out
    assert home.run("check", answers(home)).status == 0
    done = home.run("check", answers(home, ("scalp", "fine"), ("helper", "mother")))
    assert done.status == 2
    assert "answers.yaml:6:" in done.err and "'mother' is not one of the answers" in done.err


def test_the_scalp_is_asked_on_the_day_until_it_is_an_answer() -> None:
    """By a number, by several words, and I don't know; a wrong word is explained; nothing ends in a traceback."""
    day, out = date(2024, 3, 1), io.StringIO()
    for keys, answer in (("back\npurple\n?\n1\n", "1"), ("irritated, scratched\n", "irritated, scratched"),
                         ("I don't know\n", "I don't know")):  # fmt: skip
        assert todays_answers([], "Ada", day, Terminal(io.StringIO(keys), out)) == {"scalp": answer}
    assert "'purple' is not one of the answers" in out.getvalue()
    with pytest.raises(Stopped):
        todays_answers([], "Ada", day, Terminal(io.StringIO(""), out))
    assert todays_answers(["scalp=sound"], "Ada", day) == {"scalp": "sound"}
    for wrong in ("scalp", "scalp=fine", "hair=coarse"):
        with pytest.raises(BadFile):
            todays_answers([wrong], "Ada", day)


def test_who_is_there_today_counts_and_not_who_was_there_when_it_was_asked(home: Home) -> None:
    """The helper who hears well has left since: for somebody who hears badly, and for a child, that is a no."""
    home.settled()
    kit, day, scalp = load_kit(find_kit(None)), date(2024, 3, 1), {"scalp": "sound"}
    home.run("consult", "--answers", answers(home, ("hearing", "badly")), *TODAY)
    badly = HOUSEHOLD.replace("hair: coarse, hearing: well", "hair: coarse, hearing: badly")
    home.put("data/household.yaml", badly)
    assert may_run("Ada", kit, day, scalp) == ()
    home.put("data/household.yaml", badly.replace("helper: Bo\n", "").replace(", helped_by: Bo", ""))
    assert [r.rule for r in may_run("Ada", kit, day, scalp)] == ["hears_badly_alone"]
    home.put(
        "data/household.yaml",
        HOUSEHOLD.replace("1990-02-28", "2007-01-01").replace("{name: Bo", "{name: Bo, born: '2008-01-01'"),
    )
    assert [r.rule for r in may_run("Ada", kit, day, scalp)] == ["below_leaflet_age"]
