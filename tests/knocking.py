"""Knocks made of what happens: a knuckle's push, the wood or the basin that rings, the room.

No recording: modes and damping are from memory (a table top's lowest modes at
some 100 to 900 Hz, dying within tens of milliseconds; a basin's higher).
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from assistant.ports import RATE, Samples
from assistant.room import acoustics
from assistant.room.home import Walls


@dataclass(frozen=True, slots=True)
class Body:
    """What is knocked on: its modes in Hz, how long they ring (time constant), and how long the knuckle stays on it."""

    modes_hz: tuple[float, float]
    ring_s: tuple[float, float]
    contact_s: tuple[float, float]


TABLE = Body((110.0, 900.0), (0.006, 0.025), (0.0008, 0.002))
BASIN = Body((350.0, 2200.0), (0.008, 0.03), (0.0006, 0.0015))
BODIES = {"table": TABLE, "basin": BASIN}


def strikes(body: Body, rng: np.random.Generator, count: int) -> list[Samples]:
    """Knocks on one spot: the same modes, each strike exciting them a little differently; 0.25 s, without a room."""
    t = np.arange(int(0.25 * RATE)) / RATE
    modes = np.exp(rng.uniform(*np.log(body.modes_hz), 7))
    ringing = np.exp(-t / rng.uniform(*body.ring_s, (7, 1))) * np.sin(2 * np.pi * modes[:, None] * t)
    gains, contact_s = rng.uniform(0.3, 1.0, 7), rng.uniform(*body.contact_s)
    made = []
    for _ in range(count):
        here = gains * 10 ** (rng.normal(0.0, 2.0, 7) / 20)
        contact = np.hanning(max(3, int(contact_s * rng.uniform(0.8, 1.2) * RATE)))
        knock = np.convolve(here @ ringing, contact)[: len(t)]
        made.append((knock / np.abs(knock).max()).astype(np.float32))
    return made


def knocks(
    body: Body,
    rng: np.random.Generator,
    *,
    count: int = 2,
    peak_db: float = -15.0,
    walls: Walls | None = None,
) -> tuple[Samples, float]:
    """`count` knocks by one hand in the room with 1 s of silence around them; and when the last of them falls, s."""
    struck = strikes(body, rng, count)
    apart = rng.uniform(0.16, 0.45)
    at = 1.0
    sound = np.zeros(int(RATE * (2.5 + count * 0.6)), np.float32)
    last = at
    for knock in struck:
        begin = int(at * RATE)
        sound[begin : begin + len(knock)] += np.float32(10 ** (rng.uniform(-2.0, 2.0) / 20)) * knock
        last = at
        at += apart * rng.uniform(0.9, 1.1)
    if walls is not None:
        impulse = acoustics.response(walls, rng.uniform(0.4, 1.5), rng.uniform(0.0, 1.0))
        sound = acoustics.through(sound, impulse)[: len(sound)]
    return (sound * np.float32(acoustics.gain(peak_db)) / np.abs(sound).max()).astype(np.float32), last
