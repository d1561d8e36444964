"""A strand test done before: it can only lower the limit, and a bad one is a no."""

from __future__ import annotations

from datetime import date

import pytest
from hypothesis import given
from hypothesis import strategies as st
from pydantic import ValidationError

from assistant.app.load import load_book, load_routine
from assistant.core.program import Program, prepare
from assistant.core.reasons import Limit, Reason
from assistant.core.strand_test import BAD, Outcome, StrandResult, told
from assistant.files.places import routines_folder
from tests.programs import household, kit

TOUCH_UP = load_routine(routines_folder() / "touch_up.yaml")
BOOK = load_book()


def result(outcome: Outcome = "straight", minutes: float = 14.0, **other: str) -> StrandResult:
    about = {"person": "Ada", "kit": kit().name, "hair": "coarse", **other}
    return StrandResult.model_validate(
        {**about, "on": date(2025, 3, 1), "outcome": outcome, "minutes": minutes}
    )


def prepared(strand: StrandResult | None, wish: float | None = None) -> Program | tuple[Reason, ...]:
    people = household()
    person = people.the_person().model_copy(update={"wish_greatest_minutes": wish})
    mine = people.model_copy(update={"people": (person, *people.people[1:])})
    return prepare(TOUCH_UP, kit(), mine, BOOK, strand=strand)


@given(st.floats(10, 60), st.one_of(st.none(), st.floats(10, 60)))
def test_the_lowest_of_chart_strand_and_wish(minutes: float, wish: float | None) -> None:
    """22 minutes is the example kit's chart for coarse hair; a strand counts in whole minutes, rounded down."""
    made = prepared(result(minutes=minutes), wish)
    assert isinstance(made, Program)
    assert made.limit.seconds == pytest.approx(60 * min(22.0, float(int(minutes)), wish or 22.0))


def test_the_reason_names_the_test() -> None:
    made = prepared(result())
    assert isinstance(made, Program)
    assert made.limit.reason.rule == "strand test"
    assert made.limit.reason.words == "The strand was straight after 14 minutes on 2025-03-01."


@pytest.mark.parametrize("outcome", BAD)
def test_a_bad_strand_is_a_no(outcome: Outcome) -> None:
    made = prepared(result(outcome, 5.0))
    assert isinstance(made, tuple)
    assert [reason.rule for reason in made] == ["strand test"]


def test_not_straight_in_time_leaves_the_chart_to_rule() -> None:
    made = prepared(result("not straight", 22.0))
    assert isinstance(made, Program)
    assert made.limit.seconds == 22 * 60


@pytest.mark.parametrize("other", [{"kit": "Another"}, {"person": "Bo"}, {"hair": "fine"}])
def test_a_test_of_something_else_counts_for_nothing(other: dict[str, str]) -> None:
    said = told(result(**other), kit(), "Ada", "coarse")
    assert isinstance(said, Reason)
    assert "another" in said.words


def test_under_a_minute_is_no_test() -> None:
    with pytest.raises(ValidationError, match="within a minute"):
        result(minutes=0.5)


def test_without_a_test_nothing_changes() -> None:
    made = prepared(None)
    assert isinstance(made, Program)
    assert isinstance(made.limit, Limit)
    assert made.limit.reason.rule == "chart"
