"""The glance screen without a browser: who may read and type, and that nobody who reads can hold up the loop."""

from __future__ import annotations

import http.client
import json
import socket
import threading
from collections.abc import Iterator
from dataclasses import replace
from urllib.parse import urlsplit

import pytest

from assistant import ports
from assistant.core.actions import Priority, Say, Sentence
from assistant.core.session import Stance, View
from assistant.screens.glance.board import Board
from assistant.screens.glance.legible import height_mm, styles
from assistant.screens.glance.screen import ALERT_STANDS_S, BEAT_S, SOONEST_S, GlanceScreen
from assistant.screens.several import SeveralScreens
from assistant.screens.words import forecast_words
from tests.screens.glances import shown

HOUR = View(3600.0, 60.0, "step 2 of 9: covering", "crown", Stance.COVERING, 2, 9)


class Hours:
    """A clock that moves when it is told."""

    t = 0.0

    def now(self) -> float:
        return self.t


@pytest.fixture
def screen() -> Iterator[GlanceScreen]:
    with GlanceScreen() as screen:
        yield screen


def ask(
    screen: GlanceScreen, method: str = "GET", name: str = "", *, path: str | None = None, **headers: str
) -> tuple[int, dict[str, str], bytes]:
    """Status, headers and body of one request."""
    url = urlsplit(screen.open())
    link = http.client.HTTPConnection("127.0.0.1", url.port or 0, timeout=5)
    body = headers.pop("body", None)
    link.request(method, url.path + name if path is None else path, body=body, headers=headers)
    answer = link.getresponse()
    found = answer.status, {k.lower(): v for k, v in answer.getheaders()}, answer.read()
    link.close()
    return found


# -- how tall ----------------------------------------------------------------------------


@pytest.mark.parametrize(("arcmin", "mm"), [(16, 9.31), (20, 11.64), (22, 12.80)])
def test_letters_for_two_metres(arcmin: float, mm: float) -> None:
    """H = 6.283 D a / 21600, the published formula worked for 2 m."""
    assert height_mm(2.0, arcmin) == pytest.approx(mm, abs=0.005)


@pytest.mark.parametrize(
    ("diagonal", "distance"), [(0.0, 2.0), (14.0, -1.0), (float("nan"), 2.0), (14.0, float("inf"))]
)
def test_a_screen_without_size_is_refused(diagonal: float, distance: float) -> None:
    with pytest.raises(ValueError, match="above zero"):
        styles(diagonal, distance)


# -- who may read and type ---------------------------------------------------------------


def test_it_listens_on_this_machine_alone(screen: GlanceScreen) -> None:
    """127.0.0.1 and nothing else (invariant 11): not even this machine's other loopback addresses."""
    url = urlsplit(screen.open())
    assert url.hostname == "127.0.0.1"
    with pytest.raises(OSError):
        socket.create_connection(("127.0.0.2", url.port or 0), timeout=1).close()


def test_nothing_is_given_without_the_secret_word(screen: GlanceScreen) -> None:
    """16 random bytes stand in every path, and they are others every time."""
    word = urlsplit(screen.open()).path.strip("/")
    assert len(word) >= 22  # 16 bytes in base64 without padding (RFC 4648)
    assert ask(screen)[0] == 200
    for path in ("/", "/events", f"/{word}", f"/{word[:-1]}/", f"/{word}x/events", "/%C3%A9/"):
        status, _, body = ask(screen, path=path)
        assert (status, body) == (404, b"404 Not Found\n")
    with GlanceScreen() as other:
        assert urlsplit(other.open()).path.strip("/") != word


def test_a_page_from_elsewhere_gets_nothing(screen: GlanceScreen) -> None:
    """A name that was made to lead here (DNS rebinding) and a foreign origin are refused; no answer permits one."""
    port = urlsplit(screen.open()).port
    assert ask(screen, Host=f"evil.example:{port}")[0] == 403
    assert (
        ask(screen, "POST", "key", Host=f"127.0.0.1:{port}", Origin="http://evil.example", body="s")[0] == 403
    )
    assert ask(screen, "POST", "key", Origin=f"http://127.0.0.1:{port}", body="n")[0] == 204
    assert screen.typed() == ["n"]
    for name in ("", "page.css", "page.js"):
        _, headers, _ = ask(screen, name=name)
        assert not [header for header in headers if header.startswith("access-control")]
        assert headers["content-security-policy"].startswith("default-src 'none';")
        assert "unsafe" not in headers["content-security-policy"]
        assert "python" not in headers["server"].lower()


