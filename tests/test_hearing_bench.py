"""The hearing bench's own arithmetic: intervals against published values, fates of what was said, unseen corpora."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest
import soundfile

from assistant.core.hearing import LivePhrase, Risk, Verdict
from assistant.ports import RATE, Samples
from assistant.room import acoustics
from tests.hearing_bench import material, sentences
from tests.hearing_bench.conditions import CONDITIONS, PERSON_DB, arrive
from tests.hearing_bench.contenders import Decision, Plain
from tests.hearing_bench.intervals import per_hour, percentiles, share
from tests.hearing_bench.streams import Said, listen
from tests.ports import ears_sound as sound

STEP = LivePhrase("next step", "next_step", "", Risk.ADVANCE)
STOP = LivePhrase("stop now", "stop_now", "", Risk.STOP)


def test_share_has_the_clopper_pearson_interval() -> None:
    """7 of 50: .05819 to .26740 (computed from the published formula)."""
    found = share(7, 50)
    assert (found["rate"], found["n"]) == (0.14, 50)
    assert (found["low"], found["high"]) == pytest.approx((0.05819, 0.26740), abs=5e-6)


@pytest.mark.parametrize(("n", "bound"), [(59, 0.0495), (100, 0.02951), (299, 0.00997), (1000, 0.00299)])
def test_no_events_in_n_trials(n: int, bound: float) -> None:
    """One-sided 95 % bound 1 - 0.05^(1/n); the two-sided interval's end is above it, by less than a quarter."""
    assert bound == pytest.approx(1 - 0.05 ** (1 / n), abs=5e-5)
    assert bound < share(0, n)["high"] < 1.25 * bound


@pytest.mark.parametrize(("k", "bound"), [(0, 2.9957)])
def test_no_events_have_the_one_sided_poisson_bound(k: int, bound: float) -> None:
    """None in 5.99 h: at most 0.5 an hour (2.9957 / 5.99, computed from the published formula)."""
    found = per_hour(k, 5.99 * 3600)
    assert found["low"] == 0
    assert found["high"] == pytest.approx(bound / 5.99, abs=1e-4)
    assert per_hour(0, 0.0)["high"] == float("inf")


def test_events_have_the_exact_poisson_interval() -> None:
    """5 events: 1.6235 to 11.6683 (Garwood 1936, from memory)."""
    found = per_hour(5, 3600)
    assert (found["low"], found["high"]) == pytest.approx((1.6235, 11.6683), abs=1e-4)


def test_percentiles_of_nothing_are_nothing() -> None:
    assert percentiles([]) == {"p50": None, "p95": None, "p99": None}
    assert percentiles([1.0, 2.0, 3.0])["p50"] == 2.0


class Told:
    """A contender that answers what it is told, 0.3 s after it ended."""

    name = "told"

    def __init__(self, *answers: Decision) -> None:
        self.answers = list(answers)

    def fresh(self, phrases: object) -> None:
        raise NotImplementedError

    def feed(self, heard: Samples, played: Samples, t_end: float) -> list[Decision]:
        due = [a for a in self.answers if a[1] + 0.3 <= t_end]
        self.answers = [a for a in self.answers if a not in due]
        return due


def test_what_became_of_each_phrase() -> None:
    """A question about something else than was said counts as missed; a wrong belief outweighs a right one."""

    def at(t: float, phrase: LivePhrase, verdict: Verdict = Verdict.BELIEVE) -> Decision:
        return (t, t + 0.5, verdict, phrase, 1.0)

    said = [Said("v", STEP, int(t * RATE), int((t + 0.5) * RATE)) for t in (1, 3, 5, 7, 9)]
    ears = Told(at(1, STEP), at(3, STOP), at(5, STEP, Verdict.ASK), at(7, STOP, Verdict.ASK), at(11, STOP))
    outcome = listen(ears, np.zeros(12 * RATE, np.float32), None, said)
    assert outcome.fates == ["right", "wrong", "asked", "missed", "missed"]
    assert [s.phrase for s in outcome.strays] == [STOP]
    assert outcome.strayed() == {Risk.STOP: 1}
    assert outcome.decision_ms == [pytest.approx(300, abs=25)]


