"""The plan before the day: its promises as properties, its options, the command."""

from __future__ import annotations

import argparse
import json
from dataclasses import replace
from datetime import datetime, timezone
from pathlib import Path
from xml.etree import ElementTree

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from rich.cells import cell_len

from assistant.cli import plan as command
from assistant.core import forecast, pace
from assistant.core.diary import RunRecord, ZonePace
from assistant.core.exposure import Ledger
from assistant.core.kit_sheet import LimitMeans, Waits
from assistant.core.pace import Belief
from assistant.core.plan import plan
from assistant.core.program import Program
from assistant.files.diary_file import save_run
from assistant.files.places import ALL_IN_ONE
from assistant.screens.plan_picture import bars, svg
from tests.programs import ROUTINES, kit, program

SENSES = st.sampled_from(list(LimitMeans))
LIMITS = st.floats(400, 3600)
PACES = st.builds(Belief, st.floats(-0.8, 0.8), st.floats(0.02, 0.4))


def planned(name: str, means: LimitMeans, limit_s: float, belief: Belief) -> Program:
    made = program(name, limit_means=means)
    return replace(made, pace=belief, limit=replace(made.limit, seconds=limit_s))


def over(made: Program, ledger: Ledger, call: float) -> list[str]:
    """Zones over their limit when the rinse is called at `call` and the whole reserve is used up; no shared code."""
    plan_, water = made.rinse_plan(ledger, (), made.limit.seconds), made.household.water
    assert plan_ is not None
    t, late = call + water.reserve_seconds + water.walk_seconds, []
    for zone in plan_.order:
        due = ledger.due(zone, made.limit.seconds, made.kit.limit_means)
        assert due is not None
        clear = made.kit.limit_means is LimitMeans.UNTIL_CLEAR
        takes = water.wetting_seconds_a_zone + (water.clearing_seconds_a_zone if clear else 0.0)
        if t + (takes if clear else 0.0) > due + 1e-6:
            late.append(zone)
        t += takes
    return late


@settings(max_examples=40, deadline=None)
@given(st.sampled_from(ROUTINES), SENSES, LIMITS, PACES)
def test_no_plan_breaks_a_limit_in_its_own_simulation(
    name: str, means: LimitMeans, limit_s: float, belief: Belief
) -> None:
    """Whatever is drawn, nobody is over a limit who rinses when called; and a plan that fits is in time by the clock."""
    made = planned(name, means, limit_s, belief)
    work = forecast.ahead(made)
    drawn = forecast.draw(work, pace.today(belief), 10)
    begun = Ledger().touch(made.zones[0], 0.0)
    result = forecast.outcome(made, begun, work, [True] * len(work), drawn, 0.0, limit_s)
    for column in range(10):
        ledger, t = Ledger(), 0.0
        for row, task in enumerate(work):
            ledger = ledger.touch(task.zone, t) if task.part != "smooth" else ledger
            t += float(drawn.tasks[row, column])
        assert over(made, ledger, float(result.call[column])) == []
    got = plan(made, draws=300)
    if got.fits:
        assert got.slack >= 0
        assert got.done <= got.rinse_call
        assert all(zone.slack >= 0 and zone.start <= zone.end <= zone.due for zone in got.zones)
        assert got.chance >= 0.9
    assert got.slack == pytest.approx(got.rinse_call - got.done)
    assert got.binding_zone == min(got.zones, key=lambda z: z.slack).name


@settings(max_examples=60, deadline=None)
@given(
    st.sampled_from(ROUTINES), SENSES, LIMITS,
    st.lists(st.tuples(st.integers(0, 6), st.floats(0, 300)), min_size=1, max_size=12),
)  # fmt: skip
def test_a_later_event_never_makes_the_call_later_than_a_due_time(
    name: str, means: LimitMeans, limit_s: float, touches: list[tuple[int, float]]
) -> None:
    """Event by event: the call that stands only comes nearer, and lies before every touched zone's due time."""
    made = planned(name, means, limit_s, Belief())
    ledger, t, standing = Ledger(), 0.0, float("inf")
    for number, gap in touches:
        t += gap
        ledger = ledger.touch(made.zones[number % len(made.zones)], t)
        call = made.call_due(ledger, (), limit_s)
        assert call is not None
        standing = min(standing, call)
        for seen in ledger.zones:
            due = ledger.due(seen.zone, limit_s, means)
            assert due is not None
            assert call <= due
        assert over(made, ledger, standing) == []


