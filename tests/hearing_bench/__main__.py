"""How well combside hears, beside other recognisers.

Every phrase that may be heard while cream goes on and while questions are
asked, through the real ears and the real hearing decision, block by block as in
a run; ordinary talk, made talk, sentences that sound like commands, our own
prompts as echo, single human words. For each condition: what was missed, taken
for another, asked about; what was believed of talk, an hour; how often we
triggered ourselves; how long after the true end of a phrase the decision
stands; what it costs of one core. Rates carry 95 % intervals and their n. Then
the trade-off of missed against false accepts as our threshold moves, the goals,
and every figure in which another engine is better.

Half of all files (by a hash of the name) set the thresholds; figures are from
the other half unless --half says otherwise or a corpus is named.

A long run can be split: two processes with different --only write two files,
and --merge puts them together and tells all. What a file of --json holds
already is not measured again, so a run that was broken off goes on.
"""

from __future__ import annotations

import argparse
import sys
import time
from collections.abc import Sequence
from pathlib import Path

import numpy as np

from assistant.ears.choose import open_ears
from assistant.ears.vocabulary import VocabularyError
from tests.hearing_bench import material, parts
from tests.hearing_bench.contenders import Contender, Ours, Plain
from tests.hearing_bench.report import told
from tests.hearing_bench.runs import Run, wanted
from tests.hearing_bench.standing import against_goals, better_elsewhere

USUAL = Path("../shared/corpus")
QUICK = ("quiet", "tap_10_db", "echo_-6_db", "words")


def summed_up(figures: dict[str, object]) -> dict[str, object]:
    """`figures` with how they stand against the goals and where another engine is better."""
    return figures | {"goals": against_goals(figures), "better_elsewhere": better_elsewhere(figures)}


def contenders(ours_alone: bool, vosk: Path | None) -> tuple[list[Contender], dict[str, str]]:
    """The recognisers that can be used, ours first, and why others can not. ValueError for a folder without a model."""
    ears: list[Contender] = [Ours()] if ours_alone else [Ours(), Plain()]
    unusable = {}
    if vosk is not None:
        given = Ours(open_ears(vosk))
        try:
            for live in material.live_sets().values():
                given.fresh(live)
            ears.append(given)
        except VocabularyError as error:
            unusable[given.name] = f"not measured: {error}"
    return ears, unusable


def _arguments() -> argparse.ArgumentParser:
    parser = argparse.ArgumentParser(
        prog="python -m tests.hearing_bench", description=__doc__,
        formatter_class=argparse.RawDescriptionHelpFormatter,
    )  # fmt: skip
    parser.add_argument(
        "--json", type=Path, help="keep the figures in this file, part by part; go on with it"
    )
    parser.add_argument(
        "--merge", type=Path, nargs="+", metavar="FILE", help="measure nothing: put files of --json together"
    )
    parser.add_argument(
        "--corpus", type=Path,
        help=f"folder of recordings with an index.csv of path,group,text,speaker,licence,seconds (default {USUAL})",
    )  # fmt: skip
    parser.add_argument("--half", choices=(*material.HALVES, "all"), help="which half of the files")
    parser.add_argument(
        "--only", nargs="+", default=(), metavar="PART",
        help="such as quiet 'tap*' echo_-6_db words 'korean*', in this order",
    )  # fmt: skip
    parser.add_argument("--every", type=int, default=1, metavar="N", help="only every N-th recording")
    parser.add_argument(
        "--made-minutes", type=float, default=15.0, metavar="M", help="made talk (default 15)"
    )
    parser.add_argument("--ours", action="store_true", help="leave the other recognisers out")
    parser.add_argument("--vosk", type=Path, metavar="FOLDER", help="an English Vosk model to compare with")
    parser.add_argument(
        "--quick", action="store_true", help="a few minutes: some conditions, every fourth recording"
    )
    return parser


def main(arguments: Sequence[str] | None = None) -> None:
    parser = _arguments()
    options = parser.parse_args(arguments)
    try:
        if options.merge:
            run, figures = None, parts.merged(map(parts.read, options.merge))
        else:
            run, figures = _prepared(options)
    except (ValueError, FileNotFoundError) as error:
        parser.error(str(error))
    if run is not None:
        figures = _measured(run, figures, options.json)
    figures = summed_up(figures)
    if options.json:
        parts.write(options.json, figures)
    print("\n".join(told(figures)))


def _prepared(options: argparse.Namespace) -> tuple[Run, dict[str, object]]:
    """What is to be measured, and the figures that are there already. Raises ValueError for what can not be."""
    only = options.only or (QUICK if options.quick else ())
    wanted(only)
    corpus = options.corpus or (USUAL if USUAL.is_dir() else None)
    half = options.half or ("all" if options.corpus else "reported")
    every = 4 if options.quick else options.every
    minutes = 2.0 if options.quick else options.made_minutes
    prompts = 16 if options.quick else 60
    told_of = {
        "half": half, "corpus": corpus.resolve().name if corpus else None, "every": every,
        "made_minutes": minutes, "prompts": prompts, "code": parts.code(),
    }  # fmt: skip
    figures: dict[str, object] = {"run": told_of}
    if options.json and options.json.exists():
        before = parts.read(options.json)
        parts.same_run(before, figures)
        figures = before
    ears, unusable = contenders(options.ours, options.vosk)
    found = material.collect(corpus, half)
    return Run(ears, found, told_of, only, every, minutes, prompts, unusable), figures


def _measured(run: Run, figures: dict[str, object], kept_in: Path | None) -> dict[str, object]:
    """Every part that is not there yet; kept after each."""
    began = time.monotonic()
    for name, part in run.parts(figures):
        figures = parts.merged([figures, part])
        if kept_in:
            parts.write(kept_in, figures)
        took = f"{time.monotonic() - began:6.0f} s, {time.process_time():6.0f} s of a core"
        print(f"{took}: {name}", file=sys.stderr, flush=True)
    return figures


if __name__ == "__main__":
    np.seterr(all="raise", under="ignore")
    main()
