"""`combside household`, its file, and its coming to the present version."""

from __future__ import annotations

import json
from datetime import date
from pathlib import Path

import pytest
from hypothesis import HealthCheck, example, given, settings
from hypothesis import strategies as st

from assistant.app.speech import voices_of
from assistant.core.company import age_on
from assistant.core.household import Contact, Household, Person
from assistant.core.interview import already_known
from assistant.files.complaint import BadFile
from assistant.files.household_file import load_household, save_household, up_to_date
from assistant.files.yaml_file import parse
from assistant.files.yaml_writer import written
from tests.cli.household_home import HOUSEHOLD, TODAY, Home
from tests.core.test_consultation import form

GOOD = (
    "Ada",
    "1990-02-28",
    "coarse",
    "well",
    "yes",
    "Bo",
    "",
    "yes",
    "not known",
    "no",
    "25",
    "112",
    "000 111",
)


def test_a_new_household_is_written_for_its_owner_alone(home: Home) -> None:
    done = home.run("household", "new", *TODAY, keys=GOOD)
    assert done.status == 0, done.out
    path = home.data / "household.yaml"
    assert path.stat().st_mode & 0o777 == 0o600
    assert path.parent.stat().st_mode & 0o777 == 0o700
    made = load_household()
    assert made.people == (
        Person(name="Ada", born=date(1990, 2, 28), hair="coarse", hearing="well", helped_by="Bo"),
        Person(name="Bo"),
    )
    assert (made.person, made.helper, made.water.walk_seconds, made.call_for_help) == ("Ada", "Bo", 25, "112")
    assert made.contacts == (Contact(name="poison centre", phone="000 111"),)


def test_writing_over_keeps_the_old_text_and_asks_first(home: Home) -> None:
    home.settled()
    assert home.run("household", "new", *TODAY, keys=("no",)).status == 1
    assert home.run("household", "new", *TODAY, keys=("yes", *GOOD)).status == 0
    assert (home.data / "household.yaml.before").read_text() == HOUSEHOLD


@settings(deadline=None, max_examples=15, suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(st.lists(st.one_of(st.sampled_from([*GOOD, "back", "?"]), st.text(max_size=8)), max_size=40))
def test_no_keys_end_in_a_traceback(home: Home, keys: list[str]) -> None:
    done = home.run(
        "household", "new", *TODAY, keys=tuple(k.replace("\n", " ").replace("\r", " ") for k in keys)
    )
    assert done.status in (0, 1, 2)


def test_show_and_whose_hair_it_is(home: Home) -> None:
    assert home.run("household").status == 1
    home.settled()
    assert "Ada: today's hair, coarse hair, hears well, helped by Bo" in home.run("household").out
    assert home.run("household", "--json").json()["person"] == "Ada"
    assert "Bo's hair, with nobody helping" not in home.run("household", "today", "Ada").out
    turned = home.run("household", "today", "Bo")
    assert turned.status == 0
    assert load_household().person == "Bo"
    assert home.run("household", "today", "Cy").status == 2


def test_what_is_wrong_in_a_file_edited_by_hand_is_told_with_line_and_column(home: Home) -> None:
    home.settled()
    home.put(
        "data/household.yaml",
        HOUSEHOLD.replace("helped_by: Bo", "helped_by: Zoe").replace(
            "hearing: well}\nperson", "hearing: loud}\nperson"
        ),
    )
    done = home.run("household")
    assert done.status == 2
    assert "household.yaml:4:25" in done.err
    assert "'loud'" in done.err


def test_an_unknown_newer_version_is_refused_and_stays_as_it_is(home: Home) -> None:
    newer = HOUSEHOLD.replace("schema: 1", "schema: 7")
    path = home.put("data/household.yaml", newer)
    done = home.run("household")
    assert done.status == 2
    assert "schema 7 is newer than 1" in done.err
    assert path.read_text() == newer
    assert [p.name for p in home.data.glob("household*")] == ["household.yaml"]


def test_an_older_version_is_migrated_step_by_step_and_its_text_is_kept(tmp_path: Path) -> None:
    path = tmp_path / "thing.yaml"
    path.write_text("schema: 1\nname: Ada\n")
    steps = {
        1: lambda old: {"schema": 1, "people": [old["name"]]},
        2: lambda old: {**old, "person": old["people"][0]},
    }
    assert up_to_date(path, 3, steps).tree.value == {"schema": 3, "people": ["Ada"], "person": "Ada"}
    assert (tmp_path / "thing.yaml.v1").read_text() == "schema: 1\nname: Ada\n"
    assert up_to_date(path, 3, steps).tree.value == {"schema": 3, "people": ["Ada"], "person": "Ada"}
    path.write_text("schema: 0\n")
    with pytest.raises(BadFile, match="never was a schema 0"):
        up_to_date(path, 3, steps)


NAMES = st.text(st.characters(exclude_categories=("Cs", "Cc")), min_size=1, max_size=20)


@settings(deadline=None, max_examples=40)
@example(["0E0", "1e5", "~", "1_0"], "")
@given(st.lists(NAMES, min_size=1, max_size=4, unique=True), st.sampled_from(["", "112", "+1 (0) 20-30"]))
def test_what_is_written_reads_back_the_same(names: list[str], phone: str) -> None:
    household = Household(
        people=tuple(Person(name=n, phone=phone) for n in names), person=names[0], contacts=()
    )
    assert parse(written(household, ("A heading.",))).into(Household) == household


def test_the_household_answers_for_its_people(home: Home) -> None:
    home.settled()
    known = already_known(form(), load_household(), "Ada", (), date(2024, 2, 27))
    assert known == {"age": 33, "hair": "coarse", "hearing": "well", "helper": "adult"}
    alone = load_household().model_copy(update={"helper": None})
    assert already_known(form(), alone, "Bo", (), date(2024, 2, 27))["helper"] == "nobody"
    save_household(alone)
    assert load_household() == alone


@pytest.mark.parametrize(
    ("born", "day", "age"),
    [
        (date(2006, 3, 1), date(2024, 2, 29), 17),
        (date(2006, 3, 1), date(2024, 3, 1), 18),
        (date(2004, 2, 29), date(2022, 2, 28), 17),
        (date(2004, 2, 29), date(2022, 3, 1), 18),
        (date(2004, 2, 29), date(2024, 2, 29), 20),
        (date(2005, 12, 31), date(2023, 12, 30), 17),
    ],
)
def test_ages_on_both_sides_of_a_birthday(born: date, day: date, age: int) -> None:
    assert age_on(born, day) == age


def test_the_file_is_json_for_machines_too(home: Home) -> None:
    home.settled()
    assert json.loads(home.run("household", "--json").out)["people"][0]["born"] == "1990-02-28"


def test_the_household_s_voices_and_language_are_used(home: Home) -> None:
    home.settled()
    usual = voices_of(load_household())
    home.put("data/household.yaml", HOUSEHOLD + "voices: {helper: en-gb+m3}\n")
    named = voices_of(load_household())
    assert named["helper"].voice == "en-gb+m3"
    assert (named["person"], named["helper"].rate) == (usual["person"], usual["helper"].rate)
    home.put("data/household.yaml", HOUSEHOLD + "language: xx\n")
    done = home.run("plan", *TODAY)
    assert done.status == 2
    assert "no phrase book for the language 'xx'" in done.err and "there are: en" in done.err
