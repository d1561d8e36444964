"""Shouting that is not understood while cream is on is asked about at once (invariant 13)."""

from __future__ import annotations

import numpy as np
import pytest

from assistant.core.events import Noticed, Ticked
from assistant.core.loudness import ABOVE_USUAL_DB, FEWEST, SOFTER_DB, Loudness
from assistant.core.session import BURN_CHECK_EVERY_S, CRY_APART_S, Stance
from tests.programs import program
from tests.walker import Walk


def test_a_shout_stands_above_what_is_usual_and_never_before_that_is_known() -> None:
    """Levels of vocal effort at 1 m after ANSI S3.5-1997 (from memory): normal 62.35, raised 68.34, loud 74.85,
    shout 82.30 dB. Raised is no shout, loud and shouted are."""
    normal = Loudness()
    for k in range(FEWEST):
        assert not normal.is_shout(0.0)
        normal = normal.after(-30.0 + (k % 3 - 1))
    assert normal.usual_db == -30.0
    told = {name: normal.is_shout(-30.0 + db - 62.35) for name, db in
            (("normal", 62.35), ("raised", 68.34), ("loud", 74.85), ("shout", 82.30))}  # fmt: skip
    assert told == {"normal": False, "raised": False, "loud": True, "shout": True}
    assert 68.34 - 62.35 < ABOVE_USUAL_DB < 74.85 - 62.35


def test_nobody_is_far_below_the_softest_tenth_of_what_was_understood() -> None:
    heard = Loudness()
    for k in range(FEWEST - 1):
        heard = heard.after(-30.0 - k)
        assert heard.softest_db == float("-inf")
    for level in (
        -26.0,
        -27.0,
        -28.0,
        -29.0,
        -34.0,
        -40.0,
        -80.0,
    ):  # the last: something else, taken for a phrase
        heard = heard.after(level)
    tenth = np.percentile(heard.levels_db, 10)
    assert heard.softest_db == pytest.approx(tenth - SOFTER_DB)
    assert -47 < heard.softest_db < -38


def test_13_a_shout_with_cream_on_brings_the_burn_check_at_once() -> None:
    w = Walk(program())
    w.to(Stance.COVERING)
    w.happen(Ticked(w.t + CRY_APART_S + 1))
    before = w.said().count("burn_check")
    w.happen(Noticed(w.t + 0.5, "speech"))
    assert w.said().count("burn_check") == before
    w.happen(Noticed(w.t + 0.5, "shout"))
    assert w.said().count("burn_check") == before + 1
    assert w.state.asides[-1].kind == "burn"
    w.happen(Noticed(w.t + 0.5, "shout"))  # it is being asked: not twice
    assert w.said().count("burn_check") == before + 1
    w.hear("all_is_well")
    w.happen(Noticed(w.t + 1, "shout"))  # and was just asked
    assert w.said().count("burn_check") == before + 1
    w.happen(Noticed(w.t + CRY_APART_S + 1, "shout"))
    assert w.said().count("burn_check") == before + 2
    assert CRY_APART_S < BURN_CHECK_EVERY_S


@pytest.mark.parametrize("stance", [Stance.CONFIRM, Stance.MIXING, Stance.RINSE_CALL])
@pytest.mark.parametrize("kind", ["shout", "knock"])
def test_without_cream_on_the_head_or_at_the_water_it_is_only_a_sign(stance: Stance, kind: str) -> None:
    w = Walk(program())
    w.to(stance)
    before = w.state
    assert w.happen(Noticed(w.t + 0.5, kind)) == ()
    assert (w.state.stance, w.state.question, w.state.sign) == (before.stance, before.question, w.t)
