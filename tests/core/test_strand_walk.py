"""The strand test by itself: the same strand, clock and first aid as in a run, and no head."""

from __future__ import annotations

from datetime import date

import pytest

from assistant.core import checks
from assistant.core.actions import Arm, Say
from assistant.core.events import Pressed, Ticked
from assistant.core.kit_sheet import StrandTest
from assistant.core.session import Cream, Stance, live_names
from assistant.core.strand_test import that_counts
from assistant.core.strand_walk import NOT_HEARD, result_of, walk_strand
from tests.core.test_strand_test import result
from tests.programs import ROUTINES, program
from tests.walker import Walk

DAY = date(2024, 3, 14)


@pytest.mark.parametrize("name", ROUTINES)
def test_the_walk_ends_with_the_minutes_the_strand_took(name: str) -> None:
    walk = Walk(walk_strand(program(name))).to_end()
    assert walk.state.outcome == "finished"
    assert walk.state.ledger.zones == () and not [a for _, a in walk.actions if isinstance(a, Arm)]
    found = result_of(walk.program, walk.events, DAY)
    assert found is not None
    # the sheet says to look every 4 minutes, and this hair takes 18: at 20 it is seen to be straight
    assert (found.outcome, found.minutes) == ("straight", 20.0)
    assert (found.person, found.kit, found.hair, found.on) == ("Ada", program(name).kit.name, "coarse", DAY)


def test_nobody_can_report_cream_on_a_zone() -> None:
    """There is no step that a head's clock could run in; stop phrases are live from the bowl on."""
    made = walk_strand(program())
    walk = Walk(made)
    walk.to(Stance.MIXING)
    while walk.state.stance is not Stance.CLOSED:
        names = live_names(made, walk.state)
        assert not set(NOT_HEARD) & set(names)
        if walk.state.cream in (Cream.BOWL, Cream.STRAND):
            assert {"stop_now", "it_burns", "in_my_eye"} <= set(names)
        was = len(walk.events)
        walk.go(lambda state, was=was: len(walk.events) > was)  # type: ignore[misc]


def test_every_prompt_is_checked_like_a_routine_s() -> None:
    """The whole-routine checks find nothing but what a walk without a head must lack."""
    found = checks.program_problems(walk_strand(program("touch_up")), lambda words: (), {})
    assert sorted(p.message.split("'")[1] for p in found) == sorted(NOT_HEARD)


def test_a_harmed_strand_and_one_that_never_gets_straight() -> None:
    bad = Walk(walk_strand(program())).to(Stance.STRAND_WORKS)
    bad.hear("strand_bad", after=400.0)
    bad.to_end()
    found = result_of(bad.program, bad.events, DAY)
    assert found is not None and (found.outcome, found.minutes) == ("harmed", 6.67)
    assert bad.state.outcome == "stopped"
    never = Walk(walk_strand(program())).to(Stance.STRAND_WORKS)
    while never.state.stance is Stance.STRAND_WORKS:
        never.happen(Ticked(never.state.timers[0][0]))
    found = result_of(never.program, never.events, DAY)
    assert found is not None and (found.outcome, found.minutes) == ("not straight", 22.0)


def test_a_strand_that_breaks_when_it_is_dry_is_bad() -> None:
    walk = Walk(walk_strand(program()))
    walk.go(lambda state: walk.program.steps[state.step].id == "strand_dry" and bool(state.question))
    walk.happen(Pressed(walk.t + 60, "no"))
    assert "Not on this head." in [s.text for _, a in walk.actions if isinstance(a, Say) for s in a.sentences]
    found = result_of(walk.program, walk.events, DAY)
    assert found is not None and (found.outcome, found.minutes) == ("harmed", 20.0)


def test_a_burn_before_the_strand_is_done_is_no_result_and_gets_its_first_aid() -> None:
    walk = Walk(walk_strand(program())).to(Stance.STRAND_WORKS)
    walk.hear("it_burns", after=60.0)
    assert walk.state.stance is Stance.CARE
    walk.to_end()
    assert result_of(walk.program, walk.events, DAY) is None


def test_a_run_s_own_strand_test_is_read_alike() -> None:
    walk = Walk(program("touch_up")).to(Stance.COVERING)
    found = result_of(walk.program, walk.events, DAY)
    assert found is not None and found.minutes * 60 == walk.state.limit.seconds


def test_which_of_several_tests_counts() -> None:
    """A bad one, else the quickest; not those of other hair, of the future, too old, or before the last run."""
    on = date(2025, 3, 1)  # the day of `result`
    quick, slow, bad = result(minutes=12.0), result(minutes=15.0), result("broke", 3.0)
    assert that_counts([slow, quick], "coarse", on) == quick
    assert that_counts([slow, bad, quick], "coarse", on) == bad
    assert that_counts([result("not straight", 22.0)], "coarse", on) is not None
    assert that_counts([quick], "fine", on) is None
    assert that_counts([quick], "coarse", date(2025, 4, 26)) == quick  # 56 days
    assert that_counts([quick], "coarse", date(2025, 4, 27)) is None
    assert that_counts([quick], "coarse", date(2025, 2, 28)) is None
    assert that_counts([quick], "coarse", on, last_run=on) is None


def test_a_strand_that_is_looked_at_often_leaves_no_step_unreached() -> None:
    """Looked at every 3 minutes a quick strand ends the run and only a slow one leads on; both are walked through."""
    made = program("short_hair", strand_test=StrandTest(check_every_minutes=3))
    steps = {r.state.step for r in checks.explore(made).values()}
    always = {i for i, step in enumerate(made.steps) if step.only_if == "always"}
    assert always <= steps
