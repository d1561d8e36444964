"""The rinse call in real time: on virtual loudspeakers, with every core loaded by other work (`--load 0`: by none).

Many short deadlines through the real loop, mixer and stream; when each call came
out is found in what the loudspeaker was given. Then the main program is killed
(kill -9) and stopped (it hangs, its pipe open), and the guard's call is measured
the same way. Beside it: how often a stream ran dry, and how far the stream's time
drifts from the clock's.
"""

from __future__ import annotations

import json
import multiprocessing
import os
import signal
import subprocess
import sys
import tempfile
import threading
import time
from collections.abc import Iterator, Sequence
from contextlib import contextmanager
from dataclasses import replace
from pathlib import Path

import numpy as np

from assistant.alarm.calls import write_calls, write_words
from assistant.alarm.find import find_alarms
from assistant.alarm.tone import tick
from assistant.app.loop import Loop
from assistant.app.speech import voices_of
from assistant.clocks import BootClock, RunClock, wall_now
from assistant.core.actions import Sentence
from assistant.core.hearing import Hypothesis
from assistant.core.session import Stance
from assistant.ears.microphone import Microphone
from assistant.files.places import cache_folder
from assistant.guard.absent import AbsentGuard
from assistant.guard.precedence import take_precedence
from assistant.journal.journal import FileJournal
from assistant.journal.patient import PatientJournal
from assistant.mouth.mixer import PromptMixer
from assistant.mouth.prompts import Prompts
from assistant.mouth.speaker import Speaker
from assistant.ports import RATE, Samples
from assistant.screens.none import NoScreen
from tests import guards
from tests.app.broken_off import left_behind
from tests.bench.result import Result
from tests.programs import program
from tests.sound_server import sound_server
from tests.walker import Walk

EVERY_S = 0.6
"""A deadline so often: the call sounds for half of it."""
SOUNDS_S = 0.3
SILENCE_S = 0.15
AROUND_S = 5.0
"""Pieces that came within this of a moment tell when it was."""
LOUD = 0.05
GOAL_MS = 100.0
KILLS, HANGS = 8, 4
DUE_AFTER_S = 4.0
HANG_DUE_S = 5.0
"""Later than a hanging main program is noticed, so that the guard is on its own at the deadline."""
GOES_ON_DUES_S = (2.5, 7.5, 9.0)
"""After the first words began, and when they are over and the recogniser could be loaded."""
RUN = "2026-01-01T09-00-00.jsonl"


class Quiet:
    """Ears that hear nothing and a voice that says nothing: the tone is what is measured."""

    name = "none"

    def allow(self, phrases: object) -> None:
        """Nothing is heard."""

    def feed(self, heard: Samples, played: Samples, t_end: float) -> list[Hypothesis]:
        return []

    def unknown_words(self, words: object) -> tuple[str, ...]:
        return ()

    def prepare(self, sentences: object) -> None:
        """Nothing to make."""

    def clip(self, sentence: Sentence) -> Samples:
        return np.zeros(160, np.float32)


def measure(minutes: float = 2.0, load: int = os.cpu_count() or 1) -> Result:
    """`minutes` of deadlines beside `load` busy processes; the kills and hangs take another minute."""
    figures: dict[str, float] = {}
    with tempfile.TemporaryDirectory(prefix="combside-bench-") as name:
        folder = Path(name)
        with sound_server(folder) as environment, loaded(load):
            with Recorder(environment) as recorder:
                told = child(environment, "deadlines", str(folder), str(minutes * 60))
                late = lateness(told["dues"], recorder.onsets())
            figures |= {f"call_{k}": v for k, v in spread(late).items()}
            figures["call_missed"] = float(len(told["dues"]) - len(late))
            figures["stream_under_runs"] = told["under_runs"]
            figures["niceness"] = told["niceness"]
            figures["stream_s"] = told["stream_s"]
            figures["drift_ms"] = told["drift_ms"]
            figures["goes_on_first_words_loaded_s"] = goes_on(environment, folder / "loaded")
            for what, times, due_s in (("killed", KILLS, DUE_AFTER_S), ("hung", HANGS, HANG_DUE_S)):
                late, asked = alone(environment, folder, what, times, due_s)
                figures |= {f"guard_{what}_{k}": v for k, v in spread(late).items() if k != "p99.9_ms"}
                figures[f"guard_{what}_missed"] = float(asked - len(late))
        (folder / "quiet").mkdir()
        with sound_server(folder / "quiet") as environment:
            figures["goes_on_first_words_s"] = goes_on(environment, folder / "quiet")
            into = [goes_on_into_call(environment, folder / "quiet", due_s) for due_s in GOES_ON_DUES_S]
            figures["goes_on_into_call_worst_ms"] = max(into)
    return Result(
        "rinse call",
        figures,
        {
            "call_p99.9_ms": GOAL_MS,
            "call_missed": 0,
            "guard_killed_missed": 0,
            "guard_hung_missed": 0,
            "goes_on_first_words_s": 2.0,
            "goes_on_into_call_worst_ms": GOAL_MS,
        },
    )


