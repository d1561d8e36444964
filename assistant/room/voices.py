"""The voices of the simulated people: a text becomes sound, from a file or a synthesiser.

Sounds are mono float32 at RATE, cut to the speech with a little silence around
it. Made once: kept in memory, and on disk where a folder for it is given.
"""

from __future__ import annotations

import hashlib
import shutil
import subprocess
import tempfile
from collections.abc import Callable, Iterable, Mapping
from functools import cache
from pathlib import Path

import soundfile

from assistant.ports import RATE, Samples
from assistant.room.acoustics import active_level_db, read_sound, speech_edges
from assistant.room.clips import of_folder, of_voice, plain, shipped, slug
from assistant.room.home import VoiceSource

AROUND = RATE // 20
"""Silence kept on both sides of the speech."""

SYNTHESIS_LIMIT_S = 30.0


class MissingSound(ValueError):
    """Something a person may have to say has no sound."""


@cache
def _flite_voices() -> tuple[str, ...]:
    listed = subprocess.run(["flite", "-lv"], capture_output=True, timeout=SYNTHESIS_LIMIT_S, check=False)
    return tuple(listed.stdout.decode().partition(":")[2].split())


def _flite(voice: str, text: str, out: Path) -> tuple[list[str], str]:
    return ["flite", "-voice", voice, "-t", text, "-o", str(out)], ""


def _festival(voice: str, text: str, out: Path) -> tuple[list[str], str]:
    return ["text2wave", "-eval", f"(voice_{voice})", "-o", str(out)], text


def _espeak(voice: str, text: str, out: Path) -> tuple[list[str], str]:
    return ["espeak-ng", "-v", voice, "-s", "150", "-w", str(out), text], ""


_COMMANDS: Mapping[str, Callable[[str, str, Path], tuple[list[str], str]]] = {
    "flite": _flite,
    "festival": _festival,
    "espeak": _espeak,
}
_STAND_IN = ("flite", "slt")
"""Speaks what shipped clips or a folder lack."""


def installed(synthesiser: str) -> bool:
    """Whether the program of "flite", "festival" or "espeak" is on this machine."""
    return shutil.which(_COMMANDS[synthesiser]("", "", Path())[0][0]) is not None


def synthesise(synthesiser: str, voice: str, text: str) -> Samples:
    """Speech from an installed synthesiser. Raises MissingSound saying why there is none."""
    if synthesiser == "flite" and installed("flite") and voice not in _flite_voices():
        # flite itself would speak with another voice and say nothing of it
        raise MissingSound(f"flite has no voice '{voice}'; it has {', '.join(_flite_voices())}")
    with tempfile.TemporaryDirectory() as folder:
        out = Path(folder) / "speech.wav"
        command, given = _COMMANDS[synthesiser](voice, text, out)
        try:
            done = subprocess.run(
                command, input=given.encode(), capture_output=True, timeout=SYNTHESIS_LIMIT_S, check=False
            )
        except FileNotFoundError as error:
            raise MissingSound(
                f"{command[0]} is not installed, so the voice '{voice}' can not speak"
            ) from error
        except subprocess.TimeoutExpired as error:
            raise MissingSound(f"{command[0]} took over {SYNTHESIS_LIMIT_S:g} s for '{text}'") from error
        if done.returncode != 0 or not out.exists():
            why = done.stderr.decode(errors="replace").strip().splitlines()[-1:] or ["no reason given"]
            raise MissingSound(f"{command[0]} can not speak '{text}' as '{voice}': {why[0]}")
        return read_sound(out)


class Speaker:
    """One person's voice."""

    def __init__(
        self, source: VoiceSource, *, fixtures: Path, beside: Path, cache: Path | None = None
    ) -> None:
        """`fixtures` holds clips/index.csv; a relative folder is looked for `beside` the home file.

        Raises ValueError when the clips, the folder or the synthesiser are not there.
        """
        self._cache = cache
        self._kept: dict[str, Samples] = {}
        self._files: Mapping[str, Path] = {}
        self._key: Callable[[str], str] = plain
        self._synthesiser = _STAND_IN
        self._where = ""
        if source.clips is not None:
            self._files = of_voice(shipped(fixtures / "clips"), source.clips)
            self._where = f"among the clips of '{source.clips}'"
            stand_in = source.clips.partition("_")
            if stand_in[0] == "flite":
                self._synthesiser = ("flite", stand_in[2])
        elif source.folder is not None:
            folder = beside / source.folder
            self._files, self._key = of_folder(folder), slug
            self._where = f"in {folder}"
        else:
            kind = next(name for name in _COMMANDS if getattr(source, name) is not None)
            self._synthesiser = (kind, getattr(source, kind))
            self.sound("yes please")  # an unknown voice or a missing program shows before the rehearsal

    def check(self, texts: Iterable[str]) -> None:
        """Raises MissingSound with every text that has neither a file nor a synthesiser to stand in."""
        if not self._files or installed(self._synthesiser[0]):
            return
        missing = sorted({text for text in texts if self._key(text) not in self._files})
        if missing:
            raise MissingSound(
                f"{len(missing)} sounds are not {self._where} and flite is not installed to stand in: "
                + ", ".join(f"'{text}'" for text in missing[:8])
                + (", ..." if len(missing) > 8 else "")
            )

    def sound(self, text: str) -> Samples:
        """The text spoken. Raises MissingSound."""
        if text not in self._kept:
            path = self._files.get(self._key(text))
            made = read_sound(path) if path is not None else self._made(text)
            if active_level_db(made) < -90:
                raise MissingSound(f"the sound for '{text}' is silent" + (f": {path}" if path else ""))
            begin, end = speech_edges(made)
            self._kept[text] = made[max(0, begin - AROUND) : end + AROUND]
        return self._kept[text]

    def _made(self, text: str) -> Samples:
        if self._cache is None:
            return synthesise(*self._synthesiser, text)
        name = hashlib.sha256("\0".join((*self._synthesiser, text)).encode()).hexdigest()[:24]
        path = self._cache / f"{name}.wav"
        if path.exists():
            return read_sound(path)
        made = synthesise(*self._synthesiser, text)
        self._cache.mkdir(parents=True, exist_ok=True)
        partial = path.with_suffix(".partial")
        soundfile.write(partial, made, RATE, subtype="FLOAT", format="WAV")
        partial.replace(path)
        return made
