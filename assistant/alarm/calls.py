"""Rinse calls as finished WAV files: the tone, then the words, ready for any player.

Written before cream is mixed, so that whoever has to sound a call later needs no
synthesiser, no mixer and nothing of the core: one file, played again and again.
Here how a call is put together and written. Playing it, with a stream of its
own, belongs to the second process. Called by the app when prompts are ready.
"""

from __future__ import annotations

import os
import re
import tempfile
import wave
from collections.abc import Mapping
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from assistant.alarm.tone import RATE, alarm

GAP_S = 0.15
"""Between tone and words."""

_NAME = re.compile(r"[a-z0-9][a-z0-9_.-]*")


def call(words: NDArray[np.float32]) -> NDArray[np.float32]:
    """One call: the tone, a short gap and `words` (mono, RATE a second; empty: the tone alone)."""
    if len(words) == 0:
        return alarm()
    return np.concatenate([alarm(), np.zeros(round(GAP_S * RATE), np.float32), words])


def write_calls(folder: Path, spoken: Mapping[str, NDArray[np.float32]]) -> dict[str, Path]:
    """Write one file for each of `spoken` (a name, and the finished sound of its words) into `folder`.

    16 bit, mono, RATE a second, for their owner alone; each is whole or not there.
    Returns the files by name. Raises OSError, and ValueError for a name that is
    no plain file name.
    """
    return write_words(folder, {name: call(words) for name, words in spoken.items()})


def write_words(folder: Path, spoken: Mapping[str, NDArray[np.float32]]) -> dict[str, Path]:
    """As `write_calls`, without the tone: what else the second process says."""
    for name in spoken:
        if not _NAME.fullmatch(name):
            raise ValueError(f"'{name}' can not be the name of a file")
    folder.mkdir(mode=0o700, parents=True, exist_ok=True)
    return {name: _write(folder / f"{name}.wav", sound) for name, sound in spoken.items()}


def _write(path: Path, sound: NDArray[np.float32]) -> Path:
    whole = np.rint(np.clip(sound, -1, 1) * 32767).astype("<i2")
    handle, partial = tempfile.mkstemp(prefix=".call.", dir=path.parent)  # made 0600
    try:
        with os.fdopen(handle, "wb") as file, wave.open(file) as out:
            out.setnchannels(1)
            out.setsampwidth(2)
            out.setframerate(RATE)
            out.writeframes(whole.tobytes())
        Path(partial).replace(path)
    except BaseException:
        Path(partial).unlink(missing_ok=True)
        raise
    return path
