"""Louder than full scale, without the harshness of cutting: what is above the knee is bent.

Called by `mouth.mixer` for what adds up, and by the second process for calls that
grow. numpy alone.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

Samples = NDArray[np.float32]

KNEE = 0.9
"""Up to here a sample is left as it is; what is above is bent so that it stays within 1."""


def limited(sound: Samples) -> Samples:
    """`sound` within -1..1."""
    size = np.abs(sound)
    if size.max(initial=0.0) <= KNEE:
        return sound
    bent = KNEE + (1 - KNEE) * np.tanh((size - KNEE) / (1 - KNEE))
    return np.asarray(np.where(size > KNEE, np.copysign(bent, sound), sound), dtype=np.float32)
