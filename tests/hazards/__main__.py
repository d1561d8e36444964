"""`python -m tests.hazards`: each spoken response of the hazard table is taken out, and the test of its row must fail.

Exit status 0 when every row's test holds with the response and fails by an
assertion without it, 1 when one does not.
"""

from __future__ import annotations

import argparse
import importlib
import json
import sys
import time
from pathlib import Path

from tests.hazards.spoken import taken_out
from tests.hazards.table import Row, rows


def holds(row: Row) -> bool:
    """Whether the row's test passes with the words of the moment. Only an assertion counts as a failure."""
    file, name = row.test
    module = importlib.import_module(file.removesuffix(".py").replace("/", "."))
    try:
        getattr(module, name)()
    except AssertionError:
        return False
    return True


def verdict(row: Row) -> str:
    """ "" when the response carries the test, otherwise what is wrong."""
    if not holds(row):
        return "fails with the response in place"
    for response in row.responses:
        with taken_out(response.name):
            if holds(row):
                return f"still passes without '{response.name}'"
    return ""


def main(arguments: list[str] | None = None) -> int:
    parser = argparse.ArgumentParser(prog="python -m tests.hazards", description=__doc__)
    parser.add_argument("--json", type=Path, help="where the figures go")
    given = parser.parse_args(arguments)
    began = time.perf_counter()
    found = {row.hazard: verdict(row) for row in rows()}
    wrong = {hazard: what for hazard, what in found.items() if what}
    for hazard, what in wrong.items():
        print(f"{hazard}: {what}")
    seconds = round(time.perf_counter() - began, 1)
    print(
        f"{len(found)} hazards, {len(found) - len(wrong)} of their tests fail without the response, {seconds} s"
    )
    if given.json is not None:
        figures = {
            "hazards": len(found),
            "proven": len(found) - len(wrong),
            "wrong": wrong,
            "seconds": seconds,
        }
        given.json.write_text(json.dumps(figures, indent=2) + "\n", encoding="utf-8")
    return 1 if wrong else 0


if __name__ == "__main__":
    sys.exit(main())
