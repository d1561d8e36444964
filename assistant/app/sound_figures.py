"""From the takes of a sound check to its figures and findings. Samples in, a result out; no device, no clock."""

from __future__ import annotations

import math
from collections.abc import Iterator
from dataclasses import dataclass
from datetime import date

import numpy as np

from assistant.alarm import tone
from assistant.core.audibility import (
    NORMAL_LEVEL_DB,
    OCTAVES_HZ,
    Levels,
    alarm_margin,
    levels,
    speech_intelligibility_from_ratios,
)
from assistant.core.sound_check import (
    AGAIN,
    Device,
    Finding,
    Octave,
    PhraseHeard,
    SoundCheck,
    Weight,
    judge,
)
from assistant.ears import flaws, round_trip
from assistant.ears.echo import FILTER_S
from assistant.mouth.levels import PEAK
from assistant.ports import RATE, Samples

FLOOR_DB = -100.0
"""No noise counts as quieter: 16 bits carry nothing below (-101 dB for their rounding)."""
GAP_S = 0.4
TAIL_S = 0.15
"""Heard of a sound after its end; a tiled room's echo has mostly faded by then."""
ALARM_ON_S = tone.PULSE_S * sum(map(len, tone.MELODY.split()))
"""How long the alarm sounds between its gaps. Its level is that of the pulses (our choice)."""
EARLIEST_S, LATEST_S = -0.6, 1.6
"""Where a played sound is looked for in what was heard."""
LATE_S = 0.35
ASSUMED_DB = 10.0
"""How far the assumed loudness at the ear is varied to see what the intelligibility index hangs on."""
CLIPPED_PEAKS = 3
CHANGE_DB = 3.0
"""A microphone whose level follows the noise changes by more (our choice)."""
RATE_SHARE, SMEARED_RATE_SHARE = 0.003, 0.001
"""Higher or lower by more: a wrong rate; the second where the track could not be found, which so little already does. A room's own
echo moves a pitch by 0.0005; clocks of different devices differ by 0.0001 (common practice, no source)."""
ALIKE = 0.5
STUMBLES = 5
"""Some are usual when a stream starts."""
COPY_SHARE = 0.999


@dataclass(frozen=True, slots=True)
class Track:
    """What is played and recorded: prompts to the person, the alarm, prompts to the helper. Samples at RATE."""

    person: Samples
    helper: Samples

    @property
    def alarm_at(self) -> int:
        return len(self.person) + round(GAP_S * RATE)

    @property
    def helper_at(self) -> int:
        return self.alarm_at + len(tone.alarm()) + round(GAP_S * RATE)

    @property
    def sound(self) -> Samples:
        gap = np.zeros(round(GAP_S * RATE), np.float32)
        return np.concatenate([self.person, gap, tone.alarm(), gap, self.helper]).astype(np.float32)

    @property
    def headroom_db(self) -> float:
        """How much louder the prompts can be made before their peaks are cut."""
        peak = max(float(np.abs(part).max(initial=0)) for part in (self.person, self.helper))
        return max(0.0, 20 * math.log10(PEAK / peak)) if peak else 0.0


@dataclass(frozen=True, slots=True)
class Take:
    """What was heard and what the loudspeaker was given meanwhile; both begin when the track was handed over."""

    heard: Samples
    played: Samples


@dataclass(frozen=True, slots=True)
class Takes:
    """Everything that was recorded: the noise and the track, with the tap off and on; how often a device stumbled."""

    noise_off: Samples
    track_off: Take
    noise_on: Samples
    track_on: Take
    stumbles: int = 0


def loss_db(microphone_m: float | None, heads_m: float | None) -> float:
    """How much less of the loudspeaker reaches the heads than the microphone, as in the open air: 6 dB a doubling.

    In a room it is less than that, so the heads hear more than is counted on. 0 where a distance is not known.
    """
    if microphone_m is None or heads_m is None:
        return 0.0
    return max(0.0, 20 * math.log10(heads_m / microphone_m))


