"""Strand tests in the data folder: a file a test, its owner's alone (0600 in 0700), that may be mended by hand.

A file's name tells nobody's name. What is wrong in one is told with line and column.
"""

from __future__ import annotations

from pathlib import Path

from assistant.core.strand_test import StrandResult
from assistant.files import private
from assistant.files.complaint import BadFile, Complaint
from assistant.files.places import data_folder
from assistant.files.yaml_file import load
from assistant.files.yaml_writer import written

FOLDER = "strand_tests"
HEADING = ("A test on one strand. It can only lower the limit; a bad one is a no.",)


def strand_folder() -> Path:
    """Made when missing. Raises OSError."""
    folder = data_folder() / FOLDER
    private.make_folder(folder)
    return folder


def save_strand(result: StrandResult, id: str) -> Path:
    """Keep a test; the same id is written over. Raises OSError."""
    path = strand_folder() / f"{id}.yaml"
    private.write(path, written(result, HEADING))
    return path


def load_strand(id: str) -> StrandResult | None:
    """The test of this id, None where there is none. Raises BadFile."""
    path = strand_folder() / f"{id}.yaml"
    return load(path, StrandResult) if path.exists() else None


def load_strands(person: str, kit: str) -> tuple[StrandResult, ...]:
    """This person's tests with this kit, oldest first. Raises BadFile with every file that can not be read."""
    return tuple(r for _, r in _every() if (r.person, r.kit) == (person, kit))


def forget_strand(id: str) -> None:
    """Remove the test of this id, where there is one. Raises OSError."""
    (strand_folder() / f"{id}.yaml").unlink(missing_ok=True)


def forget_person(person: str) -> int:
    """Remove every test of this person; how many there were. Raises BadFile and OSError."""
    mine = [path for path, result in _every() if result.person == person]
    for path in mine:
        path.unlink(missing_ok=True)
    return len(mine)


def _every() -> list[tuple[Path, StrandResult]]:
    found: list[tuple[Path, StrandResult]] = []
    bad: list[Complaint] = []
    for path in sorted(strand_folder().glob("*.yaml")):
        try:
            found.append((path, load(path, StrandResult)))
        except BadFile as error:
            bad += error.complaints
    if bad:
        raise BadFile(bad)
    return sorted(found, key=lambda one: (one[1].on, one[0].name))
