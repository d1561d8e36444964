"""The glance screen put up beside a run: the page, the browser it opens in, and the keys typed at it.

Who calls it: `run` and `rehearse`. What the page shows is `screens.glance`.
"""

from __future__ import annotations

import contextlib
import os
import shutil
import subprocess
import sys
import webbrowser

from assistant.ears.keys import MEANINGS
from assistant.ports import Keys
from assistant.screens.glance.screen import GlanceScreen

OPENERS = ("xdg-open", "gio", "wslview")


class PageKeys:
    """Meets `ports.Keys`: `keys` and those typed at `page`. The pedal types into whichever window is in front."""

    def __init__(self, keys: Keys, page: GlanceScreen) -> None:
        self._keys = keys
        self._page = page

    def pressed(self) -> list[str]:
        typed = [MEANINGS.get(name.lower(), "yes") for name in self._page.typed()]
        return [*self._keys.pressed(), *typed]


def open_browser(url: str) -> bool:
    """Open `url` where there is a browser with windows; False where there is none. Never waits for it.

    A browser that lives in a terminal would take ours away, so it does not count.
    """
    if sys.platform in ("win32", "darwin"):
        return webbrowser.open(url)
    if not (
        os.environ.get("DISPLAY") or os.environ.get("WAYLAND_DISPLAY") or os.environ.get("WSL_DISTRO_NAME")
    ):
        return False
    for name in OPENERS:
        program = shutil.which(name)
        if program is None:
            continue
        command = [program, "open", url] if name == "gio" else [program, url]
        with contextlib.suppress(OSError):
            subprocess.Popen(
                command,
                stdin=subprocess.DEVNULL,
                stdout=subprocess.DEVNULL,
                stderr=subprocess.DEVNULL,
                start_new_session=True,
            )
            return True
    return False
