"""One stream of samples out of many prompts, in the order `core.interrupting` decides. Meets `ports.Mixer`.

Driven by whoever pulls: the speaker's callback in a run, the room in a rehearsal.
The stream is the clock: sample n is pulled when n / RATE seconds have passed, so
prompts begin and end, and their marks come, whether or not anybody can hear them.
A lost speaker changes nothing but who pulls.

A prompt's sound is put together when it is said, in the sayer's thread; a pull
only copies. A clip that is missing leaves a gap and is reported by `missing`, the
tone and what is left of the words are played.
"""

from __future__ import annotations

import threading
from collections.abc import Callable, Mapping

import numpy as np

from assistant.alarm import tone
from assistant.alarm.limit import limited
from assistant.core import interrupting
from assistant.core.actions import Priority, Say, Sentence
from assistant.core.interrupting import Change, Queue
from assistant.ports import RATE, Mark, Samples, Voice

SENTENCE_GAP_S = 0.35
PROMPT_GAP_S = 0.25
"""Between prompts. The first rinse call leaves none: it begins where what it interrupts has faded."""
FADE_S = 0.012

TONES: Mapping[Priority, Callable[[], Samples]] = {
    Priority.WARNING: tone.warning,
    Priority.CAUTION: tone.caution,
}
"""Before the words. The alarm itself goes before a prompt that asks for it (`Say.alarm`)."""


class PromptMixer:
    """Who plays now, sample by sample. May be called from several threads."""

    def __init__(self, voice: Voice) -> None:
        self._voice = voice
        self._lock = threading.Lock()
        self._queue = Queue()
        self._sounds: dict[Say, Samples] = {}
        self._at = 0  # samples given so far
        self._begin = 0  # where the playing prompt begins in the stream
        self._marked = False  # its beginning was passed
        self._silent_from = -RATE  # where the last sound of a prompt ended
        self._rank: Priority | None = None  # the last prompt's
        self._over: list[tuple[int, Samples]] = []  # laid over: what fades out, the tick
        self._raised = 1.0
        self._gain = 1.0
        self._marks: list[Mark] = []
        self._missing: list[Sentence] = []

    def say(self, prompt: Say) -> None:
        sound = self._put_together(prompt)
        with self._lock:
            self._sounds[prompt] = sound
            self._change(interrupting.say(self._queue, prompt), self._at)

    def drop(self, about: str) -> None:
        with self._lock:
            self._change(interrupting.drop(self._queue, about), self._at)

    def acknowledge(self) -> None:
        """A tick over whatever plays: understood."""
        with self._lock:
            self._over.append((self._at, tone.tick()))

    def raise_prompts(self, gain_db: float) -> None:
        """Prompts so much louder than they were made; never the alarm, warnings or the rinse call."""
        with self._lock:
            self._raised = float(10 ** (gain_db / 20))

    def idle(self) -> bool:
        with self._lock:
            return self._queue.idle

    def marks(self) -> list[Mark]:
        with self._lock:
            found, self._marks = self._marks, []
            return found

    def missing(self) -> list[Sentence]:
        """Sentences since the last call that had no clip."""
        with self._lock:
            found, self._missing = self._missing, []
            return found

    def pull(self, count: int) -> Samples:
        out = np.zeros(count, dtype=np.float32)
        with self._lock:
            begin, self._at = self._at, self._at + count
            if self._queue.playing is None and not self._over:
                return out
            at = begin
            while self._queue.playing is not None and at < begin + count:
                at = self._play(out, begin, at)
            for start, sound in self._over:
                _add(out, begin, start, sound)
            self._over = [(start, sound) for start, sound in self._over if start + len(sound) > self._at]
        return limited(out)

    # -- with the lock held ---------------------------------------------------------------------

    def _play(self, out: Samples, begin: int, at: int) -> int:
        """Add the playing prompt to `out` from stream position `at`; returns the position reached."""
        prompt = self._queue.playing
        assert prompt is not None
        end = begin + len(out)
        if self._begin >= end:
            return end
        if not self._marked:
            self._marked = True
            self._marks.append(Mark(prompt, "begun", self._begin))
        sound = self._sounds[prompt]
        stop = min(end, self._begin + len(sound))
        start = max(at, self._begin)
        if stop > start:
            piece = sound[start - self._begin : stop - self._begin]
            out[start - begin : stop - begin] += piece * np.float32(self._gain)
        if stop == self._begin + len(sound):
            self._marks.append(Mark(prompt, "ended", stop))
            self._silent_from = stop
            self._change(interrupting.ended(self._queue), stop)
        return stop

    def _change(self, change: Change, now: int) -> None:
        """Carry out what was decided at stream position `now`."""
        if change.cut is not None and self._marked:
            self._marks.append(Mark(change.cut, "cut", now))
            done = now - self._begin
            rest = self._sounds[change.cut][done : done + round(FADE_S * RATE)]
            self._over.append((now, rest * (self._gain * np.linspace(1, 0, len(rest), dtype=np.float32))))
            self._silent_from = now + len(rest)
        self._queue = change.queue
        if change.begins is not None:
            before, self._rank = self._rank, change.begins.priority
            calls = self._rank is Priority.RINSE_CALL and before is not Priority.RINSE_CALL
            self._begin = max(now, self._silent_from + round((0.0 if calls else PROMPT_GAP_S) * RATE))
            self._marked = False
            self._gain = self._wanted_gain(change.begins)
        kept = {change.queue.playing, *change.queue.waiting}
        self._sounds = {prompt: sound for prompt, sound in self._sounds.items() if prompt in kept}

    def _wanted_gain(self, prompt: Say) -> float:
        return 1.0 if prompt.priority <= Priority.WARNING else self._raised

    # -- without it -------------------------------------------------------------------------------

    def _put_together(self, prompt: Say) -> Samples:
        """Tone and words, at the prompt's level."""
        parts: list[Samples] = []
        if prompt.alarm:
            parts.append(tone.alarm())
        elif prompt.priority in TONES:
            parts.append(TONES[prompt.priority]())
        for sentence in prompt.sentences:
            try:
                parts.append(self._voice.clip(sentence))
            except Exception:  # whatever a voice raises: the run goes on with what is left
                with self._lock:
                    self._missing.append(sentence)
        gap = np.zeros(round(SENTENCE_GAP_S * RATE), dtype=np.float32)
        spaced = [piece for part in parts for piece in (part, gap)][:-1]
        whole = np.concatenate([np.zeros(0, np.float32), *spaced])
        return np.asarray(whole * np.float32(prompt.level), dtype=np.float32)


def _add(out: Samples, begin: int, start: int, sound: Samples) -> None:
    """Lay `sound`, which starts at stream position `start`, over `out`, which begins at `begin`."""
    first, last = max(start, begin), min(start + len(sound), begin + len(out))
    if last > first:
        out[first - begin : last - begin] += sound[first - start : last - start]
