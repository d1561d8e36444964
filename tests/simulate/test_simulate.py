"""Whole simulated runs: a slice of them with every claim, that a seed is a run, and that a failure is seen."""

from __future__ import annotations

import multiprocessing
from dataclasses import replace
from pathlib import Path

import pytest

from assistant.app.load import load_routine
from assistant.app.loop import Loop
from assistant.core import session
from assistant.core.actions import Action, Priority, Say
from assistant.core.kit_sheet import LimitMeans
from assistant.core.program import Program, prepare
from assistant.core.session import Stance
from assistant.room.home import Home, Pace
from assistant.room.moments import Moment
from tests.programs import ROUTINES, household, kit, program
from tests.simulate import explore, fuzz
from tests.simulate.__main__ import counted, shrunk, simulate, simulate_seed
from tests.simulate.machine import Guard
from tests.simulate.trial import ROOMS, Fault, Trial, draw

FIRST, SLICE = 70_000, 80
SLOW = Home(pace=Pace(zone_min={"default": 12.0}, spread=0.0))
CALM = Trial(
    7, "touch_up", False, LimitMeans.FIRST_TOUCH, 22.0, SLOW, ROOMS[0][1], (), (), (), 0.0
)  # the clock calls: these hands are too slow


def test_a_slice_of_runs_with_faults() -> None:
    """No missed call, no late one, nothing lost, no claim broken; seeds that fail are named."""
    with multiprocessing.get_context("fork").Pool(2) as pool:
        results = list(pool.imap_unordered(simulate_seed, range(FIRST, FIRST + SLICE), chunksize=10))
    figures = counted(results)
    assert figures["failing_seeds"] == [], [(r.seed, r.breaches, r.error) for r in results if r.failed]
    assert (figures["missed"], figures["late"], figures["lost_events"]) == (0, 0, 0)
    assert figures["runs"] == SLICE
    assert int(str(figures["calls_due"])) > SLICE // 2
    assert int(str(figures["runs_with_faults"])) > SLICE // 3


def test_a_seed_is_a_run() -> None:
    assert simulate(draw(FIRST + 3)) == simulate(draw(FIRST + 3))


def test_a_clock_call_is_due_and_in_time() -> None:
    result = simulate(CALM)
    assert (result.calls_due, result.missed, result.late) == (1, 0, 0)
    assert result.call_after_due_s <= 0.1
    assert result.outcome == "finished"


def silenced(monkeypatch: pytest.MonkeyPatch) -> None:
    """A first process whose calls come to nothing."""
    real = Loop._carry_out

    def mute(loop: Loop, actions: tuple[Action, ...]) -> None:
        real(
            loop, tuple(a for a in actions if not (isinstance(a, Say) and a.priority is Priority.RINSE_CALL))
        )

    monkeypatch.setattr(Loop, "_carry_out", mute)


def test_the_guard_alone_sounds_it(monkeypatch: pytest.MonkeyPatch) -> None:
    """1: either one alone sounds the rinse call; that the first one did not is seen, too."""
    silenced(monkeypatch)
    result = simulate(CALM)
    assert result.missed == 0
    assert result.called_by_guard > 0
    assert result.late == 1  # by the guard's grace: a first process that is well should have been in time
    assert "what_is_ordered_is_spoken" in {breach.claim for breach in result.breaches}


def test_a_call_that_nobody_sounds_is_counted_as_missed(monkeypatch: pytest.MonkeyPatch) -> None:
    silenced(monkeypatch)
    monkeypatch.setattr(Guard, "look", lambda guard, *, closely: False)
    result = simulate(CALM)
    assert result.missed == 1
    assert result.over_limit.get("late call", 0) > 0


def test_acting_before_writing_is_seen(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(Loop, "_write", lambda loop, records: "")
    result = simulate(CALM)
    assert "journal_first" in {breach.claim for breach in result.breaches}
    assert result.lost_events > 0


def test_a_killed_first_process_is_heard_of_and_goes_on() -> None:
    """Gone soon after the first cream and beyond the due time: the guard calls at it, the new one takes over."""
    killed = replace(CALM, faults=(Fault(Moment("cream on", 60.0), "killed", 1500.0),))
    result = simulate(killed)
    assert (result.missed, result.late, result.resumed, result.breaches) == (0, 0, 1, [])
    assert result.call_after_due_s <= 0.1
    assert result.called_by_guard > 0


def test_a_failing_trial_is_made_small(monkeypatch: pytest.MonkeyPatch) -> None:
    """What has nothing to do with the failure is taken away."""
    monkeypatch.setattr(Loop, "_write", lambda loop, records: "")
    loaded = replace(
        CALM, faults=(Fault(Moment("cream on", 30.0), "starved", 60.0),), shouts=(Moment("start", 9.0),)
    )
    small = shrunk(loaded)
    assert small.faults == ()
    assert small.shouts == ()


@pytest.mark.parametrize("name", ROUTINES)
def test_every_state_is_explored(name: str) -> None:
    """4, 6: each stop phrase from each state, a way out and an end from each, none from the rinse back to cream."""
    found = explore.figures(program(name))
    assert found["problems"] == []
    assert int(str(found["states"])) > 300
    assert int(str(found["stop_phrases_tried"])) > 600


def test_an_explored_breach_is_found(monkeypatch: pytest.MonkeyPatch) -> None:
    """A stance that does not hear a burn, one without a way out, one that leads back to cream; on a small routine."""
    covering = dict(session.TABLE[Stance.COVERING])
    monkeypatch.setitem(session.TABLE, Stance.COVERING, covering | {"it_burns": session.nothing})  # type: ignore[arg-type]
    monkeypatch.setitem(session.TABLE, Stance.AWAY, {})  # type: ignore[arg-type]
    rinsing = {**session.TABLE[Stance.RINSING], "where_are_we": session.enter_mix}
    monkeypatch.setitem(session.TABLE, Stance.RINSING, rinsing)  # type: ignore[arg-type]
    routine = load_routine(Path(fuzz.SMALL))
    small = prepare(routine, kit(), household(), program().book)
    assert isinstance(small, Program)
    problems = explore.figures(small)["problems"]
    assert isinstance(problems, list)
    assert "'it_burns' in 'covering' leads to 'covering'" in problems
    assert any("nothing leads out of 'away'" in problem for problem in problems)
    assert "back in 'mixing'" in problems