def spread(late_s: Sequence[float]) -> dict[str, float]:
    """How late, in milliseconds: the middle, the 99.9 % and the worst, and of how many."""
    ms = np.array(late_s) * 1000 if len(late_s) else np.array([np.inf])
    return {
        "count": float(len(late_s)),
        "p50_ms": float(np.median(ms)),
        "p99.9_ms": float(np.quantile(ms, 0.999, method="higher")),
        "worst_ms": float(ms.max()),
    }


def lateness(dues: Sequence[float], onsets: Sequence[float]) -> list[float]:
    """Seconds from each deadline to the first sound after it, where one came before the next deadline."""
    found = []
    for due, after in zip(dues, [*dues[1:], float("inf")], strict=True):
        sounded = [at for at in onsets if due - 0.05 <= at < min(after - 0.05, due + 20.0)]
        if sounded:
            found.append(sounded[0] - due)
    return found


# -- load and recording --------------------------------------------------------------


@contextmanager
def loaded(processes: int) -> Iterator[None]:
    """So many processes that do nothing but compute."""
    workers = [multiprocessing.Process(target=_work, daemon=True) for _ in range(processes)]
    for worker in workers:
        worker.start()
    try:
        yield
    finally:
        for worker in workers:
            worker.kill()
            worker.join()


def _work() -> None:
    os.setsid()  # other work than ours: a scheduler that is fair by session takes it so
    while True:
        sum(range(100_000))


def on_boot_clock(seconds: Sequence[float], ends: Sequence[int], ahead: Sequence[float]) -> list[float]:
    """When what lies `seconds` into a recording sounded.

    `ends`: where its pieces ended, in samples; `ahead`: the boot clock less that, as
    each came. A piece can only come late, so the earliest around tells. Not of the whole
    recording: a virtual loudspeaker gives 0.01 % more than its rate, a third of a
    second in an hour.
    """
    there = np.asarray(ends) / RATE
    begins, stops = (np.searchsorted(there, np.asarray(seconds) + d) for d in (-AROUND_S, AROUND_S))
    return [
        at + min(ahead[max(0, min(a, len(ahead) - 1)) : max(b, a + 1)])
        for at, a, b in zip(seconds, begins, stops, strict=True)
    ]


