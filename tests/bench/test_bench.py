"""The benchmarks count what they say: no times are checked here."""

from __future__ import annotations

from xml.etree import ElementTree

import numpy as np
import pytest

from assistant.core import forecast as f
from assistant.core import pace
from assistant.core.exposure import Ledger
from assistant.core.pace import Belief
from assistant.ports import RATE
from tests.bench.curve_picture import svg
from tests.bench.forecast import plain_chance
from tests.bench.result import Curve, Result
from tests.bench.rinse_call import on_boot_clock
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


def test_a_recording_that_gains_on_the_clock_tells_the_right_times() -> None:
    """An hour in pieces of 10 ms that gains 0.01 %, each piece up to 80 ms late: every moment within 1 ms."""
    rng = np.random.default_rng(1)
    step, gain = RATE // 100, 1.0001
    ends = np.arange(step, 3600 * RATE, step)
    true = 50.0 + ends / RATE / gain
    came = true + rng.choice([0.0, 0.02, 0.08], len(ends), p=[0.2, 0.6, 0.2])
    moments = np.array([0.5, 10.0, 1800.0, 3599.0])
    told = on_boot_clock(moments, ends.tolist(), (came - ends / RATE).tolist())
    assert told == pytest.approx(50.0 + moments / gain, abs=1e-3)
