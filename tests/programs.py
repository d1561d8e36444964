"""Prepared programs for tests: the shipped routines with the invented kit and household."""

from __future__ import annotations

from functools import cache

from assistant.app.load import load_book, load_routine
from assistant.core.checks import Reached, explore
from assistant.core.household import Household
from assistant.core.kit_sheet import KitSheet
from assistant.core.program import Program, prepare
from assistant.files.places import routines_folder
from assistant.files.yaml_file import load

ROUTINES = ("whole_head", "touch_up", "short_hair")


@cache
def kit() -> KitSheet:
    return load(routines_folder() / "kits" / "example_kit.yaml", KitSheet)


@cache
def household() -> Household:
    return load(routines_folder() / "kits" / "example_household.yaml", Household)


@cache
def program(name: str = "whole_head", *, alone: bool = False, **kit_changes: object) -> Program:
    """The shipped routine `name`, ready to run; `kit_changes` replace fields of the kit sheet."""
    people = household().model_copy(update={"helper": None}) if alone else household()
    sheet = kit().model_copy(update=kit_changes)
    made = prepare(load_routine(routines_folder() / f"{name}.yaml"), sheet, people, load_book())
    assert isinstance(made, Program), made
    return made


@cache
def reached(name: str = "whole_head") -> dict[tuple[object, ...], Reached]:
    """Every kind of state the routine can be in; explored once a test run."""
    return explore(program(name))


@cache
def kinds(name: str = "whole_head") -> tuple[Reached, ...]:
    """One state for each stance, step, place of the cream, question and cause of a call: `reached` without which zones are left."""
    found: dict[tuple[object, ...], Reached] = {}
    for state_and_ways in reached(name).values():
        state = state_and_ways.state
        key = (
            state.stance, state.step, state.cream, state.question.asks if state.question else "",
            tuple(aside.kind for aside in state.asides), state.call.cause if state.call else "",
        )  # fmt: skip
        found.setdefault(key, state_and_ways)
    return tuple(found.values())
