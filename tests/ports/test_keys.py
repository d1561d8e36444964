"""Keys and the pedal, typed at a real pseudo-terminal."""

from __future__ import annotations

import os
import sys
from collections.abc import Callable, Iterator

import pytest

from assistant import ports
from assistant.ears.keys import HELD_S, Keys

if sys.platform == "win32":
    pytest.skip("POSIX terminals", allow_module_level=True)

import pty
import select
import signal
import termios


class Hand:
    """Somebody at the keyboard, and a clock that goes on by `seconds` before each key."""

    def __init__(self) -> None:
        self.master, self.terminal = pty.openpty()
        self.t = 100.0

    def now(self) -> float:
        return self.t

    def types(self, raw: bytes, seconds: float = 10.0) -> None:
        self.t += seconds
        os.write(self.master, raw)
        select.select([self.terminal], [], [], 5)  # until it came through

    def close(self) -> None:
        os.close(self.master)
        os.close(self.terminal)


@pytest.fixture
def hand() -> Iterator[Hand]:
    hand = Hand()
    yield hand
    hand.close()


@pytest.fixture
def keys(hand: Hand) -> Iterator[Keys]:
    with Keys(hand.terminal, hand.now) as keys:
        yield keys


@pytest.mark.parametrize(
    ("raw", "meaning"),
    [
        (b" ", "yes"),
        (b"\r", "yes"),
        (b"\n", "yes"),
        (b"y", "yes"),
        (b"x", "yes"),
        (b"7", "yes"),
        ("é".encode(), "yes"),
        (b"\x1b[A", "yes"),  # arrow up
        (b"\x1b[6~", "yes"),  # page down, what many pedals type
        (b"\x1bOP", "yes"),  # F1
        (b"\x1b[[A", "yes"),  # F1 on the Linux console: no "again"
        (b"\x1b[1;5C", "yes"),  # Ctrl-right
        (b"\x13", "yes"),  # Ctrl-S, which would otherwise hold up all output
        (b"n", "no"),
        (b"N", "no"),
        (b"a", "again"),
        (b"s", "stop"),
        (b"S", "stop"),
    ],
)
def test_what_a_key_means(hand: Hand, keys: Keys, raw: bytes, meaning: str) -> None:
    hand.types(raw)
    assert keys.pressed() == [meaning]
    assert keys.pressed() == []


def test_the_port_is_met(keys: Keys) -> None:
    port: ports.Keys = keys
    assert port.pressed() == []
    assert keys.there


def test_escape_is_stop_once_no_sequence_follows(hand: Hand, keys: Keys) -> None:
    hand.types(b"\x1b")
    assert keys.pressed() + keys.pressed() == ["stop"]


def test_a_sequence_that_comes_in_two_halves_is_one_key(hand: Hand, keys: Keys) -> None:
    hand.types(b"\x1b[")
    assert keys.pressed() == []
    hand.types(b"A")
    assert keys.pressed() == ["yes"]


def test_a_letter_that_comes_in_two_halves_is_one_key(hand: Hand, keys: Keys) -> None:
    first, second = "é".encode()[:1], "é".encode()[1:]
    hand.types(first)
    before = keys.pressed()
    hand.types(second)
    assert before + keys.pressed() == ["yes"]


def test_keys_come_in_the_order_they_were_typed(hand: Hand, keys: Keys) -> None:
    hand.types(b"na s")
    assert keys.pressed() == ["no", "again", "yes", "stop"]


def test_a_pedal_held_down_is_one_yes(hand: Hand, keys: Keys) -> None:
    """It repeats after 0.25 to 0.66 s, then every 30 ms (from memory): still one answer to one question."""
    hand.types(b" ")
    assert keys.pressed() == ["yes"]
    for seconds in (0.66, *[0.03] * 100):
        hand.types(b" ", seconds)
        assert keys.pressed() == []
    hand.types(b" ", HELD_S + 0.01)
    assert keys.pressed() == ["yes"]


def test_another_key_is_heard_while_one_is_held(hand: Hand, keys: Keys) -> None:
    hand.types(b"  ")
    assert keys.pressed() == ["yes"]
    hand.types(b"s", 0.03)
    assert keys.pressed() == ["stop"]


def test_keys_come_one_by_one_and_unseen_and_the_terminal_is_as_before_afterwards(hand: Hand) -> None:
    before = termios.tcgetattr(hand.terminal)
    with Keys(hand.terminal, hand.now):
        within = termios.tcgetattr(hand.terminal)
        assert not within[3] & (termios.ICANON | termios.ECHO)
        assert within[3] & termios.ISIG  # Ctrl-C stays what it is
        assert not within[0] & termios.IXON
    assert termios.tcgetattr(hand.terminal) == before


def test_the_terminal_is_given_back_after_an_error_too(hand: Hand) -> None:
    before = termios.tcgetattr(hand.terminal)
    with pytest.raises(RuntimeError), Keys(hand.terminal, hand.now):
        raise RuntimeError
    assert termios.tcgetattr(hand.terminal) == before


def in_a_child(steps: Callable[[], int]) -> int:
    """The exit status of a child process with a terminal of its own that ran `steps`."""
    child, master = pty.fork()
    if child == 0:
        status = 99
        try:
            status = steps()
        finally:
            os._exit(status)
    try:
        return os.waitstatus_to_exitcode(os.waitpid(child, 0)[1])
    finally:
        os.close(master)


def test_behind_another_job_keys_are_left_alone() -> None:
    """Reading a terminal from the background stops the whole process (SIGTTIN); nothing may."""

    def steps() -> int:
        keys = Keys(0)
        if not keys.there:
            return 1
        front = os.fork()
        if front == 0:
            os.setpgid(0, 0)
            signal.pause()
        try:
            os.setpgid(front, front)
            signal.signal(signal.SIGTTOU, signal.SIG_IGN)
            os.tcsetpgrp(0, front)
            signal.signal(signal.SIGTTOU, signal.SIG_DFL)
            if keys.pressed() != []:
                return 2
            return 3 if Keys(0).there else 0
        finally:
            os.kill(front, signal.SIGKILL)
            os.waitpid(front, 0)

    assert in_a_child(steps) == 0


def test_a_terminal_that_goes_away_has_no_keys(hand: Hand) -> None:
    master, terminal = pty.openpty()
    keys = Keys(terminal, hand.now)
    os.close(master)
    assert keys.pressed() == []
    assert keys.pressed() == []
    keys.close()
    keys.close()
    os.close(terminal)


def test_what_is_no_terminal_has_no_keys() -> None:
    reading, writing = os.pipe()
    os.write(writing, b"yes")
    with Keys(reading) as keys:
        assert keys.pressed() == []
        assert not keys.there
    assert os.read(reading, 10) == b"yes"  # not even taken
    os.close(reading)
    os.close(writing)


@pytest.mark.parametrize("stdin", [None, "closed", "without a descriptor"])
def test_without_standard_input_there_are_no_keys(monkeypatch: pytest.MonkeyPatch, stdin: str | None) -> None:
    import io

    stream = io.StringIO("y") if stdin else None
    if stream is not None and stdin == "closed":
        stream.close()
    monkeypatch.setattr(sys, "stdin", stream)
    with Keys() as keys:
        assert (keys.pressed(), keys.there) == ([], False)
