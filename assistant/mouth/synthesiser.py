"""Text to a checked clip: pyttsx3 in a process of its own, once again when that fails, then espeak-ng itself.

A prompt that hangs or crashes costs itself alone: the process is ended and
replaced. Every file is looked at before it is believed. Here one clip at a time;
which clips, and keeping them, is `mouth.prompts`, the only caller.
"""

from __future__ import annotations

import contextlib
import json
import os
import queue
import signal
import subprocess
import sys
import tempfile
import threading
from collections.abc import Sequence
from dataclasses import dataclass
from importlib.metadata import version
from pathlib import Path
from types import TracebackType

import numpy as np
import soundfile
import soxr

from assistant.mouth.levels import active_db, levelled, trimmed
from assistant.ports import RATE, Samples

PROMPT_LIMIT_S = 8.0
"""A prompt takes 0.03 s; a machine that swaps may need a hundred times as long."""
SHORTEST_S_A_LETTER = 0.03
"""256 prompts had 0.055 s to 0.18 s a letter, pauses between their sentences included; "No." 0.33 s."""
LONGEST_S_A_LETTER = 0.2
DIGIT_LETTERS = 5
"""A digit is spoken as a word; "7" takes as long as five letters, about."""
SYLLABLE_LETTERS = 2
"""A Hangul syllable, written as one sign, is two to three sounds."""
SLACK_S = 0.6
QUIET_DB = -50.0


class VoiceError(Exception):
    """A prompt that could not be made, and what was tried."""


@dataclass(frozen=True, slots=True)
class Voicing:
    """A voice by its name in espeak-ng, and the rate to ask for (its own words a minute)."""

    voice: str
    rate: int


class Synthesiser:
    """Makes clips. Use it in a `with` block: its process and its folder end with the block."""

    def __init__(self, command: Sequence[str] | None = None, limit_s: float = PROMPT_LIMIT_S) -> None:
        """`command` starts the process (another one in tests), `limit_s` is a prompt's time limit."""
        self._command = command or [sys.executable, str(Path(__file__).with_name("child.py"))]
        self._limit_s = limit_s
        self._child: subprocess.Popen[str] | None = None
        self._answers: queue.Queue[str] = queue.Queue()
        self._folder = tempfile.TemporaryDirectory(prefix="combside-voice-", ignore_cleanup_errors=True)
        self._count = 0
        self.made_by = {"pyttsx3": 0, "espeak-ng": 0}

    def make(self, text: str, voicing: Voicing) -> Samples:
        """The clip: mono float32 at RATE, trimmed and levelled. Raises VoiceError."""
        text = " ".join("".join(c if c.isprintable() else " " for c in text).split())
        wrong = []
        for maker, attempt in (
            ("pyttsx3", self._by_child),
            ("pyttsx3", self._by_child),
            ("espeak-ng", self._by_espeak),
        ):
            self._count += 1
            path = Path(self._folder.name) / f"{self._count}.wav"  # a late write cannot hit the next file
            problem = attempt(text, voicing, path)
            if not problem:
                sound, problem = looked_at(path, text)
                path.unlink(missing_ok=True)
            if not problem:
                self.made_by[maker] += 1
                return levelled(sound)
            wrong.append(f"{maker}: {problem}")
        raise VoiceError(f"no voice for '{text}': {'; '.join(wrong)}")

    def _by_child(self, text: str, voicing: Voicing, path: Path) -> str:
        """Ask the process; what went wrong, or ""."""
        wish = {"text": text, "voice": voicing.voice, "rate": voicing.rate, "path": str(path)}
        try:
            child = self._running()
            assert child.stdin is not None
            child.stdin.write(json.dumps(wish) + "\n")
            child.stdin.flush()
            answer = json.loads(self._answers.get(timeout=self._limit_s))
        except queue.Empty:
            self._end_child()
            return f"took more than {self._limit_s:g} s"
        except (OSError, ValueError) as error:
            self._end_child()
            return f"its process died ({error})"
        if answer["last"]:
            self._end_child()
        return str(answer["error"])

    def _by_espeak(self, text: str, voicing: Voicing, path: Path) -> str:
        """The last way. A voice that it does not know it replaces by its plain one: better that than none."""
        command = ["espeak-ng", "-v", voicing.voice, "-s", str(voicing.rate), "-w", str(path), "--", text]
        try:
            done = subprocess.run(command, capture_output=True, timeout=self._limit_s, check=False)
        except (OSError, subprocess.TimeoutExpired) as error:
            return str(error)
        return "" if done.returncode == 0 else done.stderr.decode(errors="replace").strip()

    def _running(self) -> subprocess.Popen[str]:
        if self._child is None:
            self._answers = queue.Queue()
            self._child = subprocess.Popen(
                self._command,
                stdin=subprocess.PIPE,
                stdout=subprocess.PIPE,
                stderr=subprocess.DEVNULL,
                encoding="utf-8",
                start_new_session=True,
            )
            threading.Thread(target=_pass_on, args=(self._child, self._answers), daemon=True).start()
        return self._child

    def _end_child(self) -> None:
        """End the process and those it has forked."""
        child, self._child = self._child, None
        if child is None:
            return
        if hasattr(os, "killpg"):
            with contextlib.suppress(ProcessLookupError, PermissionError):
                os.killpg(child.pid, signal.SIGKILL)
        child.kill()
        child.wait()
        if child.stdin is not None:
            with contextlib.suppress(OSError):  # what it did not read any more
                child.stdin.close()

    def close(self) -> None:
        self._end_child()
        self._folder.cleanup()

    def __enter__(self) -> Synthesiser:
        return self

    def __exit__(
        self, kind: type[BaseException] | None, error: BaseException | None, trace: TracebackType | None
    ) -> None:
        self.close()


