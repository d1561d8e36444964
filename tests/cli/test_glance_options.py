"""`--glance`: which screens a walk is shown on, and that wrong sizes are refused in words."""

from __future__ import annotations

import argparse
import urllib.request

import pytest

from assistant.cli.glance_options import DIAGONAL_IN, DISTANCE_M, add_glance, shown_on
from assistant.core.actions import Say, Sentence
from assistant.core.session import Stance, View
from assistant.screens.glance import legible
from assistant.screens.none import NoScreen
from assistant.screens.several import SeveralScreens
from assistant.screens.terminal import TerminalScreen

PEOPLE = {"person": "Ada", "helper": "Bo"}


class NoKeys:
    def pressed(self) -> list[str]:
        return ["again"]


def chosen(*options: str) -> argparse.Namespace:
    command = argparse.ArgumentParser()
    add_glance(command)
    return command.parse_args(options)


def test_without_it_the_terminal_alone_is_used() -> None:
    with shown_on(chosen(), people=PEOPLE) as shown:
        assert isinstance(shown.screen, TerminalScreen)
        assert shown.address == ""
        assert shown.with_page(NoKeys()).pressed() == ["again"]


@pytest.mark.parametrize("options", [("--glance-on", "page"), ("--glance",)])
def test_the_page_is_beside_the_terminal(
    options: tuple[str, ...], capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    """Its address is printed; what the screens are told is on the page; keys typed there count. Piped output changes nothing."""
    for name in ("DISPLAY", "WAYLAND_DISPLAY", "WSL_DISTRO_NAME"):
        monkeypatch.delenv(name, raising=False)
    monkeypatch.setattr("sys.platform", "linux")
    with shown_on(chosen(*options), people=PEOPLE) as shown:
        assert isinstance(shown.screen, SeveralScreens)
        assert shown.address in capsys.readouterr().err
        shown.screen.stands(0.0, View(None, None, "step 1 of 9: gloves", "", Stance.CONFIRM, 1, 9))
        post = urllib.request.Request(shown.address + "key", data=b"s", method="POST")
        assert urllib.request.urlopen(post, timeout=5).status == 204
        assert shown.with_page(NoKeys()).pressed() == ["again", "stop"]
        with urllib.request.urlopen(shown.address + "events", timeout=5) as stream:
            assert any(b'"title":"gloves"' in stream.readline() for _ in range(3))


def test_the_big_terminal_needs_a_terminal(capsys: pytest.CaptureFixture[str]) -> None:
    with shown_on(chosen("--glance-on", "terminal"), people=PEOPLE) as shown:
        assert isinstance(shown.screen, TerminalScreen)
    assert "needs a terminal" in capsys.readouterr().err


def test_without_a_port_the_walk_goes_on(
    capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    """A run with cream on does not wait for a picture of it."""

    def none_free(*_: object, **__: object) -> None:
        raise OSError("no port is free")

    monkeypatch.setattr("assistant.screens.glance.screen.PageServer", none_free)
    with shown_on(chosen("--glance-on", "page"), people=PEOPLE) as shown:
        assert isinstance(shown.screen, TerminalScreen)
    assert "cannot be shown: no port is free. All else goes on" in capsys.readouterr().err


def test_a_quiet_walk_may_still_have_its_page(capsys: pytest.CaptureFixture[str]) -> None:
    """Nothing of it goes to the output, where a program may read JSON."""
    with shown_on(chosen("--glance-on", "page"), people=PEOPLE, quiet=NoScreen()) as shown:
        assert isinstance(shown.screen, SeveralScreens)
        shown.screen.said(0.0, Say("x", (Sentence("Gloves on."),)))
    with shown_on(chosen(), people=PEOPLE, quiet=NoScreen()) as shown:
        assert isinstance(shown.screen, NoScreen)
    assert capsys.readouterr().out == ""


@pytest.mark.parametrize("size", ["0", "-14", "nan", "inf", "wide"])
def test_a_size_that_cannot_be_is_refused(size: str, capsys: pytest.CaptureFixture[str]) -> None:
    with pytest.raises(SystemExit) as ended:
        chosen("--glance-inches", size)
    assert ended.value.code == 2
    assert f"'{size}' is not a number above zero" in capsys.readouterr().err


def test_the_defaults_are_those_of_the_page() -> None:
    assert (DIAGONAL_IN, DISTANCE_M) == (legible.DIAGONAL_IN, legible.DISTANCE_M)
