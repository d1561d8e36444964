"""One stream of sound and what became of each phrase in it."""

from __future__ import annotations

import time
from collections import Counter
from collections.abc import Sequence
from dataclasses import dataclass, field

import numpy as np

from assistant.core.hearing import LivePhrase, Risk, Verdict
from assistant.ports import RATE, Samples
from tests.hearing_bench.contenders import Contender, Decision

BLOCK = RATE // 50
AFTER_S = 0.4
"""A decision belongs to a phrase that it overlaps or follows by no more than this."""
RANK = {"missed": 0, "asked": 1, "right": 2, "wrong": 3}


@dataclass(frozen=True, slots=True)
class Said:
    """A phrase in the stream: its voice, and where it truly begins and ends (samples)."""

    voice: str
    phrase: LivePhrase
    begin: int
    end: int
    human: bool = False


@dataclass(frozen=True, slots=True)
class Stray:
    """Something believed or asked about where no phrase was said: when, what, how far above its threshold."""

    t: float
    verdict: Verdict
    phrase: LivePhrase
    margin: float


@dataclass(frozen=True, slots=True)
class Heard:
    """A decision and when it stood, in the stream's seconds, with the processor time of the deciding block."""

    decision: Decision
    at_s: float


@dataclass(frozen=True, slots=True)
class Stream:
    """What was said in one stream and every decision that was made on it."""

    said: tuple[Said, ...]
    heard: tuple[Heard, ...]


@dataclass(frozen=True, slots=True)
class Settled:
    """What became of one stream. `fates`: right, asked, wrong or missed, one a phrase; `taken_for` the phrase
    that decided it.

    A question about another meaning than the one said helps nobody and counts as missed.
    """

    fates: tuple[str, ...]
    taken_for: tuple[LivePhrase | None, ...]
    strays: tuple[Stray, ...]
    decision_ms: tuple[float, ...]


def settle(stream: Stream) -> Settled:
    """Which decision belongs to which phrase, and what that made of it."""
    fates = ["missed"] * len(stream.said)
    taken: list[LivePhrase | None] = [None] * len(stream.said)
    strays: list[Stray] = []
    decision_ms: list[float] = []
    for each in stream.heard:
        made, phrase = each.decision, each.decision.phrase
        if made.verdict not in (Verdict.BELIEVE, Verdict.ASK) or phrase is None:
            continue
        spot = spots(stream.said, made)
        if not spot:
            strays.append(Stray(made.end, made.verdict, phrase, made.margin))
            continue
        i = spot[-1]
        same = (phrase.name, phrase.slot) == (stream.said[i].phrase.name, stream.said[i].phrase.slot)
        now = ("asked", "missed") if made.verdict is Verdict.ASK else ("right", "wrong")
        fate = now[0] if same else now[1]
        if RANK[fate] > RANK[fates[i]]:
            fates[i], taken[i] = fate, phrase
            if fate == "right":
                decision_ms.append(1000 * (each.at_s - stream.said[i].end / RATE))
    return Settled(tuple(fates), tuple(taken), tuple(strays), tuple(decision_ms))


def spots(said: Sequence[Said], made: Decision) -> list[int]:
    """The phrases that a decision may belong to."""
    return [
        i for i, s in enumerate(said) if s.begin / RATE < made.end and made.begin < s.end / RATE + AFTER_S
    ]


@dataclass(slots=True)
class Outcome:
    """What became of one stream or of several: what `settle` made of each, and what it cost."""

    streams: list[Stream] = field(default_factory=list)
    said: list[Said] = field(default_factory=list)
    fates: list[str] = field(default_factory=list)
    taken_for: list[LivePhrase | None] = field(default_factory=list)
    strays: list[Stray] = field(default_factory=list)
    decision_ms: list[float] = field(default_factory=list)
    cost_ms: list[float] = field(default_factory=list)
    seconds: float = 0.0
    cpu_s: float = 0.0

    def add(self, other: Outcome) -> None:
        """Put another stream's outcome behind this one."""
        self.streams += other.streams
        self.said += other.said
        self.fates += other.fates
        self.taken_for += other.taken_for
        self.strays += other.strays
        self.decision_ms += other.decision_ms
        self.cost_ms += other.cost_ms
        self.seconds += other.seconds
        self.cpu_s += other.cpu_s

    def strayed(self, verdict: Verdict = Verdict.BELIEVE) -> Counter[Risk]:
        """How many strays of each risk class."""
        return Counter(s.phrase.risk for s in self.strays if s.verdict is verdict)


def outcome_of(streams: Sequence[Stream]) -> Outcome:
    """Streams that were heard before, settled (anew); what hearing them cost is not in it."""
    outcome = Outcome()
    for stream in streams:
        found = settle(stream)
        outcome.streams.append(stream)
        outcome.said += stream.said
        outcome.fates += found.fates
        outcome.taken_for += found.taken_for
        outcome.strays += found.strays
        outcome.decision_ms += found.decision_ms
    return outcome


def listen(ears: Contender, heard: Samples, played: Samples | None, said: Sequence[Said]) -> Outcome:
    """Feed a stream block by block, 20 ms each, and settle what became of each phrase in it.

    The time to the decision is what of the stream went by since the end of the
    phrase, and the processor time that the deciding block took.
    """
    found: list[Heard] = []
    cost_ms: list[float] = []
    nothing = np.zeros(BLOCK, np.float32)
    began = time.process_time()
    for at in range(0, len(heard), BLOCK):
        block = heard[at : at + BLOCK]
        ours = nothing[: len(block)] if played is None else played[at : at + BLOCK]
        before = time.process_time()
        made = ears.feed(block, ours, (at + len(block)) / RATE)
        if made:
            cost_s = time.process_time() - before
            cost_ms.append(1000 * cost_s)
            found += [Heard(each, (at + len(block)) / RATE + cost_s) for each in made]
    cpu_s = time.process_time() - began
    outcome = outcome_of([Stream(tuple(said), tuple(found))])
    outcome.cost_ms, outcome.seconds, outcome.cpu_s = cost_ms, len(heard) / RATE, cpu_s
    return outcome
