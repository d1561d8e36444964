"""`python -m assistant.guard`: the second process. The main program starts it; nobody else needs to.

A line of JSON in is an order, and each is answered with a line that says how the
guard stands. When the orders end or no beat comes, it goes on by itself
(`duty`). It is a session of its own, so that neither Ctrl-C nor a closed
terminal ends it, and it stands on the alarm alone.
"""

from __future__ import annotations

import argparse
import contextlib
import json
import os
import queue
import signal
import sys
import threading
import traceback
from collections.abc import Iterator, Mapping
from functools import partial
from pathlib import Path

import numpy as np

from assistant.alarm.limit import limited
from assistant.guard import duty
from assistant.guard.clock import boot_s
from assistant.guard.duty import Main, Mode, Watch
from assistant.guard.precedence import take_precedence
from assistant.guard.sounding import Bell, Player, Sounder, Stream, read_clips, together

LOOK_S = 0.25
"""It looks at the clock at least so often; at a deadline at once."""
LEAVE_S = 15.0
"""What it is saying it may finish before it leaves, for at most so long."""


class Terminal:
    """The terminal the main program was started from: shown to, and watched for keys once nobody else does.

    Keys are never read: they belong to whoever is in front, a shell or a main
    program that wakes up. That something was typed shows in what waits to be
    read, or in the time it was read (to 8 s on Linux).
    """

    def __init__(self, path: str) -> None:
        self._path = path
        self._seen: tuple[int, int] | None = None

    def show(self, text: str) -> None:
        with contextlib.suppress(OSError), self._opened(os.O_WRONLY) as handle:
            os.write(handle, text.encode("utf-8", "replace"))

    def ring(self) -> None:
        self.show("\a")

    def key(self) -> bool:
        """Whether something was typed since the last call."""
        waiting, read_at = 0, 0
        with contextlib.suppress(OSError, ImportError), self._opened(os.O_RDONLY) as handle:
            import fcntl
            import termios

            raw = fcntl.ioctl(handle, termios.FIONREAD, bytes(4))
            waiting, read_at = int.from_bytes(raw, sys.byteorder), os.fstat(handle).st_atime_ns
        before, self._seen = self._seen, (waiting, read_at)
        return before is not None and (waiting > before[0] or read_at > before[1])

    @contextlib.contextmanager
    def _opened(self, how: int) -> Iterator[int]:
        """Never the terminal that rules this process, and never waited for. Raises OSError."""
        if not self._path:
            raise OSError("no terminal")
        handle = os.open(self._path, how | getattr(os, "O_NOCTTY", 0) | getattr(os, "O_NONBLOCK", 0))
        try:
            yield handle
        finally:
            os.close(handle)


class Guard:
    """One guard. `note` is the file in which a main program says that it runs, `run` our own's name in it."""

    def __init__(
        self,
        calls: Path,
        note: Path,
        run: str,
        terminal: Terminal,
        sounder: Sounder,
        silent_after_s: float = duty.SILENT_AFTER_S,
    ) -> None:
        self.watch = Watch(silent_after_s=silent_after_s)
        self._clips = read_clips(calls)
        self._texts = _texts(calls / "words.json")
        self._note = note
        self._run = run
        self._terminal = terminal
        self._sounder = sounder
        self._mode = Mode.REST
        self._leave_at: float | None = None

    def obey(self, order: Mapping[str, object], t: float) -> None:
        """One order of the main program's. What is not understood is let pass: it is answered all the same."""
        match order:
            case {"do": "arm", "due": float() | int() as due, "since": float() | int() as since}:
                self.watch = duty.armed(self.watch, float(due), float(since))
            case {"do": "disarm"}:
                self.watch = duty.disarmed(self.watch)
            case {"do": "called"}:
                self.watch = duty.called(self.watch, t)
            case {"do": "beat", "place": str() as place}:
                self.watch = duty.beaten(self.watch, place)

    def standing(self, order: Mapping[str, object]) -> dict[str, object]:
        """The answer to an order."""
        return {
            "n": order.get("n"),
            "due": self.watch.due,
            "mode": self._mode.value,
            "way": self._sounder.name,
            "proven": self._sounder.proven(),
            "clips": len(self._clips),
            "under_runs": self._sounder.under_runs,
        }

    def look(self, t: float) -> bool:
        """Do what the time asks for. False when there is nothing left to guard."""
        if self.watch.main is not Main.WELL:
            if self._terminal.key():
                self.watch = duty.pressed(self.watch, t)
            self.watch = duty.heir_seen(self.watch, duty.heir_of(self._noted(), self._run, self.watch), t)
        self.watch = duty.look(self.watch, t)
        if self.watch.mode is not self._mode:
            self._mode = self.watch.mode
            if self._mode is not Mode.LEAVE or self.watch.heir is duty.Heir.TOOK_OVER:
                self._sounder.hush()
        self.watch, words = duty.next_words(self.watch, t)
        if words is not None:
            self._sounder.play(limited(together(self._clips, words.clips) * np.float32(words.level)))
            told = " ".join(self._texts.get(name, "") for name in words.clips)
            self._terminal.show(f"\r\n{told}\r\n")
        self._sounder.watch(t)
        if self._mode is not Mode.LEAVE:
            return True
        self._leave_at = self._leave_at or t + LEAVE_S
        return self._sounder.busy and t < self._leave_at

    def _noted(self) -> dict[str, object]:
        with contextlib.suppress(OSError, ValueError):
            noted = json.loads(self._note.read_text("utf-8"))
            if isinstance(noted, dict):
                return noted
        return {}


