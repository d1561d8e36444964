"""Consultations in the data folder: one file for a person and a kit, and one for what is not yet finished.

A file's name tells nobody's name. Its owner's alone: 0600 in 0700.
"""

from __future__ import annotations

import hashlib
from pathlib import Path

from pydantic import ValidationError

from assistant.core.consultation import Consultation
from assistant.files import private
from assistant.files.complaint import BadFile, Complaint
from assistant.files.places import data_folder

FOLDER = "consultations"


def consultation_path(person: str, kit: str, *, draft: bool = False) -> Path:
    """Where this person's consultation for this kit is, or would be."""
    name = hashlib.sha256(f"{person}\0{kit}".encode()).hexdigest()[:16]
    return data_folder() / FOLDER / f"{name}{'.draft' if draft else ''}.json"


def load_consultation(person: str, kit: str, *, draft: bool = False) -> Consultation | None:
    """The consultation, or None where there is none. Raises BadFile for one that can not be read."""
    path = consultation_path(person, kit, draft=draft)
    return read_consultation(path) if path.exists() else None


def read_consultation(path: Path) -> Consultation:
    """Raises BadFile; the file is not touched."""
    try:
        return Consultation.model_validate_json(path.read_bytes(), strict=True)
    except (ValidationError, OSError) as error:
        what = error.errors()[0]["msg"] if isinstance(error, ValidationError) else str(error.strerror)
        hint = "combside consult asks everything again once this file is moved away; it was not touched"
        raise BadFile(
            [Complaint(str(path), 0, 0, f"this consultation can not be read: {what}", hint)]
        ) from None


def save_consultation(kept: Consultation, *, draft: bool = False) -> Path:
    """Write it; a finished one ends its draft. Raises OSError."""
    path = consultation_path(kept.person, kept.kit, draft=draft)
    private.write(path, kept.model_dump_json(by_alias=True, indent=2) + "\n")
    if not draft:
        drop_draft(kept.person, kept.kit)
    return path


def drop_draft(person: str, kit: str) -> None:
    consultation_path(person, kit, draft=True).unlink(missing_ok=True)


def forget_person(person: str) -> int:
    """Remove every consultation and draft of this person; how many there were."""
    count = 0
    folder = data_folder() / FOLDER
    for path in sorted(folder.glob("*.json")) if folder.is_dir() else ():
        try:
            mine = read_consultation(path).person == person
        except BadFile:
            mine = False  # nobody's that can be named; the person who edits it knows it
        if mine:
            path.unlink()
            count += 1
    return count
