"""What hearing is to reach: one row a goal, and nothing else."""

from __future__ import annotations

from dataclasses import dataclass

STOP_MISSED = ("by_risk", "stop", "missed")
SEVERAL_MISSED = ("advance_of_several_words", "missed")
CHOSEN = ("ours", "right_without_threshold")
ALL = ("*",)
TALK = ("quiet", "tap_*", "babble_*", "bathroom*", "far", "clipped")
"""Where there is human talk: not under our own prompts."""


@dataclass(frozen=True, slots=True)
class Goal:
    """`what` in words; the figure at `path` below each condition of `where` (patterns) must be at most `bound`.

    `least` turns that into at least. Of several conditions the worst counts, with `pooled` their sum.
    `under` is where in the figures the conditions stand.
    """

    what: str
    where: tuple[str, ...]
    path: tuple[str, ...]
    bound: float
    least: bool = False
    pooled: bool = False
    under: str = "conditions"


GOALS = (
    Goal("stop phrases missed, quiet", ("quiet",), STOP_MISSED, 0.005),
    Goal("stop phrases missed, tap 10 dB", ("tap_10_db",), STOP_MISSED, 0.03),
    Goal("stop phrases missed, tap 5 dB", ("tap_5_db",), STOP_MISSED, 0.08),
    Goal("stop phrases missed in two tries, tap 10 dB", ("tap_10_db",), ("by_risk", "stop", "missed_twice"), 0.005),
    Goal("advancing phrases of several words missed, quiet", ("quiet",), SEVERAL_MISSED, 0.01),
    Goal("advancing phrases of several words missed, tap 10 dB", ("tap_10_db",), SEVERAL_MISSED, 0.05),
    Goal("advancing phrases of several words wrong, everywhere", ALL, ("advance_of_several_words", "wrong"), 0.003),
    Goal("sound-alike sentences that advance", ALL, ("alike_advanced",), 0.02),
    Goal("all phrases missed, babble 10 dB", ("babble_10_db",), ("missed",), 0.15),
    Goal("ten single words, right, quiet", ("quiet",), CHOSEN, 0.97, least=True, under="single_words"),
    Goal("ten single words, right, tap 10 dB", ("tap_10_db",), CHOSEN, 0.90, least=True, under="single_words"),
    Goal("false advances in human talk, an hour", TALK, ("false_advance_per_h",), 0.0, pooled=True),
    Goal("false stops in human talk, an hour", TALK, ("false_stop_per_h",), 0.0, pooled=True),
    Goal("self-triggers by our own prompts, -20 to 0 dB", ("echo_*",), ("self_triggers",), 0.0, pooled=True),
    Goal("stop phrases over a prompt as loud missed", ("echo_0_db",), ("missed",), 0.05),
    Goal("stop phrases over the alarm missed", ("alarm_*",), ("missed",), 0.05, pooled=True),
    Goal("decision after the end of the phrase, p50, quiet", ("quiet",), ("decision_ms", "p50"), 250.0),
    Goal("decision after the end of the phrase, p99, quiet", ("quiet",), ("decision_ms", "p99"), 700.0),
    Goal("decision after the end of the phrase, p50, everywhere", ALL, ("decision_ms", "p50"), 250.0),
    Goal("decision after the end of the phrase, p99, everywhere", ALL, ("decision_ms", "p99"), 700.0),
    Goal("share of one core, phrases", ALL, ("core_share",), 0.10),
    Goal("share of one core, talk", ALL, ("talk_core_share",), 0.10),
)  # fmt: skip
"""Shares are of what was said, times are ms."""
BETTER_WORDS = "ten single words: better than every single engine, the same share of other words passing"
BETTER_NOWHERE = "figures in which another engine is better"
BETTER_FAIRLY = "the same, of engines that miss no more under that condition"
