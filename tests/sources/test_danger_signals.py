"""When an alarm stands out of a noise: ISO 7731's criteria, by cases computed by hand.

Octaves from 63 Hz to 8 kHz. The criterion of 15 dB in A-weighted level and the
slope of 7.5 dB are from memory, 10 dB in an octave is quoted in secondary pages.
"""

from __future__ import annotations

import pytest

from assistant.core.audibility import Levels, alarm_margin, masked_threshold_db


def test_masked_threshold_by_hand() -> None:
    """max(noise, threshold of the octave below - 7.5): 60, 55, 47.5, 40, 32.5 (or 35), 35, 27.5, 20 (or 30)."""
    noise = (60.0, 55.0, 40.0, 30.0, 20.0, 35.0, 10.0, 30.0)
    assert masked_threshold_db(noise) == (60.0, 55.0, 47.5, 40.0, 32.5, 35.0, 27.5, 30.0)


def test_a_loud_low_octave_masks_upward() -> None:
    """A rumble of 90 dB at 63 Hz reaches up to 37.5 dB at 8 kHz over a noise of 10 dB."""
    assert masked_threshold_db((90.0, *(10.0,) * 7)) == tuple(90 - 7.5 * n for n in range(8))


def levels(at: dict[int, float], a_db: float, rest: float) -> Levels:
    return Levels(tuple(at.get(hz, rest) for hz in (63, 125, 250, 500, 1000, 2000, 4000, 8000)), a_db)


NOISE = levels({}, 50.0, 40.0)


@pytest.mark.parametrize(
    ("alarm_a", "alarm_1000", "a_margin", "octave_margin", "short", "stands_out"),
    [
        (66.0, 45.0, 16.0, 5.0, -1.0, True),  # by the A-weighted level alone
        (65.0, 45.0, 15.0, 5.0, 0.0, False),  # 15 is not more than 15
        (55.0, 51.0, 5.0, 11.0, -1.0, True),  # by one octave alone
        (55.0, 50.0, 5.0, 10.0, 0.0, False),  # 10 is not more than 10
        (59.0, 44.0, 9.0, 4.0, 6.0, False),  # 6 short of both
        (70.0, 60.0, 20.0, 20.0, -10.0, True),
    ],
)
def test_either_criterion_is_enough(
    alarm_a: float, alarm_1000: float, a_margin: float, octave_margin: float, short: float, stands_out: bool
) -> None:
    found = alarm_margin(levels({1000: alarm_1000}, alarm_a, -100.0), NOISE)
    assert (found.a_db, found.octave_db, found.octave_hz) == (a_margin, octave_margin, 1000)
    assert found.short_db == pytest.approx(short)
    assert found.stands_out is stands_out


def test_only_octaves_of_danger_signals_count() -> None:
    """500 to 2500 Hz (secondary): a whistle at 8 kHz far over the noise there does not make an alarm."""
    found = alarm_margin(levels({8000: 90.0, 500: 41.0}, 52.0, -100.0), NOISE)
    assert (found.octave_db, found.octave_hz) == (1.0, 500)
    assert not found.stands_out


def test_masking_from_below_counts_against_the_alarm() -> None:
    """A hum of 70 dB at 250 Hz lifts the threshold at 500 Hz from 40 to 62.5: 70 there is 7.5 over it, not 30."""
    noise = levels({250: 70.0}, 62.0, 40.0)
    found = alarm_margin(levels({500: 70.0}, 67.0, -100.0), noise)
    assert found.octave_db == pytest.approx(7.5)
    assert found.short_db == pytest.approx(2.5)
