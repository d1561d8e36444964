"""How loud the people here are, and so whether somebody shouts, or it can be none of them.

Speech that is understood in a run shows how loud these people are at this
microphone; a shout stands far above it, what is left of our own voice below. Pure:
levels in, levels and a yes or no out. Called by `app.loop`; what a shout leads to is
`core.session`'s business, what is too soft that of `core.hearing`.
"""

from __future__ import annotations

import statistics
from dataclasses import dataclass

ABOVE_USUAL_DB = 9.0
"""Vocal effort in ANSI S3.5-1997, at 1 m (from memory): normal 62, raised 68, loud 75, shout 82 dB. The middle of
raised and loud: talking up against a tap is no shout."""
SOFTER_DB = 6.0
"""Nobody here is so far below the softest tenth of what was understood: people move and turn away (our choice). Of 377
stop phrases over prompts none was 10 dB below the person's level, pieces of our own voice were 15 to 38 dB below."""
FEWEST = 5
"""So many phrases make a usual level; before that nothing is taken for a shout, or for too soft."""
REMEMBERED = 31


@dataclass(frozen=True, slots=True)
class Loudness:
    """Levels of the phrases understood so far, dB of full scale, the latest last."""

    levels_db: tuple[float, ...] = ()

    def after(self, level_db: float) -> Loudness:
        """With one more phrase that was understood."""
        return Loudness((*self.levels_db, level_db)[-REMEMBERED:])

    @property
    def usual_db(self) -> float | None:
        """The median; None while too little was heard."""
        return statistics.median(self.levels_db) if len(self.levels_db) >= FEWEST else None

    @property
    def softest_db(self) -> float:
        """Speech below this comes from nobody here; -inf while too little was heard."""
        if len(self.levels_db) < FEWEST:
            return float("-inf")
        return statistics.quantiles(self.levels_db, n=10, method="inclusive")[0] - SOFTER_DB

    def is_shout(self, level_db: float) -> bool:
        usual = self.usual_db
        return usual is not None and level_db >= usual + ABOVE_USUAL_DB
