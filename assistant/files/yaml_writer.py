"""A model as YAML that a person can read and mend: keys in the model's order, each with what it means.

What is written reads back as the same model; defaults are left out. Who calls
it: whatever saves a household or a kit sheet.
"""

from __future__ import annotations

import textwrap
from collections.abc import Iterable
from typing import Any

import yaml
from pydantic import BaseModel

from assistant.files.yaml_tree import NO_TEXT

WIDTH = 96


class _Dumper(yaml.SafeDumper):
    """Quotes what our reader would take for a number too ("0E0", which PyYAML takes for text)."""


for _tag, _form, _begins in NO_TEXT:
    _Dumper.add_implicit_resolver(_tag, _form, _begins)


def dumped(value: object, **how: Any) -> str:
    """Plain values as YAML that reads back as the same."""
    return str(yaml.dump(value, Dumper=_Dumper, allow_unicode=True, **how))


def written(model: BaseModel, heading: Iterable[str] = ()) -> str:
    """The file's text. `heading`: comment lines at the top."""
    lines = [f"# {line}".rstrip() for line in heading]
    kept: dict[str, Any] = {"schema": 1} if "schema_version" in type(model).model_fields else {}
    kept |= model.model_dump(mode="json", by_alias=True, exclude_defaults=True)
    told = {field.alias or name: field.description for name, field in type(model).model_fields.items()}
    for key, value in _whole(kept).items():
        if told.get(key):
            lines += textwrap.wrap(str(told[key]), WIDTH, initial_indent="# ", subsequent_indent="# ")
        lines += _entry(key, value)
    return "\n".join(lines) + "\n"


def _whole(value: Any) -> Any:
    """13.0 as 13, as people write it."""
    if isinstance(value, dict):
        return {k: _whole(v) for k, v in value.items()}
    if isinstance(value, list):
        return [_whole(v) for v in value]
    return int(value) if isinstance(value, float) and value.is_integer() else value


def _entry(key: str, value: object) -> list[str]:
    """Small things on one line, lists of things one a line."""
    if isinstance(value, list) and value and all(isinstance(v, dict) for v in value):
        return [f"{key}:", *(f"  - {_flow(v)}" for v in value)]
    if isinstance(value, dict | list):
        return [f"{key}: {_flow(value)}"]
    return dumped({key: value}, width=10_000).rstrip("\n").splitlines()


def _flow(value: object) -> str:
    return dumped(value, default_flow_style=True, sort_keys=False, width=10_000).strip()
