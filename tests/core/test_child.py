"""A child: cleared by the same rules as in the consultation, and nobody answers for it."""

from __future__ import annotations

from datetime import date

import pytest

from assistant.app.consult import load_form
from assistant.app.load import load_book, load_routine
from assistant.core.actions import Say
from assistant.core.consultation import Verdict, judge
from assistant.core.events import Doubted, Noticed, Pressed, Ticked
from assistant.core.household import Household
from assistant.core.interview import already_known
from assistant.core.program import Program, prepare
from assistant.core.reasons import Reason
from assistant.core.session import Stance
from assistant.files.places import routines_folder
from tests.core.test_consultation_properties import FINE
from tests.programs import household, kit
from tests.walker import Walk

DAY = date(2024, 3, 1)
BOOK = load_book()
FORM = load_form()


def people(born: date | None, helper: str | None = "adult", hearing: str | None = "well") -> Household:
    """Ada, born then, with a helper who is "adult", "child" or nobody (None)."""
    ada = household().the_person().model_copy(update={"born": born, "adult": False, "hearing": hearing})
    bo = household().people[1].model_copy(update={"adult": helper == "adult", "hearing": "well"})
    return household().model_copy(update={"people": (ada, bo), "helper": None if helper is None else "Bo"})


def prepared(home: Household, least_age: int | None, name: str = "touch_up") -> Program | tuple[Reason, ...]:
    sheet = kit().model_copy(update={"least_age": least_age})
    return prepare(load_routine(routines_folder() / f"{name}.yaml"), sheet, home, BOOK, today=DAY)


@pytest.mark.parametrize(
    "born", [date(2012, 3, 1), date(2012, 3, 2), date(2006, 3, 1), date(2006, 3, 2), None]
)
@pytest.mark.parametrize("least_age", [None, 12, 18])
@pytest.mark.parametrize("helper", ["adult", "child", None])
def test_the_run_and_the_consultation_agree_on_children(
    born: date | None, least_age: int | None, helper: str | None
) -> None:
    """Both sides of the twelfth and the eighteenth birthday; an age that nobody knows clears no child."""
    home = people(born, helper)
    sheet = kit().model_copy(update={"least_age": least_age})
    known = already_known(FORM, home, "Ada", (), DAY)
    found = judge(FORM, {**FINE, "age": "unknown", **known}, sheet, DAY, person="Ada")
    cleared = found.verdict is Verdict.GO
    assert isinstance(prepared(home, least_age), Program) == cleared, (
        found.findings,
        prepared(home, least_age),
    )


def test_a_first_relaxer_and_bad_hearing_need_an_adult_who_hears() -> None:
    grown = date(1990, 1, 1)
    for home, name, rule in (
        (people(grown, "child"), "whole_head", "first relaxer"),
        (people(grown, None, "badly"), "touch_up", "hearing"),
        (people(grown, "child", "badly"), "touch_up", "hearing"),
    ):
        made = prepared(home, 12, name)
        assert isinstance(made, tuple) and rule in [reason.rule for reason in made]
    assert isinstance(prepared(people(grown, "adult", "badly"), 12, "touch_up"), Program)


def at_a_burn_check() -> Walk:
    made = prepared(people(date(2011, 1, 1)), 12)
    assert isinstance(made, Program) and made.child
    return Walk(made).go(lambda state: any(aside.kind == "burn" for aside in state.asides))


def test_nobody_answers_a_burn_check_for_a_child() -> None:
    """The pedal answers nothing until the child was told to press it itself."""
    walk = at_a_burn_check()
    last = [a for _, a in walk.actions if isinstance(a, Say) and a.name == "burn_check"][-1]
    assert [s.text for s in last.sentences] == ["Ada, any burning?", "Helper: Let Ada answer."]
    walk.happen(Pressed(walk.t + 1, "yes"))
    assert walk.state.asides
    for _ in range(60):
        if walk.state.asides[-1].question.prompt.name == "burn_check.key":
            break
        walk.happen(Ticked(walk.state.timers[0][0]))
    walk.happen(Pressed(walk.t + 1, "yes"))
    assert not walk.state.asides


def test_a_key_confirms_no_doubtful_all_is_well_for_a_child() -> None:
    """ "Did you say: all is well?" is about burning too: whoever holds the pedal does not answer it."""
    walk = at_a_burn_check()
    walk.happen(Doubted(walk.t + 1, "all_is_well"))
    walk.happen(Pressed(walk.t + 1, "yes"))
    assert any(aside.kind == "burn" for aside in walk.state.asides)
    walk.hear("yes")
    assert not walk.state.asides


def test_any_cry_of_a_child_is_asked_about() -> None:
    walk = at_a_burn_check()
    walk.hear("all_is_well")
    asked = walk.said().count("burn_check")
    walk.happen(Noticed(walk.t + 5, "speech"))
    assert walk.said().count("burn_check") == asked, "it was asked a moment ago"
    walk.happen(Noticed(walk.t + 15, "knock"))
    assert walk.said().count("burn_check") == asked
    walk.happen(Noticed(walk.t + 1, "speech"))
    assert walk.said().count("burn_check") == asked + 1
    assert walk.state.stance is Stance.COVERING
