"""What a rehearsal came to: exposure, calls, phrases, false accepts, gaps, each against a planted truth."""

from __future__ import annotations

import math

import numpy as np
import pytest
import soundfile

from assistant.core.actions import Say, Sentence
from assistant.core.hearing import Hypothesis, LivePhrase, Risk, Verdict
from assistant.core.kit_sheet import LimitMeans
from assistant.ports import RATE
from assistant.room import measure
from assistant.room.truth import KeyPress, Outcome, Played, Truth, Utterance

NEXT = LivePhrase("next step", "next_step", "", Risk.ADVANCE)
CROWN = LivePhrase("done with crown", "done_with", "crown", Risk.ADVANCE)
NAPE = LivePhrase("done with nape", "done_with", "nape", Risk.ADVANCE)
BURNS = LivePhrase("it burns", "it_burns", "", Risk.STOP)
PROMPT = Say("hello", (Sentence("Hello."),))


def heard(
    phrase: LivePhrase | None, begin: float, end: float, verdict: Verdict, delay: float = 0.2
) -> Outcome:
    return Outcome(end + delay, Hypothesis(begin, end, phrase, 2.0, 1.0), verdict)


def said(phrase: LivePhrase, begin: float, end: float, who: str = "person") -> Utterance:
    return Utterance(who, begin, end, phrase.text, phrase.name, phrase.slot)


def head() -> Truth:
    """Crown from 100 to 160, nape from 200 to 230; water at 700 and 710, clear at 760 and 800."""
    truth = Truth()
    for zone, begin, end, wet, clear in (("crown", 100, 160, 700, 760), ("nape", 200, 230, 710, 800)):
        truth.touch(zone, end)
        truth.touch(zone, begin)
        truth.water(zone, wet)
        truth.water(zone, wet + 60)
        truth.clear(zone, clear)
    return truth


# -- exposure --------------------------------------------------------------------------


def test_spans_of_a_zone():
    crown, nape = measure.exposure(head(), 600, LimitMeans.FIRST_TOUCH, end=1000)
    assert (crown.exposure_s, crown.until_clear_s, crown.least_s) == (600, 660, 540)
    assert (nape.exposure_s, nape.until_clear_s, nape.least_s) == (510, 600, 480)
    assert (nape.first_touch, nape.last_touch, nape.water, nape.clear) == (200, 230, 710, 800)


@pytest.mark.parametrize(
    ("means", "limit_s", "over"),
    [
        (LimitMeans.FIRST_TOUCH, 610, []),
        (LimitMeans.FIRST_TOUCH, 609, ["nape"]),
        (LimitMeans.FIRST_TOUCH, 599, ["crown", "nape"]),
        (LimitMeans.BY_SECTION, 600, []),
        (LimitMeans.BY_SECTION, 599, ["crown"]),
        (LimitMeans.UNTIL_CLEAR, 700, []),
        (LimitMeans.UNTIL_CLEAR, 699, ["nape"]),
    ],
)
def test_the_limit_is_held_against_the_leaflets_sense(means, limit_s, over):
    zones = measure.exposure(head(), limit_s, means, end=1000)
    assert [zone.zone for zone in zones if zone.over_limit] == over


def test_a_zone_that_never_saw_water_counts_until_the_end():
    truth = head()
    truth.touch("fringe", 300)
    fringe = measure.exposure(truth, 600, LimitMeans.BY_SECTION, end=1000)[-1]
    assert (fringe.water, fringe.exposure_s, fringe.until_clear_s) == (None, 700, None)
    assert fringe.over_limit


def test_what_would_have_come_after_the_end_has_not_come():
    crown, _ = measure.exposure(head(), 600, LimitMeans.BY_SECTION, end=650)
    assert (crown.water, crown.clear, crown.exposure_s) == (None, None, 550)


def test_nothing_on_the_head_is_no_exposure():
    assert measure.exposure(Truth(), 600, LimitMeans.FIRST_TOUCH, end=10) == ()