def _texts(path: Path) -> dict[str, str]:
    with contextlib.suppress(OSError, ValueError):
        found = json.loads(path.read_text("utf-8"))
        if isinstance(found, dict):
            return {str(name): str(text) for name, text in found.items()}
    return {}


def _read_orders(orders: queue.Queue[dict[str, object] | None]) -> None:
    """Orders as they come; None when the main program's end is closed."""
    for line in sys.stdin.buffer:
        with contextlib.suppress(ValueError):
            order = json.loads(line)
            if isinstance(order, dict):
                orders.put(order)
    orders.put(None)


def _answer(standing: dict[str, object]) -> None:
    with contextlib.suppress(OSError, ValueError):  # nobody reads any more
        os.write(1, json.dumps(standing).encode() + b"\n")


def serve(guard: Guard) -> None:
    """Obey and look until there is nothing left to guard. No error ends it."""
    orders: queue.Queue[dict[str, object] | None] = queue.Queue()
    threading.Thread(target=_read_orders, args=(orders,), daemon=True).start()
    going = True
    while going:
        order: dict[str, object] | None = {}
        with contextlib.suppress(queue.Empty):
            order = orders.get(timeout=duty.next_look(guard.watch, boot_s(), LOOK_S))
        try:
            t = boot_s()
            if order is None:
                guard.watch = duty.gone(guard.watch)
            elif order.get("do") == "bye":
                return
            elif order:
                guard.obey(order, t)
            going = guard.look(t)
            if order:
                _answer(guard.standing(order))
        except Exception:  # whatever it is, the next look comes
            traceback.print_exc()


def main() -> None:
    command = argparse.ArgumentParser(prog="python -m assistant.guard", description=__doc__)
    command.add_argument("calls", type=Path, help="folder of the finished calls")
    command.add_argument("--note", type=Path, required=True, help="where a main program says that it runs")
    command.add_argument("--run", required=True, help="the name of the main program's own run in that note")
    command.add_argument("--terminal", default="", help="the terminal's file")
    command.add_argument("--device", help="output device, by sounddevice's name")
    command.add_argument("--silent-after", type=float, default=duty.SILENT_AFTER_S, help=argparse.SUPPRESS)
    chosen = command.parse_args()
    for name in ("SIGINT", "SIGHUP", "SIGPIPE"):
        if hasattr(signal, name):
            signal.signal(getattr(signal, name), signal.SIG_IGN)
    take_precedence()
    terminal = Terminal(chosen.terminal)
    sounder = Sounder(
        (partial(Stream, chosen.device), partial(Player, chosen.calls), partial(Bell, terminal.ring, boot_s))
    )
    serve(Guard(chosen.calls, chosen.note, chosen.run, terminal, sounder, chosen.silent_after))
    sounder.close()


if __name__ == "__main__":
    main()