def result(
    takes: Takes,
    track: Track,
    *,
    today: date,
    device: Device,
    phrases: tuple[PhraseHeard, ...] = (),
    microphone_m: float | None = None,
    heads_m: float | None = None,
) -> SoundCheck:
    """The check as it is kept. Distances are from the loudspeaker."""
    found = round_trip.arrival(track.sound, takes.track_off.heard, 0.0, LATEST_S)
    noise_off = levels(takes.noise_off, RATE).at_least(FLOOR_DB)
    noise_on = levels(takes.noise_on, RATE).at_least(FLOOR_DB)
    figures: dict[str, object] = {
        "schema": 1,
        "checked_on": today,
        "device": device,
        "noise_off_db": _rounded(noise_off.a_db),
        "noise_on_db": _rounded(noise_on.a_db),
        "prompt_headroom_db": _rounded(track.headroom_db),
        "loss_to_heads_db": _rounded(loss_db(microphone_m, heads_m)),
        "microphone_m": microphone_m,
        "heads_m": heads_m,
        "octaves": _octaves(noise_off, noise_on, None),
        **_phrase_counts(phrases),
    }
    findings = list(_device_findings(takes))
    if not findings:
        findings += _signal_findings(takes, track, found.lag) if found.found else [_not_found(takes, track)]
    if not _stopped(findings):  # else no figure means anything
        figures |= _levels_of(takes, track, found.lag, noise_off, noise_on, loss_db(microphone_m, heads_m))
        figures |= _delays(takes.track_off, found.lag)
    check = SoundCheck.model_validate(figures)
    if not _stopped(findings):
        findings += [*judge(check), *_change(check), *_lateness(check)]
    if found.found:
        findings += _side_findings(takes)
    return check.model_copy(update={"findings": tuple(findings)})


def _stopped(findings: list[Finding]) -> bool:
    return any(finding.weight is Weight.STOPS for finding in findings)


def _levels_of(
    takes: Takes, track: Track, lag: int, noise_off: Levels, noise_on: Levels, loss: float
) -> dict[str, object]:
    """Alarm and prompts against the noise. Their levels come from the quiet take, where they stand out best."""
    alarm_off = _piece(takes.track_off.heard, lag + track.alarm_at, len(tone.alarm()))
    again = round_trip.arrival(track.sound, takes.track_on.heard, 0.0, LATEST_S)
    lag_on = again.lag if again.found else lag  # it wanders a little from take to take
    alarm_on = _piece(takes.track_on.heard, lag_on + track.alarm_at, len(tone.alarm()))
    alarm = _alone([alarm_off], ALARM_ON_S, noise_off)
    speech = _alone(
        [
            _piece(takes.track_off.heard, lag, len(track.person)),
            _piece(takes.track_off.heard, lag + track.helper_at, len(track.helper)),
        ],
        (len(track.person) + len(track.helper)) / RATE,
        noise_off,
    )
    change = round_trip.gain_db(alarm_off, alarm_on)
    at_heads = (change or 0.0) - loss
    figures: dict[str, object] = {
        "level_change_db": None if change is None else _rounded(change),
        "octaves": _octaves(noise_off, noise_on, alarm),
    }
    if math.isfinite(alarm.a_db):
        margin = alarm_margin(alarm.raised(at_heads), noise_on)
        figures |= {
            "alarm_over_noise_db": _rounded(margin.a_db),
            "alarm_over_threshold_db": _rounded(max(margin.octave_db, FLOOR_DB)),
            "alarm_octave_hz": margin.octave_hz,
        }
    if math.isfinite(speech.a_db):
        heard = speech.raised(at_heads)
        usual = speech_intelligibility_from_ratios(heard, noise_on, RATE)
        others = [
            speech_intelligibility_from_ratios(heard, noise_on, RATE, NORMAL_LEVEL_DB + d)
            for d in (-ASSUMED_DB, ASSUMED_DB)
        ]
        figures |= {
            "sii": _rounded(usual, 3),
            "sii_range": (_rounded(min(usual, *others), 3), _rounded(max(usual, *others), 3)),
            "sii_tap_off": _rounded(
                speech_intelligibility_from_ratios(speech.raised(-loss), noise_off, RATE), 3
            ),
        }
    return figures


