"""`combside check FILE`: is this file right, and where not."""

from __future__ import annotations

import argparse
import json
from collections.abc import Sequence
from datetime import date
from pathlib import Path

from pydantic import BaseModel

from assistant.app import load
from assistant.app.consult import AnswersFile, load_form, read_answers
from assistant.app.speech import check_with_dictionary, sounds_of
from assistant.cli import status
from assistant.cli.progress import Progress
from assistant.core.checks import book_problems, explore, pairs_live_together, routine_problems
from assistant.core.household import Household
from assistant.core.kit_sheet import KitSheet
from assistant.core.phrase_distance import NEAR, clearer_ways, worst_by_meaning
from assistant.core.phrases import PhraseBook
from assistant.core.program import Program
from assistant.core.routine import Routine
from assistant.core.strand_test import StrandResult
from assistant.core.translation import Translation, translation_problems
from assistant.files.places import routines_folder
from assistant.files.schema_file import write_schema
from assistant.files.yaml_file import BadFile, Document, read
from assistant.room.home import Home

KINDS: dict[str, type[BaseModel]] = {
    "routine": Routine,
    "kit": KitSheet,
    "household": Household,
    "translation": Translation,
    "phrases": PhraseBook,
    "answers": AnswersFile,
    "strand": StrandResult,
    "home": Home,
}
MARKS = {
    "routine": "translation",
    "steps": "routine",
    "zones": "routine",
    "chart": "kit",
    "heard": "phrases",
    "said": "phrases",
    "answers": "answers",
    "outcome": "strand",
    "person": "household",
}
"""A key that only one kind of file has at its top."""
SHOWN_PAIRS, SHOWN_WAYS = 8, 2
ONE_NUMBER = (12,)
"""Numbers of minutes differ from each other in every book; one stands for all of them."""


def add_to(commands: argparse._SubParsersAction[argparse.ArgumentParser]) -> None:
    command = commands.add_parser(
        "check",
        help="check a routine, kit sheet, household, phrase book, answers, strand test or home file",
        description="Checks a file as a whole. A routine is walked through all its states with the phrase book and a kit sheet.",
        epilog="examples: combside check touch_up;  combside check my_kit.yaml;  combside check --schemas schemas",
    )
    command.add_argument("file", nargs="?", help="a file, or the name of a shipped routine")
    command.add_argument(
        "--kind", choices=sorted(KINDS), help="what the file is, where that cannot be seen from it"
    )
    command.add_argument(
        "--kit", type=Path, help="the kit sheet to check a routine with (default: the invented example)"
    )
    command.add_argument("--household", type=Path, help="the household to check a routine with")
    command.add_argument(
        "--schemas", type=Path, metavar="FOLDER", help="write the JSON Schemas for editors into FOLDER"
    )
    command.add_argument("--json", action="store_true", help="print the result as JSON")
    command.set_defaults(carry_out=carry_out)


def carry_out(chosen: argparse.Namespace) -> int:
    if chosen.schemas is not None:
        chosen.schemas.mkdir(parents=True, exist_ok=True)
        for name, model in KINDS.items():
            path = chosen.schemas / f"{name}.schema.json"
            write_schema(model, path)
            print(f"wrote {path}")
    if chosen.file is None:
        return status.DONE if chosen.schemas is not None else _nothing_to_do()
    path = load.find_routine(chosen.file)
    document = read(path)
    kind = chosen.kind or kind_of(document)
    found: dict[str, object] = {"file": str(path), "kind": kind, "ok": True}
    if kind == "routine":
        with Progress("checking", first="walking through every state of the routine"):
            found |= check_routine(path, chosen)
    elif kind == "phrases":
        book = document.into(PhraseBook)
        program = _example_program()
        load.told(document, book_problems(book, program.domains()))
        zones = load.zones_in(book.language) or program.zones
        found["weakest_pairs"] = weakest_pairs(program, book, zones)
    elif kind == "translation":
        texts = document.into(Translation)
        routine = load.load_routine(load.find_routine(texts.routine))
        load.told(document, translation_problems(routine, texts))
    elif kind == "answers":
        answered = document.into(AnswersFile)
        asked_on = answered.asked_on or date.today()
        _, _, wrong = read_answers(load_form(), document, answered, asked_on)
        if wrong:
            raise BadFile(wrong)
    else:
        document.into(KINDS[kind])
    print(json.dumps(found, indent=2) if chosen.json else _in_words(found))
    return status.DONE


