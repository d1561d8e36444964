"""The live forecast: its chance against closed forms, its call against the program's own, its verdicts."""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np
import pytest
from hypothesis import example, given, settings
from hypothesis import strategies as st
from scipy import stats

from assistant.core import forecast as f
from assistant.core import pace
from assistant.core.exposure import Ledger
from assistant.core.forecast import Scatter, Task, Verdict
from assistant.core.kit_sheet import LimitMeans
from assistant.core.pace import Belief
from assistant.core.program import Program
from tests.programs import ROUTINES, program

CALM = Scatter(slow_chance=0, tired=0, interruptions_a_minute=0, reaction_sd=0, walk_sd=0, wetting_sd=0)
"""Nothing scatters but the pace and the zones: a case with a closed form."""
STILL = replace(CALM, scattered=False)
DAY = pace.today(Belief())
SENSES = list(LimitMeans)


def begun(made: Program) -> Ledger:
    return Ledger().touch(made.zones[0], 0.0)


def fitting(made: Program, minutes: float) -> tuple[Task, ...]:
    """The whole work of a program, scaled so that it takes so many minutes at the expected pace."""
    work = f.ahead(made)
    return f.at_pace(work, minutes * 60 / sum(t.seconds for t in work))


def test_interval_method_against_published_values() -> None:
    """Wilson 7/50, 298/300 and Clopper-Pearson 7/50 (FACTS: computed from the published formula)."""
    wilson, both = stats.binomtest(7, 50).proportion_ci(method="wilson"), stats.binomtest(298, 300)
    assert (wilson.low, wilson.high) == pytest.approx((0.06951, 0.26186), abs=5e-6)
    assert both.proportion_ci(method="wilson").low == pytest.approx(0.97602, abs=5e-6)
    assert both.proportion_ci(method="wilson").high == pytest.approx(0.99817, abs=5e-6)
    exact = stats.binomtest(7, 50).proportion_ci(method="exact")
    assert (exact.low, exact.high) == pytest.approx((0.05819, 0.26740), abs=5e-6)


@pytest.mark.parametrize("minutes", [9.0, 13.0, 17.0, 19.0, 24.0])
@pytest.mark.parametrize("seed", [f.SEED, 1, 2])
def test_chance_against_the_closed_form_of_the_whole_work(minutes: float, seed: int) -> None:
    """All zones at one log-normal pace: so is the total, and P(in time) = Phi((ln(call / total) - mean) / sd)."""
    made = program("whole_head")
    work = fitting(made, minutes)
    call = made.call_due(begun(made), (), made.limit.seconds)
    assert call is not None
    exact = stats.norm.cdf((math.log(call / (minutes * 60)) - DAY.mean) / DAY.sd)
    got = f.forecast(made, begun(made), work, 0.0, DAY, draws=10_000, seed=seed, scatter=STILL).chance
    low, high = stats.binomtest(round(got * 10_000), 10_000).proportion_ci(0.999, method="exact")
    assert low <= exact <= high


@pytest.mark.parametrize("minutes", [8.0, 14.0, 20.0])
def test_chance_against_the_closed_form_of_one_zone(minutes: float) -> None:
    """One zone with its own scatter: variances add on the log scale."""
    made = program("touch_up")
    task = Task("crown", "", 9, minutes * 60)
    ledger = Ledger().touch("crown", 0.0)
    gone = made.zones[1:]
    call = made.call_due(ledger, gone, made.limit.seconds)
    assert call is not None
    sd = math.hypot(DAY.sd, math.sqrt(pace.scatter_variance(9)))
    exact = stats.norm.cdf(math.log(call / task.seconds) / sd)
    got = f.forecast(made, ledger, (task,), 0.0, DAY, draws=10_000, scatter=CALM).chance
    low, high = stats.binomtest(round(got * 10_000), 10_000).proportion_ci(0.999, method="exact")
    assert low <= exact <= high


