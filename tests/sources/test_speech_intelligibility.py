"""The speech intelligibility index against the worked examples of ANSI S3.5-1997, octave method."""

from __future__ import annotations

import pytest

from assistant.core.audibility import (
    IMPORTANCE,
    NORMAL_LEVEL_DB,
    NORMAL_SPEECH_DB,
    Levels,
    octave_edges_hz,
    speech_intelligibility,
    speech_intelligibility_from_ratios,
)

RATE = 48_000


def test_worked_example() -> None:
    """ANSI S3.5-1997, example C.1: 0.504 (as quoted in secondary pages, computed again as 0.50396)."""
    index = speech_intelligibility((50, 40, 40, 30, 20, 0), (70, 65, 45, 25, 1, -15))
    assert index == pytest.approx(0.504, abs=0.0005)
    assert index == pytest.approx(0.50396, abs=0.000005)


def test_normal_speech_in_a_flat_noise() -> None:
    """Normal speech in a noise of 25 dB in every band: 0.369 (secondary, computed again)."""
    assert speech_intelligibility(NORMAL_SPEECH_DB, (25.0,) * 6) == pytest.approx(0.369, abs=0.0005)


def test_importance_adds_up_to_everything() -> None:
    """ANSI S3.5-1997, octave method: the bands share out 1."""
    assert sum(IMPORTANCE) == pytest.approx(1.0, abs=1e-9)


def test_hearing_loss_masks_as_noise_does() -> None:
    """A loss that lifts the threshold over the noise takes away as much as a noise of that height would."""
    quiet = (-60.0,) * 6
    loss = tuple(30.0 - own for own in (-3.90, -9.70, -12.50, -17.70, -25.90, -7.10))
    assert speech_intelligibility(NORMAL_SPEECH_DB, quiet, loss) == pytest.approx(
        speech_intelligibility(NORMAL_SPEECH_DB, (30.0,) * 6), abs=1e-12
    )


def test_too_loud_costs_something() -> None:
    """In quiet, speech 90 dB over normal loses (90 - 10) / 160 in every band."""
    loud = tuple(level + 90 for level in NORMAL_SPEECH_DB)
    assert speech_intelligibility(loud, (-60.0,) * 6) == pytest.approx(1 - 80 / 160, abs=1e-9)


def test_overall_level_of_normal_speech() -> None:
    """ANSI S3.5-1997: 62.35 dB over all bands (from memory; there by finer bands, so to 0.5 dB)."""
    assert pytest.approx(62.35, abs=0.5) == NORMAL_LEVEL_DB


def octave_levels(spectrum: tuple[float, ...]) -> Levels:
    """Octave levels of six spectrum levels, with the two lowest octaves left empty."""
    from math import log10

    edges = [octave_edges_hz(hz) for hz in (250, 500, 1000, 2000, 4000, 8000)]
    own = [s + 10 * log10(high - low) for s, (low, high) in zip(spectrum, edges, strict=True)]
    return Levels((-100.0, -100.0, *own), 0.0)


def test_ratios_give_what_levels_give_at_the_assumed_loudness() -> None:
    """Recorded 80 dB lower, both, the second example comes out again."""
    speech = octave_levels(NORMAL_SPEECH_DB).raised(-80)
    noise = octave_levels((25.0,) * 6).raised(-80)
    assert speech_intelligibility_from_ratios(speech, noise, RATE) == pytest.approx(0.3694, abs=0.0005)


def test_in_a_drowning_noise_the_assumed_loudness_hardly_matters() -> None:
    """The first example's ratio of speech to noise 10 dB louder or quieter at the ear: the index moves by less than 0.06."""
    speech = octave_levels((50, 40, 40, 30, 20, 0))
    noise = octave_levels((70, 65, 45, 35, 25, 10))
    indices = [
        speech_intelligibility_from_ratios(speech, noise, RATE, NORMAL_LEVEL_DB + d) for d in (-10, 0, 10)
    ]
    assert max(indices) - min(indices) < 0.06


def test_no_speech_is_not_understood() -> None:
    silence = Levels((float("-inf"),) * 8, float("-inf"))
    assert speech_intelligibility_from_ratios(silence, octave_levels((25.0,) * 6), RATE) == 0.0


def test_noise_above_half_the_rate_is_taken_to_go_on() -> None:
    """A recording of 16 kHz holds 5623 to 8000 Hz of the highest octave: a flat noise there is one of the whole octave."""
    from math import log10

    low, high = octave_edges_hz(8000)
    full = octave_levels((25.0,) * 6)
    cut = Levels((*full.octaves_db[:-1], full.octaves_db[-1] - 10 * log10((high - low) / (8000 - low))), 0.0)
    speech = octave_levels((40.0,) * 6)
    assert speech_intelligibility_from_ratios(speech, cut, 16_000) == pytest.approx(
        speech_intelligibility_from_ratios(speech, full, RATE), abs=1e-9
    )