# -- rinse calls -----------------------------------------------------------------------


def test_a_call_in_time_and_its_answer():
    truth = head()
    truth.utterances.append(
        said(LivePhrase("water is running", "water_running", "", Risk.ADVANCE), 700.5, 701.5)
    )
    (call,) = measure.rinse_calls(truth, [650.0], sounded=[40.0, 650.1, 662.1])
    assert (call.sounded, call.acknowledged, call.late) == (650.1, 701.5, False)


def test_a_key_answers_a_call_too():
    truth = head()
    truth.keys += [KeyPress(600.0, "person", "yes"), KeyPress(670.0, "person", "yes")]
    (call,) = measure.rinse_calls(truth, [650.0], sounded=[650.1])
    assert call.acknowledged == 670.0


@pytest.mark.parametrize("sounded", [[], [40.0], [650.8]])
def test_a_call_that_is_not_in_the_mixdown_in_time_is_late(sounded):
    """A trial of the alarm before the first cream (at 40 s) is no rinse call."""
    assert measure.rinse_calls(head(), [650.0], sounded)[0].late


def test_a_call_brought_forward_is_not_late():
    assert not measure.rinse_calls(head(), [650.0], [300.0])[0].late


def test_no_call_is_late_when_everything_is_wet_before():
    assert not measure.rinse_calls(head(), [900.0], [])[0].late


# -- phrases ---------------------------------------------------------------------------


def test_obeyed_asked_again_and_missed():
    truth = Truth(
        utterances=[
            said(NEXT, 10, 11),
            said(CROWN, 20, 21),
            said(NAPE, 30, 31),
            Utterance("helper", 40, 41, "oh dear"),
        ],
        outcomes=[
            heard(NEXT, 10, 11.1, Verdict.BELIEVE),
            heard(CROWN, 20, 21.1, Verdict.ASK),
            heard(None, 30, 31.1, Verdict.SOMEBODY),
            heard(None, 40, 41.1, Verdict.SOMEBODY),
        ],
    )  # fmt: skip
    assert [fate.fate for fate in measure.phrase_fates(truth)] == ["obeyed", "asked_again", "missed"]
    assert measure.false_accepts(truth) == ()


def test_another_slot_is_another_phrase():
    """ "Done with nape" heard as "done with crown" is a miss and a false accept."""
    truth = Truth(utterances=[said(NAPE, 30, 31)], outcomes=[heard(CROWN, 30, 31, Verdict.BELIEVE)])
    assert [fate.fate for fate in measure.phrase_fates(truth)] == ["missed"]
    (wrong,) = measure.false_accepts(truth)
    assert (wrong.phrase, wrong.self_trigger) == ("done with crown", False)


def test_one_hearing_is_not_counted_for_two_sayings():
    truth = Truth(
        utterances=[said(NEXT, 10, 11), said(NEXT, 11.5, 12.5)],
        outcomes=[heard(NEXT, 10, 11, Verdict.BELIEVE)],
    )
    assert [fate.fate for fate in measure.phrase_fates(truth)] == ["obeyed", "missed"]


def test_a_hearing_long_after_is_not_of_that_saying():
    truth = Truth(utterances=[said(NEXT, 10, 11)], outcomes=[heard(NEXT, 14, 15, Verdict.BELIEVE)])
    assert [fate.fate for fate in measure.phrase_fates(truth)] == ["missed"]
    assert len(measure.false_accepts(truth)) == 1


def test_talk_taken_for_a_phrase_is_a_false_accept():
    truth = Truth(
        utterances=[Utterance("helper", 40, 41, "next stop please")],
        outcomes=[heard(NEXT, 40, 41, Verdict.BELIEVE)],
        speaker_sound=[(39.0, 42.0)],
    )
    (wrong,) = measure.false_accepts(truth)
    assert not wrong.self_trigger


