"""The glance screen beside a run: its keys count like the terminal's, and a browser is opened only where it has windows."""

from __future__ import annotations

import os
import stat
from pathlib import Path

import pytest

from assistant.app.glance import PageKeys, open_browser
from assistant.screens.glance.screen import GlanceScreen


class Pedal:
    """A terminal where the pedal was pressed once."""

    def pressed(self) -> list[str]:
        return ["yes"]


def test_keys_typed_at_the_page_mean_what_they_mean_in_the_terminal(monkeypatch: pytest.MonkeyPatch) -> None:
    page = GlanceScreen()
    monkeypatch.setattr(page, "typed", lambda: ["N", "a", "S", "PageDown", " "])
    assert PageKeys(Pedal(), page).pressed() == ["yes", "no", "again", "stop", "yes", "yes"]


@pytest.mark.parametrize("display", ["", ":0"])
def test_a_browser_opens_only_where_there_are_windows(
    display: str, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Without a display nothing is started: a browser in the terminal would take it away from the run."""
    monkeypatch.setattr("sys.platform", "linux")
    for name in ("DISPLAY", "WAYLAND_DISPLAY", "WSL_DISTRO_NAME"):
        monkeypatch.delenv(name, raising=False)
    if display:
        monkeypatch.setenv("DISPLAY", display)
    fifo, opener = tmp_path / "told", tmp_path / "xdg-open"
    opener.write_text(f'#!/bin/sh\necho "$1" >"{fifo}"\n')
    opener.chmod(stat.S_IRWXU)
    monkeypatch.setenv("PATH", str(tmp_path))
    if not display:
        assert open_browser("http://127.0.0.1:1/x/") is False
        return

    os.mkfifo(fifo)
    assert open_browser("http://127.0.0.1:1/x/") is True
    assert fifo.read_text() == "http://127.0.0.1:1/x/\n"


def test_without_an_opener_nothing_is_opened(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr("sys.platform", "linux")
    monkeypatch.setenv("DISPLAY", ":0")
    monkeypatch.setenv("PATH", str(tmp_path))
    assert open_browser("http://127.0.0.1:1/x/") is False
