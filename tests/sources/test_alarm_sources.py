"""The sounds that call, against published shapes: like a danger signal, unlike an evacuation or CO alarm.

Everything is measured on the samples, nothing is read from the constants that made them.
"""

from __future__ import annotations

import inspect
import itertools
from collections.abc import Callable

import numpy as np
import pytest
from numpy.typing import NDArray

from assistant.alarm import tone

RATE = 16_000
Sound = NDArray[np.float32]
SOUNDS: list[Callable[[], Sound]] = [tone.alarm, tone.warning, tone.caution, tone.tick]


def pulses(sound: Sound) -> list[tuple[float, float]]:
    """Where it sounds, (begin, end) in seconds: the 10 ms envelope is above a quarter of its peak."""
    envelope = np.sqrt(np.convolve(np.square(sound, dtype=np.float64), np.ones(160) / 160, mode="same"))
    on = np.concatenate([[False], envelope > envelope.max() / 4, [False]])
    edges = np.flatnonzero(np.diff(on.astype(int))) / RATE
    return [(float(a), float(b)) for a, b in zip(edges[::2], edges[1::2], strict=True)]


def lengths_and_gaps(sound: Sound) -> tuple[list[float], list[float]]:
    spans = pulses(sound)
    return [b - a for a, b in spans], [c[0] - b[1] for b, c in itertools.pairwise(spans)]


def like_t3(sound: Sound) -> bool:
    """Three pulses of 0.5 s, 0.5 s apart, each within 10 %, then 1.5 s of nothing (ISO 8201)."""
    on, off = lengths_and_gaps(sound)
    return any(
        all(0.45 <= x <= 0.55 for x in (*on[i : i + 3], *off[i : i + 2]))
        and (i + 3 == len(on) or off[i + 2] >= 1.35)
        for i in range(len(on) - 2)
    )


def like_t4(sound: Sound) -> bool:
    """Four pulses of 100 ms, 100 ms apart, then a pause of seconds; a quarter either way counts as alike.

    The pattern itself is known from a secondary page, the width of the tolerance is our own.
    """
    on, off = lengths_and_gaps(sound)
    return any(
        all(0.075 <= x <= 0.125 for x in (*on[i : i + 4], *off[i : i + 3]))
        and (i + 4 == len(on) or off[i + 3] >= 2.0)
        and (i == 0 or off[i - 1] >= 2.0)
        for i in range(len(on) - 3)
    )


def planted(on: float, off: float, count: int, pause: float) -> Sound:
    """Three cycles of a pattern, as such alarms sound."""
    beep = np.sin(2 * np.pi * 3100 * np.arange(round(on * RATE)) / RATE)
    cycle = [*[beep, np.zeros(round(off * RATE))] * (count - 1), beep, np.zeros(round(pause * RATE))]
    return np.concatenate(cycle * 3).astype(np.float32)


def repeated(sound: Sound, gap_s: float) -> Sound:
    return np.concatenate([sound, np.zeros(round(gap_s * RATE), np.float32)] * 4)


def spectrum_of(sound: Sound) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    """Frequencies and levels in dB of one pulse, windowed."""
    window = sound * np.hanning(len(sound))
    level = 20 * np.log10(np.abs(np.fft.rfft(window, 1 << 16)) + 1e-12)
    return np.fft.rfftfreq(1 << 16, 1 / RATE), level


def pulse_sounds() -> list[Sound]:
    burst = tone.alarm()
    return [burst[round(a * RATE) : round(b * RATE)] for a, b in pulses(burst)]


def partials(pulse: Sound) -> list[tuple[float, float]]:
    """The tops of the spectrum within 30 dB of the highest: (Hz, dB)."""
    hz, level = spectrum_of(pulse)
    inner = level[1:-1]
    tops = np.flatnonzero((inner > level[:-2]) & (inner >= level[2:]) & (inner > level.max() - 30)) + 1
    return [(float(hz[i]), float(level[i])) for i in tops]


def test_burst_has_the_shape_of_high_priority() -> None:
    """IEC 60601-1-8 high priority (from a secondary page): 5 + 5 pulses of 75 to 200 ms, 50 to 125 ms apart,
    350 to 1300 ms between the fifth and the sixth."""
    on, off = lengths_and_gaps(tone.alarm())
    assert len(on) == 10
    assert all(0.075 <= x <= 0.200 for x in on)
    assert all(0.050 <= x <= 0.125 for i, x in enumerate(off) if i != 4)
    assert 0.350 <= off[4] <= 1.300


