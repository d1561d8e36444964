"""The glance page in a real browser: tall enough, clear enough, never cut off, never old without saying so.

Every page here shows what whole runs gave it, at the size of a phone, a laptop and a television.
"""

from __future__ import annotations

import io
import math
from collections.abc import Iterator
from dataclasses import replace
from typing import Any
from urllib.parse import urlsplit

import pytest

from assistant.core.actions import Say, Sentence
from assistant.core.session import Stance, View
from assistant.screens.glance.legible import DISTANCE_M, styles
from assistant.screens.glance.screen import GlanceScreen
from assistant.screens.glance.server import PageServer
from tests.screens.browser import WCAG, browser
from tests.screens.glances import every_glance

__all__ = ["browser"]

SIZES = {"phone": (390, 844, 6.1), "laptop": (1366, 768, 14.0), "television": (1920, 1080, 43.0)}
"""Width and height in pixels, diagonal in inches."""

AAA = 7.0
"""Contrast of text at level AAA (WCAG 2.2, 1.4.6)."""
MM_AT_16, MM_AT_22 = 9.31, 12.80
"""Letter heights for 2 m at 16 and 22 minutes of arc: H = 6.283 D a / 21600, worked."""

SHOW = "(glance) => { news = glance; heardAt = performance.now(); showWords(); showClocks(); }"
"""Gives the page's own script an event, without the way there."""

TEXTS = """
() => [...document.querySelectorAll('main *')]
  .filter(e => [...e.childNodes].some(n => n.nodeType === 3 && n.data.trim()) && e.checkVisibility())
  .map(e => {
    let ground = e;
    while (getComputedStyle(ground).backgroundColor === 'rgba(0, 0, 0, 0)') ground = ground.parentElement;
    return [e.textContent, getComputedStyle(e).color, getComputedStyle(ground).backgroundColor];
  })
"""
"""Every text that can be seen with its colour and the colour behind it."""

HALF = "(ms) => document.body.getAnimations().forEach(a => { a.pause(); a.currentTime = ms; })"
"""Stops the flash of the rinse call so many ms into its second."""

LAY_OUT = f"""
(glances) => {{
  const show = {SHOW}, texts = {TEXTS};
  const outside = () => [...document.querySelectorAll('main *')].filter(e => e.checkVisibility() && e.id !== 'used').filter(e => {{
    const r = e.getBoundingClientRect();
    return r.width && (r.left < -1 || r.top < -1 || r.right > innerWidth + 1 || r.bottom > innerHeight + 1);
  }}).map(e => e.id || e.className || e.tagName);
  return glances.map(glance => {{
    show(glance);
    const share = getComputedStyle(document.documentElement).getPropertyValue('--all');
    return [JSON.stringify(glance), outside(), overflows(), share, texts()];
  }});
}}
"""
"""For every glance: itself, what lies outside the window, whether anything is cut off, the share of the heights asked for, its texts."""


@pytest.fixture(scope="module")
def page(browser: Any) -> Iterator[Any]:
    """One page for all tests. Asking for anything elsewhere than on this machine fails them, and so does any complaint."""
    context = browser.new_context()
    page = context.new_page()
    asked: list[str] = []
    complaints: list[str] = []
    page.on("request", lambda request: asked.append(request.url))
    page.on("pageerror", lambda error: complaints.append(str(error)))
    page.on("console", lambda m: complaints.append(m.text) if "Content Security" in m.text else None)
    yield page
    context.close()
    assert complaints == []
    assert {urlsplit(address).hostname for address in asked} == {"127.0.0.1"}


def show(page: Any, size: str, url: str) -> None:
    width, height, _ = SIZES[size]
    page.set_viewport_size({"width": width, "height": height})  # the screen's size with it
    page.goto(url)
    page.wait_for_selector("body[data-stand]")  # the first event has come


def working() -> View:
    """Seven minutes into the cream."""
    now = View(420.0, 600.0, "step 20 of 27: covering zone by zone", "back left", Stance.COVERING, 20, 27)
    return replace(now, answers=("done with back left",), stop="rinse now", chance=0.93)


def luminance(colour: str) -> float:
    """Relative luminance (WCAG 2.2) of "#rrggbb" or "rgb(r, g, b)"."""
    if colour.startswith("#"):
        parts = [int(colour[i : i + 2], 16) for i in (1, 3, 5)]
    else:
        parts = [int(part) for part in colour.removeprefix("rgb(").removesuffix(")").split(",")]
    red, green, blue = (
        c / 255 / 12.92 if c / 255 <= 0.04045 else ((c / 255 + 0.055) / 1.055) ** 2.4 for c in parts
    )
    return 0.2126 * red + 0.7152 * green + 0.0722 * blue


def contrast(one: str, other: str) -> float:
    lighter, darker = sorted((luminance(one), luminance(other)), reverse=True)
    return (lighter + 0.05) / (darker + 0.05)


def least_contrast(page: Any) -> float:
    return min(contrast(ink, ground) for _, ink, ground in page.evaluate(TEXTS))


