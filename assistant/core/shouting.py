"""Whether somebody shouts, by the level of speech against what is usual in this room.

Speech that is understood in a run shows how loud these people are at this
microphone; a shout stands far above it. Pure: levels in, a yes or no out. Called by
`app.loop`; what a shout leads to is `core.session`'s business.
"""

from __future__ import annotations

import statistics
from dataclasses import dataclass

ABOVE_USUAL_DB = 9.0
"""Vocal effort in ANSI S3.5-1997, at 1 m (from memory): normal 62, raised 68, loud 75, shout 82 dB. The middle of
raised and loud: talking up against a tap is no shout."""
FEWEST = 5
"""So many phrases make a usual level; before that nothing is taken for a shout."""
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

    def is_shout(self, level_db: float) -> bool:
        usual = self.usual_db
        return usual is not None and level_db >= usual + ABOVE_USUAL_DB
