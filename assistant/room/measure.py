"""What a rehearsal came to, counted from what really happened in the room.

Exposure comes from the simulated hands, the rinse call from the sound of the
mixdown, phrases from what people really said. From the session come only the
limit and the moments a call was due, to be held against that.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import asdict, dataclass
from pathlib import Path

import numpy as np
import soundfile

from assistant.alarm.find import find_alarms
from assistant.core.hearing import LivePhrase, Verdict
from assistant.core.kit_sheet import LimitMeans
from assistant.room.truth import Outcome, Truth, Utterance, ZoneDeeds

WINDOW_BEFORE_S = 0.7
WINDOW_AFTER_S = 1.5
"""A hearing belongs to an utterance that it overlaps or misses by no more than this."""

LATE_S = 0.5
"""A call that sounds this much after it was due is late: more than one block and the mixer's own delay."""

CHUNK_S = 600
OVERLAP_S = 30


@dataclass(frozen=True, slots=True)
class ZoneExposure:
    """One zone, in seconds: first and last touch, water, clear; and the spans between them."""

    zone: str
    first_touch: float
    last_touch: float
    water: float | None
    clear: float | None
    exposure_s: float
    until_clear_s: float | None
    least_s: float
    counted_s: float
    limit_s: float

    @property
    def over_limit(self) -> bool:
        return self.counted_s > self.limit_s


@dataclass(frozen=True, slots=True)
class RinseCall:
    """A rinse call: when it was due, when it was first heard in the mixdown, when the people answered it."""

    due: float
    sounded: float | None
    acknowledged: float | None
    late: bool


@dataclass(frozen=True, slots=True)
class PhraseFate:
    """What became of one spoken phrase: "obeyed", "asked_again" or "missed"; gap to the reply in ms."""

    said: Utterance
    fate: str
    reply_gap_ms: float | None
    taken_for: str


@dataclass(frozen=True, slots=True)
class FalseAccept:
    """A phrase that was believed and that nobody said. `self_trigger`: only the tool spoke meanwhile."""

    t: float
    phrase: str
    self_trigger: bool


def exposure(truth: Truth, limit_s: float, means: LimitMeans, end: float) -> tuple[ZoneExposure, ...]:
    """Every touched zone up to `end`, the end of the run; a zone that never saw water counts until then.

    `counted_s` is what the limit is held against in the leaflet's sense: from the
    first touch anywhere to water, from the zone's own first touch to water, or
    from the first touch anywhere until clear.
    """
    began = truth.cream_on()
    if began is None:
        return ()
    return tuple(_zone(zone, deeds, began, limit_s, means, end) for zone, deeds in truth.zones.items())


def _zone(
    zone: str, deeds: ZoneDeeds, began: float, limit_s: float, means: LimitMeans, end: float
) -> ZoneExposure:
    wet = deeds.wet if deeds.wet is not None and deeds.wet <= end else None
    clear = deeds.clear if deeds.clear is not None and deeds.clear <= end else None
    until = wet if wet is not None else end
    counted = {
        LimitMeans.FIRST_TOUCH: until - began,
        LimitMeans.BY_SECTION: until - deeds.first,
        LimitMeans.UNTIL_CLEAR: (clear if clear is not None else end) - began,
    }[means]
    return ZoneExposure(
        zone, deeds.first, deeds.last, wet, clear, until - deeds.first,
        clear - deeds.first if clear is not None else None, until - deeds.last, counted, limit_s,
    )  # fmt: skip


def alarms_in(mixdown: Path) -> list[float]:
    """When the alarm sounds in a recording, seconds; read in overlapping pieces."""
    found: list[float] = []
    for begin, samples, rate in _pieces(mixdown):
        for t in find_alarms(samples, rate):
            if not found or begin + t > found[-1] + 1.0:
                found.append(begin + t)
    return found


def _pieces(path: Path) -> Iterator[tuple[float, np.ndarray, int]]:
    with soundfile.SoundFile(path) as sound:
        step = CHUNK_S * sound.samplerate
        for begin in range(0, max(1, len(sound)), step):
            sound.seek(begin)
            piece = sound.read(step + OVERLAP_S * sound.samplerate, dtype="float32")
            yield begin / sound.samplerate, piece, sound.samplerate


def rinse_calls(truth: Truth, due: Sequence[float], sounded: Sequence[float]) -> tuple[RinseCall, ...]:
    """The calls that were due against the alarms in the mixdown.

    Alarms before the first cream are trials. A call is late when it sounds more
    than LATE_S after it was due, unless the water ran by then anyhow.
    """
    began = truth.cream_on()
    if began is None:
        return ()
    calls, since = [], began
    for moment in sorted(due):
        heard = next((t for t in sounded if t >= since), None)
        answers = [u.end for u in truth.utterances if u.name == "water_running"] + [k.t for k in truth.keys]
        answered = min((t for t in answers if heard is not None and t >= heard), default=None)
        wet = [z.wet for z in truth.zones.values()]
        rinsed = all(t is not None and t <= moment + LATE_S for t in wet)
        late = not rinsed and (heard is None or heard > moment + LATE_S)
        calls.append(RinseCall(moment, heard, answered, late))
        since = answered if answered is not None else since
    return tuple(calls)


