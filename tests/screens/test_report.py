"""The report of a run: true to the diary's entry, safe with any name, readable by everybody, on screen and paper."""

from __future__ import annotations

import re
from datetime import date, datetime, timezone
from functools import cache
from html.parser import HTMLParser
from itertools import pairwise
from pathlib import Path
from typing import Any

import pytest

from assistant.core.diary import Incident, NextDay, RunRecord, ZoneExposure
from assistant.core.diary_entry import from_session
from assistant.core.events import Heard
from assistant.core.kit_sheet import LimitMeans
from assistant.core.moments import Kind, moments
from assistant.core.session import Stance
from assistant.screens import report_picture
from assistant.screens.report import FOLDER, STYLES, report_page
from tests.programs import program
from tests.screens.browser import WCAG, browser
from tests.walker import Walk

__all__ = ["browser"]

STARTED = datetime(2024, 3, 14, 18, 30, tzinfo=timezone.utc)
NASTY = "<script>alert(1)</script>\"'><img src=x onerror=y> \u202eadA \x1b[2J & Bo"
NEXT = (NextDay("relaxer", date(2024, 5, 9), "eight weeks after 14 March 2024", "published"),)


@cache
def walked(burns: bool = False) -> tuple[RunRecord, Walk]:
    """A whole run as values; `burns`: it is reported while the third zone is covered."""
    walk = Walk(program())
    if burns:
        walk.go(lambda s: s.stance is Stance.COVERING and len(s.ledger.zones) == 3)
        walk.hear("it_burns")
    walk.to_end()
    record = from_session(program(), walk.events, id="2024-03-14T18-30-00", kind="run", started=STARTED)
    return record, walk


def page_of(burns: bool = False, **changes: Any) -> str:
    record, walk = walked(burns)
    happened = [(e.t, e) for e in walk.events] + list(walk.actions)
    told = moments(sorted(happened, key=lambda pair: pair[0]), program().book, record.began_s)
    return report_page(record.model_copy(update=changes), moments=told, next_days=NEXT)


class Page(HTMLParser):
    """What a reader of the page's source finds: elements with attributes, and the text."""

    def __init__(self, source: str) -> None:
        super().__init__()
        self.elements: list[tuple[str, dict[str, str | None]]] = []
        self.words: list[str] = []
        self.cells: list[list[str]] = []
        self._open: list[str] = []
        self.feed(source)

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        self.elements.append((tag, dict(attrs)))
        if tag == "tr":
            self.cells.append([])
        elif tag in ("td", "th"):
            self.cells[-1].append("")
        if tag not in ("meta", "img", "br"):
            self._open.append(tag)

    def handle_endtag(self, tag: str) -> None:
        assert self._open.pop() == tag

    def handle_data(self, data: str) -> None:
        if "style" not in self._open:
            self.words.append(data)
        if {"td", "th"} & set(self._open):
            self.cells[-1][-1] += data

    @property
    def text(self) -> str:
        return " ".join(" ".join(self.words).split())

    def tags(self, *names: str) -> list[str]:
        return [tag for tag, _ in self.elements if tag in names]


def clock(seconds: float) -> str:
    return f"{int(seconds + 0.5) // 60}:{int(seconds + 0.5) % 60:02d}"


def test_the_tables_say_what_the_entry_says() -> None:
    """Every zone with its counted exposure and limit; every phrase that was heard; every timed work."""
    record, walk = walked()
    page = Page(page_of())
    rows = {cells[0]: cells for cells in page.cells if len(cells) >= 8}
    for zone in record.zones:
        counted = record.exposure_s(zone)
        assert counted is not None
        assert clock(counted) in rows[zone.zone]
        assert rows[zone.zone][-1].startswith("within")
    heard = [cells[2] for cells in page.cells if cells[1:2] == ["heard"]]
    assert heard == [program().book.taught(e.phrase, e.slot) for e in walk.events if isinstance(e, Heard)]
    work = [cells[2:4] for cells in page.cells if len(cells) == 5][1:-1]
    assert work == [[clock(p.expected_s), clock(p.seconds)] for p in record.pace]
    assert "9 May 2024" in page.text


