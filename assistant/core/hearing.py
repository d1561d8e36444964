"""The hearing decision: believe it, ask about it, or let it pass.

Ears propose (`Hypothesis`); `decide` disposes, by the risk class of the phrase.
Pure: scores in, verdict out.
"""

from __future__ import annotations

import unicodedata
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
    negative; 0 where the engine cannot tell). `agreed` is True or False where there
    was a second opinion on which phrase it is, None where not. `runner_up` is the likeliest live
    phrase with another meaning and `runner_up_gap` how far behind it is.
    `over_prompt`: our own voice was playing for at least part of it. `in_talk`: it is
    a part, between short pauses, of longer talk. `among_talk`: others talked on and on,
    as loud as this.
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
    in_talk: bool = False
    among_talk: bool = False
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
USUAL_S, USUAL_A_LETTER_S = 0.6, 0.12
"""A step that takes longer than this is asked about: "go back on Monday" begins like "go back"."""
SHORTEST_A_LETTER_S = 0.036
SHORTEST_STOP_A_LETTER_S = 0.03
"""Spoken phrases took 0.045 s a letter and more (three voices beside a tap, which hides their ends). What was heard in
less was something else: "the water is running" in 0.58 s of talk, "it is burning" in the word "nine"."""
DOUBT = 2.0
"""A phrase that needs belief is still asked about when this little is missing; further below it was
something else."""
AHEAD_AGREED = {Risk.ADVANCE: 0.5, Risk.ANSWER: 0.5, Risk.ASK: 0.0}
AHEAD_ALONE = {Risk.ADVANCE: 2.5, Risk.ANSWER: 2.0, Risk.ASK: 0.5}
AHEAD_AGAINST = {Risk.ADVANCE: 6.0, Risk.ANSWER: 8.0, Risk.ASK: 2.0}
"""How far the next meaning must be behind: where a second opinion is the same, where there is none, and where it is
another. Of 304 phrases in a room with a tap at 10 dB 15 are taken for another when scored once and without this; with
two looks that agree and 2 ahead 3."""
FREE_WEIGHT = 0.5
FREE_NEEDED = {Risk.ADVANCE: 0.5, Risk.ANSWER: 0.0, Risk.ASK: 0.0}
"""A phrase that is much worse than the free decode only sounds alike, unless its own score is high: margin and half
of the gap together must reach this."""
OVER_PROMPT = 2.0
"""Over our own voice all but stop phrases must be so much better: what cancelling leaves may speak for
itself."""
STOP_OVER_PROMPT, STOP_OVER_PROMPT_AGAINST = 3.0, 6.0
"""Over our own voice a stop phrase must be so much clearer; the second where two looks chose differently, or where it
is softer than the people here speak. Of 327 said over prompts 305 were heard, all of them 4.5 above or more, and no
look differed (our echo as loud as the person or softer); with a tap as well 68 of 109 came 3 above, one with looks that
differed. Pieces of our own prompts came up to 4.9 above, those above 2.4 at least 24 dB under the people or with looks
that differed."""
STOP_IN_TALK = 2.5
STOP_IN_TALK_A_LETTER_S = 0.045
"""A part of longer talk is a stop phrase when it is so much clearer, both looks chose it and it took as long as the
words take: pieces of 0.27 h of talk beside a tap came up to 1.8 above, most of them in under 0.04 s a letter. So it
is, whatever it took, among talk as loud as itself: there pieces came up to 1.9 above, and with six people 10 dB below
one of 46 stop phrases is lost by it."""
SHORT_SILENCE_S, LONG_SILENCE_S = 0.3, 0.5
NEVER = float("inf")
SURE_SOON = {1: NEVER, 2: 2.0, 3: 2.0}
SURE_LATER = {1: 1.5, 2: 0.0, 3: 0.0}
"""By the number of words (3: and more): how far above its threshold a phrase must be to be decided before 0.3 s of
silence, and before 0.5 s."""
SURE_AHEAD = 3.0
"""And so far ahead of any other meaning: beside a tap "it runs" is near to "it burns" until "clear" follows."""


