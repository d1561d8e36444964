"""Steady noise taken out of one utterance, for the engine that hears better so.

A Wiener filter with decision-directed gain (Ephraim and Malah, from memory); the
noise is the quieter part of the utterance itself, so some silence must be
around the speech. Helps pocketsphinx (10 dB of tap: 85 of 123 phrases right
instead of 63), harms the scored phrases. Called by `ears.moonshine`.
"""

from __future__ import annotations

import numpy as np
from numpy.lib.stride_tricks import sliding_window_view

from assistant.ports import Samples

SIZE, HOP = 512, 128
QUIETER = 0.15
"""This quantile of each bin over time is noise..."""
TO_MEAN = 2.2
"""...and its mean lies this far above it."""
CARRIED = 0.96
LEAST_GAIN = 0.1


def denoise(sound: Samples) -> Samples:
    """`sound` of the same length with its steady noise turned down by up to 20 dB."""
    window = np.hanning(SIZE + 1)[:-1]
    padded = np.concatenate([np.zeros(SIZE), sound, np.zeros(SIZE)])
    spectra = np.fft.rfft(sliding_window_view(padded, SIZE)[::HOP] * window)
    power = np.abs(spectra) ** 2
    noise = np.quantile(power[4:-4], QUIETER, axis=0) * TO_MEAN
    noise = np.convolve(np.pad(noise, 2, "edge"), np.full(5, 0.2), "valid") + 1e-12
    gains = np.empty_like(power)
    before = np.zeros(power.shape[1])
    for i, now in enumerate(power / noise):
        ratio = np.maximum(CARRIED * before + (1 - CARRIED) * np.maximum(now - 1, 0), 0.003)
        gains[i] = np.maximum(ratio / (1 + ratio), LEAST_GAIN)
        before = gains[i] ** 2 * now
    pieces = np.fft.irfft(spectra * gains) * window
    out = np.zeros(len(padded))
    for i, piece in enumerate(pieces):
        out[i * HOP : i * HOP + SIZE] += piece
    out /= np.sum(window[::HOP] ** 2)
    return out[SIZE : SIZE + len(sound)].astype(np.float32)
