"""The option --today: the only place where these commands read the calendar of the machine."""

from __future__ import annotations

import argparse
from datetime import date


def add_today(command: argparse.ArgumentParser) -> None:
    command.add_argument(
        "--today", type=a_day, metavar="DAY", help="answer as if it were this day, such as 2024-02-29"
    )


def a_day(text: str) -> date:
    """Raises argparse.ArgumentTypeError."""
    try:
        day = date.fromisoformat(text)
    except ValueError:
        raise argparse.ArgumentTypeError(f"'{text}' is no day; write it as 2024-02-29") from None
    if not 1900 <= day.year <= 2200:
        raise argparse.ArgumentTypeError(f"'{text}' is not of these centuries")
    return day


def today_of(chosen: argparse.Namespace) -> date:
    day: date = chosen.today or date.today()
    return day