@pytest.mark.parametrize("elapsed_min", [5.0, 12.0, 18.0])
def test_a_zone_that_already_takes_long_counts(elapsed_min: float) -> None:
    """Given that it took e already: P(in time) = (F(call) - F(e)) / (1 - F(e))."""
    made = program("touch_up")
    task = Task("crown", "", 9, 14 * 60.0)
    ledger = Ledger().touch("crown", 0.0)
    call = made.call_due(ledger, made.zones[1:], made.limit.seconds)
    assert call is not None
    sd = math.hypot(DAY.sd, math.sqrt(pace.scatter_variance(9)))
    cdf = stats.lognorm(s=sd, scale=task.seconds).cdf
    now = elapsed_min * 60
    exact = (cdf(call) - cdf(now)) / (1 - cdf(now))
    got = f.forecast(made, ledger, (task,), now, DAY, since=0.0, draws=20_000, scatter=CALM).chance
    kept = int(20_000 * (1 - cdf(now)))
    low, high = stats.binomtest(round(got * kept), kept).proportion_ci(0.999, method="exact")
    assert low <= exact <= high


@pytest.mark.parametrize("means", SENSES)
@pytest.mark.parametrize("name", ROUTINES)
def test_every_drawn_call_is_the_programs_own(name: str, means: LimitMeans) -> None:
    """The vectorised call of each draw equals `Program.call_due` on that draw's ledger."""
    made = program(name, limit_means=means)
    work = f.ahead(made)
    drawn = f.draw(work, DAY, 40)
    got = f.outcome(made, begun(made), work, [True] * len(work), drawn, 0.0, made.limit.seconds)
    for column in range(40):
        ledger, t = Ledger(), 0.0
        for row, task in enumerate(work):
            if task.part != "smooth":
                ledger = ledger.touch(task.zone, t)
            t += float(drawn.tasks[row, column])
        assert got.done[column] == pytest.approx(t)
        assert got.call[column] == pytest.approx(made.call_due(ledger, (), made.limit.seconds))


def test_same_values_same_answer() -> None:
    made = program("whole_head")
    work = f.ahead(made)
    assert f.forecast(made, begun(made), work, 0.0, DAY) == f.forecast(made, begun(made), work, 0.0, DAY)


@settings(max_examples=25, deadline=None)
@given(st.floats(300, 1300), st.floats(0, 400), st.sampled_from(SENSES), st.floats(-0.5, 0.5))
def test_a_lower_limit_never_helps(limit_s: float, less: float, means: LimitMeans, mean: float) -> None:
    """The chance falls or stays and the call comes no later."""
    made = program("touch_up", limit_means=means)
    work, day = f.ahead(made), Belief(mean, 0.3)
    high = f.forecast(made, begun(made), work, 0.0, day, limit_s=limit_s, draws=400)
    low = f.forecast(made, begun(made), work, 0.0, day, limit_s=max(1.0, limit_s - less), draws=400)
    assert low.chance <= high.chance
    assert low.call_s <= high.call_s


@settings(max_examples=25, deadline=None)
@example(2, LimitMeans.FIRST_TOUCH, 0.4375)
@given(st.integers(0, 6), st.sampled_from(SENSES), st.floats(0.4, 3))
def test_leaving_out_never_hurts(zones: int, means: LimitMeans, slower: float) -> None:
    """In no draw does the work end later, the call come nearer, or water come later than the call itself does.

    So the chance is never less while the call stands, as it does in a run. Where it may come later, by a zone's wetting,
    one of 300 draws of the example is lost: people who wet quicker than usual save less than that.
    """
    made = program("whole_head", limit_means=means)
    work = f.at_pace(f.ahead(made), slower)
    drawn = f.draw(work, DAY, 300)
    found = []
    for gone in (made.zones[len(made.zones) - zones :], made.zones[len(made.zones) - min(6, zones + 1) :]):
        stays = set(f.without(work, gone if zones or len(gone) < 7 else (), begun(made)))
        kept = [t in stays for t in work]
        found.append(f.outcome(made, begun(made), work, kept, drawn, 0.0, made.limit.seconds))
    more, fewer = found
    later = fewer.call - more.call
    assert (fewer.done <= more.done).all()
    assert (later >= -1e-6).all()
    assert (fewer.water_late_s - more.water_late_s <= later + 1e-6).all()
    held = (fewer.done <= more.call) & (fewer.water_late_s - later <= 0)
    assert (held | ~more.in_time).all()


def test_an_armed_call_stands() -> None:
    """A call that came nearer stays: leaving zones out does not take it back."""
    made = program("touch_up")
    work = f.ahead(made)
    free = f.forecast(made, begun(made), work, 0.0, DAY)
    armed = f.forecast(made, begun(made), work, 0.0, DAY, armed=600.0)
    assert (armed.call_s, free.call_s) == (600.0, made.call_due(begun(made), (), made.limit.seconds))
    assert armed.chance < free.chance
    assert f.forecast(made, begun(made), work, 0.0, DAY, armed=1e9) == free


