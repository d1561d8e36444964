"""What a bystander would have heard, as a WAV file, and who said what, as text beside it.

16 kHz, 16-bit, mono, at the microphone's place (before any fault of the
microphone). Streamed to disk, so that two hours need no memory.
"""

from __future__ import annotations

from pathlib import Path
from types import TracebackType

import numpy as np
import soundfile

from assistant.ports import RATE, Samples

_BUFFER = 8 * RATE


class Mixdown:
    """An open recording of the room."""

    def __init__(self, path: Path) -> None:
        """Raises OSError when the file can not be made."""
        self.path = path
        try:
            self._file = soundfile.SoundFile(path, "w", RATE, 1, "PCM_16", format="WAV")
        except soundfile.LibsndfileError as error:
            raise OSError(f"{path} can not be written: {error}") from error
        self._waiting = np.zeros(_BUFFER, dtype=np.float32)
        self._count = 0
        self._lines: list[tuple[float, str, str]] = []

    def transcript_path(self) -> Path:
        """The text beside the sound."""
        return self.path.with_suffix(".txt")

    def add(self, sound: Samples | None, count: int) -> None:
        """The next `count` samples; None is silence."""
        done = 0
        while done < count:
            here = min(count - done, _BUFFER - self._count)
            if sound is not None:
                self._waiting[self._count : self._count + here] = sound[done : done + here]
            self._count += here
            done += here
            if self._count == _BUFFER:
                self._write()

    def line(self, t: float, who: str, words: str) -> None:
        """Somebody began to say `words` at `t`."""
        self._lines.append((t, who, words))

    def close(self) -> None:
        """Write what waits, and the transcript."""
        if self._file.closed:
            return
        self._write()
        self._file.close()
        with self.transcript_path().open("w", encoding="utf-8") as out:
            for t, who, words in sorted(self._lines):
                out.write(f"{_clock(t)}  {who}: {words}\n")

    def _write(self) -> None:
        scaled = np.clip(self._waiting[: self._count], -1, 1) * 32767
        self._file.write(np.rint(scaled).astype(np.int16))
        self._waiting[: self._count] = 0
        self._count = 0

    def __enter__(self) -> Mixdown:
        return self

    def __exit__(
        self, kind: type[BaseException] | None, error: BaseException | None, trace: TracebackType | None
    ) -> None:
        self.close()


def _clock(t: float) -> str:
    minutes, seconds = divmod(t, 60)
    hours, minutes = divmod(int(minutes), 60)
    return f"{hours}:{minutes:02d}:{seconds:06.3f}"