def decide(heard: Hypothesis, softest_db: float = float("-inf")) -> Verdict:
    """What to make of one utterance. `softest_db`: nobody here speaks more softly.

    A stop phrase is believed whenever its score reaches the threshold, however near
    another phrase is: a doubtful stop stops. Over a prompt and within longer talk it
    takes a little more. What moves the run on is asked about when anything speaks
    against it.
    """
    if heard.best is None or not _plausible_length(heard, heard.best):
        return _somebody(heard)
    margin = heard.score - heard.accept_at
    if heard.best.risk is Risk.STOP:
        return Verdict.BELIEVE if _stops(heard, heard.best, margin, softest_db) else _somebody(heard)
    if heard.level_db < FAINTEST_DB or heard.in_talk:
        return _somebody(heard)
    if heard.over_prompt:
        margin -= OVER_PROMPT
    if margin < 0.0:
        worth_asking = margin >= -DOUBT and heard.best.risk is not Risk.ASK and not heard.over_prompt
        return Verdict.ASK if worth_asking and _apart(heard, heard.best) else _somebody(heard)
    clear = _apart(heard, heard.best) and _holds_against_free(heard, heard.best, margin)
    return Verdict.BELIEVE if clear and _usual_length(heard, heard.best) else Verdict.ASK


def _stops(heard: Hypothesis, phrase: LivePhrase, margin: float, softest_db: float) -> bool:
    differed = heard.agreed is False
    if heard.in_talk and heard.t_end - heard.t_begin < STOP_IN_TALK_A_LETTER_S * _letters(phrase):
        return False
    if (heard.in_talk or heard.among_talk) and (differed or margin < STOP_IN_TALK):
        return False
    doubtful = differed or heard.level_db < softest_db
    over_prompt = STOP_OVER_PROMPT_AGAINST if doubtful else STOP_OVER_PROMPT
    return margin >= (over_prompt if heard.over_prompt else 0.0)


def settled(heard: Hypothesis, silence_s: float, *, grows: bool) -> bool:
    """Whether a decision may be made after so short a silence, or more sound must be waited for.

    `grows`: another live phrase with another meaning begins with this one ("no",
    "no burning"). Only what is believed is decided early; what is to be asked about
    or let pass waits for the end of the utterance.
    """
    if silence_s >= LONG_SILENCE_S:
        return True
    if grows or heard.best is None or decide(heard) is not Verdict.BELIEVE:
        return False
    if heard.runner_up is not None and heard.runner_up_gap < SURE_AHEAD:
        return False
    words = min(3, len(heard.best.text.split()))
    needed = (SURE_SOON if silence_s < SHORT_SILENCE_S else SURE_LATER)[words]
    return heard.score - heard.accept_at >= needed


def _letters(phrase: LivePhrase) -> int:
    """Of a Hangul syllable its letters: written as one sign it takes as long as two or three."""
    return sum(len(unicodedata.normalize("NFD", word)) for word in phrase.text.split())


def _plausible_length(heard: Hypothesis, phrase: LivePhrase) -> bool:
    """Over our own voice the ends of a phrase may be taken for ours, so there it may be short."""
    longest = LONGEST_S + LONGEST_A_WORD_S * len(phrase.text.split())
    a_letter_s = SHORTEST_STOP_A_LETTER_S if phrase.risk is Risk.STOP else SHORTEST_A_LETTER_S
    shortest = 0.0 if heard.over_prompt else a_letter_s * _letters(phrase)
    return shortest <= heard.t_end - heard.t_begin <= longest


def _usual_length(heard: Hypothesis, phrase: LivePhrase) -> bool:
    longest = USUAL_S + USUAL_A_LETTER_S * _letters(phrase)
    return phrase.risk is not Risk.ADVANCE or heard.t_end - heard.t_begin <= longest


def _apart(heard: Hypothesis, phrase: LivePhrase) -> bool:
    """No other meaning is near; where the second look chose the same, it may be nearer."""
    looks = {True: AHEAD_AGREED, None: AHEAD_ALONE, False: AHEAD_AGAINST}
    needed = looks[heard.agreed].get(phrase.risk, 0.0)
    return heard.runner_up is None or heard.runner_up_gap >= needed


def _holds_against_free(heard: Hypothesis, phrase: LivePhrase, margin: float) -> bool:
    """The free decode is not much better, or the score is high enough to stand against it."""
    return margin + FREE_WEIGHT * heard.free_gap >= FREE_NEEDED.get(phrase.risk, 0.0)


def _somebody(heard: Hypothesis) -> Verdict:
    """Speech that is no phrase shows that somebody is there, unless it may be faint, or left of our own
    voice."""
    return Verdict.IGNORE if heard.over_prompt or heard.level_db < FAINTEST_DB else Verdict.SOMEBODY