def _alone(pieces: list[Samples], seconds: float, noise: Levels) -> Levels:
    """Levels of a sound by itself while it sounds (`seconds`), from recordings of it that hold `noise` as well."""
    whole = np.concatenate(pieces)
    as_long = noise.raised(10 * math.log10(len(whole) / RATE / seconds))
    return levels(whole, RATE, seconds).without(as_long)


def _piece(heard: Samples, begin: int, length: int) -> Samples:
    return heard[max(0, begin) : begin + length + round(TAIL_S * RATE)]


def _octaves(noise_off: Levels, noise_on: Levels, alarm: Levels | None) -> tuple[Octave, ...]:
    return tuple(
        Octave(
            hz=hz,
            noise_off_db=_rounded(noise_off.at(hz)),
            noise_on_db=_rounded(noise_on.at(hz)),
            alarm_db=None if alarm is None or not math.isfinite(alarm.at(hz)) else _rounded(alarm.at(hz)),
        )
        for hz in OCTAVES_HZ
    )


def _phrase_counts(phrases: tuple[PhraseHeard, ...]) -> dict[str, object]:
    counts: dict[str, object] = {"phrases": phrases}
    for tap, key in (("off", "phrases_heard"), ("on", "phrases_heard_tap_on")):
        asked = [phrase for phrase in phrases if phrase.tap == tap]
        if asked:
            counts["phrases_said"] = len(asked)
            counts[key] = sum(phrase.verdict == "heard" for phrase in asked)
    return counts


def _delays(take: Take, lag: int) -> dict[str, object]:
    seen = round_trip.arrival(take.played, take.heard, EARLIEST_S, LATEST_S)
    return {
        "delay_ms": _rounded(lag * 1000 / RATE, 1),
        "echo_lag_ms": _rounded(seen.lag * 1000 / RATE, 1) if seen.found else None,
    }


def _rounded(value: float, places: int = 2) -> float:
    return round(value, places)


# -- what is wrong --------------------------------------------------------------------------


def _device_findings(takes: Takes) -> Iterator[Finding]:
    """What makes every figure worthless."""
    heard = takes.track_off.heard
    if flaws.silent(heard):
        yield Finding(
            name="silent microphone",
            weight=Weight.STOPS,
            words="The microphone gave nothing but silence, even while the alarm was played.",
            mend="Unmute the microphone and let combside use it, or choose another with --microphone. "
            "Is the loudspeaker on?",
        )
    elif flaws.frozen(heard) or flaws.frozen(takes.noise_on):
        yield Finding(
            name="frozen microphone",
            weight=Weight.STOPS,
            words="The microphone hangs: it gives the same values again and again.",
            mend=f"Unplug it and plug it in again, or choose another with --microphone. {AGAIN}",
        )


def _not_found(takes: Takes, track: Track) -> Finding:
    """Why the track is not in what was heard: another rate, or no sound."""
    return _wrong_rate(takes, track, SMEARED_RATE_SHARE) or Finding(
        name="alarm not heard",
        weight=Weight.STOPS,
        words="The microphone hears the room, but not the alarm.",
        mend=f"Turn the loudspeaker on and up, or choose another with --speaker. {AGAIN}",
    )


def _wrong_rate(takes: Takes, track: Track, share: float = RATE_SHARE) -> Finding | None:
    """What was played came back at another pitch."""
    factor, alike = round_trip.pitch_factor(track.sound, takes.track_off.heard, takes.noise_off)
    if alike < ALIKE or abs(factor - 1) < share:
        return None
    return Finding(
        name="wrong rate",
        weight=Weight.STOPS,
        words=f"What was played comes back {abs(factor - 1):.1%} too {'high' if factor > 1 else 'low'}: microphone and "
        "loudspeaker run at different sample rates.",
        mend=f"Set both to 48000 samples a second in the system's sound settings, or use other devices. {AGAIN}",
    )


