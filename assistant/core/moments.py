"""What happened when, as a person looks back on it: from a journal's events and actions to dated lines.

Only what may matter afterwards: phrases, keys, time left, cautions, warnings, calls,
devices. Instructions and small answers are left out. Pure; called for the report.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from dataclasses import dataclass, replace
from enum import Enum

from assistant.core.actions import Action, Priority, Say
from assistant.core.events import DeviceBack, DeviceLost, Doubted, Event, Heard, Pressed
from assistant.core.phrases import PhraseBook


class Kind(str, Enum):
    """What sort of moment it was; the value is the word a person reads."""

    HEARD = "heard"
    ASKED = "asked about"
    KEY = "key or pedal"
    TIME = "time left"
    CAUTION = "caution"
    WARNING = "warning"
    CALL = "rinse call"
    LOST = "device lost"
    BACK = "device back"


SPOKEN = {Priority.CAUTION: Kind.CAUTION, Priority.WARNING: Kind.WARNING, Priority.RINSE_CALL: Kind.CALL}
CALL_GAP_S = 60.0
"""The same call after a longer silence than this is a new one."""
KEYS = {"yes": "yes", "no": "no", "again": "say it again", "stop": "stop"}


@dataclass(frozen=True, slots=True)
class Moment:
    """`t_s`: seconds since the first cream, or since the run began where there was none.

    `times`: how often in a row the same was said; `until_s` when it was said last.
    """

    t_s: float
    kind: Kind
    words: str
    times: int = 1
    until_s: float | None = None


def moments(
    happened: Iterable[tuple[float, Event | Action]], book: PhraseBook, began_s: float | None = None
) -> tuple[Moment, ...]:
    """`happened`: (seconds on the run clock, what), in order. `began_s`: the first cream on that clock."""
    found: list[Moment] = []
    for t, what in happened:
        for kind, words in _told(what, book):
            at = round(t - (began_s or 0.0), 3)
            before = _same_call(found, kind, words, at)
            if before is None:
                found.append(Moment(at, kind, words))
            else:
                found[before] = replace(found[before], times=found[before].times + 1, until_s=at)
    return tuple(found)


def _same_call(found: list[Moment], kind: Kind, words: str, at: float) -> int | None:
    """Where the same words of a call that still goes on stand; a call repeats until it is answered."""
    if kind is Kind.CALL:
        for index in range(len(found) - 1, -1, -1):
            m = found[index]
            if m.kind is kind and m.words == words:
                return index if at - (m.t_s if m.until_s is None else m.until_s) <= CALL_GAP_S else None
    return None


def _told(what: Event | Action, book: PhraseBook) -> Iterator[tuple[Kind, str]]:
    if isinstance(what, Heard | Doubted):
        known = what.phrase in book.heard
        words = book.taught(what.phrase, what.slot) if known else what.phrase.replace("_", " ")
        yield (Kind.HEARD if isinstance(what, Heard) else Kind.ASKED), words
    elif isinstance(what, Pressed):
        yield Kind.KEY, KEYS.get(what.key, what.key.removeprefix("phrase:").replace("_", " "))
    elif isinstance(what, DeviceLost):
        yield Kind.LOST, f"{what.device}: {what.reason}" if what.reason else what.device
    elif isinstance(what, DeviceBack):
        yield Kind.BACK, what.device
    elif isinstance(what, Say):
        kind = Kind.TIME if what.name.startswith("warn") else SPOKEN.get(what.priority)
        if kind is not None:
            yield kind, " ".join(sentence.text for sentence in what.sentences)
