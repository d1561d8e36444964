"""The diary in the data folder: a JSON file a run, its owner's alone (0600 in 0700); exports, forgetting."""

from __future__ import annotations

import contextlib
import csv
import io
import json
from collections.abc import Iterable
from pathlib import Path
from statistics import median

from pydantic import ValidationError

from assistant.core.diary import RunRecord
from assistant.files import private
from assistant.files.complaint import BadFile, Complaint
from assistant.files.inside import LeavesFolder, inside
from assistant.files.places import data_folder, runs_folder

FOLDER = "diary"
REPORTS = "reports"
COLUMNS = (
    "id",
    "started",
    "kind",
    "outcome",
    "person",
    "helper",
    "routine",
    "kit",
    "product_class",
    "hair",
    "limit_min",
    "zones",
    "longest_exposure_min",
    "over_limit_zones",
    "rinse_calls",
    "late_calls",
    "incidents",
    "seconds_a_parting",
)


def diary_folder() -> Path:
    folder = data_folder() / FOLDER
    private.make_folder(folder)
    return folder


def report_path(id: str) -> Path:
    """Where the report of the run `id` is kept. Its folder is made when missing (0700). Raises OSError."""
    folder = data_folder() / REPORTS
    private.make_folder(folder)
    return folder / f"{id}.html"


def save_run(record: RunRecord) -> Path:
    """Keep a run; the same id is written over. Raises OSError."""
    path = diary_folder() / f"{record.id}.json"
    private.write(path, record.model_dump_json(by_alias=True, indent=2) + "\n")
    return path


def load_runs() -> tuple[RunRecord, ...]:
    """Every run, oldest first. Raises BadFile with every file that can not be read; none is touched."""
    runs: list[RunRecord] = []
    bad: list[Complaint] = []
    for path in sorted(diary_folder().glob("*.json")):
        try:
            runs.append(_read(path))
        except BadFile as error:
            bad += error.complaints
    if bad:
        raise BadFile(bad)
    return tuple(sorted(runs, key=lambda r: (r.started, r.id)))


def load_run(id: str) -> RunRecord:
    """One run by its id, or by a beginning of it that only one has, or "last". Raises BadFile."""
    runs = load_runs()
    if id == "last" and runs:
        return runs[-1]
    found = [r for r in runs if r.id == id] or [r for r in runs if r.id.startswith(id)]
    if len(found) == 1:
        return found[0]
    known = ", ".join(r.id for r in runs[-5:]) or "none yet"
    what = f"there is no run '{id}'" if not found else f"{len(found)} runs begin with '{id}'"
    raise BadFile([Complaint(str(diary_folder()), 0, 0, what, f"runs: {known}")])


def _read(path: Path) -> RunRecord:
    try:
        return RunRecord.model_validate_json(path.read_bytes(), strict=True)
    except (ValidationError, OSError) as error:
        if isinstance(error, OSError):
            what = str(error.strerror)
        else:
            first = error.errors()[0]
            what = f"{'.'.join(str(p) for p in first['loc']) or 'it'}: {first['msg']}"
        hint = "the file was not touched; a newer combside may have written it"
        raise BadFile(
            [Complaint(str(path), 0, 0, f"this diary entry can not be read: {what}", hint)]
        ) from None


def forget_run(record: RunRecord) -> None:
    """Remove a run's entry, its report and its journal. Raises OSError."""
    (diary_folder() / f"{record.id}.json").unlink(missing_ok=True)
    report_path(record.id).unlink(missing_ok=True)
    if record.journal:
        with contextlib.suppress(
            LeavesFolder
        ):  # somebody edited the entry; a file elsewhere is not ours to remove
            inside(runs_folder(), record.journal).unlink(missing_ok=True)


def forget_person(person: str) -> tuple[int, int]:
    """Remove every run of this person, and their name as a helper from the others' (with those journals).

    Returns how many runs were removed and how many changed.
    """
    removed = changed = 0
    for record in load_runs():
        if record.person == person:
            forget_run(record)
            removed += 1
        elif record.helper == person:
            forget_run(record)
            save_run(without_helper(record))
            changed += 1
    return removed, changed


def without_helper(record: RunRecord) -> RunRecord:
    """The run as somebody else's, the helper's name taken out everywhere. The journal is left out."""
    name = record.helper or ""

    def cleaned(text: str) -> str:
        return text.replace(name, "the helper") if name else text

    incidents = tuple(
        i.model_copy(update={"where": cleaned(i.where), "first_aid": tuple(map(cleaned, i.first_aid))})
        for i in record.incidents
    )
    return record.model_copy(
        update={
            "helper": None,
            "journal": "",
            "incidents": incidents,
            "aftercare": tuple(map(cleaned, record.aftercare)),
            "limit_reason": cleaned(record.limit_reason),
        }
    )


def as_json(records: Iterable[RunRecord]) -> str:
    """Every record, whole."""
    return (
        json.dumps([r.model_dump(mode="json", by_alias=True) for r in records], indent=2, ensure_ascii=False)
        + "\n"
    )


def as_csv(records: Iterable[RunRecord]) -> str:
    """One line a run (RFC 4180: CRLF). A cell never begins like a formula."""
    stream = io.StringIO()
    table = csv.writer(stream)
    table.writerow(COLUMNS)
    for r in records:
        exposures = [s for z in r.zones if (s := r.exposure_s(z)) is not None]
        worked = [p.seconds / p.partings for p in r.pace if p.part != "smooth"]
        row = (
            r.id,
            r.started.isoformat(),
            r.kind,
            r.outcome,
            r.person,
            r.helper or "",
            r.routine,
            r.kit,
            r.product_class,
            r.hair,
            f"{r.limit_s / 60:g}",
            len(r.zones),
            f"{max(exposures) / 60:.2f}" if exposures else "",
            " ".join(r.over_limit()),
            len(r.calls),
            r.late_calls(),
            "; ".join(i.what for i in r.incidents),
            f"{median(worked):.1f}" if worked else "",
        )
        table.writerow([_harmless(str(cell)) for cell in row])
    return stream.getvalue()


def _harmless(cell: str) -> str:
    """A spreadsheet takes what begins with these for a formula."""
    return f"'{cell}" if cell[:1] in ("=", "+", "-", "@", "\t", "\r") else cell
