"""How tall a letter must be to be read from across the room, and the page's styles made from it.

Heights are of capital letters and digits. The page turns millimetres into pixels
with the screen's diagonal, which no browser knows and the user may give.
"""

from __future__ import annotations

import math

LEAST_ARCMIN = 16.0
"""The smallest letter that may be used (NUREG-0700's minimum, as in the usual legibility tables)."""
EASY_ARCMIN = 22.0
"""The upper end of what those tables prefer, 20 to 22."""

DISTANCE_M = 2.0
"""From the chair to the screen across a bathroom (our assumption)."""
DIAGONAL_IN = 14.0
"""A usual laptop's screen (our assumption; the option for it is there to be used)."""
HAND_HELD_IN = 11.0
"""A screen smaller than this has no room for the whole page at 16' from 2 m: a line of a phone's holds nine letters.

Only the clocks and the call are made for the whole distance there, the place and
what to say for half of it, the rest for an arm's length. Measured over every prompt
of whole runs: from 13.3 in up nothing gets smaller than asked for but last words that
are long; at 11.6 in one page in sixteen does, by a tenth.
"""
ARM_M = 0.7
"""An arm's length (our assumption)."""

MM_AN_INCH = 25.4


def height_mm(distance_m: float, arcmin: float) -> float:
    """The height of a letter that is seen at `arcmin` minutes of arc from `distance_m`: 2 pi d a / 21600."""
    return 2 * math.pi * distance_m * 1000 * arcmin / 21600


def styles(diagonal_in: float, distance_m: float) -> str:
    """The numbers `page.css` is written in, as custom properties: millimetres without a unit.

    Raises ValueError for a size or distance that is not above zero.
    """
    if not (0 < diagonal_in < math.inf and 0 < distance_m < math.inf):
        raise ValueError(
            f"a screen of {diagonal_in:g} inches seen from {distance_m:g} m: both must be above zero"
        )
    hand_held = diagonal_in < HAND_HELD_IN
    values = {
        "screen": diagonal_in * MM_AN_INCH,
        "far": height_mm(distance_m, LEAST_ARCMIN if hand_held else EASY_ARCMIN),
        "easy": height_mm(distance_m / 2, LEAST_ARCMIN) if hand_held else height_mm(distance_m, EASY_ARCMIN),
        "rest": height_mm(min(ARM_M, distance_m) if hand_held else distance_m, LEAST_ARCMIN),
    }
    return ":root { " + " ".join(f"--{name}-mm: {value:.3f};" for name, value in values.items()) + " }\n"