def belongs(outcome: Outcome, said: Utterance) -> bool:
    """Whether a hearing can be of this utterance, by time."""
    heard = outcome.hypothesis
    return heard.t_begin < said.end + WINDOW_AFTER_S and heard.t_end > said.begin - WINDOW_BEFORE_S


def _same(phrase: LivePhrase | None, said: Utterance) -> bool:
    return phrase is not None and (phrase.name, phrase.slot) == (said.name, said.slot)


def phrase_fates(truth: Truth) -> tuple[PhraseFate, ...]:
    """What became of each phrase that was spoken.

    Obeyed: that phrase was believed. Asked again: something was heard of it and
    it was asked about. Missed: neither.
    """
    fates = []
    taken: set[int] = set()
    for said in truth.utterances:
        if not said.name:
            continue
        near = [o for o in truth.outcomes if id(o) not in taken and belongs(o, said)]
        believed = (o for o in near if o.verdict is Verdict.BELIEVE)
        obeyed = next((o for o in believed if _same(o.hypothesis.best, said)), None)
        if obeyed is not None:
            taken.add(id(obeyed))
            fates.append(PhraseFate(said, "obeyed", _reply_gap_ms(truth, said, obeyed.t), _text(obeyed)))
            continue
        asked = next((o for o in near if o.verdict is Verdict.ASK), None)
        fate = "asked_again" if asked is not None else "missed"
        fates.append(PhraseFate(said, fate, None, "; ".join(_text(o) for o in near)))
    return tuple(fates)


def _text(outcome: Outcome) -> str:
    best = outcome.hypothesis.best
    return f"{outcome.verdict.value}: {best.text}" if best is not None else outcome.verdict.value


def _reply_gap_ms(truth: Truth, said: Utterance, decided: float) -> float | None:
    """From the end of the phrase to the first sample of the next prompt that began once it was decided.

    None where nothing began before somebody spoke again, or where the phrase was
    decided before its end and the reply began within it (then 0).
    """
    begins = [p.begin for p in truth.played if p.begin >= decided - 0.05]
    if not begins:
        return None
    reply = min(begins)
    later = [u.begin for u in truth.utterances if u.name and u.begin > said.end]
    if later and reply > min(later):
        return None
    sound = next((first for first, last in truth.speaker_sound if last > reply), None)
    if sound is None:
        return None
    return max(0.0, 1000 * (max(sound, reply) - said.end))


def false_accepts(truth: Truth) -> tuple[FalseAccept, ...]:
    """Phrases that were believed though nobody said them within the window. Self-triggers are among them."""
    found = []
    for outcome in truth.outcomes:
        heard = outcome.hypothesis
        if outcome.verdict is not Verdict.BELIEVE or heard.best is None:
            continue
        near = [u for u in truth.utterances if belongs(outcome, u)]
        if any(_same(heard.best, said) for said in near):
            continue
        tool = any(first < heard.t_end and last > heard.t_begin for first, last in truth.speaker_sound)
        found.append(FalseAccept(outcome.t, heard.best.text, tool and not near))
    return tuple(found)


def percentiles(values: Sequence[float]) -> dict[str, float | None]:
    """p50, p95 and p99, or None without values."""
    if not values:
        return {"p50": None, "p95": None, "p99": None}
    return {f"p{q}": round(float(np.percentile(values, q)), 1) for q in (50, 95, 99)}


def summary(
    truth: Truth,
    *,
    limit_s: float,
    means: LimitMeans,
    end: float,
    due: Sequence[float],
    sounded: Sequence[float],
    stops: frozenset[str],
) -> dict[str, object]:
    """The room's part of a rehearsal's summary, ready for JSON.

    `due` and the limit are the session's; `sounded` is `alarms_in` the mixdown;
    `stops` names the stop phrases.
    """
    zones = exposure(truth, limit_s, means, end)
    calls = rinse_calls(truth, due, sounded)
    fates = phrase_fates(truth)
    wrong = false_accepts(truth)
    gaps = [(f.said.name in stops, f.reply_gap_ms) for f in fates if f.reply_gap_ms is not None]
    return {
        "rinse_calls": [asdict(call) for call in calls],
        "late_calls": sum(call.late for call in calls),
        "exposure": {z.zone: {k: v for k, v in asdict(z).items() if k != "zone"} for z in zones},
        "over_limit_zones": [z.zone for z in zones if z.over_limit],
        "phrases": {"spoken": len(fates)} | {
            fate: sum(f.fate == fate for f in fates) for fate in ("obeyed", "asked_again", "missed")
        },
        "phrases_not_obeyed": [
            {"t": f.said.begin, "who": f.said.who, "text": f.said.text, "fate": f.fate, "heard": f.taken_for}
            for f in fates
            if f.fate != "obeyed"
        ],
        "false_accepts": len(wrong),
        "false_accept_list": [asdict(w) for w in wrong],
        "self_triggers": sum(w.self_trigger for w in wrong),
        "reply_gap_ms": percentiles([gap for stop, gap in gaps if not stop]),
        "stop_gap_ms": percentiles([gap for stop, gap in gaps if stop]),
        "keys": len(truth.keys),
        "prompts": {
            "played": len(truth.played),
            "cut": sum(p.cut for p in truth.played),
            "not_understood": sum(not p.understood and not p.cut for p in truth.played),
        },
        "faults": [{"t": t, "what": what, "begins": begins} for t, what, begins in truth.faults],
    }  # fmt: skip
