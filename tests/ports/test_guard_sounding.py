"""How the guard sounds and is shown: each way, the next one when it fails, its terminal. No process of its own."""

from __future__ import annotations

import os
from pathlib import Path
from types import SimpleNamespace

import numpy as np
import pytest

from assistant.alarm.calls import write_calls, write_words
from assistant.alarm.tone import RATE, alarm, tick
from assistant.guard import duty
from assistant.guard.__main__ import Guard, Terminal
from assistant.guard.duty import Mode
from assistant.guard.sounding import (
    FADE_S,
    STALLED_S,
    Bell,
    Player,
    Sounder,
    Stream,
    Way,
    read_clips,
    together,
)

ONES = np.full(RATE, 0.5, np.float32)


class Library:
    """Stands in for sounddevice: one device with rates of its own, or none."""

    class PortAudioError(Exception):
        pass

    def __init__(self, *rates: int) -> None:
        self.rates = rates
        self.callback = lambda *_: None

    def query_devices(self, device: object, kind: str) -> dict[str, float]:
        if not self.rates:
            raise self.PortAudioError("no device")
        return {"default_samplerate": float(self.rates[0])}

    def OutputStream(self, *, samplerate: int, callback: object, **settings: object) -> SimpleNamespace:
        if samplerate not in self.rates:
            raise self.PortAudioError("not at this rate")
        self.callback = callback  # type: ignore[assignment]
        return SimpleNamespace(start=lambda: None, close=lambda: None)

    def take(self, count: int) -> np.ndarray:
        out = np.full((count, 1), np.nan, np.float32)
        self.callback(out, count, None, SimpleNamespace(output_underflow=False))
        return out[:, 0]


def test_a_stream_is_silent_until_it_plays_and_fades_when_hushed() -> None:
    library = Library(RATE)
    stream = Stream(library=library)
    assert not stream.took_sound
    assert not library.take(320).any()
    assert stream.took_sound
    stream.play(ONES)
    assert (library.take(320) == 0.5).all()
    stream.hush()
    rest = library.take(RATE)
    assert np.flatnonzero(rest).max() < FADE_S * RATE
    assert not stream.busy


def test_at_another_rate_it_lasts_as_long() -> None:
    library = Library(48_000)
    stream = Stream(library=library)
    stream.play(ONES)
    assert np.flatnonzero(library.take(60_000)).size == 48_000


def test_when_a_way_fails_the_next_says_it_from_the_start(tmp_path: Path) -> None:
    """A stream that takes nothing more; then a player that fails; then the bell, which never does."""
    library, rung, now = Library(RATE), [], [0.0]
    player = tmp_path / "player"
    player.write_text('#!/bin/sh\ntest ! -e "$0.broken"\n')
    player.chmod(0o700)
    ways: list[Way] = []

    def keep(way: Way) -> Way:
        ways.append(way)
        return way

    sounder = Sounder(
        [
            lambda: keep(Stream(library=Library())),
            lambda: keep(Stream(library=library)),
            lambda: keep(Player(tmp_path, [(str(player),)])),
            lambda: keep(Bell(lambda: rung.append(now[0]), lambda: now[0])),
        ]
    )
    assert sounder.name == "stream"
    sounder.play(ONES)
    library.take(320)
    sounder.watch(10.0)
    sounder.watch(10.0 + STALLED_S)
    assert (sounder.name, len(ways)) == ("player", 2)
    Path(f"{player}.broken").touch()
    sounder.play(ONES)
    assert isinstance(ways[1], Player) and ways[1]._process is not None
    ways[1]._process.wait()
    sounder.watch(12.0)
    assert sounder.name == "bell"
    assert sounder.busy and rung == [0.0]
    now[0] = 1.5
    sounder.watch(1.5)
    assert not sounder.busy
    with pytest.raises(OSError, match="plays nothing here"):
        Player(tmp_path, [(str(player),)])
    with pytest.raises(OSError, match="no player"):
        Player(tmp_path, [("no-such-player",)])


