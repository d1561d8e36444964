"""What one run measures, part by part: a condition of an engine, the single words, the Korean row."""

from __future__ import annotations

import resource
import tempfile
from collections.abc import Iterator, Mapping, Sequence
from contextlib import closing
from dataclasses import dataclass, field
from fnmatch import fnmatch
from functools import cached_property
from pathlib import Path

import numpy as np

from assistant.alarm.tone import alarm
from assistant.core.hearing import LivePhrase, Risk
from assistant.mouth.prompts import Prompts
from assistant.ports import RATE, Samples
from tests.hearing_bench import korean, material, measures, words
from tests.hearing_bench.conditions import CONDITIONS, Condition
from tests.hearing_bench.contenders import Contender
from tests.hearing_bench.curves import curves
from tests.hearing_bench.streams import Outcome
from tests.programs import program

Figures = dict[str, object]
ECHOES_DB = (0, -6, -12, -20)
ALARMS_DB = (0, 6)
"""Our alarm against a person, as the microphone has it."""
ALARMS, ALARM_GAP_S = 30, 0.4
BOTH_SETS = ("quiet", "tap_10_db")
"""Where talk is heard under both live sets, and sound-alikes are played."""
CURVES = ("quiet", "tap_10_db", "babble_10_db")
"""Where made talk is heard, and the trade-off is drawn."""
TWO_TRIES = ("tap_10_db", "tap_5_db")
WORDS = "words"
PARTS = (
    *(c.name for c in CONDITIONS),
    *(f"echo_{db}_db" for db in ECHOES_DB),
    *(f"alarm_{db}_db" for db in ALARMS_DB),
    WORDS,
    *korean.PARTS,
)


def twice(burst: Samples) -> Samples:
    """As the rinse call goes on, its words left out."""
    gap = np.zeros(int(ALARM_GAP_S * RATE), np.float32)
    return np.concatenate([burst, gap, burst])


