"""The rinse order and the latest call, against every permutation."""

from __future__ import annotations

import itertools

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from assistant.core.kit_sheet import LimitMeans
from assistant.core.rinse_order import Job, plan

jobs = st.lists(
    st.tuples(st.integers(1, 120), st.integers(60, 2400)).map(lambda x: (float(x[0]), float(x[1]))),
    min_size=1,
    max_size=7,
)


def latest_call(order: tuple[Job, ...], walk_s: float, until_clear: bool) -> float:
    """Brute force, from the words of the rule: no zone may start (or end) after its due time."""
    spent, latest = 0.0, float("inf")
    for job in order:
        latest = min(latest, job.due - spent - (job.seconds if until_clear else 0.0))
        spent += job.seconds
    return latest - walk_s


@settings(max_examples=60, deadline=None)
@given(jobs, st.integers(0, 120), st.sampled_from(list(LimitMeans)))
def test_no_permutation_allows_a_later_call(
    given_jobs: list[tuple[float, float]], walk: int, means: LimitMeans
) -> None:
    """For up to 7 zones with random durations and due times, to the second (Jackson 1955, from memory)."""
    made = [Job(f"z{i}", seconds, due) for i, (seconds, due) in enumerate(given_jobs)]
    clear = means is LimitMeans.UNTIL_CLEAR
    best = max(latest_call(order, walk, clear) for order in itertools.permutations(made))
    got = plan(made, walk, means)
    assert got.latest == pytest.approx(best)
    by_name = {job.zone: job for job in made}
    assert latest_call(tuple(by_name[z] for z in got.order), walk, clear) == pytest.approx(best)


@settings(max_examples=6, deadline=None)
@given(
    st.lists(st.tuples(st.integers(1, 120), st.integers(300, 2400)), min_size=7, max_size=7),
    st.integers(0, 120),
    st.sampled_from(list(LimitMeans)),
)
def test_seven_zones_to_the_second(given_jobs: list[tuple[int, int]], walk: int, means: LimitMeans) -> None:
    """All 5040 orders, second by second: called at the latest call some order saves every zone, a second later none."""
    made = [Job(f"z{i}", seconds, due) for i, (seconds, due) in enumerate(given_jobs)]
    clear = means is LimitMeans.UNTIL_CLEAR
    got = plan(made, walk, means)
    by_name = {job.zone: job for job in made}

    def late(order: tuple[Job, ...], call: float) -> bool:
        t = call + walk
        for job in order:
            if t + (job.seconds if clear else 0) > job.due:
                return True
            t += job.seconds
        return False

    assert not late(tuple(by_name[z] for z in got.order), got.latest)
    assert all(late(order, got.latest + 1) for order in itertools.permutations(made))


def test_worked_example() -> None:
    """Two zones of 10 s and 20 s, both due at 1200 s, a walk of 30 s: the longer one last, so 1200 - 10 - 30."""
    got = plan([Job("a", 20, 1200), Job("b", 10, 1200)], 30, LimitMeans.FIRST_TOUCH)
    assert (got.order, got.latest, got.binding) == (("b", "a"), 1160.0, "a")
    assert plan([Job("a", 20, 1200), Job("b", 10, 1200)], 30, LimitMeans.UNTIL_CLEAR).latest == 1140.0


def test_ties_keep_the_order_of_application() -> None:
    got = plan([Job("nape", 8, 900), Job("crown", 8, 900)], 0, LimitMeans.FIRST_TOUCH)
    assert got.order == ("nape", "crown")


def test_nothing_to_rinse_is_an_error() -> None:
    with pytest.raises(ValueError, match="no zone"):
        plan([], 0, LimitMeans.FIRST_TOUCH)
