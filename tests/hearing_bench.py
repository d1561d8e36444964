"""How well combside hears: `python -m tests.hearing_bench [--json F] [--corpus DIR] [--quick]`.

Every phrase of the phrase book that may be heard while cream goes on (zones of
the whole head) and while questions are asked, in the shipped voices, through
the real ears and the real hearing decision; then ordinary talk, and our own
prompts as echo. Printed: what was missed, taken for another, asked about; what
was believed of talk, an hour; how often we triggered ourselves; how long after
the end of a phrase the decision stands; what an utterance costs.

Talk and the recorded tap come from `--corpus` (default ../shared/corpus, when
it is there); without it the shipped talk clips and the made tap noise are
used, and the report says so. Rates carry 95 % intervals: Clopper-Pearson for
shares, exact Poisson for rates an hour.
"""

from __future__ import annotations

import argparse
import json
import tempfile
import time
from collections import Counter
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, field
from pathlib import Path

import numpy as np
from scipy import stats

from assistant.core.hearing import Hypothesis, LivePhrase, Risk, Verdict, decide
from assistant.ears.choose import open_ears
from assistant.ears.listening import Listening
from assistant.files.places import audio_fixtures_folder
from assistant.mouth.prompts import Prompts
from assistant.ports import RATE, Samples
from assistant.room import acoustics, clips
from assistant.room.home import Walls
from tests.programs import program

PERSON_DB = -26.0
"""Active level of the speaking person at the microphone."""
SENSOR_DB = -75.0
BLOCK = RATE // 10
SEED = 7
ECHOES_DB = (-6, -12, -20)
"""Echo of a prompt at the microphone against the prompt as played."""
ANSWER_SLOTS = {"minutes": (12, 15, 21)}


@dataclass(frozen=True, slots=True)
class Said:
    """A phrase in the stream: its voice, and where it truly begins and ends (samples)."""

    voice: str
    phrase: LivePhrase
    begin: int
    end: int


@dataclass(slots=True)
class Outcome:
    """What became of one stream."""

    said: list[Said] = field(default_factory=list)
    fates: list[str] = field(default_factory=list)  # right, asked, wrong, missed; one a phrase
    strays: list[tuple[str, Hypothesis]] = field(
        default_factory=list
    )  # believed or asked where nothing was said
    decision_ms: list[float] = field(default_factory=list)
    cost_ms: list[float] = field(default_factory=list)
    seconds: float = 0.0
    cpu_s: float = 0.0


def share(k: int, n: int) -> dict[str, float | int]:
    """k of n with the Clopper-Pearson interval."""
    if n == 0:
        return {"rate": 0.0, "low": 0.0, "high": 1.0, "n": 0}
    found = stats.binomtest(k, n).proportion_ci(0.95, method="exact")
    return {"rate": k / n, "low": float(found.low), "high": float(found.high), "k": k, "n": n}


def per_hour(k: int, seconds: float) -> dict[str, float | int]:
    """k events in so many seconds with the exact Poisson interval; for none, the one-sided bound."""
    hours = seconds / 3600
    if hours == 0:
        return {"rate": 0.0, "low": 0.0, "high": float("inf"), "k": k, "hours": 0.0}
    low = stats.chi2.ppf(0.025, 2 * k) / 2 if k else 0.0
    high = stats.chi2.ppf(0.975 if k else 0.95, 2 * k + 2) / 2
    return {"rate": k / hours, "low": float(low) / hours, "high": float(high) / hours, "k": k, "hours": hours}


def percentiles(values: Sequence[float]) -> dict[str, float | None]:
    return {f"p{q}": round(float(np.percentile(values, q)), 1) if values else None for q in (50, 95, 99)}


def live_sets() -> dict[str, tuple[LivePhrase, ...]]:
    """What is live together: while cream goes on, and while questions are asked."""
    made = program("whole_head")
    heard = made.book.heard
    zoned = [n for n, e in heard.items() if e.slot() == "zone"]
    always = [n for n, e in heard.items() if e.risk in (Risk.STOP, Risk.ASK)] + [
        "next_step",
        "go_back",
        "carry_on",
    ]
    rest = [n for n in heard if n not in zoned and n not in always]
    return {
        "covering": made.book.live([*always, *zoned], made.zones),
        "answering": made.book.live([*always, *rest], made.zones, ANSWER_SLOTS["minutes"]),
    }


