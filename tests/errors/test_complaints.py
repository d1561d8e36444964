"""How complaints are printed: clear without colour, harmless whatever they quote."""

from __future__ import annotations

import io

import pytest

from assistant.cli import status
from assistant.cli.complaints import show
from assistant.files.complaint import Complaint
from assistant.screens.harmless import harmless

ONE = Complaint("kit.yaml", 12, 3, "unknown key 'wiat'", "did you mean 'wait'?", "  wiat: 3", 4)


class Terminal(io.StringIO):
    def isatty(self) -> bool:
        return True


@pytest.fixture(autouse=True)
def plain_environment(monkeypatch: pytest.MonkeyPatch) -> None:
    for name in ("NO_COLOR", "FORCE_COLOR", "CLICOLOR_FORCE", "TTY_COMPATIBLE", "COLUMNS", "COLORTERM"):
        monkeypatch.delenv(name, raising=False)
    monkeypatch.setenv("TERM", "xterm-256color")


def shown(*complaints: Complaint, stream: io.StringIO | None = None) -> str:
    stream = stream or io.StringIO()
    show(complaints, stream)
    return stream.getvalue()


def test_a_complaint_without_colour() -> None:
    assert shown(ONE) == (
        "error: unknown key 'wiat'\n"
        " --> kit.yaml:12:3\n"
        "    |\n"
        " 12 |   wiat: 3\n"
        "    |   ^^^^\n"
        "hint: did you mean 'wait'?\n"
    )


def test_a_complaint_about_a_whole_file_and_two_in_a_row() -> None:
    whole = Complaint("kit.yaml", 0, 0, "this file is empty")
    assert (
        shown(whole, whole)
        == "error: this file is empty\n --> kit.yaml\n\nerror: this file is empty\n --> kit.yaml\n"
    )


def test_colour_on_a_terminal_only_and_never_with_no_color(monkeypatch: pytest.MonkeyPatch) -> None:
    """NO_COLOR: "regardless of its value" when present and not empty (no-color.org)."""
    assert "\x1b[1;31merror" in shown(ONE, stream=Terminal())
    monkeypatch.setenv("NO_COLOR", "1")
    coloured = [f"\x1b[{style}m" for style in range(30, 38)] + [";3", ";4", "[38", "[48"]
    assert not [code for code in coloured if code in shown(ONE, stream=Terminal())]
    assert "\x1b" not in shown(ONE)


def test_what_is_quoted_cannot_steer_the_terminal() -> None:
    evil = "\x1b]0;title\x07\x1b[2J\u202e\u2028\x9b1m\r\n"
    text = shown(Complaint(f"k{evil}", 1, 1, f"m{evil}", f"h{evil}", f"e{evil}", 99))
    assert not [c for c in text if not (c.isprintable() or c == "\n")]
    assert text.count("\n") == 6
    assert "\\x1b]0;title\\x07\\x1b[2J\\u202e\\u2028\\x9b1m\\x0d\\x0a" in text


def test_markup_in_a_name_is_only_text() -> None:
    assert "error: [red]:smile:[/red]\n" in shown(Complaint("k", 0, 0, "[red]:smile:[/red]"))


@pytest.mark.parametrize(
    ("excerpt", "column", "width", "caret"),
    [
        ("名前: x", 5, 1, "      ^"),
        ("e\u0301a: x", 5, 1, "   ^"),
        ("a: クリーム", 4, 4, "   ^^^^^^^^"),
        ("a:\tb", 4, 1, "   ^"),
    ],
)
def test_the_caret_stands_under_wide_and_combining_characters(
    excerpt: str, column: int, width: int, caret: str
) -> None:
    """East Asian wide characters take two columns, combining marks none (Unicode Standard Annex 11)."""
    lines = shown(Complaint("k", 1, column, "m", "", excerpt, width)).splitlines()
    assert lines[4] == f"   | {caret}"


@pytest.mark.parametrize("column", [1, 40, 2500, 5000])
def test_of_a_long_line_the_part_around_the_place_is_shown(column: int) -> None:
    line = "".join(chr(97 + n % 26) for n in range(5000))
    lines = shown(Complaint("k", 1, column, "m", "", line, 1)).splitlines()
    assert max(len(line) for line in lines) < 120
    caret = lines[4].index("^")
    assert lines[3][caret] == line[column - 1]


def test_plain_text_is_left_as_it_is() -> None:
    for text in ("Zoë", "クリーム", "a b", "½", "👩\u200d🦱"):
        assert harmless(text) == text
    assert harmless("a\tb") == "a b"
    assert harmless("\ud800") == "\\ud800"


def test_the_exit_statuses_are_what_scripts_rely_on() -> None:
    assert (status.DONE, status.NO, status.WRONG_INPUT) == (0, 1, 2)
