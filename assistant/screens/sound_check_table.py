"""A sound check as a person reads it: the verdict, each figure with what it is held against, what to mend, the limits."""

from __future__ import annotations

import textwrap
from collections.abc import Iterator
from typing import TextIO

from rich.console import Console
from rich.text import Text

from assistant.core.audibility import A_MARGIN_DB, OCTAVE_MARGIN_DB
from assistant.core.sound_check import GOOD_SII, POOR_SII, Device, SoundCheck, Weight
from assistant.screens.harmless import harmless

VERDICTS = {
    "good": ("GOOD: the alarm and you are heard here.", "bold green"),
    "with keys": (
        "WITH KEYS: the alarm is heard here, you are not always. Answer by key or pedal.",
        "bold yellow",
    ),
    "no": ("NO: do not start like this.", "bold red"),
}
SHOWN_HZ = (125, 250, 500, 1000, 2000, 4000)
WIDEST = 96
LABEL = 13


def show(check: SoundCheck, stream: TextIO) -> None:
    """Print it, coloured on a terminal only."""
    out = Console(file=stream, highlight=False, markup=False, emoji=False, soft_wrap=True)
    width = min(out.width, WIDEST)
    words, style = VERDICTS[check.verdict]
    out.print(Text(f"\n{words}", style))
    for finding in sorted(check.findings, key=lambda f: list(Weight).index(f.weight)):
        out.print(wrapped(finding.words, width, "  - "))
        if finding.mend:
            out.print(Text(wrapped(finding.mend, width, "    "), "bold"))
    out.print()
    for label, words in _figures(check):
        out.print(wrapped(words, width, f"{label:<{LABEL}}"))
    if any(octave.alarm_db is not None for octave in check.octaves):
        out.print("\nLevels in octaves, dB of the microphone's full scale")
        for line in _octaves(check):
            out.print(line)
    told = limits(check)
    if told:
        out.print(Text("\nWhat this can not tell", "bold"))
    for line in told:
        out.print(Text(wrapped(line, width, "  - "), "dim"))


def wrapped(words: str, width: int, first: str) -> str:
    """A paragraph that begins with `first` and hangs under its end."""
    return textwrap.fill(harmless(words), width, initial_indent=first, subsequent_indent=" " * len(first))


def _figures(check: SoundCheck) -> Iterator[tuple[str, str]]:
    """Labels and what stands beside them."""
    if check.device != Device():
        yield "microphone", check.device.microphone
        yield "loudspeaker", check.device.speaker
    if check.alarm_over_noise_db is not None:
        yield (
            "alarm",
            f"{check.alarm_over_noise_db:.1f} dB over the noise with the tap on; more than {A_MARGIN_DB:g} stands out",
        )
        yield (
            "",
            f"{check.alarm_over_threshold_db:.1f} dB over what drowns it around {check.alarm_octave_hz} Hz; more than "
            f"{OCTAVE_MARGIN_DB:g} will do as well",
        )
    if check.sii is not None and check.sii_tap_off is not None:
        yield (
            "prompts",
            f"intelligibility {check.sii:.2f} with the tap on, {check.sii_tap_off:.2f} with it off; good above "
            f"{GOOD_SII:g}, poor under {POOR_SII:g}",
        )
    if check.phrases_heard is not None:
        yield (
            "phrases",
            f"{check.phrases_heard} of {check.phrases_said} heard with the tap off, {check.phrases_heard_tap_on} with it on",
        )
        for phrase in check.phrases:
            if phrase.verdict != "heard":
                yield "", f'"{phrase.phrase}", tap {phrase.tap}: {phrase.verdict}'
    elif check.alarm_over_noise_db is not None:
        yield "phrases", "not asked for"
    if check.delay_ms is not None:
        yield "delay", f"{check.delay_ms:.0f} ms from the loudspeaker back through the microphone"


def _octaves(check: SoundCheck) -> Iterator[str]:
    shown = [octave for octave in check.octaves if octave.hz in SHOWN_HZ]
    yield f"{'Hz':<{LABEL}}" + "".join(f"{octave.hz:>6}" for octave in shown)
    yield f"{'tap off':<{LABEL}}" + "".join(f"{octave.noise_off_db:>6.0f}" for octave in shown)
    yield f"{'tap on':<{LABEL}}" + "".join(f"{octave.noise_on_db:>6.0f}" for octave in shown)
    alarm = ["-" if octave.alarm_db is None else f"{octave.alarm_db:.0f}" for octave in shown]
    yield f"{'alarm':<{LABEL}}" + "".join(f"{level:>6}" for level in alarm)


def limits(check: SoundCheck) -> list[str]:
    """What this check can not tell."""
    told = []
    if check.alarm_over_noise_db is not None:
        told.append(
            "The microphone is not calibrated: these are ratios, not loudness. Listen yourselves: the alarm must be plain "
            "to hear and must not hurt."
        )
    if check.sii is not None and check.sii_range is not None:
        low, high = check.sii_range
        told.append(
            "Intelligibility needs true loudness; here it is taken as if the prompts reached you as loud as somebody who "
            f"talks normally 1 m away (10 dB either way: {low:.2f} to {high:.2f}), and with healthy hearing."
        )
    if check.alarm_over_noise_db is not None:
        if check.microphone_m is None or check.heads_m is None:
            told.append(
                "This holds where the microphone is. Put it where your heads will be, or give --microphone-m and --heads-m: "
                "at twice the distance from the loudspeaker the alarm is up to 6 dB weaker."
            )
        else:
            told.append(
                f"Counted for your heads, {check.heads_m:g} m from the loudspeaker (microphone: {check.microphone_m:g} m): "
                f"{check.loss_to_heads_db:.0f} dB less than at the microphone, as in the open air."
            )
    return told
