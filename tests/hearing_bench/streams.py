"""One stream of sound and what became of each phrase in it."""

from __future__ import annotations

import time
from collections import Counter
from collections.abc import Sequence
from dataclasses import dataclass, field

import numpy as np

from assistant.core.hearing import LivePhrase, Risk, Verdict
from assistant.ports import RATE, Samples
from tests.hearing_bench.contenders import Contender

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


@dataclass(frozen=True, slots=True)
class Stray:
    """Something believed or asked about where no phrase was said: when, what, how far above its threshold."""

    t: float
    verdict: Verdict
    phrase: LivePhrase
    margin: float


@dataclass(slots=True)
class Outcome:
    """What became of one stream. `fates`: right, asked, wrong or missed, one a phrase.

    A question about another meaning than the one said helps nobody and counts as missed.
    """

    said: list[Said] = field(default_factory=list)
    fates: list[str] = field(default_factory=list)
    strays: list[Stray] = field(default_factory=list)
    decision_ms: list[float] = field(default_factory=list)
    cost_ms: list[float] = field(default_factory=list)
    seconds: float = 0.0
    cpu_s: float = 0.0

    def add(self, other: Outcome) -> None:
        """Put another stream's outcome behind this one."""
        self.said += other.said
        self.fates += other.fates
        self.strays += other.strays
        self.decision_ms += other.decision_ms
        self.cost_ms += other.cost_ms
        self.seconds += other.seconds
        self.cpu_s += other.cpu_s

    def strayed(self, verdict: Verdict = Verdict.BELIEVE) -> Counter[Risk]:
        """How many strays of each risk class."""
        return Counter(s.phrase.risk for s in self.strays if s.verdict is verdict)


def listen(ears: Contender, heard: Samples, played: Samples | None, said: Sequence[Said]) -> Outcome:
    """Feed a stream block by block, 20 ms each, and settle what became of each phrase in it.

    The time to the decision is what of the stream went by since the end of the
    phrase, and the processor time that the deciding block took.
    """
    outcome = Outcome(list(said), ["missed"] * len(said), seconds=len(heard) / RATE)
    nothing = np.zeros(BLOCK, np.float32)
    began = time.process_time()
    for at in range(0, len(heard), BLOCK):
        block = heard[at : at + BLOCK]
        ours = nothing[: len(block)] if played is None else played[at : at + BLOCK]
        before = time.process_time()
        found = ears.feed(block, ours, (at + len(block)) / RATE)
        if not found:
            continue
        cost_s = time.process_time() - before
        outcome.cost_ms.append(1000 * cost_s)
        for begin, end, verdict, phrase, margin in found:
            if verdict not in (Verdict.BELIEVE, Verdict.ASK) or phrase is None:
                continue
            spot = [i for i, s in enumerate(said) if s.begin / RATE < end and begin < s.end / RATE + AFTER_S]
            if not spot:
                outcome.strays.append(Stray(end, verdict, phrase, margin))
                continue
            i = spot[-1]
            same = (phrase.name, phrase.slot) == (said[i].phrase.name, said[i].phrase.slot)
            fates = ("asked", "missed") if verdict is Verdict.ASK else ("right", "wrong")
            fate = fates[0] if same else fates[1]
            if RANK[fate] > RANK[outcome.fates[i]]:
                outcome.fates[i] = fate
                if fate == "right":
                    late_s = (at + len(block) - said[i].end) / RATE + cost_s
                    outcome.decision_ms.append(1000 * late_s)
    outcome.cpu_s = time.process_time() - began
    return outcome