def test_a_number_without_a_clip_is_more_and_a_call_without_one_is_the_tone(tmp_path: Path) -> None:
    write_words(tmp_path, {"on_1": tick(), "on_more": ONES})
    (tmp_path / "on_2.wav").write_bytes(b"RIFF damaged")
    clips = read_clips(tmp_path)
    assert set(clips) == {"on_1", "on_more"}
    assert len(together(clips, ["on_77"])) == RATE
    assert (together(clips, ["call"]) == alarm()).all()
    assert len(together(clips, ["nothing"])) == 0


class Silent:
    """Notes what it is to play."""

    name, under_runs, busy = "stream", 0, False

    def __init__(self) -> None:
        self.played: list[int] = []

    def proven(self) -> bool:
        return True

    def play(self, sound: np.ndarray) -> None:
        self.played.append(len(sound))

    def hush(self) -> None:
        """Silent already."""

    def watch(self, t: float) -> None:
        """Always well."""


def shown(terminal: int, text: bytes) -> None:
    """Read what a terminal shows until `text` was there; the system brings it when it likes."""
    found = b""
    while text not in found:
        found += os.read(terminal, 1000)


def test_alone_it_shows_what_it_says_and_a_key_at_the_terminal_ends_the_call(tmp_path: Path) -> None:
    """The main program's terminal, watched by the guard once the main program is gone (POSIX): not one key is taken."""
    pty = pytest.importorskip("pty")
    ours, theirs = pty.openpty()
    write_calls(tmp_path, {"call": tick()})
    (tmp_path / "words.json").write_text('{"call": "Rinse now. Go to the sink."}')
    guard = Guard(tmp_path, tmp_path / "note", "mine", Terminal(os.ttyname(theirs)), Silent())  # type: ignore[arg-type]
    guard.obey({"do": "arm", "due": 100.0, "since": 10.0}, 20.0)
    guard.look(20.0)
    os.write(ours, b"x\n")  # the main program is there: this key is its own
    shown(ours, b"x\r\n")  # its echo: by then it has arrived
    guard.look(20.5)
    guard.watch = duty.gone(guard.watch)
    guard.look(99.0)
    guard.look(100.0)
    assert guard.watch.mode is Mode.CALL
    shown(ours, b"Rinse now. Go to the sink.")
    os.write(ours, b"y\n")
    shown(ours, b"y\r\n")
    guard.look(103.0)
    assert guard.watch.mode is Mode.REMIND
    assert os.read(theirs, 100) + os.read(theirs, 100) == b"x\ny\n"  # a line a time
    os.close(ours)
    os.close(theirs)
    guard.look(150.0)  # a terminal that was closed is none
    assert guard.watch.mode is Mode.REMIND


def test_a_key_that_a_shell_has_read_is_seen_by_when_it_was_read() -> None:
    """Linux notes it to 8 s; here the note is made by hand, so that nobody waits."""
    pty = pytest.importorskip("pty")
    ours, theirs = pty.openpty()
    name = os.ttyname(theirs)
    terminal = Terminal(name)
    assert not terminal.key()
    assert not terminal.key()
    at = Path(name).stat().st_atime_ns + 8 * 10**9
    os.utime(name, ns=(at, Path(name).stat().st_mtime_ns))
    assert terminal.key()
    assert not terminal.key()
    os.close(ours)
    os.close(theirs)


@pytest.mark.parametrize("order", [{}, {"do": "arm"}, {"do": "arm", "due": "soon", "since": 1}, {"do": 7}])
def test_an_order_that_is_not_understood_changes_nothing(tmp_path: Path, order: dict[str, object]) -> None:
    guard = Guard(tmp_path, tmp_path / "note", "mine", Terminal(""), Silent())  # type: ignore[arg-type]
    before = guard.watch
    guard.obey(order, 1.0)
    assert guard.watch == before
    assert guard.standing({**order, "n": 3})["n"] == 3
