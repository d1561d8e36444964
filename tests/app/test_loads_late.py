"""A run that goes on loads its recogniser beside the loop: never where that could hold up the rinse call."""

from __future__ import annotations

from dataclasses import replace
from types import SimpleNamespace

import numpy as np
import pytest

from assistant.app.late import LateEars
from assistant.app.loop import Loop
from assistant.app.run import LOADING_S, _go
from assistant.core.session import Stance
from assistant.screens.none import NoScreen
from tests.app.test_loop import Order
from tests.programs import program
from tests.walker import Walk

NONE = np.zeros(0, dtype=np.float32)


@pytest.mark.parametrize(("left_s", "loads_s"), [(LOADING_S - 1.0, LOADING_S - 1.0), (LOADING_S + 60.0, 0.0)])
def test_the_recogniser_is_loaded_before_the_call_only_where_there_is_time(
    left_s: float, loads_s: float
) -> None:
    """With the call due after `left_s` it is loaded `loads_s` after the start: at once, or once the call sounds."""
    walk = Walk(program()).to(Stance.COVERING)
    due = walk.state.due
    assert due is not None
    begin = due - left_s
    now, ears, order = [begin], LateEars(lambda: pytest.fail("never made here")), Order()  # type: ignore[arg-type]
    loaded: list[float] = []
    ears.load = lambda: loaded.append(now[0] - begin)  # type: ignore[method-assign]
    loop = Loop(program(), ears, order, order, order, NoScreen(), stream_began=begin)
    loop.state, loop.t = replace(walk.state, t=begin, timers=((due, "call"),)), begin

    def read(seconds: float) -> np.ndarray:
        now[0] += max(seconds, 0.001)
        return NONE

    def look(_: Loop) -> None:
        loop.closing = bool(loaded)

    microphone = SimpleNamespace(read=read, watch=lambda t, count: ())
    speaker = SimpleNamespace(played=lambda count: NONE, watch=lambda t: ())
    devices = SimpleNamespace(
        microphone=microphone, ears=ears, keys=SimpleNamespace(pressed=lambda: ()), check=None
    )
    clock, standing = SimpleNamespace(now=lambda: now[0]), SimpleNamespace(look=look)
    _go(loop, devices, order, speaker, clock, standing)  # type: ignore[arg-type]
    assert loaded[0] == pytest.approx(loads_s, abs=0.2)
    assert (loop.state.stance is Stance.RINSE_CALL) is (loads_s > 0)
