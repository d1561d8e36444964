"""A long run in parts: what one file of figures holds, and two of them put together.

A part is one condition of one engine. Parts belong together when they were
measured by the same code on the same recordings.
"""

from __future__ import annotations

import hashlib
import json
import subprocess
from collections.abc import Iterable, Mapping
from pathlib import Path

from assistant.files.places import routines_folder

REPOSITORY = Path(__file__).resolve().parents[2]
HEARS = ("assistant/ears/**/*.py", "assistant/core/hearing.py", "assistant/core/loudness.py")
"""What changes the figures; the phrase book and the routines do too."""
SUMMED_UP = ("goals", "better_elsewhere")
"""Made of the other figures, so made anew after a merge."""


class Different(ValueError):
    """Two runs that may not be put together."""


def code() -> str:
    """The commit, and a digest of what hears and of what may be said."""
    digest = hashlib.sha256()
    files = sorted(f for pattern in HEARS for f in REPOSITORY.glob(pattern))
    for path in (*files, *sorted(routines_folder().glob("**/*.yaml"))):
        digest.update(path.read_bytes())
    try:
        said = subprocess.run(
            ["git", "-C", str(REPOSITORY), "rev-parse", "--short", "HEAD"], capture_output=True, text=True
        )
        commit = said.stdout.strip() if said.returncode == 0 else ""
    except OSError:
        commit = ""
    return f"{commit or 'no commit'} {digest.hexdigest()[:12]}"


def read(path: Path) -> dict[str, object]:
    """A file of figures. Raises Different when it is none."""
    try:
        found = json.loads(path.read_text(encoding="utf-8"))
    except (OSError, ValueError) as error:
        raise Different(f"{path} can not be read as figures: {error}") from error
    if not isinstance(found, dict) or not isinstance(found.get("run"), dict):
        raise Different(f"{path} holds no figures of this bench (no 'run'): give another name or delete it")
    return found


def write(path: Path, figures: Mapping[str, object]) -> None:
    """The whole file or the one that was there before."""
    beside = path.with_name(path.name + ".new")
    beside.write_text(json.dumps(figures, indent=1, ensure_ascii=False) + "\n", encoding="utf-8")
    beside.replace(path)


def merged(parts: Iterable[Mapping[str, object]]) -> dict[str, object]:
    """All parts as one. Of a part that is there twice the later counts. Raises Different when they are of unlike runs."""
    found: dict[str, object] = {}
    for part in parts:
        if found:
            same_run(found, part)
        found = _into(found, part)
    return found


def same_run(one: Mapping[str, object], other: Mapping[str, object]) -> None:
    """Raises Different, naming what is not the same."""
    mine, theirs = one.get("run"), other.get("run")
    assert isinstance(mine, Mapping)
    assert isinstance(theirs, Mapping)
    unlike = [k for k in (*mine, *(k for k in theirs if k not in mine)) if mine.get(k) != theirs.get(k)]
    if unlike:
        said = "; ".join(f"{k}: {mine.get(k)} and {theirs.get(k)}" for k in unlike)
        raise Different(f"these are of different runs and can not be put together ({said})")


def _into(one: Mapping[str, object], other: Mapping[str, object]) -> dict[str, object]:
    found = {k: v for k, v in one.items() if k not in SUMMED_UP}
    for key, value in other.items():
        there = found.get(key)
        if key in SUMMED_UP:
            continue
        if key == "memory_mb" and isinstance(there, int) and isinstance(value, int):
            found[key] = max(there, value)
        elif key == "others" and isinstance(there, list) and isinstance(value, list):
            found[key] = _engines(there, value)
        elif isinstance(there, Mapping) and isinstance(value, Mapping) and key != "run":
            found[key] = _deep(there, value)
        else:
            found[key] = value
    return found


def _engines(one: list[dict[str, object]], other: list[dict[str, object]]) -> list[dict[str, object]]:
    by_name = {engine["engine"]: engine for engine in one}
    for engine in other:
        by_name[engine["engine"]] = _into(by_name.get(engine["engine"], {}), engine)
    return list(by_name.values())


def _deep(one: Mapping[str, object], other: Mapping[str, object]) -> dict[str, object]:
    """Condition by condition; below a condition the later one counts whole."""
    found = dict(one)
    for key, value in other.items():
        there = found.get(key)
        grouped = key == "conditions" and isinstance(there, Mapping) and isinstance(value, Mapping)
        found[key] = {**there, **value} if grouped else value  # type: ignore[dict-item]
    return found