def noise_sources(corpus: Path | None) -> tuple[str, Samples]:
    """A running tap, recorded if there is one, and what it is."""
    recorded = corpus / "noise" / "running_tap_a.flac" if corpus else None
    if recorded is not None and recorded.is_file():
        return "recorded tap", acoustics.read_sound(recorded)
    return "made tap", acoustics.tap_noise(SEED)


def spoken(live: Sequence[LivePhrase], every: int, rng: np.random.Generator) -> tuple[Samples, list[Said]]:
    """Every `every`-th live phrase in every voice that has a clip of it, with 1 to 2 s between."""
    shipped = clips.shipped(audio_fixtures_folder() / "clips")
    parts: list[Samples] = [np.zeros(2 * RATE, np.float32)]
    said: list[Said] = []
    at = len(parts[0])
    for voice in sorted({c.voice for c in shipped}):
        files = clips.of_voice(shipped, voice)
        for phrase in live[::every]:
            path = files.get(clips.plain(phrase.text))
            if path is None:
                continue
            sound = acoustics.at_level(acoustics.read_sound(path), PERSON_DB)
            begin, end = acoustics.speech_edges(sound)
            said.append(Said(voice, phrase, at + begin, at + end))
            gap = np.zeros(int(rng.uniform(1.0, 2.0) * RATE), np.float32)
            parts += [sound, gap]
            at += len(sound) + len(gap)
    return np.concatenate(parts), said


def with_noise(sound: Samples, noise: Samples, snr_db: float | None, rng: np.random.Generator) -> Samples:
    """The microphone's own noise, and `noise` so far under the person."""
    mixed = sound + rng.standard_normal(len(sound)).astype(np.float32) * acoustics.gain(SENSOR_DB)
    if snr_db is not None:
        looped = np.resize(np.roll(noise, int(rng.integers(len(noise)))), len(sound))
        looped = looped * acoustics.gain(PERSON_DB - snr_db - acoustics.power_db(float(np.mean(looped**2))))
        mixed = mixed + looped
    return mixed.astype(np.float32)


def listen(ears: Listening, heard: Samples, played: Samples | None, said: list[Said]) -> Outcome:
    """Feed a stream block by block and settle what became of each phrase in it."""
    outcome = Outcome(said, ["missed"] * len(said), seconds=len(heard) / RATE)
    rank = {"missed": 0, "asked": 1, "right": 2, "wrong": 3}
    began = time.process_time()
    for at in range(0, len(heard), BLOCK):
        block = heard[at : at + BLOCK]
        ours = np.zeros_like(block) if played is None else played[at : at + BLOCK]
        before = time.perf_counter()
        found = ears.feed(block, ours, (at + len(block)) / RATE)
        cost_s = time.perf_counter() - before
        for hypothesis in found:
            outcome.cost_ms.append(1000 * cost_s / len(found))
            verdict = decide(hypothesis)
            spot = [
                i for i, s in enumerate(said)
                if s.begin / RATE < hypothesis.t_end and hypothesis.t_begin < s.end / RATE
            ]  # fmt: skip
            if verdict not in (Verdict.BELIEVE, Verdict.ASK) or hypothesis.best is None:
                continue
            if not spot:
                outcome.strays.append((verdict.value, hypothesis))
                continue
            i = spot[0]
            same = (hypothesis.best.name, hypothesis.best.slot) == (said[i].phrase.name, said[i].phrase.slot)
            fate = "asked" if verdict is Verdict.ASK else "right" if same else "wrong"
            if rank[fate] > rank[outcome.fates[i]]:
                outcome.fates[i] = fate
            if fate == "right":
                outcome.decision_ms.append(((at + len(block) - said[i].end) / RATE + cost_s) * 1000)
    outcome.cpu_s = time.process_time() - began
    return outcome


def talk(corpus: Path | None) -> tuple[str, Iterator[Samples]]:
    """Ordinary talk, one stretch at a time, and what it is."""
    files = sorted(corpus.glob("continuous_*/**/*.flac")) if corpus else []
    if files:
        return "human talk", (acoustics.read_sound(f) for f in files)
    shipped = clips.shipped(audio_fixtures_folder() / "talk")
    return "synthetic talk", (acoustics.read_sound(c.path) for c in shipped)


