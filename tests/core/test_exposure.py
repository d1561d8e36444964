"""The ledger only ever learns an earlier first touch, and exposures are what they are."""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from assistant.core.exposure import Ledger
from assistant.core.kit_sheet import LimitMeans

touches = st.lists(
    st.tuples(st.sampled_from(["crown", "back", "nape"]), st.floats(0, 3000)), min_size=1, max_size=20
)


@given(touches)
def test_first_is_the_earliest_and_last_the_latest(made: list[tuple[str, float]]) -> None:
    ledger = Ledger()
    for zone, t in made:
        ledger = ledger.touch(zone, t)
    for zone in {z for z, _ in made}:
        times = [t for z, t in made if z == zone]
        exposure = ledger.get(zone)
        assert exposure is not None
        assert (exposure.first, exposure.last) == (min(times), max(times))
    assert ledger.began == min(t for _, t in made)
    firsts = [z.first for z in ledger.zones]
    assert firsts == sorted(firsts)


def test_due_by_sense_of_the_limit() -> None:
    ledger = Ledger().touch("crown", 100).touch("nape", 400)
    assert ledger.due("nape", 600, LimitMeans.FIRST_TOUCH) == 700
    assert ledger.due("nape", 600, LimitMeans.UNTIL_CLEAR) == 700
    assert ledger.due("nape", 600, LimitMeans.BY_SECTION) == 1000
    assert ledger.due("back", 600, LimitMeans.FIRST_TOUCH) == 700
    assert ledger.due("back", 600, LimitMeans.BY_SECTION) is None
    assert Ledger().due("back", 600, LimitMeans.FIRST_TOUCH) is None


def test_water_and_clear_keep_the_first_time_they_are_told() -> None:
    ledger = Ledger().touch("crown", 0).touch("nape", 60).wetted([("crown", 500)]).wetted([("crown", 900)])
    crown = ledger.get("crown")
    assert crown is not None
    assert crown.wet == 500
    assert crown.so_far(10_000) == 500
    done = ledger.cleared(800).cleared(900)
    nape = done.get("nape")
    assert nape is not None
    assert (nape.wet, nape.clear) == (800, 800)
    assert done.get("crown") is not None
    assert [z.clear for z in done.zones] == pytest.approx([800, 800])
