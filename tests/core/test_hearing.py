"""The hearing decision: a doubtful stop stops, a doubtful step asks, everything else is somebody."""

from __future__ import annotations

from dataclasses import replace

import pytest
from hypothesis import given
from hypothesis import strategies as st

from assistant.core import hearing
from assistant.core.hearing import Hypothesis, LivePhrase, Risk, Verdict, decide

STOP = LivePhrase("stop now", "stop_now", "", Risk.STOP)
STEP = LivePhrase("done with back left", "done_with", "back left", Risk.ADVANCE)
OTHER = LivePhrase("done with back right", "done_with", "back right", Risk.ADVANCE)
REPLY = LivePhrase("yes please", "yes", "", Risk.ANSWER)
QUERY = LivePhrase("how long", "how_long", "", Risk.ASK)


def heard(phrase: LivePhrase | None, margin: float = 10.0, **more: object) -> Hypothesis:
    """An utterance of one second whose score is `margin` above the threshold."""
    plain = Hypothesis(1.0, 2.0, phrase, 3.0 + margin, 3.0, level_db=-30.0, engine="test")
    return replace(plain, **more)  # type: ignore[arg-type]


@pytest.mark.parametrize("phrase", [STOP, STEP, REPLY, QUERY])
def test_clear_phrase_is_believed(phrase: LivePhrase) -> None:
    assert decide(heard(phrase)) is Verdict.BELIEVE


@pytest.mark.parametrize(
    "doubt",
    [
        {"margin": 0.0},
        {"free_gap": -30.0},
        {"runner_up": QUERY, "runner_up_gap": 0.01},
        {"agreed": False},
        {"level_db": -80.0},
    ],
)
def test_doubtful_stop_stops(doubt: dict[str, object]) -> None:
    """Invariant 7: whatever speaks against it, a stop phrase at its threshold is believed."""
    assert decide(heard(STOP, **doubt)) is Verdict.BELIEVE  # type: ignore[arg-type]


@pytest.mark.parametrize(
    "doubt",
    [
        {"margin": -0.5},
        {"free_gap": hearing.FREE_GAP - 0.1},
        {"free_gap": hearing.FREE_GAP - 0.1, "margin": 30.0, "agreed": False},
        {"runner_up": OTHER, "runner_up_gap": 0.5},
        {"runner_up": OTHER, "runner_up_gap": 0.5, "agreed": False},
        {"over_prompt": True, "margin": 2.5, "runner_up": OTHER, "runner_up_gap": 0.5},
    ],
)
def test_doubtful_step_is_asked_about(doubt: dict[str, object]) -> None:
    """Invariant 7: a doubtful hearing never advances a step."""
    assert decide(heard(STEP, **doubt)) is Verdict.ASK  # type: ignore[arg-type]


def test_second_engine_that_agrees_settles_what_is_near() -> None:
    near = heard(STEP, runner_up=OTHER, runner_up_gap=0.5)
    assert decide(replace(near, agreed=True)) is Verdict.BELIEVE
    assert decide(replace(near, agreed=None)) is Verdict.ASK


def test_high_score_holds_against_the_free_decode_only_with_agreement() -> None:
    """ "Done with black" scores high for "done with back"; the free decode knows better."""
    alike = heard(STEP, margin=12.0, free_gap=-11.0)
    assert decide(alike) is Verdict.ASK
    assert decide(replace(alike, agreed=True)) is Verdict.BELIEVE
    assert decide(heard(QUERY, margin=12.0, free_gap=-11.0)) is Verdict.BELIEVE


@pytest.mark.parametrize("phrase", [STOP, STEP, REPLY, QUERY, None])
def test_speech_that_is_no_phrase_is_somebody(phrase: LivePhrase | None) -> None:
    assert decide(heard(phrase, margin=-20.0)) is Verdict.SOMEBODY


@pytest.mark.parametrize("phrase", [STEP, REPLY, QUERY, None])
def test_remains_of_our_own_voice_are_nobody(phrase: LivePhrase | None) -> None:
    assert decide(heard(phrase, margin=-20.0, over_prompt=True)) is Verdict.IGNORE


@pytest.mark.parametrize("phrase", [STEP, REPLY, QUERY])
def test_stricter_over_a_prompt(phrase: LivePhrase) -> None:
    barely = heard(phrase, margin=hearing.OVER_PROMPT - 0.5)
    assert decide(barely) is Verdict.BELIEVE
    assert decide(replace(barely, over_prompt=True)) is Verdict.IGNORE


def test_clear_stop_is_heard_over_a_prompt() -> None:
    assert decide(heard(STOP, margin=6.0, over_prompt=True)) is Verdict.BELIEVE


def test_faint_speech_is_ignored() -> None:
    assert decide(heard(STEP, level_db=hearing.FAINTEST_DB - 1)) is Verdict.IGNORE
    assert decide(heard(None, level_db=hearing.FAINTEST_DB - 1)) is Verdict.IGNORE


@pytest.mark.parametrize(("phrase", "longest_s"), [(STOP, 1.8), (STEP, 2.6)])
def test_long_talk_is_no_phrase(phrase: LivePhrase, longest_s: float) -> None:
    assert decide(heard(phrase, t_end=1.0 + longest_s - 0.1)) is Verdict.BELIEVE
    assert decide(heard(phrase, t_end=1.0 + longest_s + 0.1)) is Verdict.SOMEBODY


@given(
    margin=st.floats(-30, 30),
    free_gap=st.floats(-30, 0),
    gap=st.floats(0, 30),
    agreed=st.sampled_from([None, True, False]),
    over=st.booleans(),
    level=st.floats(-90, 0),
)
def test_a_step_is_never_believed_below_its_threshold(
    margin: float, free_gap: float, gap: float, agreed: bool | None, over: bool, level: float
) -> None:
    """However the rest looks: below the threshold nothing is believed, and a louder case is never believed less."""
    for phrase in (STEP, REPLY, QUERY, STOP):
        case = heard(
            phrase, margin, free_gap=free_gap, runner_up=OTHER, runner_up_gap=gap, agreed=agreed,
            over_prompt=over, level_db=level,
        )  # fmt: skip
        verdict = decide(case)
        if case.score < case.accept_at:
            assert verdict is not Verdict.BELIEVE
        if verdict is Verdict.BELIEVE:
            assert decide(replace(case, level_db=0.0, over_prompt=False)) is Verdict.BELIEVE
