"""A model's JSON Schema (2020-12) as a file, so that editors complete and check what is typed."""

from __future__ import annotations

import json
from pathlib import Path
from typing import Any

from pydantic import BaseModel

DIALECT = "https://json-schema.org/draft/2020-12/schema"


def schema(model: type[BaseModel]) -> dict[str, Any]:
    """The JSON Schema of what a file for `model` may hold."""
    return {"$schema": DIALECT, **model.model_json_schema()}


def write_schema(model: type[BaseModel], path: Path) -> None:
    """Write it to `path`, the same bytes for the same model. Raises OSError."""
    path.write_text(json.dumps(schema(model), indent=2, ensure_ascii=False) + "\n", encoding="utf-8")
