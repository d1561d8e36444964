"""A headless Chromium for tests of pages; they are skipped, with the reason, where there is none."""

from __future__ import annotations

import shutil
from collections.abc import Iterator

import pytest

FLAGS = (
    "--disable-gpu",
    "--disable-quic",
    "--no-first-run",
    "--disable-background-networking",
    "--disable-component-update",
    "--disable-sync",
)
WCAG = ("wcag2a", "wcag2aa", "wcag2aaa", "wcag21a", "wcag21aa", "wcag22aa", "best-practice")
"""Rule sets of axe-core: WCAG 2.0 to 2.2, level AAA where a machine can tell, and its own good practice."""


@pytest.fixture(scope="module")
def browser() -> Iterator[object]:
    """Chromium with a profile of its own that is thrown away."""
    program = shutil.which("chromium")
    if program is None:
        pytest.skip("no chromium on this machine: apt-get install chromium")
    playwright = pytest.importorskip("playwright.sync_api", reason="no playwright: pip install playwright")
    with playwright.sync_playwright() as driver:
        chromium = driver.chromium.launch(executable_path=program, args=FLAGS, chromium_sandbox=False)
        yield chromium
        chromium.close()
