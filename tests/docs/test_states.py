"""The page of states says what the session's table does, and a changed table makes another page."""

from __future__ import annotations

import pytest

from assistant.core import session
from assistant.core.session import Stance
from tests.docs.states import PAGE, arrows, page
from tests.programs import kinds, program, reached


def test_the_page_of_states_is_what_the_table_says() -> None:
    """Made anew by `python -m tests.docs`."""
    assert PAGE.read_text("utf-8") == page(program(), reached().values())


def test_an_arrow_goes_when_its_trigger_leaves_the_table(monkeypatch: pytest.MonkeyPatch) -> None:
    calling = [r for r in kinds() if r.state.stance is Stance.RINSE_CALL]
    ends = (Stance.RINSE_CALL.value, Stance.RINSING.value)
    assert "water_running" in arrows(program(), calling)[ends]
    less = {k: v for k, v in session.TABLE[Stance.RINSE_CALL].items() if k != "water_running"}
    monkeypatch.setitem(session.TABLE, Stance.RINSE_CALL, less)  # type: ignore[arg-type]
    assert "water_running" not in arrows(program(), calling)[ends]