def _pass_on(child: subprocess.Popen[str], answers: queue.Queue[str]) -> None:
    """The process's lines; an empty one when it has ended."""
    assert child.stdout is not None
    with child.stdout:
        for line in child.stdout:
            answers.put(line)
    answers.put("")


def looked_at(path: Path, text: str) -> tuple[Samples, str]:
    """A file as a trimmed clip at RATE, and what is wrong with it or "": its rate, length, silence."""
    nothing = np.zeros(0, np.float32)
    try:
        samples, rate = soundfile.read(path, dtype="float32", always_2d=True)
    except (soundfile.LibsndfileError, OSError) as error:
        return nothing, f"no readable file ({error})"
    if not 8_000 <= rate <= 48_000:
        return nothing, f"{rate} samples a second"
    mono = samples.mean(axis=1, dtype=np.float32)
    sound = trimmed(mono if rate == RATE else soxr.resample(mono, rate, RATE))
    if active_db(sound) < QUIET_DB:
        return nothing, "silence"
    letters = sum(_letters(c) for c in text if c.isalnum())
    seconds = len(sound) / RATE
    if not letters * SHORTEST_S_A_LETTER <= seconds <= letters * LONGEST_S_A_LETTER + SLACK_S:
        return nothing, f"{seconds:.2f} s for {letters} letters"
    return sound, ""


def _letters(sign: str) -> int:
    """As how many letters a sign counts when the length of speech is looked at."""
    if sign.isdigit():
        return DIGIT_LETTERS
    return SYLLABLE_LETTERS if "\uac00" <= sign <= "\ud7a3" else 1


def engine_version() -> str:
    """What speaks, by name and version: another one sounds different."""
    try:
        done = subprocess.run(
            ["espeak-ng", "--version"], capture_output=True, text=True, timeout=PROMPT_LIMIT_S, check=False
        )
        found = done.stdout.partition(" Data at")[0].strip()
    except (OSError, subprocess.TimeoutExpired):
        found = ""
    return f"pyttsx3 {version('pyttsx3')}, {found or 'espeak-ng of unknown version'}"