def _nothing_to_do() -> int:
    print("name a file to check, or --schemas FOLDER")
    return status.WRONG_INPUT


def kind_of(document: Document) -> str:
    """What kind of file this is, by its keys; a home file has nothing that it must have."""
    value = document.tree.value
    keys = set(value) if isinstance(value, dict) else set()
    return next((kind for mark, kind in MARKS.items() if mark in keys), "home")


def check_routine(path: Path, chosen: argparse.Namespace) -> dict[str, object]:
    """The whole-routine checks with the phrase book, a kit sheet and a household. Raises BadFile and Refused."""
    document = read(path)
    routine = document.into(Routine)
    load.told(document, routine_problems(routine))
    household = read(chosen.household or routines_folder() / load.EXAMPLE_HOUSEHOLD).into(Household)
    program = load.load_program(path, chosen.kit or routines_folder() / load.EXAMPLE_KIT, household)
    check_with_dictionary(program, path)
    return {
        "routine": routine.name,
        "steps": len(routine.steps),
        "zones": list(program.zones),
        "limit_min": program.limit.seconds / 60,
        "limit_reason": program.limit.reason.words,
        "sentences": sum(1 for _ in program.every_sentence()),
        "weakest_pairs": weakest_pairs(program, program.book, program.zones),
    }


def _example_program() -> Program:
    household = read(routines_folder() / load.EXAMPLE_HOUSEHOLD).into(Household)
    routine = routines_folder() / f"{load.DEFAULT_ROUTINE}.yaml"
    return load.load_program(routine, routines_folder() / load.EXAMPLE_KIT, household)


def weakest_pairs(program: Program, book: PhraseBook, zones: Sequence[str]) -> list[dict[str, object]]:
    """The phrases of `book` with different meanings that are nearest in sound, nearest first, with clearer ways of saying either.

    Only those that some state of `program` takes at the same time; phrases whose sound is not known are left out.
    """
    all_live = book.live(book.heard, zones, ONE_NUMBER)
    sounds = sounds_of(book, {word for phrase in all_live for word in phrase.text.split()})
    live = tuple(p for p in all_live if all(word in sounds for word in p.text.split()))
    pairs = pairs_live_together(program, explore(program), sounds, live)
    return [
        {
            "one": pair.one.text,
            "other": pair.other.text,
            "phonemes_apart": pair.apart,
            "clearer": [
                {"say": way.one.text, "phonemes_apart": way.apart}
                for way in clearer_ways(pair, live, sounds)[:SHOWN_WAYS]
            ],
        }
        for pair in worst_by_meaning(pairs)[:SHOWN_PAIRS]
    ]


def _a(kind: str) -> str:
    return f"an {kind}" if kind[0] in "aeiou" else f"a {kind}"


def _in_words(found: dict[str, object]) -> str:
    lines = [f"{found['file']}: {_a(str(found['kind']))} file, nothing wrong with it"]
    if "steps" in found:
        lines.append(f"  {found['steps']} steps, {found['sentences']} sentences to speak at most")
        lines.append(f"  limit {found['limit_min']:g} min: {found['limit_reason']}")
    pairs = found.get("weakest_pairs", [])
    if isinstance(pairs, list) and pairs:
        lines.append(
            f"  nearest in sound of the phrases that may be heard together (below {NEAR} phonemes apart is weak):"
        )
        for pair in pairs:
            clearer = " or ".join(f"'{way['say']}' ({way['phonemes_apart']})" for way in pair["clearer"])
            line = f"    {pair['phonemes_apart']:>2}  '{pair['one']}' and '{pair['other']}'"
            lines.append(line + (f"; clearer: {clearer}" if clearer else ""))
    return "\n".join(lines)
