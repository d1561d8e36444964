"""`python -m tests.knock_bench [--corpus DIR] [--json F]`: double knocks found, and false ones an hour.

Knocks are made (see `tests.knocking`): table and basin, three rooms, four levels,
in quiet, tap noise and talk. False signs are counted in the corpus' noise and
talk, in the shipped talk, in made crockery, and in the tool's own prompts when they are not
known to be ours. Intervals as in `tests.hearing_bench`.
"""

from __future__ import annotations

import argparse
import json
from collections.abc import Iterator
from pathlib import Path

import numpy as np

from assistant.ears.knocks import Knocks
from assistant.files.places import audio_fixtures_folder
from assistant.ports import RATE, Samples
from assistant.room import acoustics
from assistant.room.home import Walls
from tests.hearing_bench.intervals import per_hour, share
from tests.knocking import BODIES, Body, knocks, strikes

ROOMS = {"bathroom": 0.5, "tiled": 0.9, "furnished": 0.25}
"""Reverberation times, s."""
PEAKS_DB = (-10.0, -20.0, -30.0, -40.0)
BLOCK = RATE // 50
TRIES = 10
NEAR_S = 0.1
ROOM_DB = -75.0


def signs(sound: Samples) -> list[float]:
    """Times of double knocks in `sound`, fed as the loop feeds it."""
    knocking, found = Knocks(), []
    silence = np.zeros(BLOCK, np.float32)
    sound = np.concatenate([sound, np.zeros(2 * RATE, np.float32)])
    for begin in range(0, len(sound) - BLOCK + 1, BLOCK):
        found += knocking.feed(sound[begin : begin + BLOCK], silence, (begin + BLOCK) / RATE)
    return found


def floor(count: int, rng: np.random.Generator) -> Samples:
    """A quiet room's own noise."""
    return (rng.standard_normal(count) * acoustics.gain(ROOM_DB)).astype(np.float32)


def hits(corpus: Path | None) -> dict[str, object]:
    """Found double knocks by room and body, by level, and in noise (noise at its level against a person's -26 dB)."""
    rng = np.random.default_rng(7)
    counts: dict[str, list[bool]] = {}
    noises: dict[str, Samples | None] = {"quiet": None}
    for name, file in (("tap", "running_tap_a"), ("dishes", "doing_the_dishes_a")):
        if corpus is not None:
            noises[name] = acoustics.read_sound(corpus / "noise" / f"{file}.flac")
    if corpus is not None:
        talk = sorted((corpus / "continuous_conversation").glob("*.flac"))
        noises["talk"] = acoustics.read_sound(talk[0])
    for name, noise in noises.items():
        for snr in (None,) if noise is None else (20, 10):
            for peak in PEAKS_DB:
                for room, rt60 in ROOMS.items():
                    for kind, body in BODIES.items():
                        for _ in range(TRIES if noise is None else TRIES // 2):
                            sound, at = knocks(body, rng, peak_db=peak, walls=Walls(rt60_s=rt60))
                            sound = sound + floor(len(sound), rng)
                            if noise is not None and snr is not None:
                                begin = rng.integers(0, len(noise) - len(sound))
                                level = acoustics.TALK_DB - snr
                                sound = sound + acoustics.at_level(noise, level)[begin : begin + len(sound)]
                            hit = any(abs(t - at) < NEAR_S for t in signs(sound))
                            where = name if snr is None else f"{name} {snr} dB"
                            counts.setdefault(f"{where}, peak {peak:g} dB", []).append(hit)
                            if noise is None and peak >= -30:
                                counts.setdefault(f"quiet, {room}", []).append(hit)
                                counts.setdefault(f"quiet, {kind}", []).append(hit)
    return {name: share(sum(found), len(found)) for name, found in counts.items()}


def crockery(seconds: float, rng: np.random.Generator) -> Samples:
    """Plates and cups put down and knocked together, in the bathroom: bodies that ring higher and longer."""
    sound = np.zeros(int(seconds * RATE), np.float32)
    plates = Body((600.0, 6500.0), (0.01, 0.12), (0.0001, 0.0006))
    at = 0.5
    while at < seconds - 1:
        body = plates if rng.random() < 0.8 else BODIES["table"]  # or something is put down on the table
        for _ in range(rng.integers(1, 5)):
            clink = strikes(body, rng, 1)[0] * np.float32(acoustics.gain(rng.uniform(-35, -12)))
            begin = int(at * RATE)
            stop = min(len(sound), begin + len(clink))
            sound[begin:stop] += clink[: stop - begin]
            at += rng.exponential(0.15) + 0.03
        at += rng.exponential(1.2)
    impulse = acoustics.response(Walls(rt60_s=0.5), 1.0, 0.4)
    return acoustics.through(sound, impulse)[: len(sound)] + floor(len(sound), rng)


def strangers(corpus: Path | None) -> Iterator[tuple[str, Samples]]:
    """What is no knock, by kind; at the level of a person or of loud noise."""
    rng = np.random.default_rng(8)
    for path in sorted((audio_fixtures_folder() / "talk").rglob("*.flac")):
        yield "shipped talk", acoustics.at_level(acoustics.read_sound(path), acoustics.TALK_DB)
    for _ in range(20):
        yield "made crockery", crockery(60.0, rng)
    if corpus is None:
        return
    for kind in ("noise", "continuous_conversation", "continuous_read", "sc_other", "sc_command", "digits"):
        for path in sorted((corpus / kind).rglob("*.flac")):
            sound = acoustics.read_sound(path)
            for level in (
                (acoustics.TALK_DB, acoustics.TALK_DB - 12) if kind == "noise" else (acoustics.TALK_DB,)
            ):
                yield (path.stem if kind == "noise" else kind), acoustics.at_level(sound, level)


def false_signs(corpus: Path | None) -> dict[str, object]:
    counts: dict[str, list[float]] = {}
    for kind, sound in strangers(corpus):
        kept = counts.setdefault(kind, [0, 0.0])
        kept[0] += len(signs(sound))
        kept[1] += len(sound) / RATE
    counts["all"] = [sum(k[0] for k in counts.values()), sum(k[1] for k in counts.values())]
    return {
        kind: per_hour(int(n), seconds) | {"signs": n, "minutes": round(seconds / 60, 1)}
        for kind, (n, seconds) in counts.items()
    }


def main() -> int:
    command = argparse.ArgumentParser(prog="python -m tests.knock_bench", description=__doc__)
    command.add_argument("--corpus", type=Path, default=Path("../shared/corpus"), help="human talk and noise")
    command.add_argument("--json", type=Path, metavar="F", help="write the figures")
    chosen = command.parse_args()
    corpus = chosen.corpus if chosen.corpus.is_dir() else None
    result = {"hits": hits(corpus), "false": false_signs(corpus), "corpus": corpus is not None}
    for name, found in result["hits"].items():  # type: ignore[attr-defined]
        print(
            f"{name:<28} found {found['rate']:6.1%}  [{found['low']:.1%} {found['high']:.1%}]  n {found['n']}"
        )
    for name, found in result["false"].items():  # type: ignore[attr-defined]
        print(
            f"{name:<28} {found['signs']:3g} in {found['minutes']:6.1f} min: at most {found['high']:.1f} an hour"
        )
    if chosen.json:
        chosen.json.write_text(json.dumps(result, indent=2) + "\n", "utf-8")
    return 0


if __name__ == "__main__":
    raise SystemExit(main())