@settings(max_examples=25, deadline=None)
@given(st.sampled_from(ROUTINES), SENSES, LIMITS, st.floats(1, 500), PACES)
def test_lowering_a_limit_delays_nothing(
    name: str, means: LimitMeans, limit_s: float, less: float, belief: Belief
) -> None:
    """No due time, call, warning or zone comes later, and the chance does not grow."""
    high = plan(planned(name, means, limit_s, belief), draws=200)
    low = plan(planned(name, means, limit_s - less if limit_s - less > 60 else 60.0, belief), draws=200)
    assert low.rinse_call <= high.rinse_call
    assert low.chance <= high.chance
    assert low.fits <= high.fits
    for before, after in zip(high.zones, low.zones, strict=True):
        assert (after.name, after.start, after.end) == (before.name, before.start, before.end)
        assert after.due <= before.due
        assert after.slack <= before.slack
    for warning in low.warnings:
        assert warning <= low.rinse_call


def test_worked_example() -> None:
    """touch_up, 22 min, walk 30, reserve 60, 7 zones of 8 s: call at 1320 - 6 x 8 - 30 - 60 = 1182 s; the hairline binds."""
    got = plan(program("touch_up"))
    assert got.rinse_call == 1182.0
    assert got.binding_zone == "hairline"
    assert [z.partings for z in got.zones] == [9, 15, 9, 9, 8, 5, 4]
    assert got.zones[0].end == 90.0
    assert got.done == pytest.approx(59 * 10 * 1.35)
    assert got.warnings == (591.0, 882.0, 1002.0, 1122.0)


def test_by_section_gives_each_zone_its_own_limit() -> None:
    got = plan(program("touch_up", limit_means=LimitMeans.BY_SECTION))
    assert [z.due - z.start for z in got.zones] == pytest.approx([1320.0] * 7)
    assert got.binding_zone == "crown"


def test_the_same_plan_every_time() -> None:
    assert plan(program("whole_head")) == plan(program("whole_head"))


def test_fitting_needs_no_options() -> None:
    made = program("short_hair")
    assert plan(replace(made, pace=Belief(-0.5, 0.1))).options == ()


def test_options_have_their_own_chance_and_help() -> None:
    got = plan(program("whole_head"))
    assert not got.fits
    assert got.anything_fits
    kept_whole = [o for o in got.options if not o.what.startswith("stopping")]
    assert all(o.chance > got.chance for o in got.options)
    assert [o.chance for o in kept_whole] == sorted((o.chance for o in kept_whole), reverse=True)
    stopping = next(o for o in got.options if o.what.startswith("stopping"))
    assert stopping.fits
    assert stopping.what == "stopping after back right: without front left, front right, nape, hairline"


def test_alone_a_helper_is_the_first_thing_that_helps() -> None:
    got = plan(program("touch_up", alone=True))
    assert plan(program("touch_up")).chance > got.chance
    helper = next(o for o in got.options if o.what == "a helper")
    assert helper.chance == pytest.approx(plan(program("touch_up")).chance)


def test_two_days_only_where_the_leaflet_allows_it() -> None:
    assert not any("days" in o.what for o in plan(program("whole_head")).options)
    waits = Waits(**{**kit().waits.model_dump(), "halves_days": 14})
    allowed = plan(program("whole_head", waits=waits))
    option = next(o for o in allowed.options if o.what.startswith("two days at least 14 days apart"))
    assert option.chance > allowed.chance


def test_a_rinse_that_eats_its_reserve_is_told() -> None:
    """Until clear, the rinse itself scatters by more than a small reserve: calling earlier helps, if there is time."""
    made = program("short_hair", limit_means=LimitMeans.UNTIL_CLEAR)
    water = made.household.water.model_copy(update={"reserve_seconds": 20.0})
    short = replace(
        made, household=made.household.model_copy(update={"water": water}), pace=Belief(-0.7, 0.1)
    )
    got = plan(short)
    assert not got.fits
    option = next(o for o in got.options if o.what.startswith("a reserve of"))
    assert option.chance > got.chance
    assert option.fits


def test_hopeless_is_a_no() -> None:
    made = program("whole_head")
    got = plan(replace(made, limit=replace(made.limit, seconds=240.0)))
    assert not got.anything_fits
    assert got.chance < 0.01