def test_bursts_repeat_within_the_published_interval() -> None:
    """IEC 60601-1-8 (from a secondary page): 2.5 to 15 s between bursts; the call comes every 12 s."""
    from assistant.core.session import CALL_EVERY_S

    assert 2.5 <= CALL_EVERY_S - len(tone.alarm()) / RATE <= 15


@pytest.mark.parametrize("number", range(10))
def test_pulse_is_a_tone_with_harmonics(number: int) -> None:
    """IEC 60601-1-8: f0 150 to 1000 Hz (secondary page), 4 or more harmonics, 300 to 4000 Hz within 15 dB."""
    found = partials(pulse_sounds()[number])
    fundamental = found[0][0]
    assert 150 <= fundamental <= 1000
    loudest = max(level for _, level in found)
    strong = [hz for hz, level in found if 300 <= hz <= 4000 and level > loudest - 15]
    assert len(strong) >= 4
    assert all(hz / fundamental == pytest.approx(round(hz / fundamental), abs=0.03) for hz in strong)


def test_main_components_lie_where_ears_and_small_loudspeakers_are_good() -> None:
    """ISO 7731 (secondary page): main components, here those within 6 dB of the strongest, 500 to 2500 Hz."""
    for pulse in pulse_sounds():
        found = partials(pulse)
        loudest = max(level for _, level in found)
        assert all(500 <= hz <= 2500 for hz, level in found if level > loudest - 6)
        hz, level = spectrum_of(pulse)
        power = 10 ** (level / 10)
        assert power[(hz >= 500) & (hz <= 2500)].sum() / power.sum() > 0.9


def test_at_most_four_sounds() -> None:
    """NUREG-0700: at most 4 signals told apart by ear."""
    public = [
        name for name, made in vars(tone).items() if not name.startswith("_") and hasattr(made, "cache_info")
    ]
    assert sorted(public) == ["alarm", "caution", "tick", "warning"]
    assert all(not inspect.signature(getattr(tone, name)).parameters for name in public)


def test_the_four_differ_in_count_of_pulses_and_pitch() -> None:
    """Common practice, no source: told apart by rhythm and by where the strongest partial lies."""
    counts = [len(pulses(sound())) for sound in SOUNDS]
    assert counts[0] == 10
    assert counts[1] == 3
    assert len(set(counts)) >= 3
    tops = [max(partials(sound()), key=lambda p: p[1])[0] for sound in SOUNDS]
    assert all(abs(a - b) > 50 for i, a in enumerate(tops) for b in tops[:i])


GAPS_S = [0.1, 0.5, 1.5, 5.0]


def test_the_pattern_checks_see_the_patterns() -> None:
    """A planted evacuation alarm (T3) and CO alarm (T4) are found; each by its own check."""
    t3, t4 = planted(0.5, 0.5, 3, 1.5), planted(0.1, 0.1, 4, 5.0)
    assert (like_t3(t3), like_t4(t3)) == (True, False)
    assert (like_t3(t4), like_t4(t4)) == (False, True)
    assert like_t3(planted(0.46, 0.54, 3, 1.4))
    assert not like_t3(planted(0.3, 0.5, 3, 1.5))


@pytest.mark.parametrize("gap_s", GAPS_S)
@pytest.mark.parametrize("sound", SOUNDS)
def test_nothing_of_ours_is_an_evacuation_or_co_alarm(sound: Callable[[], Sound], gap_s: float) -> None:
    """ISO 8201 T3; T4 from a secondary page. However often it is repeated, and with whatever pause."""
    assert not like_t3(repeated(sound(), gap_s))
    assert not like_t4(repeated(sound(), gap_s))


@pytest.mark.parametrize("sound", SOUNDS)
def test_finished_sound(sound: Callable[[], Sound]) -> None:
    """The same every time, mono float32, no clipping, and no click at either end (-40 dB of its peak)."""
    made = sound()
    assert made.dtype == np.float32
    assert made.ndim == 1
    peak = float(np.abs(made).max())
    assert peak <= 1.0
    assert max(abs(float(made[0])), abs(float(made[-1]))) < peak / 100
    sound.cache_clear()  # type: ignore[attr-defined]
    np.testing.assert_array_equal(made, sound())
