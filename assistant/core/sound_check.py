"""What a sound check found in this room, what it means, and whether it still holds today.

`Heard` is what was measured, `judge` turns it into findings with their mends,
`SoundCheck` is what is kept. `doubts`, `answer_by_key` and `prompt_gain_db` are for a
run. Pure; measuring is `app.soundcheck`, keeping is `files.sound_check_file`.
"""

from __future__ import annotations

import math
from datetime import date
from enum import Enum
from typing import Literal

from pydantic import Field

from assistant.core.audibility import A_MARGIN_DB, OCTAVE_MARGIN_DB
from assistant.core.kit_sheet import Sheet
from assistant.core.reasons import Reason

OLD_DAYS = 30
"""After so many days things have been moved and updates have changed levels (our choice)."""
RISEN_DB = 3.0
"""A noise that is more than this over the checked one counts as louder (our choice)."""
TAP_RISE_DB = 3.0
"""A running tap lifts the noise by more than this, or it was not on, or no microphone heard it (our choice)."""
GOOD_SII, POOR_SII = 0.75, 0.45
"""Speech is well understood above the one and poorly below the other (ANSI S3.5, from memory)."""
MOST_PHRASES_MISSED = 1
"""With the tap on. With it off none may be missed (our choice)."""
MOST_PROMPT_GAIN_DB = 6.0
"""Prompts follow the noise no further: from there on a person in front of the loudspeaker is shouted at (our choice)."""
LOUDER_AT_MOST_DB = 15
"""More than this is seldom left in a loudspeaker's own control (our choice)."""
AGAIN = "Then check again."


class Weight(str, Enum):
    """What a finding does to the verdict."""

    STOPS = "stops"  # nobody would hear the alarm, or nothing can be told
    KEYS = "keys"  # the voice is not heard here: answer by key or pedal
    NOTE = "note"  # good to know, or to mend


class Finding(Sheet):
    """One thing that is not as it should be."""

    name: str
    weight: Weight
    words: str
    mend: str = ""


class Octave(Sheet):
    """Levels in one octave, dB of full scale; the noise with the tap off and on, the alarm while it sounds."""

    hz: int
    noise_off_db: float
    noise_on_db: float
    alarm_db: float | None


class PhraseHeard(Sheet):
    """A phrase somebody was asked to say. `verdict`: heard, asked again, another, or nothing."""

    phrase: str
    tap: Literal["off", "on"]
    verdict: Literal["heard", "asked again", "another", "nothing"]


class Device(Sheet):
    """Which microphone and loudspeaker were used, by the system's names."""

    microphone: str = "?"
    speaker: str = "?"


class SoundCheck(Sheet):
    """The result of a sound check. Levels are dB of full scale at the microphone: good for ratios, not for loudness.

    Everything that could not be measured is null.
    """

    schema_version: Literal[1] = Field(1, alias="schema")
    checked_on: date
    device: Device = Device()
    alarm_over_noise_db: float | None = Field(
        default=None, description="A-weighted, over the noise with the tap on"
    )
    alarm_over_threshold_db: float | None = Field(
        default=None, description="over the masked threshold in the best octave"
    )
    alarm_octave_hz: int | None = None
    sii: float | None = Field(
        default=None, description="speech intelligibility index of the prompts, tap on, 0 to 1"
    )
    sii_range: tuple[float, float] | None = Field(
        default=None,
        description="the same if the prompts were 10 dB quieter or louder at the ear than assumed",
    )
    sii_tap_off: float | None = None
    phrases_said: int = 0
    phrases_heard: int | None = Field(default=None, description="of them, with the tap off")
    phrases_heard_tap_on: int | None = None
    phrases: tuple[PhraseHeard, ...] = ()
    delay_ms: float | None = Field(default=None, description="from handing a sound over to hearing it")
    echo_lag_ms: float | None = Field(
        default=None,
        description="the same as the echo canceller sees it: from what was played to what was heard",
    )
    noise_off_db: float | None = Field(default=None, description="A-weighted")
    noise_on_db: float | None = Field(default=None, description="A-weighted")
    prompt_headroom_db: float = Field(
        default=0.0, description="how much louder prompts can be made without clipping"
    )
    level_change_db: float | None = Field(
        default=None,
        description="how much the alarm was recorded louder with the tap on; a fair microphone gives 0",
    )
    octaves: tuple[Octave, ...] = ()
    loss_to_heads_db: float = Field(
        default=0.0, description="how much quieter the loudspeaker is at the heads than at the microphone"
    )
    microphone_m: float | None = Field(default=None, description="from the loudspeaker to the microphone")
    heads_m: float | None = Field(default=None, description="from the loudspeaker to the heads")
    findings: tuple[Finding, ...] = ()

    @property
    def verdict(self) -> Literal["good", "with keys", "no"]:
        """no: the alarm would not be heard, or nobody knows. with keys: it would, but voices are not."""
        weights = {finding.weight for finding in self.findings}
        return "no" if Weight.STOPS in weights else "with keys" if Weight.KEYS in weights else "good"

    @property
    def mends(self) -> tuple[str, ...]:
        """What to do, the gravest first."""
        order = list(Weight)
        told = [f.mend for f in sorted(self.findings, key=lambda f: order.index(f.weight)) if f.mend]
        return tuple(dict.fromkeys(told))

    @property
    def short_db(self) -> float | None:
        """By how much the alarm falls short of both criteria; 0 or less: it does not."""
        if self.alarm_over_noise_db is None or self.alarm_over_threshold_db is None:
            return None
        return min(A_MARGIN_DB - self.alarm_over_noise_db, OCTAVE_MARGIN_DB - self.alarm_over_threshold_db)


