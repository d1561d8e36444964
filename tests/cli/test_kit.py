"""`combside kit`: sheets copied from a leaflet by answering questions."""

from __future__ import annotations

import json

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from assistant.core.kit_doubts import doubts
from assistant.core.kit_sheet import ChartRow, KitSheet, LimitMeans, Span, StrandTest, Waits
from assistant.files.household_file import load_kit
from tests.cli.household_home import Home

GOOD = (
    "New Kit",
    "hydroxide to mix",
    "13",
    "",
    "15",
    "13",
    "18",
    "",
    "by section",
    "2",
    "4",
    "",
    "2",
    "3",
    "10",
    "15",
    "45",
    "60",
    "yes",
    "8",
    "2",
    "",
    "",
    "",
    "48",
    "18",
    "Rinse with water.",
    "yes",
)


def test_a_new_sheet_holds_what_was_answered_and_a_person_can_read_it(home: Home) -> None:
    done = home.run("kit", "new", keys=GOOD)
    assert done.status == 0, done.out
    path = home.data / "kits" / "new-kit.yaml"
    assert load_kit(path) == KitSheet(
        name="New Kit",
        product_class="hydroxide to mix",
        limit_means=LimitMeans.BY_SECTION,
        chart=(
            ChartRow(hair="fine", greatest_minutes=13),
            ChartRow(hair="medium", least_minutes=13, greatest_minutes=15),
            ChartRow(hair="coarse", greatest_minutes=18),
        ),
        mixing_least_minutes=2,
        strand_test=StrandTest(check_every_minutes=4),
        second_lather_minutes=Span(least=2, greatest=3),
        conditioner_heat_minutes=Span(least=10, greatest=15),
        conditioner_minutes=Span(least=45, greatest=60),
        colour_indicator=True,
        least_age=18,
        waits=Waits(relaxer_weeks=8, colour_weeks=2),
        patch_test_hours=48,
        emergency="Rinse with water.",
    )
    assert "chart:\n  - {hair: fine, greatest_minutes: 13}" in path.read_text()
    assert path.stat().st_mode & 0o777 == 0o600


def test_wrong_answers_at_every_question_lead_to_the_same_sheet(home: Home) -> None:
    wrong = {
        "13": ("soon", "-1"),
        "18": ("?", "0x12"),
        "yes": ("perhaps", ""),
        "hydroxide to mix": ("", "lye"),
        "by section": ("never",),
        "2": ("two minutes",),
        "New Kit": ("", "?!"),
        "48": ("a day",),
    }
    keys = tuple(key for good in GOOD for key in (*wrong.get(good, ()), good))
    done = home.run("kit", "new", keys=keys)
    assert done.status == 0, done.out[-1500:]
    assert load_kit(home.data / "kits" / "new-kit.yaml").least_age == 18


def test_what_is_unlike_any_leaflet_is_asked_for_again_and_never_corrected(home: Home) -> None:
    """Usual values: trade charts from memory, common practice without a source."""
    keys = ["New Kit", "hydroxide", "80", "80", "", "", "", "1", "", "", "9", "2", "3", *GOOD[14:]]
    done = home.run("kit", "new", keys=tuple(keys))
    assert done.status == 0, done.out
    assert "80 minutes is outside what is usual, 10 to 18" in done.out
    assert "9 minutes is outside what is usual, 2 to 3" in done.out
    kit = load_kit(home.data / "kits" / "new-kit.yaml")
    assert kit.chart == (ChartRow(hair="fine", greatest_minutes=80),)
    assert kit.second_lather_minutes.least == 2


def test_nothing_is_written_when_it_is_not_what_the_leaflet_says(home: Home) -> None:
    assert home.run("kit", "new", keys=(*GOOD[:-1], "no")).status == 1
    assert home.run("kit", "new", keys=GOOD[:9]).status == 2
    assert list((home.data / "kits").glob("*")) == []


def test_a_kit_that_releases_formaldehyde_is_refused_at_once(home: Home) -> None:
    """An IARC carcinogen; another class of product."""
    done = home.run("kit", "new", keys=("Heat", "formaldehyde"))
    assert done.status == 1
    assert "causes cancer" in done.out
    assert list((home.data / "kits").glob("*")) == []


def test_a_sheet_without_a_limit_can_not_be_written(home: Home) -> None:
    done = home.run("kit", "new", keys=("K", "hydroxide", "", "", "", "13", "", "", ""))
    assert "nothing runs without a limit" in done.out


def test_two_sheets_need_two_names(home: Home) -> None:
    home.run("kit", "new", keys=GOOD)
    done = home.run("kit", "new", keys=("new KIT", "Another", *GOOD[1:]))
    assert "There is a sheet 'new KIT' already" in done.out
    listed = home.run("kit", "--json").json()
    assert sorted(k["name"] for k in listed) == ["Another", "New Kit"]
    several = home.run("consult")
    assert several.status == 2
    assert "there are several kit sheets" in several.err


def test_show_and_check(home: Home) -> None:
    home.settled()
    assert home.run("kit", "show", "My Kit", "--json").json()["name"] == "My Kit"
    assert "product_class: hydroxide to mix" in home.run("kit", "show").out
    good = home.run("kit", "check", "--json")
    assert (good.status, good.json()["read_again"]) == (0, [])
    home.put(
        "data/kits/my-kit.yaml", (home.data / "kits" / "my-kit.yaml").read_text().replace("18}]", "44}]")
    )
    assert home.run("kit", "check").status == 1


@settings(deadline=None, max_examples=15, suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(st.lists(st.one_of(st.sampled_from([*GOOD, "back", "?", "no"]), st.text(max_size=8)), max_size=60))
def test_no_keys_end_in_a_traceback(home: Home, keys: list[str]) -> None:
    done = home.run("kit", "new", keys=tuple(k.replace("\n", " ").replace("\r", " ") for k in keys))
    assert done.status in (0, 1, 2)
    for path in (home.data / "kits").glob("*.yaml"):
        load_kit(path)
        path.unlink()


@pytest.mark.parametrize(
    ("change", "words"),
    [
        (
            {
                "chart": (
                    ChartRow(hair="fine", greatest_minutes=18),
                    ChartRow(hair="coarse", greatest_minutes=12),
                )
            },
            "the other way round",
        ),
        ({"strand_test": StrandTest(greatest_minutes=30)}, "longer than the chart's"),
        ({"strand_test": StrandTest(check_every_minutes=18)}, "not once before"),
        ({"product_class": "hydroxide", "mixing_least_minutes": 2.0}, "A cream that is mixed"),
        ({"conditioner_heat_minutes": Span(least=10, greatest=90)}, "longer with heat"),
        ({"waits": Waits(relaxer_weeks=1)}, "1 weeks is outside"),
        ({"least_age": None}, "no age"),
        ({"emergency": ""}, "no emergency text"),
    ],
)
def test_a_contradiction_is_doubted(change: dict[str, object], words: str, home: Home) -> None:
    home.settled()
    kit = load_kit(home.data / "kits" / "my-kit.yaml")
    assert doubts(kit) == ()
    assert any(words in d.words for d in doubts(kit.model_copy(update=change)))


def test_a_sheet_edited_by_hand_is_told_with_line_and_column(home: Home) -> None:
    home.settled()
    home.put(
        "data/kits/my-kit.yaml",
        (home.data / "kits" / "my-kit.yaml").read_text().replace("least_age: 18", "least_age: eighteen"),
    )
    done = home.run("kit", "show")
    assert done.status == 2
    assert "my-kit.yaml:9:12" in done.err
    assert json.dumps("eighteen") not in done.out
