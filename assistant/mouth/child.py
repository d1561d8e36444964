"""The synthesiser's own process: a line of JSON in, a sound file and a line of JSON out.

pyttsx3 may hang, crash or return before its file is there; all of that stays in
here, and whoever asks has a time limit (`mouth.synthesiser`). Run as a script,
imported by nobody, and it imports nothing of ours.

Set while its loop runs, a voice or a rate may get lost: when the loop ends it cancels
what espeak-ng has not carried out yet (3 of 100 prompts came at the default rate). So
both are set before, and waited for.

espeak-ng carries its state from one prompt into the next, so the same words come
out a little different each time. A fresh process a prompt gives the same samples
every time; forking one that has all modules loaded makes that cheap. Where there
is no fork, the process answers once and says that it was its last.
"""

from __future__ import annotations

import json
import os
import sys
import time
import wave
from pathlib import Path

from pyttsx3.drivers import _espeak, espeak  # noqa: F401  loads the library once, before any fork
from pyttsx3.engine import Engine


def speak(text: str, voice: str, rate: int, path: str) -> None:
    """Write `text` to `path` as WAV. Raises whatever the engine does; waits as long as it takes."""
    engine = Engine("espeak")
    failures: list[Exception] = []
    engine.connect("error", lambda name, exception: failures.append(exception))
    engine.proxy.setBusy(False)  # now properties are set at once
    engine.setProperty("voice", voice)
    engine.setProperty("rate", rate)
    _espeak.Synchronize()
    if not failures:  # an unknown voice would silently leave another one
        engine.save_to_file(text, path)
        engine.runAndWait()
    while not failures and not _whole(Path(path)):
        time.sleep(0.002)
    if failures:
        raise failures[0]


def _whole(path: Path) -> bool:
    """The file is there with all its samples: it may come after `runAndWait` has returned."""
    try:
        with wave.open(str(path)) as file:
            return bool(path.stat().st_size >= 44 + 2 * file.getnframes() > 44)
    except (OSError, EOFError, wave.Error):
        return False


def main() -> None:
    answers = os.fdopen(os.dup(1), "w")
    os.dup2(2, 1)  # pyttsx3 prints

    def answer(error: str, *, last: bool = False) -> None:
        answers.write(json.dumps({"error": error, "last": last}) + "\n")
        answers.flush()

    def obey(line: str) -> str:
        try:
            speak(**json.loads(line))
        except Exception as error:  # whatever it is, the parent has to know
            return str(error) or repr(error)
        return ""

    for line in sys.stdin:
        if not hasattr(os, "fork"):
            return answer(obey(line), last=True)
        process = os.fork()
        if process == 0:
            answer(obey(line))
            os._exit(0)
        _, status = os.waitpid(process, 0)
        if status:
            answer(f"ended with status {status}")


if __name__ == "__main__":
    main()