def test_harm_stands_first_with_what_was_told_to_do() -> None:
    """The part about harm comes before the picture and holds the first aid and the incident's numbers."""
    page = Page(page_of(burns=True)).text
    assert page.index("What hurt or nearly hurt") < page.index("The run in one picture")
    assert "skin or scalp burns" in page and "Keep the water on at least twenty minutes." in page
    assert "combside diary incident 2024-03-14T18-30-00" in page
    assert "What hurt" not in Page(page_of()).text


def test_names_can_do_nothing() -> None:
    """Markup in a name is text, what does not print is made visible, and the page runs and fetches nothing."""
    incident = Incident(what=NASTY, where=NASTY, at=STARTED, cream_s=60.0, first_aid=(NASTY,))
    zone = walked()[0].zones[0].model_copy(update={"zone": NASTY})
    source = page_of(
        person=NASTY, helper=NASTY, kit=NASTY, limit_reason=NASTY, aftercare=(NASTY,),
        incidents=(incident,), zones=(zone, *walked()[0].zones[1:]),
    )  # fmt: skip
    page = Page(source)
    assert page.text.count("<script>alert(1)</script>") >= 8
    assert not page.tags("script", "img", "link", "iframe", "object", "base", "form")
    assert "\u202e" not in source and "\x1b" not in source and "\\u202eadA \\x1b[2J" in page.text
    for _, attributes in page.elements:
        assert not [name for name in attributes if name.startswith("on") or name in ("src", "style")]
    assert not re.search(r"url\((?!#)|@import|https?://(?!www\.w3\.org/2000/svg)", source)


def test_the_page_is_built_for_everybody() -> None:
    """WCAG 2.2: language (3.1.1), title (2.4.2), headings in order (1.3.1), text for the picture (1.1.1), table heads."""
    page = Page(page_of(burns=True))
    assert ("html", {"lang": "en"}) in page.elements
    levels = [int(tag[1]) for tag in page.tags("h1", "h2", "h3", "h4")]
    assert levels[0] == 1 and levels.count(1) == 1
    assert all(later - earlier <= 1 for earlier, later in pairwise(levels))
    ids = [a["id"] for _, a in page.elements if "id" in a]
    assert len(ids) == len(set(ids))
    picture = next(a for tag, a in page.elements if tag == "svg")
    assert picture["role"] == "img"
    assert set(str(picture["aria-labelledby"]).split()) <= set(ids)
    assert len(page.tags("table")) == len(page.tags("caption")) == 4
    assert all("scope" in a for tag, a in page.elements if tag == "th")


def zone(first: float, wet: float | None, clear: float | None) -> ZoneExposure:
    return ZoneExposure(zone="crown", first_s=first, last_s=first + 60, wet_s=wet, clear_s=clear)


@pytest.mark.parametrize(
    ("means", "told"),
    [
        # First cream at 2:00, water 17:00, clear 19:00, limit 16:00; by hand from what each sense counts:
        (LimitMeans.FIRST_TOUCH, ("17:00", "OVER by 1:00", "16:00")),  # 0:00 to 17:00
        (LimitMeans.BY_SECTION, ("15:00", "within, 1:00 left", "18:00")),  # 2:00 to 17:00
        (LimitMeans.UNTIL_CLEAR, ("19:00", "OVER by 3:00", "16:00")),  # 0:00 to 19:00
    ],
)
def test_each_sense_of_the_limit_is_counted_as_the_kit_means_it(
    means: LimitMeans, told: tuple[str, str, str]
) -> None:
    """Table, picture and answer agree on what is over the limit."""
    source = page_of(limit_means=means, limit_s=960.0, zones=(zone(120, 1020, 1140),), calls=())
    row = next(cells for cells in Page(source).cells if cells[:1] == ["crown"])
    assert (row[5], row[-1]) == told[:2]
    assert f"limit of crown: {told[2]}</title>" in source
    assert ("OVER</text>" in source) is told[1].startswith("OVER")
    assert ("Every zone stayed within its limit" in source) is told[1].startswith("within")


