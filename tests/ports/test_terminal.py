"""The terminal screen: what is spoken is shown, and nothing it meets holds up or stops the loop."""

from __future__ import annotations

import io
import os
import sys
import threading
from collections.abc import Callable, Iterator
from pathlib import Path

import pytest

from assistant import ports
from assistant.core.actions import Priority, Say, Sentence
from assistant.screens.patient_stream import PatientStream
from assistant.screens.terminal import REFRESH_S, TerminalScreen

PEOPLE = {"person": "Ada", "helper": "Bo"}
GLOVES = Say(
    "gloves",
    (Sentence("Gloves on."), Sentence("Tell me."), Sentence("Helper: yours too.", "helper")),
    Priority.INSTRUCTION,
)


@pytest.fixture(autouse=True)
def plain_environment(monkeypatch: pytest.MonkeyPatch) -> None:
    for name in (
        "NO_COLOR",
        "FORCE_COLOR",
        "CLICOLOR_FORCE",
        "TTY_COMPATIBLE",
        "TTY_INTERACTIVE",
        "COLUMNS",
        "COLORTERM",
    ):
        monkeypatch.delenv(name, raising=False)
    monkeypatch.setenv("TERM", "xterm-256color")


class Hours:
    """A clock that moves when it is told."""

    t = 0.0

    def now(self) -> float:
        return self.t


def piped(act: Callable[[TerminalScreen, Hours], None], **options: bool) -> str:
    """What a pipe gets."""
    stream, hours = io.StringIO(), Hours()
    with TerminalScreen(stream, people=PEOPLE, now=hours.now, **options) as screen:
        act(screen, hours)
    return stream.getvalue()


class Watched:
    """A pseudo-terminal 100 columns wide and everything that was sent to it."""

    def __init__(self) -> None:
        self._master, terminal = os.openpty()
        self.stream = os.fdopen(terminal, "w", encoding="utf-8")
        self._raw = b""
        self._reader = threading.Thread(target=self._read, daemon=True)
        self._reader.start()

    def _read(self) -> None:
        while True:
            try:
                some = os.read(self._master, 65536)
            except OSError:
                return
            if not some:
                return
            self._raw += some

    def text(self) -> str:
        """Close it and give all that was sent."""
        self.stream.close()
        self._reader.join(10)
        return self._raw.decode("utf-8")

    def release(self) -> None:
        os.close(self._master)


@pytest.fixture
def watched() -> Iterator[Watched]:
    if sys.platform == "win32":
        pytest.skip("POSIX terminals")
    watched = Watched()
    yield watched
    watched.stream.close()
    watched._reader.join(10)
    watched.release()


def test_piped_every_prompt_is_a_line_with_its_time_and_whom_it_is_for() -> None:
    def act(screen: ports.Screen, hours: Hours) -> None:
        screen.said(3725.9, GLOVES)

    assert piped(act) == " 1:02:05  to Ada: Gloves on. Tell me.\n 1:02:05  to Bo: Helper: yours too.\n"


@pytest.mark.parametrize(
    ("priority", "begins"),
    [
        (Priority.RINSE_CALL, "# RINSE CALL to Ada: "),
        (Priority.WARNING, "! WARNING to Ada: "),
        (Priority.CAUTION, "* CAUTION to Ada: "),
        (Priority.INSTRUCTION, "to Ada: "),
        (Priority.INFORMATION, "to Ada: "),
    ],
)
def test_urgency_is_told_by_word_and_shape(priority: Priority, begins: str) -> None:
    say = Say("x", (Sentence("Now."),), priority)
    assert piped(lambda screen, _: screen.said(5.0, say)) == f"    0:05  {begins}Now.\n"


@pytest.mark.parametrize(
    ("verdict", "became"),
    [
        ("believe", "understood"),
        ("ask", "not sure, asking"),
        ("somebody", "speech, but nothing we know"),
        ("ignore", "let pass"),
        ("withdrawn", "withdrawn"),
    ],
)
def test_what_was_heard_is_shown_with_what_became_of_it(verdict: str, became: str) -> None:
    assert (
        piped(lambda s, _: s.heard(60.0, "done with crown", verdict))
        == f'    1:00  heard: "done with crown", {became}\n'
    )


