"""The options that say which devices a walk by voice uses; no sound library is imported for them."""

from __future__ import annotations

import argparse
from pathlib import Path


def add_devices(command: argparse.ArgumentParser) -> None:
    command.add_argument("--vosk-model", type=Path, help="a Vosk model folder")
    command.add_argument("--microphone", help="input device, by sounddevice's name")
    command.add_argument("--speaker", help="output device, by sounddevice's name")
