"""The hearing bench's own arithmetic: intervals against published values, fates of what was said."""

from __future__ import annotations

import numpy as np
import pytest

from assistant.core.hearing import Hypothesis, LivePhrase, Risk
from assistant.ports import RATE, Samples
from tests import hearing_bench
from tests.hearing_bench import Said, listen, per_hour, percentiles, share

STEP = LivePhrase("next step", "next_step", "", Risk.ADVANCE)
STOP = LivePhrase("stop now", "stop_now", "", Risk.STOP)


def test_share_has_the_clopper_pearson_interval() -> None:
    """7 of 50: .05819 to .26740 (computed from the published formula)."""
    found = share(7, 50)
    assert (found["rate"], found["n"]) == (0.14, 50)
    assert (found["low"], found["high"]) == pytest.approx((0.05819, 0.26740), abs=5e-6)


def test_no_events_have_the_one_sided_poisson_bound() -> None:
    """None in 5.99 h: at most 0.5 an hour (2.9957 / 5.99, computed from the published formula)."""
    found = per_hour(0, 5.99 * 3600)
    assert found["low"] == 0
    assert found["high"] == pytest.approx(2.9957 / 5.99, abs=1e-4)
    assert per_hour(0, 0.0)["high"] == float("inf")


def test_events_have_the_exact_poisson_interval() -> None:
    """5 events: 1.6235 to 11.6683 (Garwood 1936, from memory)."""
    found = per_hour(5, 3600)
    assert (found["low"], found["high"]) == pytest.approx((1.6235, 11.6683), abs=1e-4)


def test_percentiles_of_nothing_are_nothing() -> None:
    assert percentiles([]) == {"p50": None, "p95": None, "p99": None}
    assert percentiles([1.0, 2.0, 3.0])["p50"] == 2.0


class Told:
    """Ears that answer what they are told, at the block in which it ends."""

    name = "told"

    def __init__(self, *answers: Hypothesis) -> None:
        self.answers = list(answers)

    def feed(self, heard: Samples, played: Samples, t_end: float) -> list[Hypothesis]:
        due = [a for a in self.answers if a.t_end + 0.3 <= t_end]
        self.answers = [a for a in self.answers if a not in due]
        return due


def test_what_became_of_each_phrase() -> None:
    def at(t: float, phrase: LivePhrase, margin: float) -> Hypothesis:
        return Hypothesis(t, t + 0.5, phrase, 3 + margin, 3, level_db=-30)

    said = [Said("v", STEP, int(t * RATE), int((t + 0.5) * RATE)) for t in (1, 3, 5, 7)]
    ears = Told(at(1, STEP, 9), at(3, STOP, 9), at(5, STEP, -0.5), at(9, STOP, 1))
    outcome = listen(ears, np.zeros(10 * RATE, np.float32), None, said)  # type: ignore[arg-type]
    assert outcome.fates == ["right", "wrong", "asked", "missed"]
    assert [h.best for _, h in outcome.strays] == [STOP]
    assert outcome.decision_ms == [pytest.approx(300, abs=50)]


def test_live_sets_hold_every_stop_phrase() -> None:
    for live in hearing_bench.live_sets().values():
        assert {p.name for p in live if p.risk is Risk.STOP} >= {
            "stop_now",
            "rinse_now",
            "it_burns",
            "in_my_eye",
        }
