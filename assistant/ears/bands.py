"""Sound as levels in a few bands of speech, 20 ms at a time.

Called by `ears.endpoint` and `ears.echo`; what the levels mean is decided there.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from assistant.ports import RATE, Samples

FRAME = RATE // 50
"""20 ms, one of the lengths webrtcvad takes."""
EDGES_HZ = (250, 450, 700, 1000, 1400, 1900, 2500, 3300, 4300)
"""Band edges: where speech is, about equally important to each band (after the shape of ANSI S3.5; common
practice)."""
BANDS = len(EDGES_HZ) - 1
QUIETEST_DB = -90.0

Levels = NDArray[np.float32]

_WINDOW = np.hanning(FRAME + 1)[:-1].astype(np.float32)
_SIZE = 512
_BINS = np.searchsorted(np.fft.rfftfreq(_SIZE, 1 / RATE), EDGES_HZ)
_SUM = np.zeros((_SIZE // 2 + 1, BANDS), np.float32)
for _b in range(BANDS):
    _SUM[_BINS[_b] : _BINS[_b + 1], _b] = 2.0 / (_SIZE * float(np.sum(_WINDOW**2)))


def band_levels(frames: Samples) -> Levels:
    """Level in dB (full-scale square wave 0) of each band of each frame: (n, 320) to (n, 8)."""
    spectrum = np.fft.rfft(frames * _WINDOW, _SIZE, axis=1)
    power = (spectrum.real**2 + spectrum.imag**2).astype(np.float32) @ _SUM
    levels: Levels = np.maximum(10.0 * np.log10(power + 1e-12), QUIETEST_DB).astype(np.float32)
    return levels