def test_piped_the_status_is_a_line_for_each_place_and_each_minute_of_cream() -> None:
    def act(screen: TerminalScreen, hours: Hours) -> None:
        for second in range(0, 150):
            hours.t = float(second)
            screen.clock(
                600.0 + second,
                None if second < 10 else second - 10.0,
                None if second < 10 else 170.0 - second,
                "crown",
            )

    assert piped(act) == (
        "   10:00  -- no cream on, crown\n"
        "   11:10  -- cream on 1:00, rinse call in 1:40, crown\n"
        "   12:10  -- cream on 2:00, rinse call in 0:40, crown\n"
    )


def test_after_its_time_the_status_says_rinse_now() -> None:
    shown = piped(lambda screen, _: screen.clock(900.0, 300.0, -65.0, "rinse"))
    assert shown == "   15:00  -- cream on 5:00, RINSE NOW, 1:05 past the call, rinse\n"


def test_a_rehearsal_shows_that_its_time_is_virtual_and_how_fast_it_goes() -> None:
    def act(screen: TerminalScreen, hours: Hours) -> None:
        screen.clock(0.0, None, None, "gloves")
        hours.t = 2.0
        screen.clock(120.0, None, None, "mixing")

    assert (
        piped(act, rehearsal=True).splitlines()[-1] == "    2:00  -- no cream on, mixing, rehearsal 2:00, 60x"
    )


def test_names_and_words_cannot_steer_a_terminal() -> None:
    evil = "\x1b[2J\x07\u202e\n"

    def act(screen: TerminalScreen, hours: Hours) -> None:
        screen.said(0.0, Say("x", (Sentence(evil, evil),)))
        screen.heard(0.0, evil, evil)
        screen.clock(0.0, None, None, evil)

    shown = piped(act)
    assert not [c for c in shown if not (c.isprintable() or c == "\n")]
    assert shown.count("\n") == 3
    assert shown.count("\\x1b[2J\\x07\\u202e\\x0a") == 5


def test_no_colour_and_no_escape_reaches_a_pipe(monkeypatch: pytest.MonkeyPatch) -> None:
    assert "\x1b" not in piped(lambda screen, _: screen.said(0.0, GLOVES))
    monkeypatch.setenv("FORCE_COLOR", "1")
    assert "\x1b" not in piped(lambda screen, _: screen.said(0.0, GLOVES))


def on_terminal(watched: Watched, names: dict[str, str] = PEOPLE) -> str:
    hours = Hours()
    with TerminalScreen(watched.stream, people=names, now=hours.now, width=100) as screen:
        screen.said(1.0, GLOVES)
        screen.said(2.0, Say("w", (Sentence("Warning. Eye under the water."),), Priority.WARNING))
        screen.heard(3.0, "gloves are on", "believe")
        hours.t = 1.0
        screen.clock(600.0, 120.0, 240.0, "step 9 of 24: [bold]crown")
    return watched.text()


def test_on_a_terminal_prompts_scroll_above_a_status_line(watched: Watched) -> None:
    shown = on_terminal(watched)
    for words in (
        "to Ada",
        "Gloves on. Tell me.",
        "to Bo",
        "▲ WARNING",
        "Eye under the water.",
        '"gloves are on"',
        "understood",
    ):
        assert words in shown
    status = shown[shown.index("cream on 2:00") :]
    assert "rinse call in 4:00" in status
    assert "step 9 of 24: [bold]crown" in status
    assert shown.count("━") == 33  # a third of the time is used, of 100 columns
    assert shown.index("\x1b[?25l") < shown.rindex("\x1b[?25h")  # the cursor is back at the end


