"""`combside soundcheck --ears`: which recogniser listens here, and why."""

from __future__ import annotations

import argparse
import json
from dataclasses import asdict
from pathlib import Path

from assistant.cli import status
from assistant.ears.choose import GET_VOSK, engines


def add_to(commands: argparse._SubParsersAction[argparse.ArgumentParser]) -> None:
    command = commands.add_parser(
        "soundcheck",
        help="which recogniser is used, and why",
        description="Lists the recognisers, which one is used and why, and how to get a Vosk model.",
        epilog="example: combside soundcheck --ears",
    )
    command.add_argument(
        "--ears", action="store_true", help="list the recognisers (the only check there is yet)"
    )
    command.add_argument("--vosk-model", type=Path, help="a Vosk model folder")
    command.add_argument("--json", action="store_true", help="print as JSON")
    command.set_defaults(carry_out=carry_out)


def carry_out(chosen: argparse.Namespace) -> int:
    found = engines(chosen.vosk_model)
    if chosen.json:
        print(
            json.dumps(
                [{**asdict(e), "folder": str(e.folder) if e.folder else None} for e in found], indent=2
            )
        )
    else:
        for engine in found:
            print(f"{'used    ' if engine.used else 'not used'} {engine.name}: {engine.why}")
        print(GET_VOSK)
    return status.DONE if found[0].usable else status.NO
