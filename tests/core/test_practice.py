"""Practice: the same walk, nothing about cream, and what it measures."""

from __future__ import annotations

import pytest

from assistant.core.actions import Arm, Say
from assistant.core.exposure import Ledger
from assistant.core.practice import Walked, measured, practise, with_walk
from assistant.core.session import Stance
from tests.programs import ROUTINES, household, program
from tests.walker import Walk

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


def test_first_aid_keeps_its_words() -> None:
    made = program("touch_up")
    for name in ("call.it_burns", "call.in_my_eye", "care.it_burns"):
        assert practise(made).book.said[name] == made.book.said[name]


def test_the_walk_to_the_water_is_measured() -> None:
    ledger = (
        Ledger()
        .touch("crown", 0)
        .touch("nape", 60)
        .wetted([("crown", 330.0), ("nape", 338.0)])
        .cleared(500.0)
    )
    assert measured(300.0, ledger) == Walked(30.0, 170.0)
    assert measured(300.0, Ledger().touch("crown", 0)) is None


def test_the_slowest_walk_counts() -> None:
    walked = with_walk(household(), [Walked(22.0, 100.0), Walked(41.0, None)])
    assert walked.water.walk_seconds == 41.0
    assert with_walk(household(), []) == household()