def phrases_heard(ears: Listening, snr_db: float | None, noise: Samples, every: int) -> dict[str, object]:
    """One condition: both live sets, every voice."""
    rng = np.random.default_rng(SEED)
    fates: Counter[str] = Counter()
    by_risk: dict[str, Counter[str]] = {}
    trouble: list[str] = []
    decision_ms: list[float] = []
    cost_ms: list[float] = []
    seconds = cpu_s = 0.0
    for name, live in live_sets().items():
        ears.allow(live)
        wanted = live if name == "covering" else [p for p in live if p.risk in (Risk.ANSWER, Risk.ADVANCE)]
        sound, said = spoken(wanted, every, rng)
        outcome = listen(ears, with_noise(sound, noise, snr_db, rng), None, said)
        for one, fate in zip(said, outcome.fates, strict=True):
            fates[fate] += 1
            by_risk.setdefault(one.phrase.risk.value, Counter())[fate] += 1
            if fate in ("missed", "wrong"):
                trouble.append(f"{fate}: {one.voice} {one.phrase.text}")
        decision_ms += outcome.decision_ms
        cost_ms += outcome.cost_ms
        seconds += outcome.seconds
        cpu_s += outcome.cpu_s
    n = sum(fates.values())
    return {
        **{fate: share(fates[fate], n) for fate in ("missed", "wrong", "asked")},
        "by_risk": {risk: dict(found) for risk, found in by_risk.items()},
        "decision_ms": percentiles(decision_ms),
        "cost_ms": percentiles(cost_ms),
        "times_real": round(seconds / cpu_s, 1),
        "trouble": trouble,
    }


def talk_heard(
    ears: Listening, snr_db: float | None, noise: Samples, corpus: Path | None
) -> dict[str, object]:
    """Ordinary talk under both live sets: what was believed of it."""
    rng = np.random.default_rng(SEED)
    kind = ""
    believed: Counter[Risk] = Counter()
    asked = 0
    seconds = 0.0
    examples: list[str] = []
    for live in live_sets().values():
        ears.allow(live)
        kind, stretches = talk(corpus)
        for stretch in stretches:
            quiet = np.zeros(RATE, np.float32)
            sound = np.concatenate([acoustics.at_level(stretch, PERSON_DB), quiet])
            outcome = listen(ears, with_noise(sound, noise, snr_db, rng), None, [])
            seconds += outcome.seconds
            for verdict, hypothesis in outcome.strays:
                assert hypothesis.best is not None
                if verdict == Verdict.BELIEVE.value:
                    believed[hypothesis.best.risk] += 1
                    examples.append(
                        f"{hypothesis.best.text} ({hypothesis.score - hypothesis.accept_at:+.1f})"
                    )
                else:
                    asked += 1
    return {
        "talk": kind,
        "false_advance_per_h": per_hour(believed[Risk.ADVANCE], seconds),
        "false_stop_per_h": per_hour(believed[Risk.STOP], seconds),
        "false_answer_per_h": per_hour(believed[Risk.ANSWER], seconds),
        "false_ask_per_h": per_hour(believed[Risk.ASK], seconds),
        "asked_of_talk_per_h": per_hour(asked, seconds),
        "believed_of_talk": examples,
    }


def over_prompts(echo_db: float, prompts: Sequence[Samples], every: int) -> dict[str, object]:
    """Our own prompts as echo: do we trigger ourselves, and are stop phrases over them heard?"""
    rng = np.random.default_rng(SEED)
    live = live_sets()["covering"]
    impulse = acoustics.response(Walls(rt60_s=0.35), 0.6, 0.4)
    unit = acoustics.gain(-acoustics.gain_db(impulse))
    shipped = clips.shipped(audio_fixtures_folder() / "clips")
    said_over = [
        (c.voice, p, c.path)
        for c in shipped
        for p in live
        if p.text in ("stop now", "it burns", "rinse now", "my skin burns") and clips.plain(c.text) == p.text
    ]
    figures: dict[str, object] = {}
    for _name, over in (("alone", False), ("spoken_over", True)):
        ears = open_ears()  # a canceller that has learnt nothing yet
        ears.allow(live)
        played, heard, said, at = [], [], [], 0
        for number, prompt in enumerate(prompts[::every]):
            stretch = np.concatenate([np.zeros(int(rng.uniform(1.0, 2.0) * RATE), np.float32), prompt])
            stretch = np.concatenate([stretch, np.zeros(RATE, np.float32)])
            echo = acoustics.through(stretch, impulse)[: len(stretch)] * unit * acoustics.gain(echo_db)
            if over and len(prompt) > 2 * RATE:
                voice, phrase, path = said_over[number % len(said_over)]
                sound = acoustics.at_level(acoustics.read_sound(path), PERSON_DB)
                begin = len(stretch) - RATE - len(prompt) // 2 - len(sound) // 2
                echo[begin : begin + len(sound)] += sound
                edges = acoustics.speech_edges(sound)
                said.append(Said(voice, phrase, at + begin + edges[0], at + begin + edges[1]))
            played.append(stretch)
            heard.append(echo)
            at += len(stretch)
        microphone = with_noise(np.concatenate(heard), np.zeros(1, np.float32), None, rng)
        outcome = listen(ears, microphone, np.concatenate(played), said)
        if over:
            figures["stop_missed"] = share(sum(f != "right" for f in outcome.fates), len(said))
        else:
            figures["self_triggers"] = {
                **share(len(outcome.strays), len(prompts[::every])),
                "what": [h.best.text for _, h in outcome.strays if h.best is not None],
            }
            figures["times_real"] = round(outcome.seconds / outcome.cpu_s, 1)
    return figures


