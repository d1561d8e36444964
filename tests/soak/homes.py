"""The home of a soak run, drawn from its seed: people, noise, slips, words off script, and what fails when."""

from __future__ import annotations

import random
from typing import Any

import yaml

from assistant.core.hearing import Risk
from assistant.files.yaml_file import parse
from assistant.room.home import Home
from tests.programs import ROUTINES, program

LASTS_S: dict[str, tuple[float, float]] = {
    "microphone_lost": (5, 120),
    "microphone_silent": (5, 120),
    "microphone_frozen": (5, 120),
    "microphone_wrong_rate": (5, 60),
    "speaker_lost": (5, 90),
    "speaker_muted": (5, 90),
    "recogniser_hung": (5, 120),
    "recogniser_crashed": (5, 120),
    "voice_missing": (5, 60),
    "disk_full": (5, 300),
    "journal_read_only": (5, 300),
    "clock_forward": (60, 600),
    "clock_back": (60, 600),
    "sleep": (20, 600),
    "killed": (5, 90),
    "guard_killed": (3, 10),
    "starved": (5, 60),
    "key_storm": (1, 4),
}
"""What fails, and the least and the greatest seconds it lasts."""


def drawn(seed: int) -> tuple[str, dict[str, Any]]:
    """The routine and the home file's content of this seed."""
    chance = random.Random(seed)
    routine = chance.choice(ROUTINES)
    voices = ["flite_slt", "flite_rms", "flite_awb"]
    home: dict[str, Any] = {
        "title": f"soak {seed}",
        "seed": seed,
        "people": {
            "person": {
                "voice": {"clips": chance.choice(voices)},
                "distance_m": round(chance.uniform(0.5, 1.5), 2),
            },
            "helper": {
                "voice": {"clips": chance.choice(voices)},
                "distance_m": round(chance.uniform(0.8, 1.8), 2),
            },
        },
        "pace": {
            "spread": 0.2,
            "confirm_s": round(chance.uniform(1, 6), 1),
            "tick_s": 1.0,
            "zone_min": {"default": round(chance.uniform(0.3, 4), 2)},
            "early_start_s": chance.choice([0, 0, 0, 20]),
        },
        "noise": chance.choice(
            [
                {"source": "none"},
                {"source": "tap", "snr_db": 10, "when": "tap on"},
                {"source": "tap", "snr_db": 15},
            ]
        ),
        "hair": {
            "straight_after_min": round(chance.uniform(5, 20), 1),
            "colour_left": chance.choice([0, 0, 1]),
        },
        "mistakes": {"silent": chance.choice([0, 0.05]), "talk_per_min": chance.choice([0, 0.5])},
    }
    home["off_script"] = [_deed(chance, routine) for _ in range(chance.choice([0, 0, 1, 2]))]
    home["faults"] = [_fault(chance) for _ in range(chance.choice([1, 2, 3]))]
    return routine, home


def home_of(content: dict[str, Any]) -> Home:
    return parse(yaml.safe_dump(content), "soak.yaml").into(Home)


def _moment(chance: random.Random) -> str | float:
    if chance.random() < 0.6:
        return f"{chance.uniform(0, 1300):.0f} s after cream on"
    return (
        f"{chance.uniform(0, 60):.0f} s after rinse"
        if chance.random() < 0.4
        else round(chance.uniform(5, 1200))
    )


def _deed(chance: random.Random, routine: str) -> dict[str, Any]:
    made = program(routine)
    stops = [p for p in made.book.live(made.book.heard, made.zones) if p.risk is Risk.STOP]
    others = ["how much time is left", "say it again", "wait a moment", "cream on my skin"]
    if chance.random() < 0.6:
        return {"at": _moment(chance), "who": "person", "say": chance.choice(others)}
    at = f"{chance.uniform(0, 1300):.0f} s after cream on"  # before it, the run would end there
    return {"at": at, "who": "person", "say": chance.choice(stops).text}


def _fault(chance: random.Random) -> dict[str, Any]:
    what = chance.choice(list(LASTS_S))
    return {"at": _moment(chance), "what": what, "for_s": round(chance.uniform(*LASTS_S[what]), 1)}
