"""The pictures of the user's pages, made by the code they show."""

from __future__ import annotations

import tempfile
from collections.abc import Iterator
from html import escape
from pathlib import Path

from assistant.cli.main import main
from assistant.core.plan import plan
from assistant.screens.plan_picture import svg
from tests.docs.fences import DOCS
from tests.programs import program

FOLDER = DOCS / "pictures"
STEPS = (
    ("rehearse", "see and hear the whole walk", "any day; nothing but this machine"),
    ("household new", "who is there, who helps, the way to the water", "once"),
    ("kit new", "what your kit's leaflet says", "when the kit is there"),
    ("consult", "may it be done at all, and from when", "days or weeks before"),
    ("practice", "the walk with conditioner; learns your pace", "before the first time"),
    ("plan", "can these hands do this head within the limit", "after practice"),
    ("soundcheck", "alarm and phrases in your bathroom", "the day itself"),
    ("run", "the real thing, by voice", "the day itself"),
    ("diary report last", "what happened, what is allowed next", "afterwards"),
)
"""Command, what it is for, when."""


def way() -> str:
    """The way from nothing to the report, one step under the other."""
    row, width = 58, 760
    height = row * len(STEPS) + 20
    lines = [
        f'<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 {width} {height}" role="img" aria-labelledby="t d" '
        'font-family="system-ui, sans-serif" font-size="15" fill="#111">',
        '<title id="t">The way through combside, step by step</title>',
        f'<desc id="d">{escape("; ".join(f"{n}. combside {c}: {w}, {when}" for n, (c, w, when) in enumerate(STEPS, 1)))}</desc>',
        f'<rect width="{width}" height="{height}" fill="#fff"/>',
    ]
    for number, (command, words, when) in enumerate(STEPS, 1):
        y = 10 + row * (number - 1)
        if number < len(STEPS):
            lines.append(f'<path d="M40 {y + 44} V{y + row}" stroke="#111" stroke-width="3"/>')
        lines += [
            f'<circle cx="40" cy="{y + 24}" r="20" fill="#0b4a86"/>',
            f'<text x="40" y="{y + 30}" text-anchor="middle" fill="#fff" font-weight="700">{number}</text>',
            f'<text x="76" y="{y + 20}" font-family="monospace" font-weight="700">combside {escape(command)}</text>',
            f'<text x="76" y="{y + 41}">{escape(words)}</text>',
            f'<text x="{width - 16}" y="{y + 30}" text-anchor="end" fill="#3f3f3f">{escape(when)}</text>',
        ]
    return "\n".join([*lines, "</svg>"]) + "\n"


def planned() -> str:
    """The plan of the invented household, as `combside plan --picture` draws it."""
    made = program("touch_up")
    return svg(plan(made), made.routine.title)


def reported(home: str = "default") -> str:
    """The picture of the report of a rehearsal with an invented household."""
    with tempfile.TemporaryDirectory() as folder:
        page = Path(folder) / "r.html"
        home_file = DOCS.parents[1] / "routines" / "homes" / f"{home}.yaml"
        main(["rehearse", "whole_head", "--quiet", "--home", str(home_file), "--report", str(page)])
        source = page.read_text("utf-8")
    return source[source.index("<svg") : source.index("</svg>")] + "</svg>\n"


def write_pictures() -> Iterator[Path]:
    """Make each anew; where it was written."""
    for name, text in (
        ("way.svg", way()),
        ("plan.svg", planned()),
        ("report.svg", reported()),
        ("report_harm.svg", reported("burning")),
    ):
        path = FOLDER / name
        path.parent.mkdir(exist_ok=True)
        path.write_text(text, "utf-8")
        yield path