class Recorder:
    """What the loudspeaker is given, its samples on the boot clock."""

    def __init__(self, environment: dict[str, str]) -> None:
        self._environment = environment
        self._pieces: list[bytes] = []
        self._ends: list[int] = []  # of each piece, in samples
        self._ahead: list[float] = []  # by how much the boot clock was ahead of that when it came

    def __enter__(self) -> Recorder:
        command = ["parec", "--device=loudspeaker.monitor", "--format=s16le", "--rate=16000", "--channels=1"]
        self._process = subprocess.Popen(
            [*command, "--latency-msec=10"], env=self._environment, stdout=subprocess.PIPE
        )
        self._thread = threading.Thread(target=self._read, daemon=True)
        self._thread.start()
        return self

    def _read(self) -> None:
        assert self._process.stdout is not None
        count, boot = 0, BootClock()
        while piece := os.read(self._process.stdout.fileno(), 1 << 16):
            self._pieces.append(piece)
            count += len(piece) // 2
            self._ends.append(count)
            self._ahead.append(boot.now() - count / RATE)

    def onsets(self) -> list[float]:
        """When sound began after silence."""
        loud = np.flatnonzero(np.abs(self._heard()) > LOUD)
        first = loud[np.diff(loud, prepend=-RATE) > SILENCE_S * RATE]
        return on_boot_clock(first / RATE, self._ends, self._ahead)

    def alarms(self) -> list[float]:
        """When the call's alarm began, found by its sound."""
        return on_boot_clock(find_alarms(self._heard()), self._ends, self._ahead)

    def _heard(self) -> Samples:
        return np.frombuffer(b"".join(list(self._pieces)), "<i2").astype(np.float32) / 32768

    def __exit__(self, *error: object) -> None:
        self._process.terminate()
        self._process.wait()
        self._thread.join()


def child(environment: dict[str, str], *words: str) -> dict[str, float | list[float]] | dict:  # type: ignore[type-arg]
    """This module in a process of its own; what it prints."""
    done = subprocess.run(
        [sys.executable, "-m", "tests.bench.rinse_call", *words],
        env=environment, stdout=subprocess.PIPE, stderr=subprocess.DEVNULL, text=True, check=True,
    )  # fmt: skip
    return json.loads(done.stdout.splitlines()[-1])  # type: ignore[no-any-return]


# -- many deadlines through the loop -------------------------------------------------


def deadlines(folder: Path, seconds: float) -> dict[str, object]:
    """The real loop on the virtual devices; the state is set back after each call."""
    niceness = take_precedence()
    clock, boot, mixer = RunClock(BootClock().now), BootClock(), PromptMixer(Quiet())
    speaker, microphone = Speaker(mixer, "pulse"), Microphone("pulse")
    journal = PatientJournal(FileJournal.begin(folder / "bench.jsonl", wall_now), wall_now)
    speaker.open(clock.now())
    microphone.open(clock.now())
    loop = Loop(program(), Quiet(), mixer, journal, AbsentGuard(), NoScreen(), stream_began=clock.now())
    loop.begin(clock.now())
    mixer.drop(loop.program.steps[0].id)
    covering = replace(Walk(program()).to(Stance.COVERING).state, timers=())
    dues: list[float] = []
    stream: list[tuple[float, int]] = []
    due, began = clock.now() + 3.0, clock.now()  # the stream has begun by then
    loop.state = replace(covering, t=clock.now(), due=due, timers=((due, "call"),))
    while clock.now() - began < seconds:
        left = loop.state.timers[0][0] - clock.now()
        heard = microphone.read(min(0.05, max(0.0, left)))
        t = clock.now()
        news = [*microphone.watch(t, len(heard)), *speaker.watch(t)]
        loop.turn(t, heard, speaker.played(len(heard)), mixer.marks(), (), news)
        stream.append((t, speaker._given_count))
        if loop.state.stance is Stance.RINSE_CALL and t > due + SOUNDS_S:
            dues.append(boot.now() - t + due)
            mixer.drop("call")
            due += EVERY_S
            while due < clock.now() + SILENCE_S:
                due += EVERY_S
            loop.state = replace(covering, t=clock.now(), due=due, timers=((due, "call"),))
    speaker.close()
    microphone.close()
    journal.close()
    return {"dues": dues, "under_runs": speaker.under_runs, "niceness": niceness, **drift(stream)}