@pytest.mark.parametrize(
    ("one", "other", "ratio"),
    [("#767676", "#ffffff", 4.542), ("#595959", "#ffffff", 7.005), ("#ffff00", "#000000", 19.556)],
)
def test_contrast_is_counted_as_published(one: str, other: str, ratio: float) -> None:
    """The yardstick of the tests below, against WCAG's formula worked for known pairs."""
    assert contrast(one, other) == pytest.approx(ratio, abs=0.0005)


@pytest.mark.parametrize("size", SIZES)
def test_every_prompt_of_whole_runs_fits_and_is_clear(page: Any, size: str) -> None:
    """Nothing is cut off and no height is given up for it, all text has contrast AAA, and axe finds nothing."""
    axe = pytest.importorskip("axe_playwright_python.sync_playwright").Axe()
    with GlanceScreen(diagonal_in=SIZES[size][2]) as screen:
        show(page, size, screen.open())
        laid_out = page.evaluate(LAY_OUT, list(every_glance()))
        cut = [(words, outside) for words, outside, spills, _, _ in laid_out if outside or spills]
        assert cut == []
        contrasts = {
            text: contrast(ink, ground) for _, _, _, _, texts in laid_out for text, ink, ground in texts
        }
        assert {text: ratio for text, ratio in contrasts.items() if ratio < AAA} == {}
        assert len(contrasts) > 100
        assert {share for _, _, _, share, _ in laid_out} == {"1"}
        found = axe.run(page, options={"runOnly": {"type": "tag", "values": list(WCAG)}})
        assert found.violations_count == 0, found.generate_report()


def test_both_halves_of_the_flash_are_clear(page: Any) -> None:
    """The rinse call in yellow on black and black on yellow, and as axe sees it."""
    axe = pytest.importorskip("axe_playwright_python.sync_playwright").Axe()
    call = next(glance for glance in every_glance() if glance["stand"] == "call")
    with GlanceScreen() as screen:
        show(page, "laptop", screen.open())
        page.evaluate(SHOW, call)
        grounds = set()
        for half in (100, 600):
            page.evaluate(HALF, half)
            texts = page.evaluate(TEXTS)
            assert min(contrast(ink, ground) for _, ink, ground in texts) == pytest.approx(19.556, abs=0.001)
            grounds.add(texts[0][2])
            found = axe.run(page, options={"runOnly": {"type": "tag", "values": list(WCAG)}})
            assert found.violations_count == 0, found.generate_report()
        assert grounds == {"rgb(255, 255, 0)", "rgb(0, 0, 0)"}


def ink_rows(page: Any, selector: str) -> int:
    """How many rows of pixels a capital of `selector` is tall, counted on a picture of it."""
    image = pytest.importorskip("PIL.Image")
    box = page.evaluate(
        """(selector) => {
          const e = document.querySelector(selector);
          e.textContent = 'H';
          const r = document.createRange(); r.selectNodeContents(e);
          const b = r.getBoundingClientRect();
          return {x: b.x, y: Math.max(0, b.y), width: b.width, height: b.height};
        }""",
        selector,
    )
    picture = image.open(io.BytesIO(page.screenshot(clip=box))).convert("L")
    ground = picture.getpixel((0, 0))
    rows = range(picture.height)
    far = [max(abs(picture.getpixel((x, y)) - ground) for x in range(picture.width)) for y in rows]
    return sum(value > max(far) / 2 for value in far)


@pytest.mark.parametrize("size", SIZES)
def test_letters_are_as_tall_as_the_formula_asks(page: Any, size: str) -> None:
    """Measured on a picture: 12.80 mm for the clocks, the place and what to say, 9.31 mm for the rest; less on a phone."""
    width, height, diagonal = SIZES[size]
    mm_a_pixel = diagonal * 25.4 / math.hypot(width, height)
    arm = 0.7 / 2.0
    least = {"#call-digits": MM_AT_22, "#cream-digits": MM_AT_22, "#zone-name": MM_AT_22, "#answers": MM_AT_22,
             "h1": MM_AT_16, "#step": MM_AT_16, "#said p": MM_AT_16, "#heard": MM_AT_16, "#forecast": MM_AT_16}  # fmt: skip
    if size == "phone":
        least = {"#call-digits": MM_AT_16, "#cream-digits": MM_AT_16, "#zone-name": MM_AT_16 / 2, "#answers": MM_AT_16 / 2,
                 "#step": MM_AT_16 * arm, "#said p": MM_AT_16 * arm, "#heard": MM_AT_16 * arm}  # fmt: skip
    with GlanceScreen(diagonal_in=diagonal) as screen:
        show(page, size, screen.open())
        screen.stands(0.0, working())
        screen.said(0.0, Say("x", (Sentence("Crown done."),)))
        screen.heard(0.0, "crown is done", "believe")
        page.wait_for_selector("#said p:has-text('Crown done.')")
        page.wait_for_selector("#heard:has-text('crown is done')")
        for selector, mm in least.items():
            rows = ink_rows(page, selector)
            assert rows * mm_a_pixel >= mm - 0.005, (selector, rows * mm_a_pixel)


