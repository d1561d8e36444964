"""How soon the glance page shows an event, painted in a real browser, and what the page's server costs when idle.

The page's part needs chromium and playwright; without them it is left out, and says so.
"""

from __future__ import annotations

import json
import os
import shutil
import socket
import subprocess
import sys
import time
from pathlib import Path
from typing import Any
from urllib.parse import urlsplit

import numpy as np

from assistant.core.actions import Say, Sentence
from assistant.core.session import Stance, View
from assistant.screens.glance.screen import GlanceScreen
from tests.bench.result import Result
from tests.screens.browser import FLAGS

EVENTS = 200
GOAL_S = 0.1
IDLE_S = 10.0
VIEW = View(420.0, 600.0, "step 20 of 27: covering zone by zone", "back left", Stance.COVERING, 20, 27)

WATCH = """
() => {
  window.painted = {};
  new MutationObserver(() => {
    const said = document.querySelector('#said').textContent;
    if (said in painted) return;
    painted[said] = 0;
    requestAnimationFrame(() => setTimeout(() => { painted[said] = (performance.timeOrigin + performance.now()) / 1000; }));
  }).observe(document.querySelector('#said'), {childList: true, subtree: true, characterData: true});
}
"""
"""Notes when each prompt was on the page and the frame with it had been made."""

IDLE = """
import json, os, resource, sys, time
from assistant.screens.glance.screen import GlanceScreen

def megabytes():
    with open("/proc/self/statm") as file:
        return int(file.read().split()[1]) * os.sysconf("SC_PAGE_SIZE") / 1e6

screen = GlanceScreen()
before = megabytes()
print(screen.open(), flush=True)
sys.stdin.readline()
began, cpu = time.perf_counter(), time.process_time()
seconds = float(sys.argv[1])
while (t := time.perf_counter() - began) < seconds:
    screen.clock(t, 420.0 + t, 600.0 - t, "step 20 of 27: covering")
    time.sleep(0.05)
print(json.dumps({"cpu": (time.process_time() - cpu) / seconds, "more_mb": megabytes() - before, "mb": megabytes()}))
"""
"""A process that does nothing but what a run does to the screen, twenty times a second."""


def measure() -> Result:
    figures = {f"idle_{name}": value for name, value in idle().items()}
    goals: dict[str, float] = {}
    chromium = shutil.which("chromium")
    if chromium is None:
        print("glance: no chromium on this machine, so the page itself is not measured", file=sys.stderr)
        return Result("glance", figures)
    taken = event_to_page_s(chromium)
    figures |= {f"event_to_page_p{p}_s": float(np.percentile(taken, p)) for p in (50, 95, 100)}
    goals["event_to_page_p95_s"] = GOAL_S
    return Result("glance", figures, goals)


def event_to_page_s(chromium: str) -> list[float]:
    """Seconds from `said` in the loop's thread until the frame with it is made, for every event."""
    from playwright.sync_api import sync_playwright

    random = np.random.RandomState(1)
    sent: dict[str, float] = {}
    with sync_playwright() as driver, GlanceScreen() as screen:
        browser: Any = driver.chromium.launch(executable_path=chromium, args=FLAGS, chromium_sandbox=False)
        page = browser.new_page(viewport={"width": 1366, "height": 768})
        page.goto(screen.open())
        screen.stands(0.0, VIEW)
        page.wait_for_selector("#zone-name:has-text('back left')")
        page.evaluate(WATCH)
        for number in range(EVENTS):
            words = f"Prompt {number} was spoken."
            sent[words] = time.time()
            screen.said(float(number), Say("x", (Sentence(words),)))
            time.sleep(random.uniform(0.03, 0.12))
        page.wait_for_timeout(500)
        painted = page.evaluate("painted")
        browser.close()
    shown = {words: at for words, at in painted.items() if at}
    assert len(shown) > 0.9 * EVENTS, f"only {len(shown)} of {EVENTS} events were seen"
    return [at - sent[words] for words, at in shown.items()]


def idle() -> dict[str, float]:
    """Share of one core and megabytes of a process that only serves the page, with nobody and with one reader."""
    figures = {}
    for name, readers in (("no_reader", 0), ("one_reader", 1)):
        child = subprocess.Popen(
            [sys.executable, "-c", IDLE, str(IDLE_S)],
            cwd=Path(__file__).parents[2],
            env={**os.environ, "PYTHONPATH": str(Path(__file__).parents[2])},
            stdin=subprocess.PIPE,
            stdout=subprocess.PIPE,
            text=True,
        )
        assert child.stdin is not None and child.stdout is not None
        url = urlsplit(child.stdout.readline().strip())
        links = []
        for _ in range(readers):
            link = socket.create_connection(("127.0.0.1", url.port or 0))
            link.sendall(f"GET {url.path}events HTTP/1.1\r\nHost: {url.netloc}\r\n\r\n".encode())
            links.append(link)
        child.stdin.write("\n")
        child.stdin.flush()
        told = json.loads(child.stdout.readline())
        child.wait()
        for link in links:
            link.close()
        figures |= {
            f"{name}_cpu_share": told["cpu"],
            f"{name}_more_mb": told["more_mb"],
            f"{name}_process_mb": told["mb"],
        }
    return figures
