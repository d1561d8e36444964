"""Where things lie: what ships with combside, and the folders of the household's own.

Works the same from a checkout and from an installed wheel (there the shipped
folders lie under `assistant/shipped`; pyproject.toml puts them there). Who calls
it: the app and the commands. What is in the folders is known elsewhere.
"""

from __future__ import annotations

import os
from pathlib import Path

import platformdirs

from assistant.files.private import make_folder

_PACKAGE = Path(__file__).resolve().parent.parent
_NAME = "combside"

ALL_IN_ONE = "COMBSIDE_HOME"
"""Environment variable: one folder for everything of the household's own, instead of the system's usual places."""


def routines_folder() -> Path:
    """The shipped routines, phrase books and example kit sheets. Raises FileNotFoundError when the install is broken."""
    return _shipped("routines")


def audio_fixtures_folder() -> Path:
    """The shipped clips, everyday talk and noises. Raises FileNotFoundError when the install is broken."""
    return _shipped("audio_fixtures")


def docs_folder() -> Path:
    """The pages for users, as Markdown; `index.md` first."""
    return _PACKAGE / "docs"


def data_folder() -> Path:
    """Kit sheets, household and diary. Made when missing, for its owner alone (0700). Raises OSError."""
    return _own("data", platformdirs.user_data_path(_NAME, appauthor=False))


def cache_folder() -> Path:
    """What can be made again: prompts, priors, room responses. Made when missing (0700). Raises OSError."""
    return _own("cache", platformdirs.user_cache_path(_NAME, appauthor=False))


def runs_folder() -> Path:
    """The journals, one a run. Made when missing (0700). Raises OSError."""
    return _made(data_folder() / "runs")


def _own(kind: str, usual: Path) -> Path:
    chosen = os.environ.get(ALL_IN_ONE)
    return _made(Path(chosen).expanduser().absolute() / kind if chosen else usual)


def _made(folder: Path) -> Path:
    make_folder(folder)
    return folder


def _shipped(name: str) -> Path:
    for folder in (_PACKAGE / "shipped" / name, _PACKAGE.parent / name):
        if folder.is_dir():
            return folder
    raise FileNotFoundError(
        f"combside's folder '{name}' is missing: neither {_PACKAGE / 'shipped'} nor {_PACKAGE.parent} has it"
    )