# -- verdicts --------------------------------------------------------------------------


def sure(made: Program, minutes: float, *, now: float = 0.0, since: float | None = None) -> f.Forecast:
    """A forecast where the pace is all but known."""
    return f.forecast(
        made,
        begun(made),
        fitting(made, minutes),
        now,
        Belief(0.0, 0.01),
        since=since,
        scatter=STILL,
        draws=500,
    )


def test_in_time_is_silent() -> None:
    got = sure(program("touch_up"), 15.0)
    assert (got.verdict, got.drop, got.chance) == (Verdict.IN_TIME, (), 1.0)
    assert f.advice(got) is None
    assert not f.changes(got, 0)


def test_a_little_too_much_names_the_last_zone() -> None:
    got = sure(program("touch_up"), 20.3)
    assert (got.verdict, got.drop) == (Verdict.LEAVE_OUT, ("hairline",))
    assert got.chance < 0.9 <= got.chance_then
    assert f.advice(got) == f.Advice("forecast.leave_out", "hairline", 1)


def test_much_too_much_names_the_first_of_many() -> None:
    made = program("touch_up")
    got = sure(made, 28.0)
    assert got.verdict is Verdict.LEAVE_OUT
    assert len(got.drop) > 1
    assert got.drop == made.zones[-len(got.drop) :]
    assert f.advice(got) == f.Advice("forecast.leave_out_more", got.drop[0], len(got.drop))


def test_when_not_even_one_more_fits_no_new_zone_is_begun() -> None:
    made = program("touch_up")
    got = f.forecast(
        made, begun(made).touch("back", 900), f.ahead(made, next(i for i, s in enumerate(made.steps) if s.kind == "cover"),
        made.zones[2:]), 1150.0, DAY,
    )  # fmt: skip
    assert (got.verdict, got.drop) == (Verdict.NO_NEW_ZONE, made.zones[2:])
    assert f.advice(got) == f.Advice("forecast.no_new_zone", "", len(got.drop))


def test_a_zone_begun_is_never_left_out() -> None:
    made = program("touch_up")
    for minutes in (20.0, 40.0, 90.0):
        got = sure(made, minutes, since=0.0)
        assert made.zones[0] not in got.drop
        assert got.drop


def test_with_nothing_to_leave_out_it_is_silent() -> None:
    """Late at the last zone: the rinse call says it, a caution would change nothing."""
    made = program("touch_up")
    smooth = tuple(t for t in f.ahead(made) if t.part == "smooth")
    got = f.forecast(made, begun(made), f.at_pace(smooth, 10), 900.0, DAY)
    assert (got.verdict, got.drop) == (Verdict.TOO_LATE, ())
    assert f.advice(got) is None


def test_said_once_and_again_only_when_more_must_go() -> None:
    got = sure(program("touch_up"), 24.0)
    assert f.changes(got, len(got.drop) - 1)
    assert not f.changes(got, len(got.drop))


def test_at_the_scalp_pass_only_the_roots_are_left_out_and_the_zone_is_smoothed() -> None:
    made = program("whole_head")
    ledger = begun(made)
    for n, zone in enumerate(made.zones):
        ledger = ledger.touch(zone, 60.0 * n)
    scalp = next(i for i, s in enumerate(made.steps) if getattr(s, "part", "") == "scalp")
    work = f.ahead(made, scalp)
    assert {t.part for t in work} == {"scalp", "smooth"}
    less = f.without(work, ["hairline"], ledger)
    assert ("hairline", "smooth") in {(t.zone, t.part) for t in less}
    assert ("hairline", "scalp") not in {(t.zone, t.part) for t in less}


def test_binding_zone_is_the_programs() -> None:
    made = program("whole_head")
    plan = made.rinse_plan(begun(made), (), made.limit.seconds)
    assert plan is not None
    assert f.forecast(made, begun(made), f.ahead(made), 0.0, DAY, draws=50).binding == plan.binding


def test_no_work_and_no_cream_is_an_error() -> None:
    with pytest.raises(ValueError, match="nothing to forecast"):
        f.forecast(program("touch_up"), Ledger(), (), 0.0, DAY)


def test_draws_do_not_touch_numpys_global_state() -> None:
    before = np.random.get_state()[1]
    f.draw(f.ahead(program("touch_up")), DAY, 10)
    assert (np.random.get_state()[1] == before).all()