def test_the_tools_own_voice_taken_for_a_phrase_is_a_self_trigger():
    truth = Truth(outcomes=[heard(NEXT, 40, 41, Verdict.BELIEVE)], speaker_sound=[(39.0, 42.0)])
    (wrong,) = measure.false_accepts(truth)
    assert wrong.self_trigger
    assert wrong.t == pytest.approx(41.2)


def test_asking_about_nothing_is_no_false_accept():
    truth = Truth(outcomes=[heard(NEXT, 40, 41, Verdict.ASK), heard(NEXT, 50, 51, Verdict.IGNORE)])
    assert measure.false_accepts(truth) == ()


# -- gaps ------------------------------------------------------------------------------


def test_the_gap_runs_from_the_end_of_the_phrase_to_the_first_sound_of_the_reply():
    """The prompt begins at 11.3, but its clip has 100 ms of silence before the voice."""
    truth = Truth(
        utterances=[said(NEXT, 10, 11)],
        outcomes=[heard(NEXT, 10, 11, Verdict.BELIEVE)],
        played=[Played(PROMPT, 5, 6, False, True, 9.0), Played(PROMPT, 11.3, 13, False, True, 9.0)],
        speaker_sound=[(5.1, 6.0), (11.4, 13.0)],
    )
    assert measure.phrase_fates(truth)[0].reply_gap_ms == pytest.approx(400)


def test_a_phrase_that_nobody_replied_to_has_no_gap():
    truth = Truth(
        utterances=[said(NEXT, 10, 11), said(NEXT, 20, 21)],
        outcomes=[heard(NEXT, 10, 11, Verdict.BELIEVE)],
        played=[Played(PROMPT, 25, 26, False, True, 9.0)],
        speaker_sound=[(25.0, 26.0)],
    )
    assert measure.phrase_fates(truth)[0].reply_gap_ms is None


def test_percentiles_against_numpy():
    assert measure.percentiles([]) == {"p50": None, "p95": None, "p99": None}
    values = list(range(1, 102))
    assert measure.percentiles(values) == {"p50": 51.0, "p95": 96.0, "p99": 100.0}


def test_the_summary_holds_what_is_promised():
    truth = head()
    truth.utterances += [said(NEXT, 10, 11), said(BURNS, 20, 21)]
    truth.outcomes += [heard(NEXT, 10, 11, Verdict.BELIEVE), heard(BURNS, 20, 21, Verdict.BELIEVE)]
    truth.played += [Played(PROMPT, t, t + 1, False, True, math.inf) for t in (11.3, 21.25)]
    truth.speaker_sound += [(11.3, 12.3), (21.25, 22.25)]
    found = measure.summary(
        truth, limit_s=605, means=LimitMeans.FIRST_TOUCH, end=1000, due=[650], sounded=[650.0],
        stops=frozenset({"it_burns"}),
    )  # fmt: skip
    assert found["over_limit_zones"] == ["nape"]
    assert found["late_calls"] == 0
    assert found["phrases"] == {"spoken": 2, "obeyed": 2, "asked_again": 0, "missed": 0}
    assert found["reply_gap_ms"]["p50"] == pytest.approx(300)
    assert found["stop_gap_ms"]["p50"] == pytest.approx(250)
    assert (found["false_accepts"], found["self_triggers"]) == (0, 0)


# -- the mixdown -----------------------------------------------------------------------


def test_alarms_are_looked_for_in_pieces_and_found_once(tmp_path, monkeypatch):
    """A click at 5 s, at 598 s, across the seam at 600 s, and at 1000 s; each is found once."""
    path = tmp_path / "long.wav"
    samples = np.zeros(1_100 * RATE, dtype=np.float32)
    moments = [5, 598, 600, 1000]
    samples[np.array(moments) * RATE] = 1.0
    soundfile.write(path, samples, RATE, subtype="PCM_16")
    monkeypatch.setattr(
        measure, "find_alarms", lambda s, rate: [float(i) / rate for i in np.flatnonzero(s > 0.5)]
    )
    assert measure.alarms_in(path) == pytest.approx(moments)