@pytest.mark.parametrize(
    ("method", "name", "headers", "status"),
    [
        ("POST", "key", {"body": "x" * 33}, 413),
        ("POST", "key", {"Content-Length": "-1"}, 413),
        ("POST", "events", {"body": "s"}, 404),
        ("GET", "key", {}, 404),
        ("GET", "../page.js", {}, 404),
        ("PUT", "key", {"body": "s"}, 501),
    ],
)
def test_odd_requests_are_answered_and_do_nothing(
    screen: GlanceScreen, method: str, name: str, headers: dict[str, str], status: int
) -> None:
    assert ask(screen, method, name, **headers)[0] == status
    assert screen.typed() == []


# -- nobody holds up the loop --------------------------------------------------------------


class Reader:
    """A browser's stream, read line by line."""

    def __init__(self, screen: GlanceScreen) -> None:
        url = urlsplit(screen.open())
        self.link = socket.create_connection(("127.0.0.1", url.port or 0), timeout=5)
        self.link.sendall(f"GET {url.path}events HTTP/1.1\r\nHost: {url.netloc}\r\n\r\n".encode())
        self.lines = self.link.makefile("rb")

    def event(self) -> dict[str, object]:
        for line in self.lines:
            if line.startswith(b"data: "):
                found: dict[str, object] = json.loads(line[6:])
                return found
        raise EOFError("the stream ended")

    def leave(self) -> None:
        self.lines.close()
        self.link.close()


def test_readers_that_take_nothing_cost_the_loop_nothing(screen: GlanceScreen) -> None:
    """Far more news than any buffer holds goes out at once; what a late reader then gets is the newest."""
    stuck = [Reader(screen) for _ in range(3)]
    for reader in stuck:
        reader.event()
    for number in range(20_000):  # some 10 MB for each reader
        screen.said(float(number), Say("x", (Sentence(f"{number:0400}"),)))
    screen.said(0.0, Say("x", (Sentence("The last."),)))
    late = Reader(screen)
    assert late.event()["said"] == {"level": "instruction", "lines": ["The last."]}
    for reader in (*stuck, late):
        reader.leave()


def test_too_many_readers_are_turned_away(screen: GlanceScreen, monkeypatch: pytest.MonkeyPatch) -> None:
    """Sixteen pages at once; the next is told to come again, and there is room when they left, though there is no news."""
    monkeypatch.setattr("assistant.screens.glance.server.BEAT_S", 0.02)
    readers = [Reader(screen) for _ in range(16)]
    for reader in readers:
        reader.event()
    assert ask(screen, name="events")[0] == 503
    for reader in readers:
        reader.leave()
    for _ in range(100):
        reader = Reader(screen)
        status = reader.lines.readline()
        reader.leave()
        if b" 200 " in status:
            return
        threading.Event().wait(0.02)
    pytest.fail("nobody was let go")


def test_the_board_forgets_what_nobody_read() -> None:
    """It keeps the newest values only."""
    board = Board()
    for number in range(1000):
        board.put(number=number)
    newest = board.newest(0, 0.0)
    assert newest is not None and newest[1]["number"] == 999
    assert board.newest(newest[0], 0.0) is None


def test_the_end_is_told_to_open_pages_but_never_with_cream_on() -> None:
    """A run that ends with cream on the head leaves the page counting, so that it grows old and says so."""
    for view, told in ((HOUR, False), (View(None, None, "step 9 of 9: done", ""), True)):
        screen = GlanceScreen()
        reader = Reader(screen)
        reader.event()
        screen.stands(0.0, view)
        assert reader.event()["cream_on_s"] == view.cream_on_s
        closing = threading.Thread(target=screen.close)
        closing.start()
        if told:
            assert reader.event()["stand"] == "ended"
        with pytest.raises(EOFError):
            reader.event()
        closing.join(5)
        assert not closing.is_alive()


# -- what is shown ---------------------------------------------------------------------------


def test_clocks_are_sent_once_a_second_unless_they_jump() -> None:
    """The page counts by itself; a deadline that came nearer is told at once, though no more than ten times a second."""
    hours = Hours()
    screen = GlanceScreen(now=hours.now)
    screen.stands(0.0, HOUR)
    seen = [shown(screen)["cream_on_s"]]
    for tick in range(1, 101):  # two seconds of a run, 20 ms a turn
        hours.t = tick * 0.02
        screen.clock(hours.t, 3600.0 + hours.t, 60.0 - hours.t, "crown")
        if shown(screen)["cream_on_s"] != seen[-1]:
            seen.append(shown(screen)["cream_on_s"])
    assert seen == [
        3600.0,
        pytest.approx(3600 + BEAT_S, abs=0.021),
        pytest.approx(3600 + 2 * BEAT_S, abs=0.041),
    ]
    hours.t += SOONEST_S
    screen.clock(hours.t, 3602.1, 30.0, "crown")
    assert shown(screen)["call_in_s"] == 30.0
    hours.t += SOONEST_S / 2
    screen.clock(hours.t, 3602.15, 5.0, "crown")
    assert shown(screen)["call_in_s"] == 30.0


