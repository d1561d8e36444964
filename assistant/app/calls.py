"""The guard's finished calls: every word it may have to say, as files, before cream is mixed."""

from __future__ import annotations

import hashlib
import json
from collections.abc import Sequence
from pathlib import Path

import numpy as np

from assistant.alarm.calls import write_calls, write_words
from assistant.core.actions import Sentence
from assistant.core.program import Program
from assistant.files import private
from assistant.ports import RATE, Samples, Voice

GAP_S = 0.35
"""Between sentences."""
WORDS = "words.json"
"""The last file written, so that a folder that has it is whole; the guard shows from it what it says."""


def spoken(program: Program) -> dict[str, tuple[Sentence, ...]]:
    """What each file says. Minutes from 0 on, each its own file, and one for more than are counted."""
    longest, limit = program.longest_on_minutes(), int(program.limit.seconds // 60)
    said = {name: _of(program, f"guard.{name}") for name in ("stopped", "start", "call", "remind")}
    for n in range(longest + 1):
        said[f"on_{n}"] = _of(program, "guard.on", on=program.on_for(n * 60.0))
    said["on_more"] = _of(program, "guard.on", on=program.on_for(longest * 60.0 + 1))
    for n in range(limit + 1):
        said[f"left_{n}"] = _of(program, "guard.left", until=program.book.amount(n))
    return said


def _of(program: Program, name: str, **slots: str) -> tuple[Sentence, ...]:
    values = program.slots(program.limit.seconds, **slots)
    return program.book.sentences(name, values, with_helper=program.with_helper)


def folder_of(program: Program, cache: Path) -> Path:
    """Where the calls of this program lie: the same words in the same voices, the same folder."""
    said = {name: [sentence.text for sentence in those] for name, those in spoken(program).items()}
    words = json.dumps([said, program.household.voices.model_dump()])
    return cache / "calls" / hashlib.sha256(words.encode()).hexdigest()[:16]


def whole(folder: Path) -> bool:
    """Whether all calls are there."""
    return (folder / WORDS).is_file()


def write(program: Program, voice: Voice, folder: Path) -> None:
    """Write what is not there yet, from clips that were prepared. Raises OSError and VoiceError."""
    if whole(folder):
        return
    private.make_folder(folder)
    said = spoken(program)
    sounds = {name: _joined([voice.clip(sentence) for sentence in those]) for name, those in said.items()}
    write_calls(folder, {"call": sounds.pop("call")})
    write_words(folder, sounds)
    texts = {name: " ".join(sentence.text for sentence in those) for name, those in said.items()}
    private.write(folder / WORDS, json.dumps(texts, ensure_ascii=False, indent=1) + "\n")


def _joined(clips: Sequence[Samples]) -> Samples:
    gap = np.zeros(round(GAP_S * RATE), np.float32)
    return np.concatenate([piece for clip in clips for piece in (clip, gap)][:-1])
