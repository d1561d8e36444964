"""Missed against false accepts as the threshold of our decision moves.

What was heard is kept and only decided again, with every threshold moved by the
same number of points. That leaves out what a moved threshold would change before
the decision: an utterance that was decided early stays decided early, though a
higher threshold might have waited for more of it; a part of longer talk that
the ears let go is not found again by a lower one; and which sounds were looked
at twice stays as it was. So the points near 0 are right and the far ones are
somewhat too bad.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import replace

from assistant.core.hearing import LivePhrase, Risk, Verdict
from tests.hearing_bench.contenders import decided
from tests.hearing_bench.intervals import per_hour, share
from tests.hearing_bench.streams import Heard, Outcome, Said, Stream, outcome_of

POINTS = tuple(half / 2 for half in range(-4, 9))
"""From two points more generous to four stricter."""


def _several(phrase: LivePhrase) -> bool:
    return " " in phrase.text


CLASSES: Mapping[str, tuple[Callable[[Said], bool], Callable[[LivePhrase], bool]]] = {
    "stop": (lambda s: s.phrase.risk is Risk.STOP, lambda p: p.risk is Risk.STOP),
    "advance_of_several_words": (
        lambda s: s.phrase.risk is Risk.ADVANCE and _several(s.phrase),
        lambda p: p.risk is Risk.ADVANCE and _several(p),
    ),
    "human_single_words": (lambda s: s.human and not _several(s.phrase), lambda p: not _several(p)),
}
"""By class: which of what was said belongs to it, and which of what was believed of talk counts against it."""


def moved(stream: Stream, points: float) -> Stream:
    """The same stream, decided again with every threshold so many points higher."""
    return replace(stream, heard=tuple(_again(each, points) for each in stream.heard))


def _again(each: Heard, points: float) -> Heard:
    heard = each.decision.heard
    if heard is None:
        return each
    return replace(each, decision=decided(replace(heard, accept_at=heard.accept_at + points)))


def curves(
    phrases: Outcome, human_talk: Outcome, made_talk: Outcome, points: Sequence[float] = POINTS
) -> dict[str, object]:
    """For each class a row for each of `points`."""
    found: dict[str, list[dict[str, object]]] = {name: [] for name in CLASSES}
    for at in points:
        said = outcome_of([moved(s, at) for s in phrases.streams])
        talks = {
            name: (outcome_of([moved(s, at) for s in of.streams]), of.seconds)
            for name, of in (("human", human_talk), ("made", made_talk))
        }
        for name, (belongs, counts) in CLASSES.items():
            fates = [f for s, f in zip(said.said, said.fates, strict=True) if belongs(s)]
            row: dict[str, object] = {"points": at}
            for fate in ("missed", "asked", "wrong"):
                row[fate] = share(fates.count(fate), len(fates))
            for kind, (talk, seconds) in talks.items():
                strays = [s for s in talk.strays if s.verdict is Verdict.BELIEVE and counts(s.phrase)]
                row[f"false_per_h_{kind}"] = per_hour(len(strays), seconds)
            found[name].append(row)
    return dict(found)
