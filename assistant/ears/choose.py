"""Which recogniser listens, and why.

Vosk when a model folder is given or found, otherwise the engine that is carried
along. `engines` only looks, so that it can be shown before anything is loaded;
`open_ears` loads. Called by `app` and `cli`.
"""

from __future__ import annotations

import os
from collections.abc import Mapping
from dataclasses import dataclass
from importlib.util import find_spec
from pathlib import Path

from platformdirs import user_data_dir

from assistant.ears.engine import Engine
from assistant.ears.listening import Listening
from assistant.ears.moonshine_model import model_folder

VARIABLE = "COMBSIDE_VOSK_MODEL"
GET_VOSK = (
    "For Vosk, run once with a network: python -c \"import vosk; vosk.Model(lang='en-us')\" and set "
    f"{VARIABLE} to the folder it fetched (40 MB, under ~/.cache/vosk)."
)
EMBEDDED, VOSK = "moonshine", "vosk"


@dataclass(frozen=True, slots=True)
class EngineChoice:
    """One engine: whether it can be used, whether it is the one used, and why."""

    name: str
    usable: bool
    used: bool
    why: str
    folder: Path | None = None


def engines(
    vosk_model: Path | None = None, environment: Mapping[str, str] | None = None
) -> tuple[EngineChoice, ...]:
    """Every engine, the one used first. A folder that was named is used, even when it turns out to hold no
    model."""
    folder, why = _vosk_folder(vosk_model, os.environ if environment is None else environment)
    has_vosk = find_spec("vosk") is not None
    by_vosk = folder is not None and has_vosk
    if folder is not None and not has_vosk:
        why = f"{why}, but the package vosk is not installed"
    vosk = EngineChoice(VOSK, by_vosk, by_vosk, why, folder)
    try:
        model_folder()
        carried, reason = True, "needs nothing more: scores the allowed phrases under the model it carries"
    except FileNotFoundError as missing:
        carried, reason = False, str(missing)
    embedded = EngineChoice(EMBEDDED, carried, carried and not by_vosk, reason)
    return (vosk, embedded) if by_vosk else (embedded, vosk)


def open_ears(
    vosk_model: Path | None = None,
    *,
    environment: Mapping[str, str] | None = None,
    cache: Path | None = None,
    second: bool = True,
) -> Listening:
    """The ears to use here, loaded (0.5 s; Vosk some seconds).

    `cache` is the folder for what was measured of phrases that do not ship (default: the user's own).
    `second` False does without pocketsphinx's agreement. Raises FileNotFoundError
    when no engine can be used, ValueError when a named Vosk folder holds no model.
    """
    first = engines(vosk_model, environment)[0]
    if not first.usable:
        raise FileNotFoundError(first.why)
    return Listening(_load(first, cache, second=second))


def _load(choice: EngineChoice, cache: Path | None, *, second: bool) -> Engine:
    """Engines are imported when chosen: none needs the others' libraries."""
    if choice.name == VOSK and choice.folder is not None:
        from assistant.ears.vosk_engine import Vosk

        return Vosk(choice.folder)
    from assistant.ears.moonshine import ScoredPhrases
    from assistant.ears.moonshine_model import Moonshine
    from assistant.ears.priors import Priors
    from assistant.ears.sphinx import Sphinx

    model = Moonshine()
    return ScoredPhrases(model, Priors(model, cache), Sphinx() if second else None)


def _vosk_folder(given: Path | None, environment: Mapping[str, str]) -> tuple[Path | None, str]:
    if given is not None:
        return given, f"the model folder {given} was given"
    if environment.get(VARIABLE):
        return Path(environment[VARIABLE]), f"{VARIABLE} names a model folder"
    models = Path(user_data_dir("combside", appauthor=False)) / "models"
    found = sorted(models.glob("vosk-model*")) if models.is_dir() else []
    folders = [f for f in found if f.is_dir()]
    if folders:
        return folders[0], "a model folder was found among the user's models"
    return None, f"no model folder. {GET_VOSK}"