def judge(check: SoundCheck) -> tuple[Finding, ...]:
    """Findings on the measured figures; what is wrong with the devices themselves is found by whoever hears them.

    No rinse call is quieter than the alarm they hold for (`CALL_LEVELS` in `core.session`).
    """
    return (*_alarm(check), *_prompts(check), *_phrases(check))


def _alarm(check: SoundCheck) -> list[Finding]:
    short = check.short_db
    if short is None:
        return []
    found = []
    rise = None
    if check.noise_on_db is not None and check.noise_off_db is not None:
        rise = check.noise_on_db - check.noise_off_db
    if rise is not None and rise < TAP_RISE_DB:
        found.append(
            Finding(
                name="tap",
                weight=Weight.STOPS,
                words="It was no louder with the tap on than with it off, so the check proves nothing.",
                mend=f"Turn the tap on full when you are asked to. {AGAIN}",
            )
        )
    if short >= 0:
        found.append(
            Finding(
                name="alarm",
                weight=Weight.STOPS,
                words=f"With the tap on the alarm does not stand out: it is {check.alarm_over_noise_db:.0f} dB over the "
                f"noise (more than {A_MARGIN_DB:.0f} are needed) and {check.alarm_over_threshold_db:.0f} dB over what "
                f"drowns it in its best octave (more than {OCTAVE_MARGIN_DB:.0f} would do).",
                mend=louder(short),
            )
        )
    return found


def louder(short_db: float) -> str:
    """What to do about an alarm that must be raised by `short_db` (0 or more)."""
    db = max(1, math.floor(short_db) + 1)
    if db > LOUDER_AT_MOST_DB:
        return (
            f"The alarm must be about {db} dB louder, more than most loudspeakers have left: use another one, close to "
            f"your heads, or run the tap less hard. {AGAIN}"
        )
    where = "" if db > 6 else ", or put it on the shelf, nearer to your heads"
    both = ", and put it nearer to your heads" if db > 6 else ""
    return f"Turn the speaker up by about {db} dB{both}{where}. {AGAIN}"


def _prompts(check: SoundCheck) -> list[Finding]:
    if check.sii is None or check.sii >= POOR_SII:
        return []
    return [
        Finding(
            name="prompts",
            weight=Weight.NOTE,
            words=f"With the tap on the prompts are hard to understand (index {check.sii:.2f}, poor under {POOR_SII:g}).",
            mend="Turn the tap off while you are spoken to, or turn the speaker up.",
        )
    ]


