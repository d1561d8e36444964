"""Every sentence of a run, made ahead and kept, so that no synthesiser is needed later. Meets `ports.Voice`.

On disk by text, voice, rate and what speaks, so that the second run waits for
nothing. Here which clips there are; how one is made is `mouth.synthesiser`.
Called by the app before a run and by the mixer in it.
"""

from __future__ import annotations

import contextlib
import hashlib
import os
import tempfile
from collections.abc import Callable, Iterable, Mapping
from pathlib import Path

import numpy as np
import platformdirs
import soundfile

from assistant.core.actions import Sentence
from assistant.mouth.levels import PROMPT_DB
from assistant.mouth.synthesiser import Synthesiser, VoiceError, Voicing, engine_version
from assistant.ports import RATE, Samples

VOICES: Mapping[str, Voicing] = {"person": Voicing("en-us+f5", 140), "helper": Voicing("en+m2", 134)}
"""An American woman and a British man, told apart by pitch and accent.

Among the best understood by a recogniser of some fifty voices tried, at rates that
give 147 real words a minute over the phrase book.
"""


class Prompts:
    """Clips by sentence."""

    def __init__(
        self,
        folder: Path | None = None,
        voices: Mapping[str, Voicing] = VOICES,
        *,
        tell: Callable[[int, int], None] | None = None,
        make: Callable[[], Synthesiser] = Synthesiser,
    ) -> None:
        """`folder` keeps the clips (default: the user's cache); `tell(done, of)` hears how far it is.

        `make` opens a synthesiser; tests count with it.
        """
        self._folder = folder or platformdirs.user_cache_path("combside", appauthor=False) / "prompts"
        self._voices = voices
        self._tell = tell or (lambda done, of: None)
        self._make = make
        self._clips: dict[Sentence, Samples] = {}

    def prepare(self, sentences: Iterable[Sentence]) -> None:
        """Make every clip that is not there yet. What was made stays when one fails.

        Raises VoiceError for a voice that is not known and for a sentence that
        cannot be made by any means, OSError when the folder cannot be written.
        """
        wanted = [s for s in dict.fromkeys(sentences) if s not in self._clips]
        unknown = sorted({s.voice for s in wanted} - set(self._voices))
        if unknown:
            raise VoiceError(f"there is no voice '{unknown[0]}'; there are {', '.join(self._voices)}")
        if not wanted:
            return
        engine = engine_version()
        files = {sentence: self._folder / self._name(sentence, engine) for sentence in wanted}
        missing = []
        for sentence, path in files.items():
            clip = _read(path)
            if clip is None:
                missing.append(sentence)
            else:
                self._clips[sentence] = clip
        if not missing:
            return
        self._folder.mkdir(mode=0o700, parents=True, exist_ok=True)
        self._tell(0, len(missing))
        with self._make() as synthesiser:
            for done, sentence in enumerate(missing, 1):
                made = synthesiser.make(sentence.text, self._voices[sentence.voice])
                self._clips[sentence] = _written(files[sentence], made)
                self._tell(done, len(missing))

    def clip(self, sentence: Sentence) -> Samples:
        """The finished sound. Raises VoiceError for a sentence that was not prepared."""
        try:
            return self._clips[sentence]
        except KeyError:
            raise VoiceError(f"'{sentence.text}' was not prepared for the voice '{sentence.voice}'") from None

    def _name(self, sentence: Sentence, engine: str) -> str:
        voicing = self._voices[sentence.voice]
        key = "\0".join((sentence.text, voicing.voice, str(voicing.rate), engine, str(PROMPT_DB)))
        return f"{hashlib.sha256(key.encode()).hexdigest()[:32]}.wav"


def _read(path: Path) -> Samples | None:
    """A kept clip, or None when there is none or it is damaged."""
    try:
        sound, rate = soundfile.read(path, dtype="float32")
    except (soundfile.LibsndfileError, OSError):
        return None
    if rate != RATE or sound.ndim != 1 or not sound.any():
        return None
    return np.asarray(sound, dtype=np.float32)


def _written(path: Path, sound: Samples) -> Samples:
    """Keep it, for its owner alone, whole or not at all; as it will be read the next time, to the sample."""
    handle, partial = tempfile.mkstemp(prefix=".prompt.", dir=path.parent)  # made 0600
    os.close(handle)
    try:
        soundfile.write(partial, sound, RATE, subtype="PCM_16", format="WAV")
        Path(partial).replace(path)
    except BaseException:
        with contextlib.suppress(OSError):
            Path(partial).unlink()
        raise
    kept = _read(path)
    if kept is None:
        raise VoiceError(f"{path} can not be read back")
    return kept
