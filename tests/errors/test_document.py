"""Places in a document, and errors of any pydantic model in plain words."""

from __future__ import annotations

import io
from datetime import date, datetime, time
from enum import Enum
from typing import Annotated, Literal

import pytest
from pydantic import BaseModel, ConfigDict, Field, field_validator
from pydantic_core import PydanticCustomError

from assistant.files.yaml_file import BadFile, Place, parse


class Shelf(str, Enum):
    TOP = "top"
    LOW = "low"


class Loose(BaseModel):
    """A model whose JSON Schema cannot be made, because of what `odd` is."""

    model_config = ConfigDict(extra="forbid", arbitrary_types_allowed=True)
    size: int = 1
    odd: io.StringIO | None = None


class Jar(BaseModel):
    kind: Literal["jar"]
    litres: float


class Tube(BaseModel):
    kind: Literal["tube"]
    tube: int = 0


class Cupboard(BaseModel):
    model_config = ConfigDict(extra="forbid")

    shelf: Shelf = Shelf.TOP
    width: int | str = 0
    things: list[Annotated[Jar | Tube, Field(discriminator="kind")]] = []
    pair: tuple[str, int] = ("", 0)
    by_name: dict[str, int] = {}
    bought: date | None = None
    opened: time | None = None
    at: datetime | None = None
    lit: bool = False
    wait_minutes: Annotated[int | None, Field(multiple_of=5, description="in steps of five")] = None
    owner: str = ""
    other: Cupboard | None = None

    @field_validator("owner")
    @classmethod
    def _known(cls, name: str) -> str:
        if name == "nobody":
            raise ValueError("nobody owns nothing")
        if name == "thief":
            raise PydanticCustomError("thief", "a thief owns no {what}", {"what": "cupboard"})
        return name


def told(text: str, model: type[BaseModel] = Cupboard) -> list[tuple[int, int, str, str]]:
    with pytest.raises(BadFile) as caught:
        parse(text).into(model)
    return [(c.line, c.column, c.message, c.hint) for c in caught.value.complaints]


@pytest.mark.parametrize(
    ("text", "line", "column", "message", "hint"),
    [
        ("shelf: topp", 1, 8, "'shelf' needs one of top or low, not 'topp'", "did you mean 'top'?"),
        ("width: [1]", 1, 8, "'width' needs a whole number or text, not a list", ""),
        ("things:\n  - kind: tube\n    tube: x", 3, 11, "'tube' needs a whole number, not 'x'", ""),
        ("things:\n  - kind: jar", 2, 5, "'litres' is missing in entry 1 of 'things'", ""),
        ("things:\n  - {kind: tub}", 2, 12,
         "'kind' needs one of jar or tube, not 'tub'", "did you mean 'tube'?"),
        ("things:\n  - jar", 2, 5,
         "entry 1 of 'things' needs keys with values, not 'jar'", "known here: kind, litres, tube"),
        ("pair: [a]", 1, 1, "entry 2 of 'pair' is missing", ""),
        ("pair: [a, 1, 2]", 1, 7, "'pair' may have at most 2 entries, and has 3", ""),
        ("by_name: {a: b}", 1, 14, "'a' needs a whole number, not 'b'", ""),
        ("bought: spring", 1, 9, "'bought' needs a date such as 2025-03-09, not 'spring'", ""),
        ("bought: 2025-02-30", 1, 9, "'bought' needs a date such as 2025-03-09, not '2025-02-30'", ""),
        ("opened: late", 1, 9, "'opened' needs a time of day such as 18:30, not 'late'", ""),
        ("lit: on", 1, 6, "'lit' needs true or false, not 'on'", "write true"),
        ("lit: 1", 1, 6, "'lit' needs true or false, not 1", ""),
        ("wait_minutes: ten", 1, 15,
         "'wait_minutes' needs a whole number of minutes, not 'ten'", "in steps of five"),
        ("wait_minutes: true", 1, 15,
         "'wait_minutes' needs a whole number of minutes, not true", "in steps of five"),
        ("wait_minutes: 7", 1, 15, "'wait_minutes' has to be a multiple of 5", ""),
        ("owner:", 1, 1, "'owner' needs text, but nothing is written", ""),
        ("owner: nobody", 1, 8, "nobody owns nothing", ""),
        ("owner: thief", 1, 8, "a thief owns no cupboard", ""),
        ("other:\n  other:\n    owners: x", 3, 5,
         "unknown key 'owners' in 'other'", "did you mean 'owner'?"),
        ("12: 3", 1, 1, "unknown key '12' in this file",
         "known here: shelf, width, things, pair, by_name, bought, opened, at, lit, wait_minutes, owner, "
         "other"),
    ],
)  # fmt: skip
def test_an_error_has_its_place_its_words_and_its_mend(
    text: str, line: int, column: int, message: str, hint: str
) -> None:
    assert told(text) == [(line, column, message, hint)]


def test_every_error_is_told_in_the_order_of_the_file() -> None:
    assert [line for line, *_ in told("lit: 3\nshelf: x\nowner: 4\nother: 5\n")] == [1, 2, 3, 4]


def test_a_duplicate_key_does_not_hide_other_errors() -> None:
    messages = [message for _, _, message, _ in told("lit: true\nlit: false\nshelf: x\n")]
    assert messages == ["'lit' is there twice", "'shelf' needs one of top or low, not 'x'"]


def test_a_model_without_a_json_schema_still_gets_places() -> None:
    assert told("siz: 3\nsize: x", Loose) == [
        (1, 1, "unknown key 'siz' in this file", ""),
        (2, 7, "'size' needs a whole number, not 'x'", ""),
    ]


def test_a_good_file_becomes_its_model() -> None:
    made = parse("shelf: low\nthings: [{kind: jar, litres: 2}]\nbought: 2025-03-09\npair: [a, 1]\n").into(
        Cupboard
    )
    assert made == Cupboard(
        shelf=Shelf.LOW, things=[Jar(kind="jar", litres=2.0)], bought=date(2025, 3, 9), pair=("a", 1)
    )


DOCUMENT = parse(
    "steps:\n  - id: crown\n    zones: [crown, front]\n  - id: rinse\n    say: |\n      two\n      lines\n"
)


@pytest.mark.parametrize(
    ("loc", "place"),
    [
        ((), Place(1, 1)),
        (("steps",), Place(1, 1, 5)),
        (("steps", 1), Place(4, 5)),
        (("steps", 0, "id"), Place(2, 9, 5)),
        (("steps", 0, "zones"), Place(3, 12, 14)),
        (("steps", 0, "zones", 1), Place(3, 20, 5)),
        (("steps", 1, "nothing", "there"), Place(4, 5)),
        (("steps", 7), Place(1, 1, 5)),
    ],
)
def test_the_place_of_a_loc(loc: tuple[str | int, ...], place: Place) -> None:
    assert DOCUMENT.place_of(loc) == place


def test_a_later_check_points_at_its_place() -> None:
    complaint = DOCUMENT.complain(("steps", 0, "zones", 1), "no such zone", "did you mean 'crown'?")
    assert (complaint.file, complaint.line, complaint.column, complaint.width) == ("text", 3, 20, 5)
    assert complaint.excerpt == "    zones: [crown, front]"
    assert str(complaint) == "text:3:20: no such zone (did you mean 'crown'?)"
