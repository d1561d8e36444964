"""One noise and one track on the devices that the environment names, as JSON: `python -m tests.app.soundcheck_here`."""

from __future__ import annotations

from datetime import date

import numpy as np
import soundfile

from assistant.app.sound_figures import Take, Takes, Track, result
from assistant.app.sound_room import RealRoom
from assistant.files.places import audio_fixtures_folder
from assistant.ports import RATE


def listened(room: RealRoom, seconds: float) -> Take:
    """What came in so many seconds and a little more."""
    heard, played = [], []
    while sum(map(len, heard)) < seconds * RATE:
        one, other = room.read()
        heard.append(one)
        played.append(other)
    return Take(np.concatenate(heard), np.concatenate(played))


def main() -> None:
    clips = audio_fixtures_folder() / "clips"
    person, helper = (
        soundfile.read(clips / voice / "next_step.flac", dtype="float32")[0]
        for voice in ("flite_slt", "flite_rms")
    )
    track = Track(person, helper)
    with RealRoom("pulse", "pulse") as room:
        listened(room, 1.2)
        noise = listened(room, 1.0).heard
        room.play(track.sound)
        take = listened(room, len(track.sound) / RATE + 0.5)
    made = result(Takes(noise, take, noise, take), track, today=date(2024, 3, 1), device=room.device)
    print(made.model_dump_json(by_alias=True))


if __name__ == "__main__":
    main()
