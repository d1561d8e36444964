"""What is measured of one contender under one condition, as figures for the report."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterable, Sequence

import numpy as np

from assistant.core.hearing import LivePhrase, Risk, Verdict
from assistant.ports import RATE, Samples
from assistant.room import acoustics
from assistant.room.home import Walls
from tests.hearing_bench.conditions import PERSON_DB, Condition, arrive
from tests.hearing_bench.contenders import Contender
from tests.hearing_bench.intervals import per_hour, percentiles, share
from tests.hearing_bench.material import LiveSets, Recording, live_sets, plain
from tests.hearing_bench.streams import Outcome, Said, listen

SEED = 7
STRETCH = 20
"""Phrases in one stream; then the ears begin afresh."""
HUMAN_WORDS = ("sc_command",)
"""Groups of the corpus in which people say single words."""
Noises = dict[str, Samples]
Figures = dict[str, object]


def rows(recordings: Iterable[Recording], live: Sequence[LivePhrase]) -> list[tuple[Recording, LivePhrase]]:
    """The recordings that say a live phrase, with the phrase."""
    by_text = {plain(p.text): p for p in live}
    found = [(r, by_text.get(plain(r.text))) for r in recordings]
    return [(r, p) for r, p in found if p is not None]


def stream(
    chosen: Sequence[tuple[Recording, LivePhrase]], rng: np.random.Generator, lead_s: float = 2.0
) -> tuple[Samples, list[Said]]:
    """The recordings one after the other with 1 to 2 s between, each at PERSON_DB."""
    parts: list[Samples] = [np.zeros(int(lead_s * RATE), np.float32)]
    said: list[Said] = []
    at = len(parts[0])
    for recording, phrase in chosen:
        sound = acoustics.at_level(recording.sound(), PERSON_DB)
        begin, end = acoustics.speech_edges(sound)
        said.append(Said(recording.speaker, phrase, at + begin, at + end, recording.group in HUMAN_WORDS))
        gap = np.zeros(int(rng.uniform(1.0, 2.0) * RATE), np.float32)
        parts += [sound, gap]
        at += len(sound) + len(gap)
    return np.concatenate(parts), said


def said_phrases(
    ears: Contender, condition: Condition, recordings: Sequence[Recording], noises: Noises, tries: int = 1,
    sets: LiveSets | None = None,
) -> tuple[Figures, Outcome]:  # fmt: skip
    """Every recording of a live phrase under both live sets, `tries` times with other noise.

    The outcome is the first try's, with what strayed in the others.
    """
    outcome = Outcome()
    first: list[tuple[str, Risk, tuple[str, ...]]] = []
    for name, live in (sets or live_sets()).items():
        wanted = live if name == "covering" else [p for p in live if p.risk in (Risk.ANSWER, Risk.ADVANCE)]
        chosen = rows(recordings, wanted)
        for start in range(0, len(chosen), STRETCH):
            fates = []
            for turn in range(tries):
                rng = np.random.default_rng([SEED, turn, start])
                sound, said = stream(chosen[start : start + STRETCH], rng)
                ears.fresh(live)
                found = listen(ears, arrive(condition, sound, noises, rng), None, said)
                fates.append(found.fates)
                if turn == 0:
                    outcome.add(found)
                else:
                    outcome.strays += found.strays
            for (recording, phrase), each in zip(
                chosen[start : start + STRETCH], zip(*fates, strict=True), strict=True
            ):
                first.append((f"{recording.speaker} {phrase.text}", phrase.risk, each))
    return _figures(outcome, first), outcome


def _figures(outcome: Outcome, first: Sequence[tuple[str, Risk, tuple[str, ...]]]) -> Figures:
    n = len(first)
    fates = Counter(each[0] for _, _, each in first)
    by_risk: dict[str, object] = {}
    for risk in Risk:
        of = [each for _, r, each in first if r is risk]
        if of:
            by_risk[risk.value] = {
                "missed": share(sum(e[0] == "missed" for e in of), len(of)),
                "asked": share(sum(e[0] == "asked" for e in of), len(of)),
                "wrong": share(sum(e[0] == "wrong" for e in of), len(of)),
            }
            if len(of[0]) > 1:
                by_risk[risk.value]["missed_twice"] = share(  # type: ignore[index]
                    sum(set(e) <= {"missed", "wrong"} for e in of), len(of)
                )
    several = [
        each[0] for text, risk, each in first if risk is Risk.ADVANCE and len(text.split()) > 2
    ]  # the voice is the first word
    return {
        "missed": share(fates["missed"], n),
        "wrong": share(fates["wrong"], n),
        "asked": share(fates["asked"], n),
        "advance_of_several_words": {
            "missed": share(several.count("missed"), len(several)),
            "asked": share(several.count("asked"), len(several)),
            "wrong": share(several.count("wrong"), len(several)),
        },
        "by_risk": by_risk,
        "decision_ms": percentiles(outcome.decision_ms),
        "cost_ms": percentiles(outcome.cost_ms),
        "core_share": round(outcome.cpu_s / outcome.seconds, 4) if outcome.seconds else None,
        "trouble": [f"{each[0]}: {text}" for text, _, each in first if each[0] in ("missed", "wrong")],
        "stray": [
            f"{s.phrase.text} ({s.margin:+.1f})" for s in outcome.strays if s.verdict is Verdict.BELIEVE
        ],
    }


def talk(
    ears: Contender,
    condition: Condition,
    recordings: Iterable[Recording],
    noises: Noises,
    names: Sequence[str],
    sets: LiveSets | None = None,
) -> tuple[Figures, Outcome]:
    """Talk in which nobody says a phrase, under the live sets `names`: what was believed of it."""
    outcome = Outcome()
    rng = np.random.default_rng(SEED)
    for recording in recordings:
        gap = np.zeros(RATE, np.float32)
        sound = np.concatenate([gap, acoustics.at_level(recording.sound(), PERSON_DB), gap])
        heard = arrive(condition, sound, noises, rng)
        for name in names:
            ears.fresh((sets or live_sets())[name])
            outcome.add(listen(ears, heard, None, []))
    believed, asked = outcome.strayed(), outcome.strayed(Verdict.ASK)
    figures: Figures = {
        "false_advance_per_h": per_hour(believed[Risk.ADVANCE], outcome.seconds),
        "false_stop_per_h": per_hour(believed[Risk.STOP], outcome.seconds),
        "false_answer_per_h": per_hour(believed[Risk.ANSWER], outcome.seconds),
        "false_ask_per_h": per_hour(believed[Risk.ASK], outcome.seconds),
        "asked_of_talk_per_h": per_hour(sum(asked.values()), outcome.seconds),
        "talk_core_share": round(outcome.cpu_s / outcome.seconds, 4) if outcome.seconds else None,
        "believed_of_talk": [
            f"{s.phrase.text} ({s.margin:+.1f})" for s in outcome.strays if s.verdict is Verdict.BELIEVE
        ],
    }
    return figures, outcome


def alike(ears: Contender, condition: Condition, recordings: Sequence[Recording], noises: Noises) -> Figures:
    """Sentences that sound like commands: which share of them was believed, by what it would have done."""
    outcome = Outcome()
    believed: Counter[Risk] = Counter()
    examples: list[str] = []
    rng = np.random.default_rng(SEED)
    for recording in recordings:
        gap = np.zeros(RATE, np.float32)
        sound = np.concatenate([gap, acoustics.at_level(recording.sound(), PERSON_DB), gap])
        ears.fresh(live_sets()["covering"])
        found = listen(ears, arrive(condition, sound, noises, rng), None, [])
        outcome.add(found)
        believed.update({s.phrase.risk for s in found.strays if s.verdict is Verdict.BELIEVE})
        examples += [
            f"{recording.text} -> {s.phrase.text} ({s.margin:+.1f})"
            for s in found.strays if s.verdict is Verdict.BELIEVE
        ]  # fmt: skip
    n = len(recordings)
    return {
        "alike_advanced": share(believed[Risk.ADVANCE], n),
        "alike_stopped": share(believed[Risk.STOP], n),
        "believed_of_alike": examples,
    }


def over_prompts(
    ears: Contender, echo_db: float, prompts: Sequence[Samples], stops: Sequence[tuple[Recording, LivePhrase]],
    sets: LiveSets | None = None,
) -> Figures:  # fmt: skip
    """Our own prompts as echo, so far against a person's level: first alone, then with a stop phrase said into each.

    The ears have heard four prompts before a stop phrase counts: the sound check
    plays more than that. Of the prompts alone all count, the first ones too; false
    advances and stops are by the hour of them.
    """
    live = (sets or live_sets())["covering"]
    impulse = acoustics.response(Walls(rt60_s=0.35), 0.6, 0.4)
    unit = acoustics.gain(-acoustics.gain_db(impulse))
    figures: Figures = {}
    for over in (False, True):
        rng = np.random.default_rng(SEED)
        played: list[Samples] = []
        heard: list[Samples] = []
        said: list[Said] = []
        at = 0
        for number, prompt in enumerate([*prompts[:4], *prompts]):
            lead = np.zeros(int(rng.uniform(1.0, 2.0) * RATE), np.float32)
            ours = np.concatenate([lead, prompt, np.zeros(RATE, np.float32)])
            coupling = acoustics.gain(PERSON_DB + echo_db - acoustics.active_level_db(prompt))
            echo = acoustics.through(ours, impulse)[: len(ours)] * np.float32(unit * coupling)
            recording, phrase = stops[number % len(stops)]
            sound = acoustics.at_level(recording.sound(), PERSON_DB)
            room = len(prompt) - len(sound) - RATE // 2
            if over and number >= 4 and room > 0:
                begin = len(lead) + RATE // 4 + int(rng.integers(room))
                echo[begin : begin + len(sound)] += sound
                edges = acoustics.speech_edges(sound)
                said.append(Said(recording.speaker, phrase, at + begin + edges[0], at + begin + edges[1]))
            played.append(ours)
            heard.append(echo)
            at += len(ours)
        microphone = arrive(Condition("echo"), np.concatenate(heard), {}, rng)
        ears.fresh(live)
        found = listen(ears, microphone, np.concatenate(played), said)
        believed = [s for s in found.strays if s.verdict is Verdict.BELIEVE]
        if over:
            figures["missed"] = share(sum(f != "right" for f in found.fates), len(said))
            figures["wrong"] = share(found.fates.count("wrong"), len(said))
            figures["decision_ms"] = percentiles(found.decision_ms)
            figures["trouble"] = [
                f"{f}: {s.voice} {s.phrase.text}"
                for s, f in zip(said, found.fates, strict=True)
                if f != "right"
            ]
        else:
            figures["self_triggers"] = share(len(believed), len(prompts) + 4)
            figures["false_advance_per_h"] = per_hour(found.strayed()[Risk.ADVANCE], found.seconds)
            figures["false_stop_per_h"] = per_hour(found.strayed()[Risk.STOP], found.seconds)
            figures["believed_of_prompts"] = [f"{s.phrase.text} ({s.margin:+.1f})" for s in believed]
            figures["core_share"] = round(found.cpu_s / found.seconds, 4)
    return figures
