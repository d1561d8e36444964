"""Looking back on a run: what went as planned and what did not, each with its numbers.

Pure; read from the diary's entry alone, and from the journal's moments where there
is one. It states and does not praise: nobody is judged by it.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass

from assistant.core.diary import RinseCall, RunRecord, seconds_in_words
from assistant.core.diary_entry import WHAT
from assistant.core.moments import Kind, Moment

CLOSE_S = 30.0
"""Water less than this before the limit is told as close: half the reserve that is usual (our choice, no source)."""
CAUSES = {
    "planned": "the work was done",
    "clock": "the clock ordered it",
    "nobody": "nobody answered",
    "rinse_now": "somebody asked for the rinse",
    "stop_now": "somebody said stop",
    **{cause: f"reported: {words}" for cause, words in WHAT.items()},
}
"""Why a rinse call sounded, in words."""


@dataclass(frozen=True, slots=True)
class Finding:
    """One sentence, and whether it went as planned."""

    well: bool
    words: str


def debrief(record: RunRecord, moments: Sequence[Moment] = ()) -> tuple[Finding, ...]:
    """In the order they matter: exposure, calls, harm, pace, hearing, devices."""
    return (
        *_exposure(record),
        *(f for call in record.calls for f in _call(call)),
        *_harm(record),
        *_pace(record),
        *_hearing(moments),
        *_devices(moments),
    )


def _exposure(record: RunRecord) -> Iterator[Finding]:
    if not record.zones:
        yield Finding(True, "No cream came on the head.")
        return
    counted = [(z.zone, record.exposure_s(z)) for z in record.zones]
    unseen = [zone for zone, s in counted if s is None]
    over = [(zone, s) for zone, s in counted if s is not None and s > record.limit_s]
    limit = seconds_in_words(record.limit_s)
    for zone in unseen:
        yield Finding(False, f"Nobody reported an end for {zone}, so its exposure is not known.")
    for zone, s in over:
        yield Finding(
            False, f"{zone} had {seconds_in_words(s)}, {seconds_in_words(s - record.limit_s)} over the limit."
        )
    inside = [(zone, s) for zone, s in counted if s is not None and s <= record.limit_s]
    if inside:
        zone, s = max(inside, key=lambda pair: pair[1])
        which = "Every zone" if not (unseen or over) else f"{len(inside)} of {len(counted)} zones"
        left = record.limit_s - s
        close = " That was close." if left < CLOSE_S else ""
        yield Finding(
            True,
            f"{which} stayed within the limit of {limit}. The longest was {zone} with "
            f"{seconds_in_words(s)}, {seconds_in_words(left)} before the limit.{close}",
        )
    if all(z.clear_s is not None for z in record.zones):
        yield Finding(True, "Every zone was rinsed until clear.")
    else:
        left_over = ", ".join(z.zone for z in record.zones if z.clear_s is None)
        yield Finding(False, f"Nobody reported that the water ran clear: {left_over}.")


def cause_words(call: RinseCall) -> str:
    """Why it sounded; a cause of a newer version stays as it is written."""
    return CAUSES.get(call.cause, call.cause.replace("_", " "))


def _call(call: RinseCall) -> Iterator[Finding]:
    at = seconds_in_words(call.sounded_s)
    if call.withdrawn:
        yield Finding(False, f"A rinse call at {at} was taken back.")
        return
    if call.due_s is None:
        yield Finding(call.cause == "planned", f"The rinse call sounded at {at}; {cause_words(call)}.")
    elif call.sounded_s > call.due_s + 1.0:
        late = seconds_in_words(call.sounded_s - call.due_s)
        yield Finding(False, f"The rinse call sounded {late} late, at {at}.")
    elif call.due_s - call.sounded_s > 1.0:
        early = seconds_in_words(call.due_s - call.sounded_s)
        yield Finding(
            call.cause == "planned",
            f"The rinse call sounded at {at}, {early} before it was due; {cause_words(call)}.",
        )
    else:
        yield Finding(True, f"The rinse call sounded when it was due, at {at}.")
    if call.acknowledged_s is None:
        yield Finding(False, "Nobody told that the water was running.")
    else:
        gap = seconds_in_words(call.acknowledged_s - call.sounded_s)
        yield Finding(True, f"The water was running {gap} after the call.")


def _harm(record: RunRecord) -> Iterator[Finding]:
    if record.incidents:
        told = "; ".join(i.what for i in record.incidents)
        yield Finding(False, f"Harm or near harm was reported: {told}. Its part of this page says more.")
    else:
        yield Finding(True, "No harm was reported.")


def _pace(record: RunRecord) -> Iterator[Finding]:
    worked = [p for p in record.pace if p.seconds > 0]
    if not worked:
        return
    took, guess = sum(p.seconds for p in worked), sum(p.expected_s for p in worked)
    how = "as long as" if 0.9 <= took / guess <= 1.1 else "longer than" if took > guess else "less than"
    yield Finding(
        took <= 1.1 * guess,
        f"The work that was timed took {seconds_in_words(took)}, {how} the first guess of "
        f"{seconds_in_words(guess)}.",
    )


def _hearing(moments: Sequence[Moment]) -> Iterator[Finding]:
    heard = sum(m.kind is Kind.HEARD for m in moments)
    asked = sum(m.kind is Kind.ASKED for m in moments)
    if asked:
        yield Finding(
            False, f"{asked} of {heard + asked} phrases were not clear enough, and combside asked back."
        )
    elif heard:
        yield Finding(True, f"All {heard} phrases that were taken for one were clear enough to obey at once.")


def _devices(moments: Sequence[Moment]) -> Iterator[Finding]:
    for m in moments:
        if m.kind is Kind.LOST:
            yield Finding(False, f"A device was lost at {seconds_in_words(m.t_s)}: {m.words}.")