def test_no_color_is_honoured_on_a_terminal(watched: Watched, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv("NO_COLOR", "1")
    shown = on_terminal(watched)
    assert "▲ WARNING" in shown
    assert not [f"{code}" for code in range(30, 48) if f"\x1b[{code}m" in shown or f";{code}m" in shown]


def test_with_colour_a_warning_is_red(watched: Watched) -> None:
    assert "\x1b[1;31m▲ WARNING" in on_terminal(watched)


def test_a_dumb_terminal_gets_plain_lines(watched: Watched, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv("TERM", "dumb")
    shown = on_terminal(watched)
    assert "\x1b" not in shown
    assert "    0:02  ! WARNING to Ada: Warning. Eye under the water." in shown


def test_a_terminal_that_knows_only_ascii_gets_shapes_it_has(watched: Watched) -> None:
    watched.stream.reconfigure(encoding="ascii")
    shown = on_terminal(watched)
    assert "! WARNING" in shown
    assert "?" not in shown.replace("\x1b[?25", "")


def test_a_very_narrow_terminal_still_works(watched: Watched) -> None:
    with TerminalScreen(watched.stream, people=PEOPLE, width=8) as screen:
        screen.said(1.0, GLOVES)
        screen.clock(600.0, 120.0, 240.0, "crown")
    assert watched.text()


def test_the_status_line_is_drawn_at_most_ten_times_a_second(watched: Watched) -> None:
    """A rehearsal ticks thousands of times a second; the screen must not be what it waits for."""
    hours = Hours()
    with TerminalScreen(watched.stream, now=hours.now, width=100) as screen:
        for tick in range(2000):
            hours.t = tick / 2000
            screen.clock(tick / 10, None, None, f"place {tick}")
            if tick % 200 == 0:
                screen._stream.drain(10)
    assert watched.text().count("place ") <= round(1 / REFRESH_S) + 1


@pytest.mark.skipif(os.name != "posix", reason="POSIX pipes")
def test_a_reader_that_went_away_is_no_error() -> None:
    reading, writing = os.pipe()
    os.close(reading)
    with os.fdopen(writing, "w") as stream, TerminalScreen(stream, people=PEOPLE) as screen:
        for t in range(50):
            screen.said(float(t), GLOVES)
            screen._stream.drain(10)
        assert screen._stream.broken


@pytest.mark.skipif(os.name != "posix", reason="POSIX pipes")
def test_a_reader_that_stopped_reading_holds_nobody_up(monkeypatch: pytest.MonkeyPatch) -> None:
    """More than a pipe holds, and nobody takes it: every call returns, and so does the end."""
    monkeypatch.setattr("assistant.screens.terminal.CLOSE_S", 0.05)
    reading, writing = os.pipe()
    long = Say("x", (Sentence("word " * 2000),))
    with os.fdopen(writing, "w") as stream:
        with TerminalScreen(stream, people=PEOPLE) as screen:
            for t in range(50):
                screen.said(float(t), long)
            assert screen._stream.behind
        thread = screen._stream._thread
        while thread.is_alive():  # let the stuck writer end before its pipe is closed
            os.read(reading, 65536)
            thread.join(0.001)
    os.close(reading)


def test_a_closed_stream_is_no_error() -> None:
    stream = io.StringIO()
    screen = TerminalScreen(stream, people=PEOPLE)
    stream.close()
    screen.said(0.0, GLOVES)
    screen.close()
    screen.close()
    screen.said(1.0, GLOVES)


def test_all_that_was_handed_over_is_written_by_the_end(tmp_path: Path) -> None:
    path = tmp_path / "out.txt"
    with path.open("w", encoding="utf-8") as stream:
        stream.write("before\n")
        patient = PatientStream(stream)
        for n in range(5000):
            patient.write(f"{n} ½\n")
        patient.close(60)
        stream.write("after\n")
    assert path.read_text("utf-8").splitlines() == ["before", *(f"{n} ½" for n in range(5000)), "after"]


def test_what_a_stream_cannot_write_becomes_a_question_mark() -> None:
    raw = io.BytesIO()
    stream = io.TextIOWrapper(raw, encoding="ascii")
    patient = PatientStream(stream)
    patient.write("½ cup\n")
    assert patient.drain(60)
    patient.close(60)
    assert raw.getvalue() == b"? cup\n"
