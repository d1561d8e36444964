"""Writes what is made by code in the user's pages: python -m tests.docs

The options in commands.md come from the parsers. The pictures come from real runs
of the code: the plan's picture from `combside plan`, the report's from a rehearsal
with the invented household.
"""

from __future__ import annotations

from tests.docs.fences import DOCS
from tests.docs.pictures import write_pictures
from tests.docs.reference import renewed

if __name__ == "__main__":
    page = DOCS / "commands.md"
    page.write_text(renewed(page.read_text("utf-8")), "utf-8")
    print(f"written: {page}")
    for picture in write_pictures():
        print(f"written: {picture}")