def _signal_findings(takes: Takes, track: Track, lag: int) -> Iterator[Finding]:
    """What can be seen from the track as it came back."""
    take = takes.track_off
    wrong_rate = _wrong_rate(takes, track)
    if wrong_rate is not None:
        yield wrong_rate
    elif round_trip.copied_share(track.sound, take.heard, lag) > COPY_SHARE:
        yield Finding(
            name="no room",
            weight=Weight.STOPS,
            words="What was recorded is the loudspeaker's own signal, without any room around it.",
            mend="Choose the microphone itself with --microphone, not a monitor of the loudspeaker.",
        )
    elif flaws.silent(takes.noise_on):
        yield Finding(
            name="noise cut out",
            weight=Weight.STOPS,
            words="The alarm is heard, but no noise at all: a filter in the system cuts it out, so nothing can be compared.",
            mend=f"Turn noise suppression off in the system's sound settings. {AGAIN}",
        )
    elif flaws.narrow(take.heard, track.sound):
        yield Finding(
            name="half the band",
            weight=Weight.NOTE,
            words="The microphone gives nothing above 4000 Hz, like a telephone. Words are heard worse.",
            mend="Use the built-in or a wired microphone in place of a wireless headset.",
        )


def _side_findings(takes: Takes) -> Iterator[Finding]:
    """What may be wrong with a microphone that hears."""
    if flaws.clipped(takes.track_off.heard) + flaws.clipped(takes.track_on.heard) > CLIPPED_PEAKS:
        yield Finding(
            name="clipping",
            weight=Weight.NOTE,
            words="The microphone is driven too hard: its peaks are cut off, so the alarm is really louder than measured.",
            mend=f"Turn the microphone's level down a little. {AGAIN}",
        )
    if takes.stumbles > STUMBLES:
        yield Finding(
            name="stumbles",
            weight=Weight.NOTE,
            words=f"Sound broke off {takes.stumbles} times: the machine was too busy to keep up.",
            mend="Close other programs, plug the charger in.",
        )
    humming = flaws.hum(takes.noise_off)
    if humming is not None:
        yield Finding(
            name="hum",
            weight=Weight.NOTE,
            words=f"The microphone hums with the mains ({humming[0]} Hz, {humming[1]:.0f} dB of full scale).",
            mend="Try another socket or cable; keep the cables apart.",
        )


def _change(check: SoundCheck) -> Iterator[Finding]:
    change = check.level_change_db
    if change is not None and abs(change) > CHANGE_DB:
        yield Finding(
            name="level follows",
            weight=Weight.NOTE,
            words=f"With the tap on the same alarm was recorded {abs(change):.0f} dB {'louder' if change > 0 else 'quieter'}: "
            "the system turns the microphone up and down by itself. The figures allow for it, roughly.",
            mend="Turn automatic gain and noise suppression off in the system's sound settings.",
        )


def _lateness(check: SoundCheck) -> Iterator[Finding]:
    if check.delay_ms is not None and check.delay_ms > LATE_S * 1000:
        yield Finding(
            name="late",
            weight=Weight.NOTE,
            words=f"Sound comes back {check.delay_ms:.0f} ms after it was played, as with wireless devices.",
            mend="Use a wired loudspeaker and microphone if you have them.",
        )
    lag = check.echo_lag_ms
    if lag is not None and not 0 <= lag <= FILTER_S * 1000:
        yield Finding(
            name="own voice",
            weight=Weight.NOTE,
            words=f"combside's own voice is heard {lag:.0f} ms after it was sent, outside the 0 to {FILTER_S * 1000:.0f} ms "
            "within which it can be taken out. While it speaks it hears you badly.",
            mend="Answer when it has finished speaking.",
        )
