"""How well combside hears, beside other recognisers.

Every phrase that may be heard while cream goes on and while questions are
asked, through the real ears and the real hearing decision, block by block as in
a run; ordinary talk, made talk, sentences that sound like commands, our own
prompts as echo, single human words. For each condition: what was missed, taken
for another, asked about; what was believed of talk, an hour; how often we
triggered ourselves; how long after the true end of a phrase the decision
stands; what it costs of one core. Rates carry 95 % intervals and their n.

Half of all files (by a hash of the name) set the thresholds; figures are from
the other half unless --half says otherwise or a corpus is named.
"""

from __future__ import annotations

import argparse
import json
import resource
import tempfile
from collections.abc import Iterator, Sequence
from contextlib import closing
from pathlib import Path

import numpy as np

from assistant.core.hearing import Risk
from assistant.mouth.prompts import Prompts
from assistant.ports import Samples
from tests.hearing_bench import material, measures, words
from tests.hearing_bench.conditions import CONDITIONS, Condition
from tests.hearing_bench.contenders import Contender, Ours, Plain
from tests.hearing_bench.report import told
from tests.programs import program

USUAL = Path("../shared/corpus")
ECHOES_DB = (0, -6, -12, -20)
BOTH_SETS = ("quiet", "tap_10_db")
TWO_TRIES = ("tap_10_db", "tap_5_db")
QUICK = ("quiet", "tap_10_db", "echo_-6_db", "words")


def some_prompts(count: int) -> list[Samples]:
    """Sentences of the default run as they are spoken, spread over all there are (0: every one)."""
    sentences = sorted(program("whole_head").every_sentence(), key=lambda s: s.text)
    chosen = sentences[:: max(1, len(sentences) // count)][:count] if count else sentences
    with tempfile.TemporaryDirectory() as folder:
        mouth = Prompts(Path(folder))
        mouth.prepare(chosen)
        return [mouth.clip(s) for s in chosen]


def measure(
    ears: Sequence[Contender], found: material.Material, *, only: Sequence[str] = (), every: int = 1,
    talk_minutes: float = 15.0, prompts: int = 60,
) -> dict[str, object]:  # fmt: skip
    """All figures of all contenders; the first one's stand at the top."""
    kind, tap = material.tap(found)
    noises = {"tap": tap, "babble": material.babble(found)}
    phrases = (*found.phrases[::every], *found.human_phrases[::every])
    made = list(_kept(material.generated_talk(talk_minutes)))
    alike = list(_kept(material.sound_alikes()))[::every]
    live = material.live_sets()["covering"]
    stops = [(r, p) for r, p in measures.rows(found.phrases, live) if p.risk is Risk.STOP and " " in p.text]
    clips = some_prompts(prompts) if any(_wanted(f"echo_{db}_db", only) for db in ECHOES_DB) else []
    figures: list[dict[str, object]] = []
    for contender in ears:
        conditions: dict[str, object] = {}
        for condition in CONDITIONS:
            if _wanted(condition.name, only):
                conditions[condition.name] = _condition(
                    contender, condition, phrases, found.talk[::every], made, alike, noises
                )
        for db in ECHOES_DB:
            if _wanted(f"echo_{db}_db", only):
                conditions[f"echo_{db}_db"] = measures.over_prompts(contender, db, clips, stops)
        figures.append({"engine": contender.name, "conditions": conditions})
    wanted = [c for c in CONDITIONS if c.name in BOTH_SETS]
    return {
        **figures[0],
        "others": figures[1:],
        "single_words": (
            words.measure(found.words[::every], found.other_words[::every], wanted, noises)
            if _wanted("words", only) else {}
        ),
        "material": {
            **found.kinds, "tap": kind, "phrases_n": len(phrases), "talk_files": len(found.talk),
            "made_sentences": len(made), "prompts": len(clips),
        },
        "memory_mb": round(resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024),
    }  # fmt: skip


def _condition(
    ears: Contender, condition: Condition, phrases: Sequence[material.Recording], talk: Sequence[material.Recording],
    made: Sequence[material.Recording], alike: Sequence[material.Recording], noises: dict[str, Samples],
) -> dict[str, object]:  # fmt: skip
    tries = 2 if condition.name in TWO_TRIES else 1
    names = ("covering", "answering") if condition.name in BOTH_SETS else ("covering",)
    found = measures.said_phrases(ears, condition, phrases, noises, tries)
    found |= measures.talk(ears, condition, talk, noises, names)
    found["self_triggers"] = None  # measured under the echo conditions
    if condition.name in BOTH_SETS:
        found["made_talk"] = measures.talk(ears, condition, made, noises, ("covering",))
        found |= measures.alike(ears, condition, alike, noises)
    return found


def _wanted(name: str, only: Sequence[str]) -> bool:
    return not only or any(name == o or (name.startswith(o.rstrip("*")) and o.endswith("*")) for o in only)


def _kept(recordings: Iterator[material.Recording]) -> Iterator[material.Recording]:
    """Recordings whose files are about to vanish, with their sound in memory."""
    with closing(recordings):  # type: ignore[type-var]
        for one in recordings:
            yield material.Kept(one.path, one.text, one.speaker, one.group, one.sound())


def main(arguments: Sequence[str] | None = None) -> None:
    parser = argparse.ArgumentParser(prog="python -m tests.hearing_bench", description=__doc__)
    parser.add_argument("--json", type=Path, help="write the figures to this file")
    parser.add_argument(
        "--corpus", type=Path,
        help=f"folder of recordings with an index.csv of path,group,text,speaker,licence,seconds (default {USUAL})",
    )  # fmt: skip
    parser.add_argument("--half", choices=(*material.HALVES, "all"), help="which half of the files")
    parser.add_argument(
        "--only", nargs="+", default=(), metavar="CONDITION", help="such as quiet 'tap*' echo_-6_db words"
    )
    parser.add_argument("--every", type=int, default=1, metavar="N", help="only every N-th recording")
    parser.add_argument(
        "--made-minutes", type=float, default=15.0, metavar="M", help="made talk (default 15)"
    )
    parser.add_argument("--ours", action="store_true", help="leave the other recognisers out")
    parser.add_argument(
        "--quick", action="store_true", help="a few minutes: some conditions, every fourth recording"
    )
    options = parser.parse_args(arguments)
    corpus = options.corpus or (USUAL if USUAL.is_dir() else None)
    half = options.half or ("all" if options.corpus else "reported")
    try:
        found = material.collect(corpus, half)
    except ValueError as error:
        parser.error(str(error))
    ears: list[Contender] = [Ours()] if options.ours else [Ours(), Plain()]
    figures = measure(
        ears, found,
        only=options.only or (QUICK if options.quick else ()),
        every=4 if options.quick else options.every,
        talk_minutes=2.0 if options.quick else options.made_minutes,
        prompts=16 if options.quick else 60,
    )  # fmt: skip
    figures["half"] = half
    print("\n".join(told(figures)))
    if options.json:
        options.json.write_text(json.dumps(figures, indent=1) + "\n", encoding="utf-8")


if __name__ == "__main__":
    np.seterr(all="raise", under="ignore")
    main()
