"""The A-weighting against the published table."""

from __future__ import annotations

import math

import numpy as np
import pytest

from assistant.core.audibility import a_weighted_level_db, a_weighting_db

TABLE_DB = (
    -70.4, -63.4, -56.7, -50.5, -44.7, -39.4, -34.6, -30.2, -26.2, -22.5, -19.1, -16.1, -13.4, -10.9,
    -8.6, -6.6, -4.8, -3.2, -1.9, -0.8, 0.0, 0.6, 1.0, 1.2, 1.3, 1.2, 1.0, 0.5, -0.1, -1.1, -2.5,
    -4.3, -6.6, -9.3,
)  # fmt: skip
"""IEC 61672-1, third-octaves from 10 Hz to 20 kHz, exact mid-band frequencies 1000 x 10^(n/10)."""
MID_BANDS_HZ = [1000 * 10 ** (n / 10) for n in range(-20, 14)]


@pytest.mark.parametrize(("hz", "db"), list(zip(MID_BANDS_HZ, TABLE_DB, strict=True)))
def test_closed_form_meets_the_table(hz: float, db: float) -> None:
    """IEC 61672-1: the table is rounded to 0.1 dB, the closed form is within 0.05 dB of what was rounded."""
    assert a_weighting_db(hz) == pytest.approx(db, abs=0.0501)


@pytest.mark.parametrize("hz", [63, 251, 501, 1000, 1995, 3981, 7943])
def test_level_of_a_tone_is_its_weight(hz: int) -> None:
    """A sine's A-weighted level is its own level (-3.01 dB of full scale) and the table's weight."""
    samples = np.sin(2 * np.pi * hz * np.arange(32_000) / 32_000).astype(np.float32)
    expected = TABLE_DB[round(10 * math.log10(hz / 1000)) + 20] - 3.0103
    assert a_weighted_level_db(samples, 32_000) == pytest.approx(expected, abs=0.1)


def test_weighted_levels_add_by_power() -> None:
    """Two tones of equal weighted level are 3.01 dB above one."""
    t = np.arange(16_000) / 16_000
    one = np.sin(2 * np.pi * 1000 * t).astype(np.float32)
    other = np.sin(2 * np.pi * 2000 * t).astype(np.float32) * np.float32(10 ** (-a_weighting_db(2000.0) / 20))
    both = a_weighted_level_db(one + other, 16_000)
    assert both - a_weighted_level_db(one, 16_000) == pytest.approx(3.0103, abs=0.01)


def test_an_odd_count_of_samples_counts_alike() -> None:
    noise = np.random.default_rng(1).standard_normal(16_001).astype(np.float32)
    even = a_weighted_level_db(noise[:-1], 16_000)
    assert a_weighted_level_db(noise, 16_000) == pytest.approx(even, abs=0.05)


def test_edges() -> None:
    """Silence, nothing at all, 0 Hz, and what is no frequency."""
    assert a_weighted_level_db(np.zeros(100, np.float32), 16_000) == -math.inf
    assert a_weighted_level_db(np.zeros(0, np.float32), 16_000) == -math.inf
    assert a_weighting_db(0) == -math.inf
    with pytest.raises(ValueError, match="-1"):
        a_weighting_db(-1)
