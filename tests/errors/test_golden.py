"""Bad files beside what is said of them, word for word, as printed without colour.

`python -m tests.errors.test_golden` writes the expectations anew; read the difference before keeping it.
"""

from __future__ import annotations

import io
from pathlib import Path

import pytest
from pydantic import BaseModel

from assistant.cli.complaints import show
from assistant.core.household import Household
from assistant.core.kit_sheet import KitSheet
from assistant.core.phrases import PhraseBook
from assistant.core.routine import Routine
from assistant.files.yaml_file import BadFile, load, parse

HERE = Path(__file__).parent
ROUTINES = HERE.parent.parent / "routines"
MODELS: dict[str, type[BaseModel]] = {
    "kits": KitSheet,
    "households": Household,
    "routines": Routine,
    "syntax": KitSheet,
}
BAD = sorted(path for folder in MODELS for path in (HERE / folder).glob("*.yaml"))
GOOD: dict[str, type[BaseModel]] = {"kit": KitSheet, "household": Household, "routine": Routine}


def told(path: Path) -> str:
    """Everything that is said of the file."""
    with pytest.raises(BadFile) as caught:
        parse(path.read_bytes(), path.name).into(MODELS[path.parent.name])
    stream = io.StringIO()
    show(caught.value.complaints, stream)
    return stream.getvalue()


@pytest.mark.parametrize("path", BAD, ids=lambda path: f"{path.parent.name}/{path.stem}")
def test_a_bad_file_is_told_in_exactly_these_words(path: Path) -> None:
    assert told(path) == path.with_suffix(".txt").read_text("utf-8")


def test_every_expectation_belongs_to_a_file() -> None:
    assert {p.with_suffix("") for folder in MODELS for p in (HERE / folder).glob("*.txt")} == {
        p.with_suffix("") for p in BAD
    }


@pytest.mark.parametrize("name", GOOD)
def test_the_files_that_the_bad_ones_were_made_of_are_good(name: str) -> None:
    assert load(HERE / "good" / f"{name}.yaml", GOOD[name])


SHIPPED: list[tuple[Path, type[BaseModel]]] = [(path, Routine) for path in sorted(ROUTINES.glob("*.yaml"))]
SHIPPED += [(path, KitSheet) for path in sorted((ROUTINES / "kits").glob("*kit.yaml"))]
SHIPPED += [(path, Household) for path in sorted(ROUTINES.glob("*/*household.yaml"))]
SHIPPED += [(path, PhraseBook) for path in sorted((ROUTINES / "phrases").glob("*.yaml"))]


@pytest.mark.parametrize(("path", "model"), SHIPPED, ids=lambda value: getattr(value, "stem", ""))
def test_the_files_that_ship_are_good(path: Path, model: type[BaseModel]) -> None:
    assert load(path, model)


def test_yaml_1_1_words_stay_text_where_text_is_wanted() -> None:
    """YAML 1.1 reads a bare no as false; a helper may be called that."""
    assert load(HERE / "good" / "household.yaml", Household).helper == "no"


if __name__ == "__main__":
    for bad in BAD:
        bad.with_suffix(".txt").write_text(told(bad), "utf-8")
