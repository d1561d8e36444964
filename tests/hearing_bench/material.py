"""What is played to the ears: phrases, ordinary talk, sound-alikes, single words, noise.

Phrases come from the shipped clips (synthetic voices) and from every file of the
corpus whose text is a live phrase; talk from all that is not. A file belongs to
the half that was used to set thresholds or to the half that is reported, by a
hash of its name, so that nobody can choose.
"""

from __future__ import annotations

import csv
import hashlib
import shutil
import subprocess
import tempfile
from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass
from functools import cache
from pathlib import Path

import numpy as np

from assistant.core.hearing import LivePhrase, Risk
from assistant.core.program import Program
from assistant.files.places import audio_fixtures_folder
from assistant.ports import RATE, Samples
from assistant.room import acoustics, clips
from tests.hearing_bench import sentences
from tests.programs import program

ANSWER_MINUTES = (12, 15, 21)
HALVES = ("tuned", "reported")
TALKERS = ("slt", "rms", "awb")
LiveSets = Mapping[str, tuple[LivePhrase, ...]]


@dataclass(frozen=True, slots=True)
class Recording:
    """One file of sound: what is said in it ("" where nobody wrote it down), by whom, and of which kind."""

    path: Path
    text: str
    speaker: str
    group: str

    def sound(self) -> Samples:
        return acoustics.read_sound(self.path)


@dataclass(frozen=True, slots=True)
class Kept(Recording):
    """A recording in memory, whose file may be gone."""

    samples: Samples

    def sound(self) -> Samples:
        return self.samples


@dataclass(frozen=True, slots=True)
class Material:
    """All that a bench is run on."""

    phrases: tuple[Recording, ...]
    human_phrases: tuple[Recording, ...]
    words: tuple[Recording, ...]
    other_words: tuple[Recording, ...]
    talk: tuple[Recording, ...]
    noise: tuple[Recording, ...]
    kinds: dict[str, str]


def half_of(name: str) -> str:
    """Which half a file belongs to, by its path below its own collection."""
    return HALVES[int(hashlib.sha256(name.encode()).hexdigest(), 16) % 2]


def collect(corpus: Path | None, half: str) -> Material:
    """Everything of `half` ("tuned", "reported" or "all"). Raises ValueError for a corpus without a usable index."""
    wanted = HALVES if half == "all" else (half,)
    fixtures = audio_fixtures_folder()
    shipped = [c for c in clips.shipped(fixtures / "clips") if half_of(_below(c.path, fixtures)) in wanted]
    recorded = [r for r in read_index(corpus) if half_of(_below(r.path, corpus)) in wanted] if corpus else []
    live = {clips.plain(p.text) for phrases in live_sets().values() for p in phrases}
    noise = [r for r in (read_index(corpus) if corpus else []) if r.group.startswith("noise")]
    speech = [r for r in recorded if not r.group.startswith("noise")]
    talk = [r for r in speech if clips.plain(r.text) not in live and r.group != "sc_command"]
    kinds = {"talk": "human", "phrases": "synthetic voices, human single words"}
    if not talk:
        talk = [
            Recording(c.path, c.text, c.voice, "talk")
            for c in clips.shipped(fixtures / "talk") if half_of(_below(c.path, fixtures)) in wanted
        ]  # fmt: skip
        kinds["talk"] = "synthetic"
    return Material(
        tuple(Recording(c.path, clips.plain(c.text), c.voice, "clip") for c in shipped),
        tuple(r for r in speech if clips.plain(r.text) in live),
        tuple(r for r in speech if r.group == "sc_command"),
        tuple(r for r in speech if r.group in ("sc_other", "digits")),
        tuple(talk),
        tuple(noise),
        kinds,
    )


def _below(path: Path, folder: Path) -> str:
    return path.relative_to(folder).as_posix()


def read_index(corpus: Path) -> list[Recording]:
    """The files of `corpus`/index.csv. Raises ValueError when it is missing or lacks a column."""
    index = corpus / "index.csv"
    try:
        with index.open(encoding="utf-8", newline="") as lines:
            rows = list(csv.DictReader(lines))
        return [
            Recording(corpus / row["path"], row["text"] or "", row["speaker"] or "", row["group"])
            for row in rows
        ]
    except (OSError, KeyError) as error:
        raise ValueError(
            f"{index} is no list of recordings ({error}); it needs the columns path,group,text,speaker,licence,seconds"
        ) from error


@cache
def live_sets() -> LiveSets:
    """The sets of the whole head."""
    return sets_of(program("whole_head"))


def sets_of(made: Program) -> LiveSets:
    """What is live together: while cream goes on, and while questions are asked."""
    heard = made.book.heard
    zoned = [n for n, e in heard.items() if e.slot() == "zone"]
    always = [n for n, e in heard.items() if e.risk in (Risk.STOP, Risk.ASK)]
    always += ["next_step", "go_back", "carry_on"]
    rest = [n for n in heard if n not in zoned and n not in always]
    return {
        "covering": made.book.live([*always, *zoned], made.zones),
        "answering": made.book.live([*always, *rest], made.zones, ANSWER_MINUTES),
    }


def tap(material: Material) -> tuple[str, Samples]:
    """A running tap, recorded if there is one, and what it is."""
    recorded = [r for r in material.noise if "tap" in r.text or "tap" in r.path.stem]
    if recorded:
        return "recorded", recorded[0].sound()
    return "made", acoustics.tap_noise(7)


def babble(material: Material, seconds: float = 30.0, talkers: int = 6) -> Samples:
    """Several people talking at once, each as loud as the others."""
    chosen = [r for r in material.talk if r.group.startswith("continuous")][:talkers] or material.talk[
        :talkers
    ]
    mixed = np.zeros(int(seconds * RATE), np.float32)
    for one in chosen:
        mixed += np.resize(acoustics.at_level(one.sound(), acoustics.TALK_DB), len(mixed))
    return mixed


def plain(text: str) -> str:
    """As texts are compared; what has no Latin letter stays as it is."""
    return clips.plain(text) or text.strip()


def spoken(texts: Iterable[str], voices: Iterable[str] = TALKERS) -> Iterator[Recording]:
    """`texts` by flite, the voices by turns; nothing where flite is not installed.

    The files are gone when the generator ends.
    """
    if shutil.which("flite") is None:
        return
    row = list(voices)
    with tempfile.TemporaryDirectory(prefix="combside-bench-") as folder:
        for number, text in enumerate(texts):
            voice = row[number % len(row)]
            path = Path(folder) / f"{number}.wav"
            subprocess.run(
                ["flite", "-voice", voice, "-t", text, "-o", str(path)], check=True, capture_output=True
            )
            yield Recording(path, text, f"flite_{voice}", "generated")


def generated_talk(minutes: float) -> Iterator[Recording]:
    """Made sentences of everyday talk, some `minutes` of them (2.2 s each on average)."""
    return spoken(sentences.everyday(round(minutes * 60 / 2.2)))


def sound_alikes() -> Iterator[Recording]:
    """Sentences that sound like commands and are none, each in two voices."""
    return spoken([s for s in sentences.ALIKE for _ in range(2)], ("slt", "rms", "awb"))