def test_learning_sharpens_the_plan() -> None:
    """Two quick runs of this household: the chance grows, and it says what it learned from."""
    made = program("touch_up")
    times = [t.timed(t.seconds * 0.8) for t in forecast.ahead(made) if t.part != "smooth"]
    past = [replace(t, age_days=age) for t in times for age in (20.0, 90.0)]
    taught = replace(made, pace=pace.learned(past))
    got = plan(taught, learned_from=pace.learned_from(past))
    assert got.chance > plan(made).chance
    assert "learned from 2 runs" in got.notes[0]


# -- the picture -----------------------------------------------------------------------


@pytest.mark.parametrize("name", ROUTINES)
def test_the_picture_is_well_formed_and_shows_every_zone(name: str) -> None:
    got = plan(program(name), draws=100)
    root = ElementTree.fromstring(svg(got, 'a <title> & "more"'))
    words = " ".join(root.itertext())
    for zone in got.zones:
        assert zone.name in words
    assert "rinse call" in words
    assert 'a <title> & "more"' in words
    lines = [line.plain for line in bars(got, 80, unicode=True)]
    assert all(cell_len(line) <= 80 for line in lines)
    assert sum(zone.name in line for zone in got.zones for line in lines) >= len(got.zones)
    assert all(line.isascii() for line in (t.plain for t in bars(got, 60, unicode=False)))


# -- the command -----------------------------------------------------------------------


@pytest.fixture(autouse=True)
def _own_folder(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """No household and no diary of this machine's user."""
    monkeypatch.setenv(ALL_IN_ONE, str(tmp_path / "own"))


def run(arguments: list[str]) -> int:
    top = argparse.ArgumentParser()
    command.add_to(top.add_subparsers())
    chosen = top.parse_args(["plan", *arguments])
    return int(chosen.carry_out(chosen))


def a_kit(folder: Path, minutes: float) -> Path:
    sheet = kit().model_dump(mode="json", by_alias=True, exclude_none=True)
    sheet["chart"] = [{"hair": "coarse", "greatest_minutes": minutes}]
    path = folder / "kit.yaml"
    path.write_text(json.dumps(sheet), encoding="utf-8")  # JSON is YAML
    return path


def test_json_holds_what_is_promised(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    assert run(["touch_up", "--json", "--kit", str(a_kit(tmp_path, 40))]) == 0
    found = json.loads(capsys.readouterr().out)
    assert {"fits", "chance", "limit_min", "rinse_call_min", "binding_zone", "zones", "options"} <= set(found)
    assert found["fits"] is True
    assert 0.9 <= found["chance"] <= 1
    assert found["limit_min"] == 40
    assert {"name", "start_min", "end_min", "due_min", "slack_min"} <= set(found["zones"][0])


def test_does_not_fit_is_exit_one(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    assert run(["whole_head", "--json", "--kit", str(a_kit(tmp_path, 6))]) == 1
    found = json.loads(capsys.readouterr().out)
    assert found["fits"] is False
    assert found["options"]
    assert all({"what", "chance"} <= set(option) for option in found["options"])
    assert run(["whole_head", "--kit", str(a_kit(tmp_path, 6))]) == 1
    assert "not this head, with these hands" in capsys.readouterr().out


def test_growth_and_picture(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    picture = tmp_path / "plan.svg"
    run(["touch_up", "--last-relaxer", "2025-01-01", "--today", "2025-03-01", "--picture", str(picture)])
    assert "New growth after 59 days: about 2.4 cm" in capsys.readouterr().out
    assert picture.read_text(encoding="utf-8").startswith("<svg")


def test_it_says_what_it_learned_from(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """A practice run of the same hands is learned from; one of other hands is not."""
    made = program("touch_up")
    for number, helper in enumerate(("Bo", "Cy")):
        record = RunRecord(
            id=f"r{number}", kind="practice", outcome="finished", started=datetime(2025, 2, 1, tzinfo=timezone.utc),
            person="Ada", helper=helper, routine="touch_up", kit="k", product_class="hydroxide", hair="coarse",
            limit_s=1320, limit_reason="chart", limit_means=LimitMeans.FIRST_TOUCH,
            pace=tuple(
                ZonePace(zone=t.zone, part=t.part, seconds=0.7 * t.seconds, partings=t.partings, expected_s=t.seconds)
                for t in forecast.ahead(made)
            ),
        )  # fmt: skip
        save_run(record)
    assert run(["touch_up", "--json", "--today", "2025-03-01"]) == 0
    found = json.loads(capsys.readouterr().out)
    assert (
        "learned from 1 run (1 of them practice): 14 zones timed, the latest 28 days ago" in found["notes"][0]
    )
    assert found["fits"] is True
    assert found["chance"] > plan(made).chance
