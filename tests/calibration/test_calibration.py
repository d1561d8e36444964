"""Few households, quickly: what is promised is kept. The full figures: `python -m tests.calibration`."""

from __future__ import annotations

from tests.calibration.households import MODEL, OUTSIDE
from tests.calibration.measure import GIVEN, calibrate, together


def test_plans_given_ninety_percent_stay_within_limits_as_often() -> None:
    """200 households of the model and 50 of each kind outside it together: 90 % is in the Wilson interval.

    A 99.9 % interval: with so few, a 95 % one would fail one change in twenty for nothing.
    """
    parts = [calibrate(MODEL, 200, 7), *(calibrate(kind, 50, 7) for kind in OUTSIDE)]
    for result in (parts[0], together(parts)):
        low, high = result.interval(0.999)
        assert low <= result.given <= high, result


def test_the_promise_is_ninety_percent() -> None:
    """Each plan sits at the limit where its chance only just reaches 90 %."""
    assert GIVEN <= calibrate(MODEL, 10, 3).given <= GIVEN + 0.01


def test_the_count_can_fail() -> None:
    """Households who are slower than they were ever seen to be are found out."""
    assert not calibrate("worse: a slow zone", 120, 7).safe
