"""The consultation against a table written from published values before the code (tests/consultation)."""

from __future__ import annotations

from collections import Counter
from datetime import date
from functools import cache
from typing import Any

import numpy as np
import pytest
from dateutil.relativedelta import relativedelta

from assistant.core.consultation import Form, Result, Verdict, from_plain, judge
from assistant.core.kit_sheet import ChartRow, KitSheet, Waits
from assistant.files.places import routines_folder
from assistant.files.yaml_file import load
from tests.consultation.table import CASES, TABLE
from tests.programs import kit as example_kit

WAITS = ("relaxer_weeks", "colour_weeks", "braids_weeks", "dandruff_weeks", "wash_days")


@cache
def form() -> Form:
    return load(routines_folder() / "consultation" / "rules.yaml", Form)


def kit_of(case: dict[str, Any]) -> KitSheet:
    told = {**TABLE["base_kit"], **case.get("kit", {})}
    return example_kit().model_copy(
        update={
            "product_class": told["class"],
            "chart": tuple(ChartRow(hair=hair, greatest_minutes=20) for hair in told["rows"]),
            "least_age": told["least_age"],
            "waits": Waits(**{name: told[name] for name in WAITS if name in told}),
            "patch_test_hours": told.get("patch_test_hours"),
        }
    )


def result_of(case: dict[str, Any], today: str | None = None) -> Result:
    asked_on = date.fromisoformat(case.get("asked_on", case["today"]))
    plain = {
        n: tuple(v) if isinstance(v, list) else v for n, v in {**TABLE["base"], **case.get("set", {})}.items()
    }
    answers, wrong = from_plain(form(), plain, asked_on)
    assert not wrong
    more = {"served": case["kit"]["served"]} if "served" in case.get("kit", {}) else {}
    return judge(
        form(), answers, kit_of(case), date.fromisoformat(today or case["today"]),
        asked_on=asked_on, allowed=case.get("allowed", {}), **more,
    )  # fmt: skip


@pytest.mark.parametrize("case", CASES, ids=[case["case"] for case in CASES])
def test_case(case: dict[str, Any]) -> None:
    """Verdict, day and exactly these reasons; each row names its source."""
    result = result_of(case)
    assert result.verdict.value == case["verdict"]
    assert (result.not_before and result.not_before.isoformat()) == case.get("not_before")
    assert {f.rule for f in result.findings} == set(case["reasons"])
    if "notes" in case:
        assert {f.rule for f in result.notes} == set(case["notes"])


@pytest.mark.parametrize("case", [c for c in CASES if c["verdict"] == "wait"], ids=lambda c: c["case"])
def test_what_is_cleared_from_a_day_is_cleared_on_that_day_and_not_the_day_before(
    case: dict[str, Any],
) -> None:
    first = date.fromisoformat(case["not_before"])
    kept = {**case, "asked_on": case.get("asked_on", case["today"])}
    assert result_of(kept, first.isoformat()).verdict is Verdict.GO
    assert result_of(kept, (first - relativedelta(days=1)).isoformat()).verdict is Verdict.WAIT


@pytest.mark.parametrize("case", [c for c in CASES if "wait" in c], ids=lambda c: c["case"])
def test_the_table_s_days_are_right_by_libraries_that_the_consultation_does_not_use(
    case: dict[str, Any],
) -> None:
    """numpy counts days and dateutil counts calendar months; the consultation uses neither."""
    wait = case["wait"]
    if "months" in wait:
        ends = date.fromisoformat(wait["from"]) + relativedelta(months=wait["months"])
    else:
        ends = (np.datetime64(wait["from"]) + np.timedelta64(wait["days"], "D")).astype(date)
        by_dateutil = date.fromisoformat(wait["from"]) + relativedelta(days=wait["days"])
        assert ends == by_dateutil
    today = date.fromisoformat(case["today"])
    if "not_before" in case:
        assert case["not_before"] == ends.isoformat()
        assert today < ends
    elif "better_from" in case.get("notes", ()) and "months" in wait:
        assert today < ends
    else:
        assert today >= ends


def test_the_table_is_as_large_as_it_says_and_every_source_is_named() -> None:
    assert len(CASES) >= 150
    assert {case["source"] for case in CASES} == set(TABLE["sources"])
    assert max(Counter(case["case"] for case in CASES).values()) == 1


def test_every_rule_decides_at_least_one_case() -> None:
    """A rule that no row of the table needs would be a rule nobody checked."""
    decided = {rule for case in CASES for rule in (*case["reasons"], *case.get("notes", ()))}
    assert decided == {rule.id for rule in form().rules}
