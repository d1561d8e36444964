"""The table of cases, read as combside reads YAML: no stays "no" and a day stays text."""

from __future__ import annotations

from pathlib import Path
from typing import Any, cast

from assistant.files.yaml_file import read

TABLE = cast(dict[str, Any], read(Path(__file__).with_name("cases.yaml")).tree.value)
CASES = cast(list[dict[str, Any]], TABLE["cases"])
