"""Finished sounds on disk: the clips that ship with combside, everyday talk, and a user's own folder.

Here where a text's sound file is; who speaks it and how it travels is elsewhere.
"""

from __future__ import annotations

import csv
import re
from collections.abc import Mapping
from dataclasses import dataclass
from pathlib import Path

SOUND_FILES = (".wav", ".flac")


def plain(text: str) -> str:
    """A text as it is compared: lower case, single spaces, no punctuation but apostrophes."""
    return " ".join(re.sub(r"[^a-z0-9' ]+", " ", text.lower()).split())


def slug(text: str) -> str:
    """A text's file name, no ending: "Done with back left" is done_with_back_left, "can't" is cant."""
    return re.sub(r"[^a-z0-9]+", "_", text.lower().replace("'", "")).strip("_")


@dataclass(frozen=True, slots=True)
class Clip:
    """One line of an index: a file and what is said in it."""

    path: Path
    voice: str
    text: str


def shipped(folder: Path) -> tuple[Clip, ...]:
    """The clips listed in `folder`/index.csv (columns file, voice, text). ValueError without an index."""
    index = folder / "index.csv"
    try:
        with index.open(encoding="utf-8", newline="") as lines:
            rows = list(csv.DictReader(lines))
        return tuple(Clip(folder / row["file"], row.get("voice", ""), row.get("text", "")) for row in rows)
    except (OSError, KeyError) as error:
        raise ValueError(f"{index} is no list of clips: {error}") from error


def of_voice(clips: tuple[Clip, ...], voice: str) -> Mapping[str, Path]:
    """One voice's files by plain text. Raises ValueError naming the voices there are."""
    found = {plain(clip.text): clip.path for clip in clips if clip.voice == voice}
    if not found:
        voices = ", ".join(sorted({clip.voice for clip in clips}))
        raise ValueError(f"there are no clips of '{voice}'; there are {voices}")
    return found


def of_folder(folder: Path) -> Mapping[str, Path]:
    """A user's files by slug. Raises ValueError when the folder has none."""
    if not folder.is_dir():
        raise ValueError(f"{folder} is no folder")
    found = {slug(p.stem): p for p in sorted(folder.iterdir()) if p.suffix.lower() in SOUND_FILES}
    if not found:
        raise ValueError(f"{folder} holds no WAV or FLAC file")
    return found
