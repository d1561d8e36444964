"""The guard as the main program sees it. Meets `ports.Guard`.

It starts the second process, beats, and looks whether it is answered. A guard
that died or does not answer is replaced, and the new one gets the deadline
again. Nothing here waits, but for `prove` and `close`.
"""

from __future__ import annotations

import contextlib
import json
import os
import subprocess
import sys
import threading
import time
from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path

from assistant.guard import duty
from assistant.guard.clock import boot_s

BEAT_EVERY_S = 0.5
ANSWER_WITHIN_S = 3.0
"""A guard that did not answer a beat for so long hangs, and is replaced."""
START_WITHIN_S = 12.0
"""A new guard takes 0.5 s to its first answer, several when the processor is busy."""
START_EVERY_S = 2.0
CLOSE_S = 2.0
PROOF_DUE_S = 86_400.0
"""The deadline of the proof: so far away that nothing sounds."""


class NoGuard(OSError):
    """There is no second process that could call: with the reason."""


@dataclass(frozen=True, slots=True)
class Proof:
    """What the silent round trip showed: how the guard sounds, and how long an answer takes."""

    way: str
    answer_s: float


class GuardProcess:
    """`now` is the run clock; deadlines are on it."""

    def __init__(
        self,
        calls: Path,
        note: Path,
        run: str,
        now: Callable[[], float],
        *,
        device: str | int | None = None,
        terminal: str = "",
        silent_after_s: float = duty.SILENT_AFTER_S,
    ) -> None:
        """`calls`: the folder of finished calls; `note` and `run`: see `duty.heir_of`. Raises NoGuard."""
        self._calls = calls
        self._command = [
            sys.executable, "-m", "assistant.guard", str(calls), "--note", str(note), "--run", run,
            "--terminal", terminal, "--silent-after", str(silent_after_s),
            *(["--device", str(device)] if device is not None else []),
        ]  # fmt: skip
        self._now = now
        self._lock = threading.Lock()
        self._process: subprocess.Popen[bytes] | None = None
        self._answer: dict[str, object] = {}
        self._answered = 0  # number of the last order that was answered
        self._asked = 0
        self._deadline: tuple[float, float] | None = None  # on the guard's clock: due, since
        self._called = False
        self._place = ""
        self._beat_at = float("-inf")
        self._quiet_s = 0.0
        self._looked_at = boot_s()
        self._started_at = self._looked_at
        self._problem = ""
        self._fresh = True  # it has not answered yet
        try:
            self._start()
        except OSError as error:
            raise NoGuard(f"the second process can not be started: {error}") from error

    # -- ports.Guard -----------------------------------------------------------------

    def arm(self, due: float, since: float) -> None:
        zero = boot_s() - self._now()
        before = self._deadline or (float("inf"), float("inf"))
        self._deadline = (min(before[0], zero + due), min(before[1], zero + since))
        self._send_deadline()

    def disarm(self) -> None:
        self._deadline = None
        self._called = False
        self._send({"do": "disarm"})

    def called(self) -> None:
        self._called = True
        self._send({"do": "called"})

    def beat(self, place: str) -> None:
        t = boot_s()
        if place != self._place or t - self._beat_at >= BEAT_EVERY_S:
            self._place, self._beat_at = place, t
            self._called = self._called and bool(place)
            self._send({"do": "beat", "place": place})
        self._look(t)

    @property
    def problem(self) -> str:
        return self._problem

    @property
    def stands(self) -> bool:
        """Whether the guard has answered, takes sound, and holds the deadline it was given last."""
        with self._lock:
            answer = self._answer
        return not self._problem and not self._fresh and bool(answer.get("proven")) and self._kept(answer)

    # -- the process -----------------------------------------------------------------

    @property
    def pid(self) -> int | None:
        """The process's number, for whoever measures."""
        return self._process.pid if self._process is not None else None

    @property
    def under_runs(self) -> int:
        """How often the guard's own stream ran dry."""
        with self._lock:
            found = self._answer.get("under_runs", 0)
        return found if isinstance(found, int) else 0

    def prove(self, within_s: float = START_WITHIN_S) -> Proof:
        """A silent arm, beat and disarm, each answered rightly. Raises NoGuard with what was wrong."""
        until = time.monotonic() + within_s
        while not self._round_trip({"do": "beat", "place": ""}, until).get("proven"):
            if time.monotonic() > until:
                raise NoGuard("the second process has no loudspeaker that takes sound")
            time.sleep(0.02)
        due = boot_s() + PROOF_DUE_S
        if self._round_trip({"do": "arm", "due": due, "since": due}, until).get("due") != due:
            raise NoGuard("the second process did not keep the deadline")
        began = time.perf_counter()
        standing = self._round_trip({"do": "beat", "place": ""}, until)
        took = time.perf_counter() - began
        if standing.get("due") != due or standing.get("mode") != "rest":
            raise NoGuard("the second process did not wait for the deadline")
        if self._round_trip({"do": "disarm"}, until).get("due") is not None:
            raise NoGuard("the second process did not let the deadline go")
        if standing.get("way") == "bell":
            raise NoGuard("the second process has no loudspeaker of its own")
        if not standing.get("clips"):
            raise NoGuard("the second process has no words to speak")
        return Proof(str(standing.get("way")), took)

    def close(self, *, leave: bool) -> None:
        """Let the guard go (`leave`), or go without it: an armed one then calls by itself."""
        process, self._process = self._process, None
        if process is None or process.stdin is None:
            return
        if leave:
            with contextlib.suppress(OSError):
                os.write(process.stdin.fileno(), b'{"do":"bye"}\n')
        with contextlib.suppress(OSError):
            process.stdin.close()
        if leave:
            try:
                process.wait(CLOSE_S)
            except subprocess.TimeoutExpired:
                process.kill()
                process.wait()

    def _start(self) -> None:
        package = str(Path(__file__).resolve().parents[2])
        path = os.pathsep.join(p for p in (package, os.environ.get("PYTHONPATH", "")) if p)
        log = os.open(self._calls / "guard.log", os.O_WRONLY | os.O_CREAT | os.O_APPEND, 0o600)
        try:
            process = subprocess.Popen(
                self._command,
                stdin=subprocess.PIPE,
                stdout=subprocess.PIPE,
                stderr=log,
                bufsize=0,
                env={**os.environ, "PYTHONPATH": path},
                start_new_session=True,
            )
        finally:
            os.close(log)
        assert process.stdin is not None
        if sys.platform != "win32":
            os.set_blocking(process.stdin.fileno(), False)
        self._process = process
        self._started_at = boot_s()
        self._quiet_s = 0.0
        self._answered, self._fresh = self._asked, True
        threading.Thread(target=self._read, args=(process,), name="guard", daemon=True).start()

    def _read(self, process: subprocess.Popen[bytes]) -> None:
        assert process.stdout is not None
        for line in process.stdout:
            with contextlib.suppress(ValueError):
                answer = json.loads(line)
                number = answer.get("n")
                with self._lock:
                    if process is self._process and isinstance(number, int):
                        self._answer, self._answered, self._fresh = answer, number, False
        with contextlib.suppress(OSError):
            process.stdout.close()

    def _send(self, order: dict[str, object]) -> int:
        """Hand an order over, without waiting; its number."""
        self._asked += 1
        process = self._process
        if process is None or process.stdin is None:
            return self._asked
        try:
            os.write(process.stdin.fileno(), json.dumps({**order, "n": self._asked}).encode() + b"\n")
        except OSError as error:  # it is gone, or has not read for so long that its pipe is full
            self._problem = self._problem or f"it takes no orders: {error}"
        return self._asked

    def _send_deadline(self) -> None:
        if self._deadline is not None:
            due, since = self._deadline
            self._send({"do": "arm", "due": due, "since": since})

    def _round_trip(self, order: dict[str, object], until: float) -> dict[str, object]:
        """The answer to `order`, waited for. Raises NoGuard."""
        number = self._send(order)
        while True:
            with self._lock:
                if self._answered >= number:
                    return self._answer
            if self._process is not None and self._process.poll() is not None:
                raise NoGuard(f"the second process ended with status {self._process.returncode}")
            if time.monotonic() > until:
                raise NoGuard("the second process does not answer")
            time.sleep(0.002)

    def _look(self, t: float) -> None:
        """Is it there, does it answer? If not: say why, and start another."""
        passed, self._looked_at = t - self._looked_at, t
        with self._lock:
            behind, answer = self._asked > self._answered, self._answer
        self._quiet_s = self._quiet_s + min(passed, duty.ATTENTION_S) if behind else 0.0
        process = self._process
        ended = process is None or process.poll() is not None
        if ended:
            self._problem = self._problem or "the second process is gone"
        elif self._quiet_s > (START_WITHIN_S if self._fresh else ANSWER_WITHIN_S):
            self._problem = self._problem or "the second process does not answer"
            ended = True
        elif self._problem and not self._fresh and answer.get("proven") and self._kept(answer):
            self._problem = ""
        if ended and t - self._started_at >= START_EVERY_S:
            self._replace()

    def _kept(self, answer: dict[str, object]) -> bool:
        return answer.get("due") == (self._deadline[0] if self._deadline is not None else None)

    def _replace(self) -> None:
        process, self._process = self._process, None
        if process is not None:
            process.kill()
            process.wait()
            if process.stdin is not None:
                with contextlib.suppress(OSError):
                    process.stdin.close()
        try:
            self._start()
        except OSError as error:
            self._problem, self._started_at = f"no other can be started: {error}", boot_s()
            return
        self._send({"do": "beat", "place": self._place})
        self._send_deadline()
        if self._called:
            self._send({"do": "called"})
