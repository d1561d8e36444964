"""The hearing decision: a doubtful stop stops, a doubtful step asks, everything else is somebody."""

from __future__ import annotations

from dataclasses import replace

import pytest
from hypothesis import given
from hypothesis import strategies as st

from assistant.core import hearing
from assistant.core.hearing import Hypothesis, LivePhrase, Risk, Verdict, decide, settled

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
        {"margin": 0.4},
        {"free_gap": -20.0},
        {"free_gap": -20.0, "agreed": True},
        {"runner_up": OTHER, "runner_up_gap": 2.0},
        {"runner_up": OTHER, "runner_up_gap": 5.0, "agreed": False},
        {"runner_up": OTHER, "runner_up_gap": 0.4, "agreed": True},
        {"t_end": 3.55},  # longer than the words usually take
        {"over_prompt": True, "margin": 2.5, "runner_up": OTHER, "runner_up_gap": 0.5},
    ],
)
def test_doubtful_step_is_asked_about(doubt: dict[str, object]) -> None:
    """Invariant 7: a doubtful hearing never advances a step."""
    assert decide(heard(STEP, **doubt)) is Verdict.ASK  # type: ignore[arg-type]


def test_second_opinion_that_agrees_settles_what_is_near() -> None:
    near = heard(STEP, runner_up=OTHER, runner_up_gap=1.5)
    assert decide(replace(near, agreed=True)) is Verdict.BELIEVE
    assert decide(replace(near, agreed=None)) is Verdict.ASK
    assert decide(replace(near, agreed=False)) is Verdict.ASK


def test_high_score_holds_against_the_free_decode() -> None:
    """ "Done with black" scores 3 to 7 for "done with back right" with a gap of 16 to 20: asked about."""
    assert decide(heard(STEP, margin=6.6, free_gap=-16.2, agreed=True)) is Verdict.ASK
    assert decide(heard(STEP, margin=12.0, free_gap=-16.2, agreed=True)) is Verdict.BELIEVE


def test_stop_within_talk_is_clear_agreed_and_as_long_as_its_words() -> None:
    """A doubtful stop that stands alone stops; talk that is long and matches weakly is talk."""
    within = heard(STOP, margin=hearing.STOP_IN_TALK, t_end=1.4, in_talk=True)
    assert decide(within) is Verdict.BELIEVE
    assert decide(replace(within, score=within.score - 0.1)) is Verdict.SOMEBODY
    assert decide(replace(within, agreed=False)) is Verdict.SOMEBODY
    assert decide(replace(within, t_end=1.3)) is Verdict.SOMEBODY
    assert decide(heard(STOP, margin=0.0, t_end=1.3, agreed=False)) is Verdict.BELIEVE


def test_stop_among_talk_as_loud_as_itself_is_clear_and_agreed() -> None:
    """However short; a step there is believed as ever, for the talk may be a radio's."""
    among = heard(STOP, margin=hearing.STOP_IN_TALK, t_end=1.3, among_talk=True)
    assert decide(among) is Verdict.BELIEVE
    assert decide(replace(among, score=among.score - 0.1)) is Verdict.SOMEBODY
    assert decide(replace(among, agreed=False)) is Verdict.SOMEBODY
    assert decide(heard(STEP, among_talk=True)) is Verdict.BELIEVE


def test_step_within_talk_is_never_believed() -> None:
    assert decide(heard(STEP, margin=30.0, in_talk=True)) is Verdict.SOMEBODY


@pytest.mark.parametrize("phrase", [STOP, STEP, REPLY, QUERY])
def test_what_is_much_shorter_than_its_words_is_something_else(phrase: LivePhrase) -> None:
    least_s = (0.03 if phrase is STOP else 0.036) * len(phrase.text.replace(" ", ""))
    assert decide(heard(phrase, t_end=1.0 + least_s - 0.01)) is Verdict.SOMEBODY
    assert decide(heard(phrase, t_end=1.0 + least_s + 0.01)) is Verdict.BELIEVE


@pytest.mark.parametrize(
    ("phrase", "margin", "silence_s", "grows", "now"),
    [
        (STEP, 10.0, 0.12, False, True),
        (STEP, 1.0, 0.12, False, False),  # nothing against it, but not clear enough for so short a silence
        (STEP, 1.0, 0.3, False, True),
        (STEP, 10.0, 0.3, True, False),  # a longer phrase may follow
        (STEP, -1.0, 0.3, False, False),  # to be asked about: the end may clear it up
        (STEP, -1.0, 0.5, True, True),
        (STOP, 10.0, 0.12, False, True),
        (LivePhrase("next", "next_step", "", Risk.ADVANCE), 10.0, 0.12, False, False),
        (LivePhrase("next", "next_step", "", Risk.ADVANCE), 10.0, 0.3, False, True),
    ],
)
def test_decided_as_soon_as_sure(
    phrase: LivePhrase, margin: float, silence_s: float, grows: bool, now: bool
) -> None:
    """The clearer and the longer a phrase, the less silence is waited for."""
    assert settled(heard(phrase, margin, t_end=1.8), silence_s, grows=grows) is now


def test_stop_that_is_near_another_phrase_waits_for_the_end() -> None:
    """ "It runs" beside a tap sounds like "it burns" until "clear" follows; at the end a doubtful stop stops."""
    near = heard(STOP, 10.0, t_end=1.8, runner_up=STEP, runner_up_gap=2.6)
    assert not settled(near, 0.3, grows=False)
    assert settled(near, 0.5, grows=False)
    assert decide(near) is Verdict.BELIEVE


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


@pytest.mark.parametrize(("agreed", "margin"), [(True, 2.4), (None, 2.4), (False, 4.0)])
def test_remains_of_a_prompt_are_no_stop_phrase(agreed: bool | None, margin: float) -> None:
    """As far above the threshold as pieces of our own prompts came; where the looks differ, further."""
    piece = heard(STOP, margin=margin, over_prompt=True, agreed=agreed)
    assert decide(piece) is Verdict.IGNORE
    assert decide(replace(piece, over_prompt=False)) is Verdict.BELIEVE
    assert decide(replace(piece, score=piece.score + 2.1)) is Verdict.BELIEVE


def test_over_a_prompt_a_stop_softer_than_the_people_here_is_clearer() -> None:
    """As a piece of our own prompt was: 3.6 above, 0.24 s, 30 dB under the people's phrases."""
    piece = heard(STOP, margin=3.6, over_prompt=True, agreed=True, level_db=-56.0)
    assert decide(piece) is Verdict.BELIEVE
    assert decide(piece, -35.0) is Verdict.IGNORE
    assert decide(replace(piece, level_db=-34.0), -35.0) is Verdict.BELIEVE
    assert decide(replace(piece, score=piece.score + 2.5), -35.0) is Verdict.BELIEVE
    assert decide(replace(piece, over_prompt=False), -35.0) is Verdict.BELIEVE


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
