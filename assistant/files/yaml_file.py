"""A YAML file as a checked model, or everything that is wrong with it and where.

`load` is all most callers need. Whoever checks a whole file further keeps the
`Document` and lets it point: `document.complain(("steps", 3, "zones"), "...")`.
The models know nothing of files; they raise ValueError or PydanticCustomError.
"""

from __future__ import annotations

import json
from collections.abc import Sequence
from dataclasses import dataclass
from itertools import groupby
from pathlib import Path
from typing import TypeVar

from pydantic import BaseModel, ValidationError
from pydantic.errors import PydanticInvalidForJsonSchema, PydanticUserError

from assistant.files import inside, wording, yaml_tree
from assistant.files.complaint import BadFile, Complaint, Place

__all__ = ["BadFile", "Complaint", "Document", "Place", "load", "parse", "read"]

M = TypeVar("M", bound=BaseModel)


def load(path: str | Path, model: type[M]) -> M:
    """The file as a `model`. Raises BadFile with every complaint."""
    return read(path).into(model)


def read(path: str | Path) -> Document:
    """The file as a document, checked against no model yet. Raises BadFile where it is not YAML at all."""
    return Document(yaml_tree.compose(yaml_tree.read_text(Path(path))))


def parse(raw: bytes | str, name: str = "text") -> Document:
    """Like `read`, of something that is in memory already."""
    as_bytes = raw.encode("utf-8", "surrogatepass") if isinstance(raw, str) else raw
    if len(as_bytes) > yaml_tree.MAX_BYTES:
        raise BadFile([Complaint(name, 0, 0, f"this is larger than {yaml_tree.MAX_BYTES // 1024} KiB")])
    return Document(yaml_tree.compose(yaml_tree.decode(as_bytes, name)))


@dataclass(frozen=True, slots=True)
class Document:
    """A file's content with its places. A `loc` is the way there: ("steps", 3, "zones", 0)."""

    tree: yaml_tree.Tree

    @property
    def name(self) -> str:
        return self.tree.text.name

    def into(self, model: type[M]) -> M:
        """As a `model`. Values are taken as written (no "10" for 10, no yes for true). Raises BadFile."""
        complaints = list(self.tree.flaws)
        try:
            made = model.model_validate_json(json.dumps(self.tree.value), strict=True)
        except ValidationError as error:
            known_bad = {(c.line, c.column) for c in complaints}
            complaints += [c for c in self._told(error, model) if (c.line, c.column) not in known_bad]
            raise BadFile(complaints) from None
        if complaints:
            raise BadFile(complaints)
        return made

    def place_of(self, loc: Sequence[str | int]) -> Place:
        """The value at `loc`, or its key where the value begins on a later line.

        Where there is no such thing, the nearest place above it.
        """
        return self.tree.place_of(loc)

    def complain(self, loc: Sequence[str | int], message: str, hint: str = "") -> Complaint:
        """A complaint about what stands at `loc`."""
        return self.tree.text.complaint(self.place_of(loc), message, hint)

    def path_at(self, loc: Sequence[str | int], name: str) -> Path:
        """The path that `name`, written at `loc`, stands for: inside this file's folder. Raises BadFile."""
        try:
            return inside.inside(Path(self.name).parent, name)
        except inside.LeavesFolder as error:
            raise BadFile([self.complain(loc, str(error), "put the file beside this one")]) from None

    def _told(self, error: ValidationError, model: type[BaseModel]) -> list[Complaint]:
        schema = _schema(model)
        told = []
        errors = [e for e in error.errors(include_url=False) if not wording.only_follows(e)]
        found = wording.without_echoes([wording.worded(e, schema, self.tree.value) for e in errors])
        for _, same in groupby(found, key=self._spot):
            several = list(same)
            for words in [wording.told_as_one(several)] if all(w.needs for w in several) else several:
                told.append(self.tree.text.complaint(self._place(words), words.message, words.hint))
        return told

    def _place(self, words: wording.Worded) -> Place:
        if words.at_key:
            return self.tree.place_of_key(words.loc)
        key = self.tree.key_named_in(words.loc, words.message) if words.whole else None
        return self.tree.place_of(words.loc if key is None else (*words.loc, key))

    def _spot(self, words: wording.Worded) -> tuple[int, str]:
        _, node = self.tree.node_at(words.loc)
        return id(node), "" if words.needs else words.message


def _schema(model: type[BaseModel]) -> wording.Schema:
    """The model's JSON Schema; empty where it has none, and then there are fewer hints."""
    try:
        return model.model_json_schema()
    except (PydanticInvalidForJsonSchema, PydanticUserError):
        return {}
