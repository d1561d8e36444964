"""What lies between a mouth and the microphone: noise, other talk, walls, distance, a level that clips."""

from __future__ import annotations

from dataclasses import dataclass
from functools import cache

import numpy as np

from assistant.ports import Samples
from assistant.room import acoustics
from assistant.room.home import Walls

PERSON_DB = acoustics.TALK_DB
SENSOR_DB = -75.0


@dataclass(frozen=True, slots=True)
class Condition:
    """`noise` is "", "tap" or "babble", `snr_db` below the person; `rt60_s` and `distance_m` the room;
    `level_db` the person's level at the microphone, `clip_db` how far they overdrive it."""

    name: str
    noise: str = ""
    snr_db: float = 0.0
    rt60_s: float | None = None
    distance_m: float = 1.0
    level_db: float = PERSON_DB
    clip_db: float | None = None


CONDITIONS = (
    Condition("quiet"),
    *(Condition(f"tap_{db}_db", "tap", db) for db in (20, 10, 5, 0)),
    *(Condition(f"babble_{db}_db", "babble", db) for db in (20, 10, 5, 0)),
    Condition("bathroom", rt60_s=0.6, distance_m=1.2),
    Condition("bathroom_tap_10_db", "tap", 10, rt60_s=0.6, distance_m=1.2),
    Condition("far", rt60_s=0.4, distance_m=2.2, level_db=PERSON_DB - 16),
    Condition("clipped", clip_db=15.0),
)


@cache
def _walls(rt60_s: float, distance_m: float) -> tuple[float, ...]:
    impulse = acoustics.response(Walls(rt60_s=rt60_s), distance_m, 0.4)
    return tuple((impulse * acoustics.gain(-acoustics.gain_db(impulse))).tolist())


def arrive(
    condition: Condition, speech: Samples, noises: dict[str, Samples], rng: np.random.Generator
) -> Samples:
    """A stream in which people speak at PERSON_DB, as the microphone gives it."""
    heard = speech
    if condition.rt60_s is not None:
        impulse = np.array(_walls(condition.rt60_s, condition.distance_m), np.float32)
        heard = acoustics.through(speech, impulse)[: len(speech)]
    heard = heard * np.float32(acoustics.gain(condition.level_db - PERSON_DB))
    if condition.noise:
        source = noises[condition.noise]
        looped = np.resize(np.roll(source, int(rng.integers(len(source)))), len(heard))
        power = acoustics.power_db(float(np.mean(source.astype(np.float64) ** 2)))
        heard = heard + looped * np.float32(acoustics.gain(condition.level_db - condition.snr_db - power))
    heard = heard + rng.standard_normal(len(heard)).astype(np.float32) * np.float32(acoustics.gain(SENSOR_DB))
    if condition.clip_db is not None:
        top = acoustics.gain(
            PERSON_DB + 12 - condition.clip_db
        )  # peaks of speech lie some 12 dB over its level
        heard = np.clip(heard, -top, top)
    arrived: Samples = heard.astype(np.float32)
    return arrived
