"""New growth since the last relaxer."""

from __future__ import annotations

from datetime import date, timedelta

import pytest
from hypothesis import given
from hypothesis import strategies as st

from assistant.core import growth

DAY = date(2025, 3, 1)


def test_eight_weeks_give_half_an_inch_to_an_inch() -> None:
    """1/2 to 1 in in about 8 weeks (a secondary source), at 1.25 cm a month (from memory)."""
    grown = growth.since(DAY - timedelta(weeks=8), DAY)
    assert 0.5 * 2.54 <= grown.expected_cm <= 1.0 * 2.54
    assert grown.expected_cm == pytest.approx(1.25 * 56 / 30.4375)
    assert (grown.enough, grown.overlap_risk) == ("yes", "some")


@pytest.mark.parametrize(
    ("weeks", "enough", "risk"),
    [(2, "no", "high"), (5, "measure", "some"), (4, "measure", "high"), (16, "yes", "low")],
)
def test_enough_only_when_the_slow_end_is(weeks: int, enough: str, risk: str) -> None:
    grown = growth.since(DAY - timedelta(weeks=weeks), DAY)
    assert (grown.enough, grown.overlap_risk) == (enough, risk)
    assert f"{grown.least_cm:.1f} to {grown.most_cm:.1f} cm" in grown.words


@given(st.integers(0, 2000), st.integers(0, 400))
def test_more_days_never_less_growth(days: int, more: int) -> None:
    first, later = (
        growth.since(DAY - timedelta(days=days), DAY),
        growth.since(DAY - timedelta(days=days + more), DAY),
    )
    assert later.expected_cm >= first.expected_cm
    assert first.least_cm <= first.expected_cm <= first.most_cm


def test_a_relaxer_in_the_future_is_an_error() -> None:
    with pytest.raises(ValueError, match="after the day"):
        growth.since(DAY + timedelta(days=1), DAY)


def test_the_ruler_decides() -> None:
    assert growth.measured(20, 1.4).enough == "yes"
    assert growth.measured(200, 1.0).enough == "no"
    with pytest.raises(ValueError, match="length"):
        growth.measured(20, -1)