def _phrases(check: SoundCheck) -> list[Finding]:
    found = []
    quiet, loud, said = check.phrases_heard, check.phrases_heard_tap_on, check.phrases_said
    if quiet is not None and quiet < said:
        found.append(
            Finding(
                name="phrases",
                weight=Weight.KEYS,
                words=f"With the tap off {quiet} of {said} phrases were heard.",
                mend="Come nearer to the microphone, or turn it up, and speak the whole phrase. "
                "Until then answer by key or pedal.",
            )
        )
    if loud is not None and loud < said - MOST_PHRASES_MISSED:
        found.append(
            Finding(
                name="phrases with the tap on",
                weight=Weight.KEYS,
                words=f"With the tap on {loud} of {said} phrases were heard.",
                mend="With the tap on answer by any key or the pedal.",
            )
        )
    return found


# -- for a run -----------------------------------------------------------------------------


def doubts(
    check: SoundCheck | None,
    today: date,
    noise_now_db: float | None = None,
    *,
    tap_on: bool = False,
    device: Device | None = None,
) -> tuple[Reason, ...]:
    """Why the alarm may not be heard today; nothing where the check still holds.

    `noise_now_db`: A-weighted level at the same microphone now (`ears.room_noise`), nothing
    of ours playing. With the tap off (`tap_on` False) what came on top of the checked
    silence is added to the checked tap. `device`: what the run would use.
    """
    if check is None:
        return (_doubt("Nobody knows yet whether the alarm is heard in this room: combside soundcheck."),)
    found = []
    days = (today - check.checked_on).days
    if days > OLD_DAYS:
        found.append(_doubt(f"The sound check is {days} days old: combside soundcheck."))
    if days < 0:
        found.append(
            _doubt(f"The sound check is dated {check.checked_on}, a day to come: combside soundcheck.")
        )
    if check.verdict == "no":
        stops = [f.words for f in check.findings if f.weight is Weight.STOPS]
        found.append(_doubt(f"The sound check failed. {stops[0]}"))
    if device is not None and device != check.device:
        changed = [
            f"{kind} {getattr(device, kind)} (it was {getattr(check.device, kind)})"
            for kind in ("microphone", "speaker")
            if getattr(device, kind) != getattr(check.device, kind)
        ]
        found.append(_doubt(f"The sound check was made with other devices; now: {', '.join(changed)}."))
    elif noise_now_db is not None and check.noise_on_db is not None:
        expected = noise_now_db if tap_on else with_tap_db(noise_now_db, check)
        rise = expected - check.noise_on_db
        if rise > RISEN_DB:
            left = "" if check.short_db is None else _margin_now(check.short_db + rise)
            found.append(
                _doubt(f"With the tap on it is {rise:.0f} dB louder here than at the sound check.{left}")
            )
    return tuple(found)


def with_tap_db(noise_now_db: float, check: SoundCheck) -> float:
    """How loud it will be once the tap runs as it did at the check, when it is `noise_now_db` without it."""
    if check.noise_on_db is None or check.noise_off_db is None:
        return noise_now_db
    new = 10 ** (noise_now_db / 10) - 10 ** (check.noise_off_db / 10)
    return 10 * math.log10(10 ** (check.noise_on_db / 10) + max(0.0, new))


def _margin_now(short_db: float) -> str:
    return " The alarm would not stand out now." if short_db >= 0 else " The alarm would still stand out."


def _doubt(words: str) -> Reason:
    return Reason("sound check", words, "this room")


def answer_by_key(check: SoundCheck | None) -> Reason | None:
    """Said before the run where voices are known not to be heard here; None where they are, or nobody checked."""
    if check is None:
        return None
    bad = [finding for finding in check.findings if finding.weight is Weight.KEYS]
    if not bad:
        return None
    return Reason("microphone", f"{bad[0].words} Answer by any key or the pedal.", "this room")


def prompt_gain_db(noise_now_db: float, check: SoundCheck) -> float:
    """How much louder than checked prompts should be now; 0 or more.

    They follow the noise upward from the loudest that was checked, by at most
    MOST_PROMPT_GAIN_DB and never into clipping. For prompts below the rank of a
    warning only: the alarm and the rinse call keep the checked level.
    """
    if check.noise_on_db is None:
        return 0.0
    most = min(MOST_PROMPT_GAIN_DB, check.prompt_headroom_db)
    return max(0.0, min(noise_now_db - check.noise_on_db, most))
