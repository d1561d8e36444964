"""Writes what is made by code in the user's pages: python -m tests.docs

The options in commands.md come from the parsers. The pictures come from real runs
of the code: the plan's picture from `combside plan`, the report's from a rehearsal
with the invented household. The states and their diagram come from the session's table.
"""

from __future__ import annotations

from tests.docs.fences import DOCS
from tests.docs.pictures import write_pictures
from tests.docs.reference import renewed
from tests.docs.states import PAGE, page
from tests.programs import program, reached

if __name__ == "__main__":
    options = DOCS / "commands.md"
    options.write_text(renewed(options.read_text("utf-8")), "utf-8")
    PAGE.write_text(page(program(), reached().values()), "utf-8")
    print(f"written: {options}\nwritten: {PAGE}")
    for picture in write_pictures():
        print(f"written: {picture}")