@dataclass
class Run:
    """Contenders, ours first, and the material; `only` are patterns of parts, `told` goes into every part."""

    ears: Sequence[Contender]
    found: material.Material
    told: Mapping[str, object]
    only: Sequence[str] = ()
    every: int = 1
    talk_minutes: float = 15.0
    prompts: int = 60
    unusable: Mapping[str, str] = field(default_factory=dict)

    def parts(self, there: Mapping[str, object]) -> Iterator[tuple[str, Figures]]:
        """The name and the figures of every wanted part that is not `there` yet, in the order of `only`."""
        for name in wanted(self.only):
            if name == WORDS:
                yield from self._words(there)
            elif name in korean.PARTS:
                yield from self._korean(name, there)
            else:
                yield from self._of_everyone(name, there)

    def _of_everyone(self, name: str, there: Mapping[str, object]) -> Iterator[tuple[str, Figures]]:
        for number, ears in enumerate(self.ears):
            if name in _conditions(there, ears.name):
                continue
            figures, drawn = self._condition(ears, name)
            mine: Figures = {"engine": ears.name, "conditions": {name: figures}}
            part: Figures = mine if number == 0 else {"others": [mine]}
            if number == 0 and drawn:
                part["curves"] = {name: drawn}
            yield f"{name}, {ears.name}", self._part(part)

    def _words(self, there: Mapping[str, object]) -> Iterator[tuple[str, Figures]]:
        if there.get("single_words"):
            return
        conditions = [c for c in CONDITIONS if c.name in CURVES]
        said, others = self.found.words[:: self.every], self.found.other_words[:: self.every]
        figures, drawn = words.measure(said, others, conditions, self._noises)
        yield WORDS, self._part({"single_words": figures, "curves": {words.CURVE: drawn}})

    def _korean(self, name: str, there: Mapping[str, object]) -> Iterator[tuple[str, Figures]]:
        row: Figures = {"engine": korean.NAME}
        before = there.get("korean")
        done = before.get("conditions") if isinstance(before, Mapping) else None
        if isinstance(done, Mapping) and korean.condition_of(name) in done:
            return
        if korean.usable():
            condition, figures = self._korean_ears.part(name, self.found.talk[:: self.every], self._noises)
            row |= self._korean_ears.facts() | {"why": "", "conditions": {condition: figures}}
        else:
            row |= {"why": korean.LACKING}
        yield name, self._part({"korean": row})

    def _part(self, figures: Figures) -> Figures:
        others = [{"engine": name, "why": why, "conditions": {}} for name, why in self.unusable.items()]
        listed = figures.get("others")
        return {
            "run": dict(self.told), "engine": self.ears[0].name, "conditions": {}, **figures,
            "others": [*(listed if isinstance(listed, list) else []), *others],
            "material": {**self.found.kinds, "tap": self._tap[0], "talk_files": len(self.found.talk[:: self.every])},
            "memory_mb": round(resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024),
        }  # fmt: skip

    def _condition(self, ears: Contender, name: str) -> tuple[Figures, Figures]:
        """The figures of one condition and, where they are drawn, its curves."""
        if name.startswith(("echo", "alarm")):
            ours = self._clips if name.startswith("echo") else [twice(alarm())] * ALARMS
            return measures.over_prompts(ears, int(name.split("_")[1]), ours, self._stops), {}
        condition = next(c for c in CONDITIONS if c.name == name)
        tries = 2 if name in TWO_TRIES else 1
        figures, said = measures.said_phrases(ears, condition, self._phrases, self._noises, tries)
        more, human = self._talk(ears, condition, self.found.talk[:: self.every])
        figures |= more | {"self_triggers": None}  # measured under the echo conditions
        drawn: Figures = {}
        if name in CURVES:
            figures["made_talk"], made = measures.talk(
                ears, condition, self._made, self._noises, ("covering",)
            )
            if ears is self.ears[0]:
                drawn = curves(said, human, made)
        if name in BOTH_SETS:
            figures |= measures.alike(ears, condition, self._alike, self._noises)
        return figures, drawn

    def _talk(
        self, ears: Contender, condition: Condition, talk: Sequence[material.Recording]
    ) -> tuple[Figures, Outcome]:
        names = ("covering", "answering") if condition.name in BOTH_SETS else ("covering",)
        return measures.talk(ears, condition, talk, self._noises, names)

    @cached_property
    def _korean_ears(self) -> korean.Korean:
        return korean.opened(self.every)

    @cached_property
    def _tap(self) -> tuple[str, Samples]:
        return material.tap(self.found)

    @cached_property
    def _noises(self) -> dict[str, Samples]:
        return {"tap": self._tap[1], "babble": material.babble(self.found)}

    @cached_property
    def _phrases(self) -> tuple[material.Recording, ...]:
        return (*self.found.phrases[:: self.every], *self.found.human_phrases[:: self.every])

    @cached_property
    def _made(self) -> list[material.Recording]:
        return list(_kept(material.generated_talk(self.talk_minutes)))

    @cached_property
    def _alike(self) -> list[material.Recording]:
        return list(_kept(material.sound_alikes()))[:: self.every]

    @cached_property
    def _stops(self) -> list[tuple[material.Recording, LivePhrase]]:
        rows = measures.rows(self.found.phrases, material.live_sets()["covering"])
        return [(r, p) for r, p in rows if p.risk is Risk.STOP and " " in p.text]

    @cached_property
    def _clips(self) -> list[Samples]:
        return some_prompts(self.prompts)


def wanted(only: Sequence[str]) -> list[str]:
    """The parts that match one of `only`, in its order; all where it is empty. Raises ValueError for what matches none."""
    found = {pattern: [name for name in PARTS if fnmatch(name, pattern)] for pattern in only or ("*",)}
    for pattern, names in found.items():
        if not names:
            raise ValueError(f"there is no part '{pattern}'; there are {', '.join(PARTS)}")
    return list(dict.fromkeys(name for names in found.values() for name in names))


def some_prompts(count: int) -> list[Samples]:
    """Sentences of the default run as they are spoken, spread over all there are (0: every one)."""
    sentences = sorted(program("whole_head").every_sentence(), key=lambda s: s.text)
    chosen = sentences[:: max(1, len(sentences) // count)][:count] if count else sentences
    with tempfile.TemporaryDirectory() as folder:
        mouth = Prompts(Path(folder))
        mouth.prepare(chosen)
        return [mouth.clip(s) for s in chosen]


def _conditions(figures: Mapping[str, object], engine: str) -> Mapping[str, object]:
    """What is there already of one engine."""
    others = figures.get("others")
    for row in (figures, *(others if isinstance(others, list) else ())):
        if row.get("engine") == engine and isinstance(row.get("conditions"), Mapping):
            return row["conditions"]  # type: ignore[no-any-return]
    return {}


def _kept(recordings: Iterator[material.Recording]) -> Iterator[material.Recording]:
    """Recordings whose files are about to vanish, with their sound in memory."""
    with closing(recordings):  # type: ignore[type-var]
        for one in recordings:
            yield material.Kept(one.path, one.text, one.speaker, one.group, one.sound())