def test_clocks_of_a_loop_that_hangs_grow_old() -> None:
    """Words alone do not make the clocks new."""
    hours = Hours()
    screen = GlanceScreen(now=hours.now)
    hours.t = 4.0
    screen.stands(0.0, HOUR)
    hours.t = 9.0
    screen.said(0.0, Say("x", (Sentence("Hello."),)))
    screen.heard(0.0, "hello", "believe")
    assert shown(screen)["age_s"] == 5.0


def test_a_warning_stands_beside_what_comes_after_it() -> None:
    """For a while, and not into the next step; shown by level, not by colour."""
    screen = GlanceScreen()
    screen.stands(0.0, HOUR)
    warning = Say("w", (Sentence("Warning. Wipe it."), Sentence("Helper: Look.", "helper")), Priority.WARNING)
    screen.said(0.0, warning)
    assert shown(screen)["said"] == {"level": "warning", "lines": ["Warning. Wipe it.", "Helper: Look."]}
    screen.clock(0.9, 3600.9, 59.1, "")
    assert shown(screen)["alert"] is None  # it is what was said last
    screen.said(1.0, Say("x", (Sentence("Nape next."),)))
    assert shown(screen)["alert"] == {"level": "warning", "lines": ["Warning. Wipe it.", "Helper: Look."]}
    screen.said(1.0 + ALERT_STANDS_S, Say("x", (Sentence("Still the nape."),)))
    assert shown(screen)["alert"] is None
    screen.said(30.0, warning)
    screen.said(31.0, Say("x", (Sentence("Nape next."),)))
    screen.stands(32.0, View(None, None, "step 3 of 9: smoothing", "crown", Stance.SMOOTHING, 3, 9))
    assert shown(screen)["alert"] is None


def test_an_alert_that_was_answered_is_taken_away() -> None:
    """When its cause ends (14 CFR 25.1322): the skin is wiped, nothing burns."""
    screen = GlanceScreen()
    screen.stands(0.0, replace(HOUR, asks="any_burning"))
    screen.said(0.0, Say("burn_check", (Sentence("Any burning?"),), Priority.CAUTION, asks="any_burning"))
    screen.said(1.0, Say("x", (Sentence("Still the nape."),)))
    assert shown(screen)["alert"] == {"level": "caution", "lines": ["Any burning?"]}
    screen.stands(2.0, replace(HOUR, asks="cover"))
    assert shown(screen)["alert"] is None


def test_phrases_are_written_as_english_is() -> None:
    screen = GlanceScreen()
    screen.stands(0.0, replace(HOUR, answers=("i am ready", "it is smooth")))
    assert shown(screen)["answers"] == ["I am ready", "it is smooth"]


def test_names_from_files_are_made_harmless() -> None:
    screen = GlanceScreen()
    screen.stands(0.0, View(None, None, "step 2 of 9: a\x1b[2J\u202eb", "c\u202e"))
    assert (shown(screen)["title"], shown(screen)["zone"]) == ("a\\x1b[2J\\u202eb", "c\\u202e")


@pytest.mark.parametrize(
    ("chance", "zones", "words"),
    [
        (None, 0, ""),
        (0.999, 0, "99 % in time"),
        (0.29, 1, "29 % in time, 1 zone too many"),
        (0.0, 3, "0 % in time, 3 zones too many"),
    ],
)
def test_a_forecast_is_rounded_down(chance: float | None, zones: int, words: str) -> None:
    assert forecast_words(chance, zones) == words


def test_several_screens_show_the_same() -> None:
    one, other = GlanceScreen(), GlanceScreen()
    both: ports.Screen = SeveralScreens(one, other)
    both.stands(0.0, HOUR)
    both.said(0.0, Say("x", (Sentence("Hello."),)))
    both.heard(0.0, "hello", "somebody")
    both.clock(9.0, None, None, "")
    first, second = shown(one), shown(other)
    assert {**first, "age_s": 0} == {**second, "age_s": 0}
    assert first["heard"] == {"words": "hello", "became": "speech, but nothing we know"}
