"""The last sound check in the data folder. Its owner's alone: 0600 in 0700."""

from __future__ import annotations

from pathlib import Path

from pydantic import ValidationError

from assistant.core.sound_check import SoundCheck
from assistant.files import private
from assistant.files.complaint import BadFile, Complaint
from assistant.files.places import data_folder

NAME = "sound_check.json"


def sound_check_path() -> Path:
    """Where it is, or would be."""
    return data_folder() / NAME


def load_sound_check() -> SoundCheck | None:
    """The last check, or None where there is none. Raises BadFile for one that can not be read; it is not touched."""
    path = sound_check_path()
    if not path.exists():
        return None
    try:
        return SoundCheck.model_validate_json(path.read_bytes(), strict=True)
    except (ValidationError, OSError) as error:
        if isinstance(error, ValidationError):
            first = error.errors()[0]
            what = f"{'.'.join(map(str, first['loc'])) or 'the file'}: {first['msg']}"
        else:
            what = str(error.strerror)
        hint = "combside soundcheck writes a new one"
        raise BadFile(
            [Complaint(str(path), 0, 0, f"this sound check can not be read: {what}", hint)]
        ) from None


def save_sound_check(check: SoundCheck) -> Path:
    """Write it over the one before. Raises OSError."""
    path = sound_check_path()
    private.write(path, check.model_dump_json(by_alias=True, indent=2) + "\n")
    return path
