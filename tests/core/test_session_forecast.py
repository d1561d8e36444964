"""The forecast in the run: learns from each zone, speaks only where it changes what to do, begins nothing hopeless."""

from __future__ import annotations

import pytest

from assistant.core import pace
from assistant.core.actions import Priority, Say
from assistant.core.forecast import task
from assistant.core.session import Cream, Stance
from tests.programs import ROUTINES, program
from tests.walker import Walk


def work(name: str, seconds_a_zone: float, **more: float) -> Walk:
    """A routine walked to the water by hands that take so long for each zone."""
    walk = Walk(program(name))
    walk.seconds["cover"] = seconds_a_zone
    walk.seconds.update(more)
    return walk.go(lambda state: state.stance is Stance.RINSING)


def forecasts(walk: Walk) -> list[Say]:
    return [a for _, a in walk.actions if isinstance(a, Say) and a.name.startswith("forecast")]


@pytest.mark.parametrize("name", ROUTINES)
def test_quick_hands_hear_nothing_of_it(name: str) -> None:
    walk = work(name, 40.0)
    assert forecasts(walk) == []
    assert walk.state.chance is not None
    assert walk.state.chance > 0.95
    assert walk.state.left_out == ()


def test_todays_pace_is_the_closed_form_over_the_zones() -> None:
    """Normal times normal, zone after zone, from what was really taken for each."""
    walk = Walk(program("touch_up"))
    times = [70.0, 90.0, 50.0]
    walk.to(Stance.COVERING)
    expected = pace.today(walk.program.pace)
    for seconds in times:
        zone = walk.state.todo[0]
        walk.hear("done_with", zone, after=seconds)
        expected = pace.after(expected, task(walk.program, zone, "").timed(seconds))
    assert walk.state.pace == expected
    assert expected.sd < pace.today(walk.program.pace).sd


def test_a_zone_of_unknown_beginning_teaches_nothing() -> None:
    walk = Walk(program("touch_up")).to(Stance.COVERING)
    before = walk.state.pace
    zone = walk.state.todo[2]
    walk.hear("done_with", zone, after=5)
    walk.hear("yes")
    assert zone not in walk.state.todo
    assert walk.state.pace == before


def test_what_will_not_fit_is_named_once_as_a_caution() -> None:
    walk = Walk(program("touch_up")).to(Stance.COVERING)
    while walk.state.todo and not forecasts(walk):
        walk.hear("done_with", walk.state.todo[0], after=165)
    (said,) = forecasts(walk)
    assert said.priority is Priority.CAUTION
    named = dict(said.slots)["zone"]
    assert named in walk.state.todo[1:]
    assert walk.state.chance is not None
    assert walk.state.chance < 0.9
    before = len(walk.state.todo)
    walk.hear("leave_out", walk.program.zones[-1], after=1)
    assert len(walk.state.todo) == before - 1
    walk.hear("leave_out", walk.program.zones[-1], after=1)
    assert walk.said()[-1] == "left_out"  # said twice: the same answer, not "it has cream"
    walk.hear("say_again", after=1)
    assert len(forecasts(walk)) == 1


def test_when_the_rest_can_not_be_done_no_new_zone_is_begun() -> None:
    """Smooth what is on, rinse the whole head in time."""
    walk = work("touch_up", 400.0)
    names = [said.name for said in forecasts(walk)]
    assert names.count("forecast.no_new_zone") == 1
    assert walk.state.left_out
    assert {z.zone for z in walk.state.ledger.zones} == set(walk.program.zones) - set(walk.state.left_out)
    assert "smooth.first" in walk.said()
    assert walk.state.call is not None and walk.state.due is not None
    assert walk.state.call.since <= walk.state.due


def test_a_zone_that_never_ends_is_forecast_while_it_lasts() -> None:
    """Nobody says a word: the caution comes with the question, before the call."""
    walk = Walk(program("touch_up")).to(Stance.COVERING)
    walk.seconds["cover"] = 3000.0
    walk.seconds["any_burning"] = 3.0
    walk.go(lambda state: bool(state.left_out))
    assert walk.state.stance is Stance.COVERING
    assert walk.state.todo == (walk.program.zones[0],)
    assert walk.state.due is not None
    assert walk.t < walk.state.due


def test_at_the_scalp_only_the_roots_are_left_out() -> None:
    """The lengths have cream: they are smoothed and rinsed all the same."""
    walk = Walk(program("whole_head"))
    walk.go(
        lambda s: s.stance is Stance.COVERING and getattr(walk.program.steps[s.step], "part", "") == "scalp"
    )
    last = walk.state.todo[-1]
    walk.hear("leave_out", last)
    assert walk.said()[-1] == "left_out.roots"
    assert last not in walk.state.todo
    assert last not in walk.state.left_out
    walk.go(lambda state: state.stance is Stance.RINSING)
    exposure = walk.state.ledger.get(last)
    assert exposure is not None and exposure.wet is not None


def test_a_scalp_pass_that_can_not_be_done_is_not_begun() -> None:
    walk = Walk(program("whole_head"))
    walk.seconds["cover"] = 125.0
    walk.go(lambda state: state.stance in (Stance.SMOOTHING, Stance.RINSE_CALL))
    assert walk.state.cream is Cream.HEAD
    assert any(said.name == "forecast.no_new_zone" for said in forecasts(walk))
    lengths = {z.zone for z in walk.state.ledger.zones}
    assert lengths | set(walk.state.left_out) == set(walk.program.zones)


@pytest.mark.parametrize("name", ROUTINES)
@pytest.mark.parametrize("seconds", [40.0, 120.0, 200.0, 320.0])
def test_nothing_is_late_at_any_pace(name: str, seconds: float) -> None:
    """Whatever is skipped: the call comes by its due time and every zone with cream is rinsed."""
    walk = work(name, seconds)
    assert walk.state.call is not None and walk.state.due is not None
    assert walk.state.call.since <= walk.state.due
    assert all(z.wet is not None for z in walk.state.ledger.zones)
