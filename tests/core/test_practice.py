"""Practice: the same walk, nothing about cream, and what it measures."""

from __future__ import annotations

from datetime import datetime, timezone

import pytest

from assistant.core.actions import Arm, Say
from assistant.core.diary_entry import from_session
from assistant.core.exposure import Ledger
from assistant.core.practice import Walked, practise, walked, with_walk
from assistant.core.session import Stance
from tests.programs import ROUTINES, household, program
from tests.walker import Walk

STARTED = datetime(2024, 3, 14, 18, 30, tzinfo=timezone.utc)
CHEMICAL = ("cream", "mix", "strand", "neutralis", "shampoo", "burn", "leaflet", "lather", "warning")


@pytest.mark.parametrize("name", ROUTINES)
def test_the_walk_ends_well_and_never_speaks_of_cream(name: str) -> None:
    walk = Walk(practise(program(name))).to_end()
    assert walk.state.outcome == "finished"
    spoken = [s.text.lower() for _, a in walk.actions if isinstance(a, Say) for s in a.sentences]
    assert spoken
    for text in spoken:
        assert not [word for word in CHEMICAL if word in text], text


@pytest.mark.parametrize("name", ROUTINES)
def test_every_start_says_that_it_is_practice(name: str) -> None:
    made = practise(program(name))
    for step in made.steps:
        assert "ractice" in step.say[0], step.id
    call = made.book.said["call"]
    assert "Practice" in call.person[0]


@pytest.mark.parametrize("name", ROUTINES)
def test_zones_limit_and_call_are_the_real_ones(name: str) -> None:
    """What is measured must be comparable: same zones in the same order, same clock, same rinse call."""
    made = program(name)
    practice = practise(made)
    assert (practice.zones, practice.limit) == (made.zones, made.limit)
    walk = Walk(practice).to(Stance.COVERING)
    began = walk.state.ledger.began
    assert began is not None
    due = next(a.due for _, a in walk.actions if isinstance(a, Arm))
    real = made.call_due(Ledger().touch(made.zones[0], began), (), made.limit.seconds)
    assert due == real


def test_the_program_itself_is_unchanged() -> None:
    made = program("touch_up")
    before = made.book.said["burn_check"]
    practise(made)
    assert made.book.said["burn_check"] == before
    assert "Any burning?" in before.person


def test_nothing_that_the_second_process_says_is_about_cream() -> None:
    said = practise(program("touch_up")).book.said
    texts = [t.lower() for n, e in said.items() if n.startswith("guard.") for t in (*e.person, *e.helper)]
    assert texts
    assert not [t for t in texts for word in CHEMICAL if word in t]


def test_first_aid_keeps_its_words() -> None:
    made = program("touch_up")
    for name in ("call.it_burns", "call.in_my_eye", "care.it_burns"):
        assert practise(made).book.said[name] == made.book.said[name]


def test_the_walk_to_the_water_is_measured() -> None:
    """What this household takes from the call to the tap, and to clear, comes out as it went in."""
    walk = Walk(practise(program("touch_up")), seconds={"water": 41.0, "clear": 170.0}).to_end()
    record = from_session(walk.program, walk.events, id="p1", kind="practice", started=STARTED)
    assert record.outcome == "finished"
    assert walked(record) == Walked(41.0, 170.0)
    assert walked(record.model_copy(update={"kind": "run"})) is None
    assert walked(record.model_copy(update={"calls": ()})) is None
    hasty = Walk(practise(program("touch_up")), seconds={"water": 4.9, "clear": 170.0}).to_end()
    kept = from_session(hasty.program, hasty.events, id="p2", kind="practice", started=STARTED)
    assert walked(kept) is None, "nobody is at the tap so soon"


def test_a_walk_after_a_call_for_help_is_no_measure() -> None:
    """Somebody who was hurt runs; the day's walk is not quicker for that."""
    walk = Walk(practise(program("touch_up"))).to(Stance.COVERING)
    walk.hear("it_burns", after=20.0)
    walk.to_end()
    record = from_session(walk.program, walk.events, id="p1", kind="practice", started=STARTED)
    assert walked(record) is None


def test_the_slowest_walk_counts() -> None:
    walked = with_walk(household(), [Walked(22.0, 100.0), Walked(41.0, None)])
    assert walked.water.walk_seconds == 41.0
    assert with_walk(household(), []) == household()
