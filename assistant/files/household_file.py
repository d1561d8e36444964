"""The household's own file and its kit sheets in the data folder: found, read, saved, brought up to date.

Everything is its owner's alone (0600 in folders of 0700) and may be edited by
hand; what is wrong then is told with line and column. A file of a newer
version is refused and stays as it is.
"""

from __future__ import annotations

import re
from collections.abc import Callable, Mapping
from pathlib import Path
from typing import Any

from assistant.core.household import Household
from assistant.core.kit_sheet import KitSheet
from assistant.files import private
from assistant.files.complaint import BadFile, Complaint
from assistant.files.places import data_folder
from assistant.files.yaml_file import Document, parse, read
from assistant.files.yaml_writer import dumped, written

HOUSEHOLD = "household.yaml"
KITS = "kits"
NEWEST = 1
Step = Callable[[dict[str, Any]], dict[str, Any]]
MIGRATIONS: Mapping[int, Step] = {}
"""From a version to the next one: plain keys and values in and out. There is one version so far."""

HEADING = (
    "This household: who is there, their hair, the way to the water, numbers to call.",
    "Edit it freely; combside check household.yaml says what is wrong and where.",
)
KIT_HEADING = (
    "Copied from the leaflet of this kit. The leaflet itself always rules.",
    "Edit it when the leaflet changes; combside check says what is wrong and where.",
)


def household_path() -> Path:
    """Where the household's file is, or would be."""
    return data_folder() / HOUSEHOLD


def load_household(path: Path | None = None) -> Household:
    """The household. Raises BadFile, also where there is none yet."""
    where = path or household_path()
    if not where.exists():
        raise BadFile(
            [
                Complaint(
                    str(where), 0, 0, "there is no household file yet", "combside household new asks for it"
                )
            ]
        )
    return up_to_date(where).into(Household)


def find_household() -> Household | None:
    """The household, or None where there is no file yet. Raises BadFile for a file that is wrong."""
    return load_household() if household_path().exists() else None


def save_household(household: Household) -> Path:
    """Write the household's file. Raises OSError."""
    private.write(household_path(), written(household, HEADING))
    return household_path()


def up_to_date(path: Path, newest: int = NEWEST, steps: Mapping[int, Step] = MIGRATIONS) -> Document:
    """The file as a document of the newest version.

    An older one is migrated step by step and written back, the old text kept
    beside it as NAME.vN. A newer one raises BadFile and is not touched.
    """
    document = read(path)
    plain = document.tree.value
    version = plain.get("schema", newest) if isinstance(plain, dict) else newest
    if (
        not isinstance(version, int)
        or isinstance(version, bool)
        or not isinstance(plain, dict)
        or version == newest
    ):
        return document
    if version > newest:
        hint = "a newer combside wrote it; update this one. The file was not touched"
        raise BadFile(
            [
                document.complain(
                    ("schema",), f"schema {version} is newer than {newest}, the newest known here", hint
                )
            ]
        )
    moved: dict[str, Any] = dict(plain)
    for old in range(version, newest):
        step = steps.get(old)
        if step is None:
            raise BadFile(
                [
                    document.complain(
                        ("schema",), f"there never was a schema {version}", f"the schema is {newest}"
                    )
                ]
            )
        moved = {**step(moved), "schema": old + 1}
    private.write(path.with_name(f"{path.name}.v{version}"), path.read_text("utf-8"))
    private.write(path, dumped(moved, sort_keys=False))
    return read(path)


# -- kit sheets ------------------------------------------------------------------------


def kits_folder() -> Path:
    """The folder of the household's kit sheets, made when missing (0700)."""
    folder = data_folder() / KITS
    private.make_folder(folder)
    return folder


def kit_paths() -> tuple[Path, ...]:
    """Every kit sheet of the household's own, the one changed last first."""
    return tuple(sorted(kits_folder().glob("*.yaml"), key=lambda p: (-p.stat().st_mtime, p.name)))


def find_kit(name: str | None) -> Path:
    """A kit sheet by path, by file name, by the kit's name, or the only one there is. Raises BadFile."""
    if name is not None and (Path(name).suffix in (".yaml", ".yml") or Path(name).exists()):
        return Path(name)
    paths = kit_paths()
    if not paths:
        raise BadFile(
            [
                Complaint(
                    str(kits_folder()),
                    0,
                    0,
                    "there is no kit sheet yet",
                    "combside kit new asks what the leaflet says",
                )
            ]
        )
    if name is None:
        if len(paths) == 1:
            return paths[0]
        known = ", ".join(p.stem for p in paths)
        raise BadFile(
            [
                Complaint(
                    str(kits_folder()), 0, 0, "there are several kit sheets", f"say which with --kit: {known}"
                )
            ]
        )
    wanted = file_name(name)
    for path in paths:
        if wanted in (path.stem, file_name(load_kit(path).name)):
            return path
    known = ", ".join(p.stem for p in paths)
    raise BadFile([Complaint(name, 0, 0, f"there is no kit sheet '{name}'", f"there are: {known}")])


def load_kit(path: Path) -> KitSheet:
    """Raises BadFile."""
    return up_to_date(path).into(KitSheet)


def save_kit(kit: KitSheet) -> Path:
    """Write a kit sheet beside the others. Raises OSError."""
    path = kits_folder() / f"{file_name(kit.name)}.yaml"
    private.write(path, written(kit, KIT_HEADING))
    return path


def kit_text(kit: KitSheet) -> str:
    """The sheet as it is written, read back once so that nothing is saved that could not be read."""
    text = written(kit, KIT_HEADING)
    parse(text, "kit sheet").into(KitSheet)
    return text


def file_name(name: str) -> str:
    """A name as a plain file name: letters, digits and hyphens."""
    return re.sub(r"[^a-z0-9]+", "-", name.casefold()).strip("-")[:60] or "kit"


def keep_before(path: Path) -> Path:
    """A copy of a file that is about to be written over, beside it. Raises OSError."""
    before = path.with_name(f"{path.name}.before")
    private.write(before, path.read_text("utf-8"))
    return before


def forget_person(name: str) -> bool:
    """Take somebody out of the household's file, the last one with the file itself. Whether they were in it.

    The person to be done next is somebody else then. Raises BadFile and OSError.
    """
    household = find_household()
    if household is None or name not in [p.name for p in household.people]:
        return False
    for old in household_path().parent.glob(f"{HOUSEHOLD}.*"):
        old.unlink()  # older texts of the file name them too
    rest = tuple(
        p.model_copy(update={"helped_by": None}) if p.helped_by == name else p
        for p in household.people
        if p.name != name
    )
    if not rest:
        household_path().unlink()
        return True
    person = household.person if household.person != name else rest[0].name
    helper = household.helper if household.helper not in (name, person) else None
    contacts = tuple(c for c in household.contacts if c.name != name)
    save_household(
        household.model_copy(
            update={"people": rest, "person": person, "helper": helper, "contacts": contacts}
        )
    )
    return True
