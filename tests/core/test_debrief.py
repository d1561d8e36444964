"""Looking back: what a run's entry keeps of calls and work, and the sentences that are made of it."""

from __future__ import annotations

from datetime import datetime, timezone

from assistant.core.debrief import debrief
from assistant.core.diary import RinseCall, RunRecord, ZoneExposure, ZonePace
from assistant.core.diary_entry import from_session
from assistant.core.events import Ticked
from assistant.core.kit_sheet import LimitMeans
from assistant.core.moments import Kind, Moment
from assistant.core.session import Stance
from tests.programs import program
from tests.walker import Walk

STARTED = datetime(2024, 3, 14, 18, 30, tzinfo=timezone.utc)


def entry(walk: Walk) -> RunRecord:
    return from_session(walk.program, walk.events, id="a", kind="run", started=STARTED)


def test_a_call_ends_the_work_that_was_at_hand() -> None:
    """The rinse call by the clock finds the last zone half smoothed: what follows is rinsing, not smoothing it."""
    walk = Walk(program("touch_up"))
    walk.go(lambda s: s.stance is Stance.SMOOTHING and len(s.todo) == 1)
    zone = walk.state.todo[0]
    while walk.state.call is None:  # nobody reports the zone; time goes by
        walk.happen(Ticked(max(walk.t, walk.state.timers[0][0])))
    assert walk.state.call.cause in ("clock", "nobody")
    walk.to_end()
    record = entry(walk)
    assert zone not in [p.zone for p in record.pace if p.part == "smooth"]
    assert len([p for p in record.pace if p.part == "smooth"]) == len(record.zones) - 1


def test_a_call_keeps_what_it_sounded_for() -> None:
    """A harm that is reported on top is an incident of its own; the call stays that of the first."""
    walk = Walk(program("touch_up"))
    walk.go(lambda s: s.stance is Stance.COVERING and len(s.ledger.zones) == 2)
    walk.hear("it_burns")
    walk.hear("swallowed_some", after=5.0)
    walk.to_end()
    record = entry(walk)
    assert [c.cause for c in record.calls] == ["it_burns"]
    assert [i.what for i in record.incidents] == ["skin or scalp burns", "some was swallowed"]


def record(**changes: object) -> RunRecord:
    """Two zones, limit 16 min, one call that was due at 14:00."""
    zones = (
        ZoneExposure(zone="crown", first_s=0, last_s=60, wet_s=900, clear_s=1000),
        ZoneExposure(zone="nape", first_s=60, last_s=120, wet_s=950, clear_s=1000),
    )
    call = RinseCall(cause="clock", due_s=840, sounded_s=840, acknowledged_s=870, clear_s=1000)
    whole = RunRecord(
        id="a", kind="run", outcome="finished", started=STARTED, person="Ada", routine="touch_up", kit="My Kit",
        product_class="hydroxide", hair="coarse", limit_s=960, limit_reason="", limit_means=LimitMeans.FIRST_TOUCH,
        zones=zones, calls=(call,),
    )  # fmt: skip
    return whole.model_copy(update=changes)


def test_what_went_as_planned_is_told_with_its_numbers() -> None:
    """By hand: the longest is the nape with 15:50, 10 s before the limit of 16:00; water 30 s after the call."""
    found = debrief(record())
    assert all(f.well for f in found)
    assert [f.words for f in found] == [
        "Every zone stayed within the limit of 16 min 00 s. The longest was nape with 15 min 50 s, 10 s before the "
        "limit. That was close.",
        "Every zone was rinsed until clear.",
        "The rinse call sounded when it was due, at 14 min 00 s.",
        "The water was running 30 s after the call.",
        "No harm was reported.",
    ]


def test_what_did_not_is_told_too() -> None:
    """A late call, a zone over its limit, nobody's answer, slow work, a phrase asked back, a lost device."""
    late = RinseCall(cause="clock", due_s=840, sounded_s=900)
    over = ZoneExposure(zone="crown", first_s=0, last_s=60, wet_s=1000, clear_s=None)
    slow = ZonePace(zone="crown", part="", seconds=300, partings=9, expected_s=100)
    moments = (
        Moment(1.0, Kind.HEARD, "next step"),
        Moment(2.0, Kind.ASKED, "done with crown"),
        Moment(65.0, Kind.LOST, "microphone: unplugged"),
    )
    found = debrief(record(calls=(late,), zones=(over,), pace=(slow,)), moments)
    assert [f.words for f in found if not f.well] == [
        "crown had 16 min 40 s, 40 s over the limit.",
        "Nobody reported that the water ran clear: crown.",
        "The rinse call sounded 1 min 00 s late, at 15 min 00 s.",
        "Nobody told that the water was running.",
        "The work that was timed took 5 min 00 s, longer than the first guess of 1 min 40 s.",
        "1 of 2 phrases were not clear enough, and combside asked back.",
        "A device was lost at 1 min 05 s: microphone: unplugged.",
    ]
