"""The hearing decision: believe it, ask about it, or let it pass.

Ears propose (`Hypothesis`); `decide` disposes, by the risk class of the phrase.
Pure: scores in, verdict out.
"""

from __future__ import annotations

from dataclasses import dataclass
from enum import Enum


class Risk(str, Enum):
    """What a wrong hearing costs, and so how it is heard."""

    STOP = "stop"  # a missed one costs skin: heard generously, a doubtful one stops
    ADVANCE = "advance"  # a wrong one skips a step: strict, a doubtful one is asked about
    ANSWER = "answer"  # the reply to a question that is open now
    ASK = "ask"  # changes nothing: how long, where are we


@dataclass(frozen=True, slots=True)
class LivePhrase:
    """One way of saying something that may be heard now.

    `text` is what is said, in lower case ("done with back left"); `name` and
    `slot` what it means in the phrase book.
    """

    text: str
    name: str
    slot: str
    risk: Risk


@dataclass(frozen=True, slots=True)
class Hypothesis:
    """What a recogniser made of one utterance.

    `best` is the likeliest live phrase or None. `score` is in the units of the
    engine's own acceptance: `accept_at` is the threshold the engine holds right
    for this phrase, so `score - accept_at` is the margin that decides. `free_gap`
    says how much worse the phrase is than the engine's unconstrained decode (0 or
    negative; 0 where the engine cannot tell). `agreed` is True or False where a
    second engine was asked, None where not. `runner_up` is the likeliest live
    phrase with another meaning and `runner_up_gap` how far behind it is.
    `over_prompt`: our own voice was playing for at least part of it.
    """

    t_begin: float
    t_end: float
    best: LivePhrase | None
    score: float
    accept_at: float
    free_gap: float = 0.0
    agreed: bool | None = None
    runner_up: LivePhrase | None = None
    runner_up_gap: float = 0.0
    over_prompt: bool = False
    level_db: float = 0.0
    engine: str = ""


class Verdict(str, Enum):
    BELIEVE = "believe"
    ASK = "ask"
    SOMEBODY = "somebody"  # speech that is no live phrase: somebody is there
    IGNORE = "ignore"


FAINTEST_DB = -60.0
"""Speech below this level is not from this room: a person's own voice at 1 m of a laptop gives -45 to -25 dB
(common practice, no source)."""
LONGEST_S, LONGEST_A_WORD_S = 1.0, 0.4
"""A phrase takes no longer than 1 s and 0.4 s a word: instructional speech at 130 words a minute takes 0.46
s a word with its pauses, and a shouted single word may be drawn out. Half of the false stops in ordinary
talk were longer."""
DOUBT = 2.0
"""A phrase that needs belief is still asked about when this little is missing; further below it was
something else."""
CLEARLY_AHEAD = {Risk.ADVANCE: 2.0, Risk.ANSWER: 1.5, Risk.ASK: 0.0}
"""How far the next meaning must be behind. With tap noise at 10 dB all 7 wrong choices of a step (of 238)
were nearer than this."""
FREE_GAP = -8.0
"""A phrase much worse than the free decode is one that only sounds alike (tuned on synthetic phrases)."""
FAR_ABOVE = 5.0
"""Of 0.5 h of human talk one utterance came so far above a threshold ("no it is not"), no step came further
than 0.3; so high a score stands against the free decode when a second engine agrees, and for what moves
nothing also alone."""
OVER_PROMPT = 2.0
"""Over our own voice all but stop phrases must be so much better: what cancelling leaves may speak for
itself."""


STOP_OVER_PROMPT = 3.0
"""Over our own voice a stop phrase must be so much clearer: in rehearsals with the echo as loud as a person
pieces of prompts came 0.55 and 2.36 above the threshold of a stop phrase. Of 90 stop phrases said over a prompt
at equal level by synthetic voices as many pass at 3 as at 2 (30 %), at 4 28 %."""


def decide(heard: Hypothesis) -> Verdict:
    """What to make of one utterance.

    A stop phrase is believed whenever its score reaches the threshold (over a
    prompt a little more), however near another phrase is: a doubtful stop stops.
    What moves the run on is asked about when anything speaks against it.
    """
    if heard.best is None or not _plausible_length(heard, heard.best):
        return _somebody(heard)
    margin = heard.score - heard.accept_at
    if heard.best.risk is Risk.STOP:
        needed = STOP_OVER_PROMPT if heard.over_prompt else 0.0
        return Verdict.BELIEVE if margin >= needed else _somebody(heard)
    if heard.level_db < FAINTEST_DB:
        return Verdict.IGNORE
    if heard.over_prompt:
        margin -= OVER_PROMPT
    if margin < 0.0:
        worth_asking = margin >= -DOUBT and heard.best.risk is not Risk.ASK and not heard.over_prompt
        return Verdict.ASK if worth_asking and _apart(heard) else _somebody(heard)
    if _apart(heard) and _holds_against_free(heard, margin):
        return Verdict.BELIEVE
    return Verdict.ASK


def _plausible_length(heard: Hypothesis, phrase: LivePhrase) -> bool:
    return heard.t_end - heard.t_begin <= LONGEST_S + LONGEST_A_WORD_S * len(phrase.text.split())


def _apart(heard: Hypothesis) -> bool:
    """No other meaning is near; where a second engine chose the same, nearness does not matter."""
    if heard.best is None or heard.runner_up is None or heard.agreed:
        return True
    return heard.runner_up_gap >= CLEARLY_AHEAD.get(heard.best.risk, 0.0)


def _holds_against_free(heard: Hypothesis, margin: float) -> bool:
    """The free decode is not much better, or the score is out of reach of ordinary talk."""
    if heard.free_gap >= FREE_GAP:
        return True
    costly = heard.best is not None and heard.best.risk is Risk.ADVANCE
    return margin >= FAR_ABOVE and (heard.agreed is True or not costly)


def _somebody(heard: Hypothesis) -> Verdict:
    """Speech that is no phrase shows that somebody is there, unless it may be faint, or left of our own
    voice."""
    return Verdict.IGNORE if heard.over_prompt or heard.level_db < FAINTEST_DB else Verdict.SOMEBODY
