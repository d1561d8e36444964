"""The benchmarks count what they say: no times are checked here."""

from __future__ import annotations

from xml.etree import ElementTree

import pytest

from assistant.core import forecast as f
from assistant.core import pace
from assistant.core.exposure import Ledger
from assistant.core.pace import Belief
from tests.bench.curve_picture import svg
from tests.bench.forecast import plain_chance
from tests.bench.result import Curve, Result
from tests.programs import program


def test_the_plain_loop_is_the_same_model() -> None:
    """5,000 draws of each: the two chances differ by less than four standard errors of their difference."""
    made, day = program("touch_up"), pace.today(Belief())
    work = f.ahead(made)
    drawn = f.draw(work, day, 5000)
    begun = Ledger().touch(made.zones[0], 0.0)
    fast = f.outcome(made, begun, work, [True] * len(work), drawn, 0.0, made.limit.seconds).chance
    slow = plain_chance(made, work, day, 5000)
    assert fast == pytest.approx(slow, abs=4 * (2 * fast * (1 - fast) / 5000) ** 0.5)


def test_a_missed_goal_is_named() -> None:
    result = Result("x", {"a_s": 0.3, "b_s": 0.1}, {"a_s": 0.2, "b_s": 0.2})
    assert result.missed == ("a_s",)


def test_a_curve_is_drawn() -> None:
    ElementTree.fromstring(svg(Curve("c", "draws", "seconds", ((1, 0.5), (2, 1.0)))))