def some_prompts(count: int) -> list[Samples]:
    """Sentences of the default run as they are spoken, spread over all there are."""
    sentences = sorted(program("whole_head").every_sentence(), key=lambda s: s.text)
    chosen = sentences[:: max(1, len(sentences) // count)][:count]
    with tempfile.TemporaryDirectory() as folder:
        mouth = Prompts(Path(folder))
        mouth.prepare(chosen)
        return [mouth.clip(s) for s in chosen]


def measure(corpus: Path | None, *, quick: bool = False) -> dict[str, object]:
    """All figures. A few minutes, or under one with `quick`, which takes every sixth phrase and no 5 dB."""
    every = 6 if quick else 1
    source, noise = noise_sources(corpus)
    ears = open_ears()
    levels: dict[str, float | None] = {"quiet": None, "tap_10_db": 10.0} | (
        {} if quick else {"tap_5_db": 5.0}
    )
    conditions: dict[str, dict[str, object]] = {}
    for name, snr_db in levels.items():
        found = phrases_heard(ears, snr_db, noise, every)
        if name != "tap_5_db":
            found |= talk_heard(ears, snr_db, noise, None if quick else corpus)
        conditions[name] = found
    prompts = some_prompts(12 if quick else 48)
    for echo_db in ECHOES_DB:
        conditions[f"echo_{-echo_db}_db"] = over_prompts(echo_db, prompts, 1)
    return {"engine": ears.name, "noise": source, "conditions": conditions}


def told(figures: dict[str, object]) -> Iterator[str]:
    """The figures as lines."""

    def rate(found: object) -> str:
        assert isinstance(found, dict)
        if "hours" in found:
            return f"{found['rate']:.1f} an hour ({found['low']:.1f} to {found['high']:.1f}, {found['hours']:.2f} h)"
        return f"{found['rate']:.1%} ({found['low']:.1%} to {found['high']:.1%}, n = {found['n']})"

    yield f"engine {figures['engine']}; {figures['noise']}"
    conditions = figures["conditions"]
    assert isinstance(conditions, dict)
    for name, found in conditions.items():
        yield f"\n{name}"
        for key, value in found.items():
            if isinstance(value, dict) and "rate" in value:
                yield f"  {key:22} {rate(value)} {value.get('what') or ''}".rstrip()
            elif isinstance(value, list):
                yield f"  {key:22} {'; '.join(value) or 'none'}"
            else:
                yield f"  {key:22} {value}"


def main(arguments: Sequence[str] | None = None) -> None:
    parser = argparse.ArgumentParser(prog="python -m tests.hearing_bench", description=__doc__)
    parser.add_argument("--json", type=Path, help="write the figures to this file")
    parser.add_argument(
        "--corpus", type=Path, default=Path("../shared/corpus"), help="folder of recorded sound"
    )
    parser.add_argument("--quick", action="store_true", help="every sixth phrase, shipped talk")
    options = parser.parse_args(arguments)
    figures = measure(options.corpus if options.corpus.is_dir() else None, quick=options.quick)
    print("\n".join(told(figures)))
    if options.json:
        options.json.write_text(json.dumps(figures, indent=1) + "\n", encoding="utf-8")


if __name__ == "__main__":
    main()