def test_an_end_that_nobody_saw_is_no_success() -> None:
    """Without water the exposure is unknown: not within, and said so in table, answer and findings."""
    source = page_of(zones=(zone(0, None, None),), calls=(), outcome="broken off")
    page = Page(source)
    assert next(c for c in page.cells if c[:1] == ["crown"])[-1] == "END NOT SEEN"
    assert '<td class="over">END NOT SEEN</td>' in source
    assert "Over the limit, or end not seen: crown" in page.text
    assert "Nobody reported an end for crown" in page.text and "within the limit" not in page.text


def test_what_a_call_repeats_is_told_once() -> None:
    """The rinse call sounds again and again; the table says how often and until when."""
    record, walk = walked()
    happened = [(t, a) for t, a in walk.actions]
    found = moments(happened, program().book, record.began_s)
    calls = [m for m in found if m.kind is Kind.CALL and m.words.startswith("Rinse now")]
    spoken = sum(getattr(a, "name", "") == "call" for _, a in walk.actions)
    assert spoken > 1
    assert [m.times for m in calls] == [spoken]


# -- contrast ----------------------------------------------------------------------------


def luminance(colour: str) -> float:
    """WCAG 2.2, definition of relative luminance."""
    parts = [int(colour[i : i + 2], 16) / 255 for i in (1, 3, 5)]
    r, g, b = (c / 12.92 if c <= 0.04045 else ((c + 0.055) / 1.055) ** 2.4 for c in parts)
    return 0.2126 * r + 0.7152 * g + 0.0722 * b


def contrast(one: str, other: str) -> float:
    """WCAG 2.2, definition of contrast ratio."""
    low, high = sorted((luminance(one), luminance(other)))
    return (high + 0.05) / (low + 0.05)


def test_every_text_is_seven_to_one_on_its_ground() -> None:
    """WCAG 2.2, 1.4.6 (AAA), from the real styles. The formula: black on white is 21 by definition of the scale."""
    assert contrast("#000000", "#ffffff") == pytest.approx(21)
    styles = dict(re.findall(r"--([a-z-]+): (#[0-9a-f]{6})", (FOLDER / STYLES).read_text("utf-8")))
    grounds = {"paper": ("ink", "quiet", "stop", "link"), "stop-band": ("ink", "stop"), "care-band": ("ink",)}
    for ground, inks in grounds.items():
        for ink in inks:
            assert contrast(styles[ink], styles[ground]) >= 7, (ink, ground)
    assert contrast(styles["line"], styles["paper"]) >= 3  # 1.4.11: what is no text
    for name in ("INK", "COVER", "WORKS", "RINSE", "STOP", "CARE"):
        assert contrast(getattr(report_picture, name), report_picture.PAPER) >= 7, name


# -- in a browser ------------------------------------------------------------------------


def test_a_browser_finds_nothing_to_mend(browser: Any, tmp_path: Path) -> None:
    """axe-core finds no violation; nothing is fetched; no sideways scrolling at 320 px (1.4.10); paper holds it."""
    axe = pytest.importorskip("axe_playwright_python.sync_playwright", reason="no axe-playwright-python")
    file = tmp_path / "report.html"
    file.write_text(page_of(burns=True), "utf-8")
    page = browser.new_page(viewport={"width": 1280, "height": 900})
    asked: list[str] = []
    page.on("request", lambda request: asked.append(request.url))
    page.goto(file.as_uri())
    found = axe.Axe().run(page, options={"runOnly": list(WCAG)}).response
    assert [(v["id"], v["nodes"][0]["html"]) for v in found["violations"]] == []
    assert len(found["passes"]) > 30
    assert asked == [file.as_uri()]
    page.set_viewport_size({"width": 320, "height": 800})
    assert page.evaluate("document.documentElement.scrollWidth") <= 320
    printed = page.pdf(prefer_css_page_size=True)
    assert printed.startswith(b"%PDF")
    assert 2 <= len(re.findall(rb"/Type /Page\b", printed)) <= 7
    page.close()