def turns(page: Any, seconds: float) -> int:
    """How often the page's background changes within `seconds`, looked at on every frame."""
    found: int = page.evaluate(
        """(ms) => new Promise(done => {
          let turned = 0, was = getComputedStyle(document.body).backgroundColor; const until = performance.now() + ms;
          (function look() {
            const now = getComputedStyle(document.body).backgroundColor;
            turned += now !== was; was = now;
            performance.now() < until ? requestAnimationFrame(look) : done(turned);
          })();
        })""",
        seconds * 1000,
    )
    return found


def test_the_rinse_call_fills_the_page_and_flashes_slowly(page: Any) -> None:
    """At most three flashes in any second (WCAG 2.3.1); none where less motion is asked for."""
    call = next(glance for glance in every_glance() if glance["stand"] == "call")
    with GlanceScreen() as screen:
        show(page, "television", screen.open())
        page.evaluate(SHOW, call)
        assert page.evaluate("document.querySelector('h1').textContent") == "RINSE NOW"
        turned = turns(page, 1.5)
        assert 2 <= turned <= 2 * 3 * 1.5  # there and back is one flash
        main = page.evaluate(
            "(() => { const r = document.querySelector('main').getBoundingClientRect(); return [r.width, r.height]; })()"
        )
        assert main == [1920, 1080]
        page.emulate_media(reduced_motion="reduce")
        assert turns(page, 1.1) == 0
        page.emulate_media(reduced_motion="no-preference")


def test_an_old_page_says_so_counts_on_and_comes_back(page: Any) -> None:
    """The server goes away: the page says that it is old, calls by itself, and is new when the server is back."""
    screen, again = GlanceScreen(), GlanceScreen()
    server = PageServer(screen.board, styles(14.0, DISTANCE_M), lambda key: None)
    token, port = urlsplit(server.url).path.strip("/"), server.port
    show(page, "laptop", server.url)
    screen.stands(0.0, working())
    screen.said(0.0, Say("x", (Sentence("Crown done."),)))
    page.wait_for_selector("#said:has-text('Crown done.')")
    assert not page.is_visible("#old")
    server.close()
    page.evaluate("heardAt -= 3000")  # three seconds later
    page.wait_for_selector("#old:visible", timeout=1000)
    assert page.inner_text("#old") == "This page is old. Trust the voice and your own timer."
    assert not page.is_visible("#said")  # what was said last may hold no longer
    assert page.get_attribute("body", "data-stand") == "work"
    assert least_contrast(page) >= AAA
    page.evaluate("heardAt -= 600e3")  # ten minutes later
    page.wait_for_selector("body[data-stand=call]", timeout=1000)
    assert page.is_visible("#old")
    assert not page.is_visible("#say")  # nobody may be left to hear it
    for half in (100, 600):
        page.evaluate(HALF, half)
        assert least_contrast(page) >= AAA
    server = PageServer(again.board, styles(14.0, DISTANCE_M), lambda key: None, port=port, token=token)
    try:
        again.stands(0.0, replace(working(), zone="hairline"))
        page.wait_for_selector("#zone-name:has-text('hairline')", timeout=5000)
        page.wait_for_selector("#old", state="hidden", timeout=1000)
        assert page.get_attribute("body", "data-stand") == "work"
    finally:
        server.close()


def test_the_page_counts_between_events_from_when_they_were_true(page: Any) -> None:
    """Clocks that were true 2 s before they came are shown 2 s further on; a wall clock plays no part."""
    with GlanceScreen() as screen:
        show(page, "laptop", screen.open())
        page.evaluate(
            SHOW,
            {**every_glance()[-1], "stand": "work", "cream_on_s": 100.2, "call_in_s": 60.9, "age_s": 2.0},
        )
        assert [page.inner_text("#cream-digits"), page.inner_text("#call-digits")] == ["1:42", "0:58"]
        page.evaluate("Date.now = () => 0; showClocks()")
        assert [page.inner_text("#cream-digits"), page.inner_text("#call-digits")] == ["1:42", "0:58"]


def test_keys_reach_the_run_and_nothing_can_be_touched(page: Any) -> None:
    """The pedal types into the window in front. Keys of the browser's own, and held ones, are none."""
    with GlanceScreen(what="conditioner") as screen:
        show(page, "laptop", screen.open())
        assert page.text_content("#cream-label") == "Conditioner on"  # a practice walk
        with page.expect_response(lambda answer: answer.request.post_data == "s"):
            for key in ("b", "Escape", "AudioVolumeUp", "Control+s", "F11", "PageDown", "n"):
                page.keyboard.press(key)
            page.keyboard.down("s")
            page.keyboard.down("s")  # held
        assert sorted(screen.typed()) == ["PageDown", "b", "n", "s"]
        assert page.evaluate("awake !== null && !awake.released")  # and the screen stays on
        assert page.query_selector_all("a, button, input, select, textarea, [tabindex], [onclick]") == []