def drift(stream: Sequence[tuple[float, int]]) -> dict[str, float]:
    """By how much the stream's time went apart from the clock's, over its first and last tenth."""
    t, given = np.array([s for s, _ in stream]), np.array([n for _, n in stream]) / RATE
    ahead = given - t
    tenth = max(1, len(t) // 10)
    return {
        "stream_s": float(given[-1]),
        "drift_ms": float(np.median(ahead[-tenth:]) - np.median(ahead[tenth : 2 * tenth])) * 1000,
    }


# -- going on ------------------------------------------------------------------------


def goes_on(environment: dict[str, str], folder: Path) -> float:
    """Seconds from the start of `combside run` to its first words, cream being on in a run that broke off."""
    walk = Walk(program()).to(Stance.COVERING)
    home = home_with_prompts(folder / "home")
    with Recorder(environment) as recorder:
        boot = BootClock()
        time.sleep(0.5)
        left_behind(home / "data" / "runs" / RUN, walk.program, walk.events, 60.0)
        began = boot.now()
        main = start(environment, home)
        while not (found := [at for at in recorder.onsets() if at > began]) and boot.now() < began + 30.0:
            time.sleep(0.05)
        ended(main, home)
    return found[0] - began if found else float("inf")


def goes_on_into_call(environment: dict[str, str], folder: Path, due_s: float) -> float:
    """Milliseconds from the deadline to the call's alarm, the deadline being `due_s` after `combside run` goes on."""
    walk = Walk(program()).to(Stance.COVERING)
    assert walk.state.due is not None
    home = home_with_prompts(folder / f"home_{due_s:g}")
    with Recorder(environment) as recorder:
        boot = BootClock()
        time.sleep(0.5)
        due = boot.now() + due_s
        left_behind(home / "data" / "runs" / RUN, walk.program, walk.events, walk.state.due - walk.t - due_s)
        main = start(environment, home)
        time.sleep(max(0.0, due + 5.0 - boot.now()))
        ended(main, home)
        alarms = recorder.alarms()
    return (alarms[0] - due) * 1000 if alarms else float("inf")


def home_with_prompts(home: Path) -> Path:
    """A data folder of its own; what can be made again is there already."""
    made, kept = program(), cache_folder()
    Prompts(kept / "prompts", voices_of(made.household)).prepare(made.every_sentence())
    (home / "cache").mkdir(parents=True)
    for part in kept.iterdir():
        if part.name != "calls":
            (home / "cache" / part.name).symlink_to(part)
    return home


def start(environment: dict[str, str], home: Path) -> subprocess.Popen[bytes]:
    here = {**environment, "HOME": os.environ["HOME"], "COMBSIDE_HOME": str(home)}
    words = ["-m", "assistant.cli", "run", "--microphone", "pulse", "--speaker", "pulse"]
    none = subprocess.DEVNULL
    return subprocess.Popen([sys.executable, *words], env=here, stdin=none, stdout=none, stderr=none)


def ended(main: subprocess.Popen[bytes], home: Path) -> None:
    main.kill()
    main.wait()
    guards.end(guards.left_behind_for(home))


# -- the guard alone -----------------------------------------------------------------


def alone(
    environment: dict[str, str], folder: Path, what: str, times: int, due_s: float
) -> tuple[list[float], int]:
    """A main program that is "killed" or "hung" before its deadline, so many times: how late the guard called."""
    calls, late = folder / "calls", []
    write_calls(calls, {"call": np.zeros(160, np.float32)})
    write_words(calls, dict.fromkeys(("stopped", "start", "on_more", "left_more"), tick()))
    for _ in range(times):
        with Recorder(environment) as recorder:
            main = subprocess.Popen(
                [sys.executable, "-m", "tests.ports.guarded", str(calls), str(folder / "note"), "mine", str(due_s)],
                env=environment, stdout=subprocess.PIPE, stderr=subprocess.DEVNULL, text=True,
            )  # fmt: skip
            assert main.stdout is not None
            pid, due = main.stdout.readline().split()
            main.send_signal(signal.SIGKILL if what == "killed" else signal.SIGSTOP)
            begins = max(float(due), BootClock().now())  # under load it may have come late
            time.sleep(max(0.0, float(due) - BootClock().now()) + 2.0)
            sounded = [at - begins for at in recorder.onsets() if at > float(due) - 0.05]
            late += sounded[:1]
            os.kill(int(pid), signal.SIGKILL)
            main.kill()
            main.wait()
            main.stdout.close()
    return late, times


if __name__ == "__main__":
    print(json.dumps(deadlines(Path(sys.argv[2]), float(sys.argv[3]))))