def test_live_sets_hold_every_stop_phrase() -> None:
    for live in material.live_sets().values():
        assert {p.name for p in live if p.risk is Risk.STOP} >= {
            "stop_now",
            "rinse_now",
            "it_burns",
            "in_my_eye",
        }


def test_made_talk_and_sound_alikes_hold_no_command() -> None:
    commands = {p.text for live in material.live_sets().values() for p in live}
    lines = {s.lower() for s in (*sentences.everyday(200), *sentences.ALIKE)}
    assert not lines & commands


def test_unseen_corpus_is_sorted_by_what_is_said(tmp_path: Path) -> None:
    """A live phrase is a phrase whatever its group, anything else is talk, noise is noise."""
    hiss = np.random.default_rng(1).standard_normal(RATE) * 0.01
    rows = [
        ("a.wav", "shouts", "Stop now!"),
        ("b.wav", "shouts", "hello there"),
        ("c.wav", "noise", "running_tap"),
    ]
    rows += [("d.wav", "sc_command", "no"), ("e.wav", "sc_command", "left"), ("f.wav", "sc_other", "bird")]
    for path, _, _ in rows:
        soundfile.write(tmp_path / path, hiss, RATE)
    lines = [f"{path},{group},{text},someone,CC0,1.0" for path, group, text in rows]
    (tmp_path / "index.csv").write_text("path,group,text,speaker,licence,seconds\n" + "\n".join(lines) + "\n")
    found = material.collect(tmp_path, "all")
    assert [r.path.name for r in found.human_phrases] == ["a.wav", "d.wav"]
    assert [r.path.name for r in found.talk] == ["b.wav", "f.wav"]
    assert [r.path.name for r in found.noise] == ["c.wav"]
    assert [r.text for r in found.words] == ["no", "left"]
    assert material.tap(found)[0] == "recorded"
    halves = [material.collect(tmp_path, half) for half in material.HALVES]
    assert sum(len(h.talk) for h in halves) == 2
    (tmp_path / "index.csv").write_text("file,text\n")
    assert material.read_index(tmp_path) == []
    (tmp_path / "index.csv").write_text("file,text\na.wav,hello\n")
    with pytest.raises(ValueError, match="needs the columns path,group,text"):
        material.read_index(tmp_path)


def test_noise_lies_as_far_below_the_person_as_the_condition_says() -> None:
    rng = np.random.default_rng(2)
    speech = sound.talk(1)
    tap = acoustics.tap_noise(1, 5.0)
    for condition in CONDITIONS:
        if condition.noise == "tap" and condition.rt60_s is None:
            heard = arrive(condition, np.zeros_like(speech), {"tap": tap}, rng)
            level = acoustics.power_db(float(np.mean(heard.astype(np.float64) ** 2)))
            assert level == pytest.approx(PERSON_DB - condition.snr_db, abs=1.5)
    clipped = arrive(next(c for c in CONDITIONS if c.clip_db), acoustics.at_level(speech, PERSON_DB), {}, rng)
    assert np.mean(np.abs(clipped) >= 0.999 * np.abs(clipped).max()) > 0.01


def test_baseline_hears_a_phrase_and_takes_talk_for_one() -> None:
    """pocketsphinx as it comes: right about phrases, and never rejects."""
    ears = Plain()
    gap = sound.silence(1.0)
    said, began = sound.clip("flite_slt", "next step"), len(gap)
    heard = sound.hiss(np.concatenate([gap, said, gap, gap, sound.talk(3), gap, gap]))
    ears.fresh(sound.covering())
    begin, end = acoustics.speech_edges(said)
    outcome = listen(
        ears,
        heard,
        None,
        [Said("v", sound.phrase("next step", sound.covering()), began + begin, began + end)],
    )
    assert outcome.fates == ["right"]
    assert sum(outcome.strayed().values()) >= 1
