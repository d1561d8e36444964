"""How loud the room is before a run begins: two seconds of the microphone, while nothing of ours sounds."""

from __future__ import annotations

from assistant.ears.microphone import Microphone
from assistant.ears.room_noise import RoomNoise
from assistant.ports import RATE

LISTEN_S = 2.0
WAIT_S = 2.5
"""The first block may take 1.7 s (measured on PulseAudio)."""


def noise_now(microphone: Microphone, seconds: float = LISTEN_S) -> float | None:
    """A-weighted level, dB of full scale; None where nothing comes. Raises OSError without a microphone."""
    noise, heard_s = RoomNoise(), 0.0
    microphone.open()
    try:
        while heard_s < seconds:
            block = microphone.read(WAIT_S)
            if not len(block):
                return None
            noise.feed(block, sounding=False)
            heard_s += len(block) / RATE
    finally:
        microphone.close()
    return noise.level_db()
