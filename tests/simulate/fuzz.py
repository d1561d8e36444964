"""`python -m tests.simulate.fuzz --files N --journals N --seed S --json F`: damaged files, and not one traceback.

Files: routines, kit sheets, households, phrase books, homes of rehearsals and
answers to the consultation. Each becomes its model and is used as a command
would use it, or complaints that can be printed. Journals: each is read and
replayed and the run goes on, or it is told why not. Exit status 1 when anything
else happened; the seed of each such case is printed.
"""

from __future__ import annotations

import argparse
import json
import multiprocessing
import os
import random
import sys
import tempfile
import time
import traceback
from collections import Counter
from collections.abc import Callable, Iterable
from datetime import datetime, timezone
from functools import cache
from pathlib import Path

import yaml

from assistant.app import resume
from assistant.cli.complaints import show
from assistant.core import checks
from assistant.core.events import Resumed
from assistant.core.household import Household
from assistant.core.kit_sheet import KitSheet
from assistant.core.phrases import PhraseBook
from assistant.core.program import prepare
from assistant.core.routine import Routine
from assistant.core.session import Cream, advance
from assistant.files.consultation_file import read_consultation
from assistant.files.places import routines_folder
from assistant.files.yaml_file import BadFile, parse
from assistant.journal.journal import FileJournal
from assistant.journal.record import of_action, of_event
from assistant.room.home import Home
from tests.errors.test_fuzz import mutated
from tests.programs import household, kit, program
from tests.walker import Walk

SMALL = Path(__file__).parents[1] / "faults" / "small.yaml"
NOON = datetime(2026, 1, 1, 12, tzinfo=timezone.utc)
ANSWERS = {
    "schema": 1, "person": "Ada", "kit": "Invented", "asked_on": "2026-01-01",
    "answers": {"hair": "coarse", "age": 34, "done": ["none", "colour"]}, "allowed": {"scalp": "Dr Bo, May"},
}  # fmt: skip
HOME = """\
schema: 1
seed: 7
people: {person: {voice: {clips: flite_slt}, distance_m: 1.0}, helper: nobody}
pace: {spread: 0.2, zone_min: {default: 0.8, crown: 1.2}}
noise: {source: tap, snr_db: 10, when: [[60, 300], [900, 1500]]}
off_script: [{at: 25 s after cover:crown, who: person, say: how much time is left}]
faults: [{at: 3 min after cream on, what: killed, for_s: 20}]
"""


class Unreadable(Exception):
    """It was complained about."""


@cache
def _book_bytes() -> bytes:
    """The first of the shipped phrases and prompts: the whole book is slow to read ten thousand times."""
    whole = yaml.safe_load((routines_folder() / "phrases" / "en.yaml").read_text("utf-8"))
    cut = {key: dict(list(whole[key].items())[:12]) for key in ("heard", "said")}
    return yaml.safe_dump({**whole, **cut}, allow_unicode=True).encode()


@cache
def _shipped() -> tuple[Routine, PhraseBook]:
    return program("touch_up").routine, program("touch_up").book


def _used_routine(raw: bytes) -> None:
    document = parse(raw, "routine.yaml")
    routine = document.into(Routine)
    found = [document.complain(p.loc, p.message, p.hint) for p in checks.routine_problems(routine)]
    if found:
        raise BadFile(found)
    prepare(routine, kit(), household(), _shipped()[1])


def _used_kit(raw: bytes) -> None:
    prepare(_shipped()[0], parse(raw, "kit.yaml").into(KitSheet), household(), _shipped()[1])


def _used_household(raw: bytes) -> None:
    prepare(_shipped()[0], kit(), parse(raw, "household.yaml").into(Household), _shipped()[1])


def _used_book(raw: bytes) -> None:
    document = parse(raw, "en.yaml")
    book = document.into(PhraseBook)
    problems = checks.book_problems(book, program("touch_up").domains())
    complaints = [document.complain(p.loc, p.message, p.hint) for p in problems]
    show(complaints, Printable())
    book.live(book.heard, ("crown", "back left"))


def _used_home(raw: bytes) -> None:
    home = parse(raw, "home.yaml").into(Home)
    home.everyone()


def _used_answers(raw: bytes) -> None:
    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder) / "answers.json"
        path.write_bytes(raw)
        read_consultation(path)


@cache
def kinds() -> dict[str, tuple[bytes, Callable[[bytes], None]]]:
    """Each kind of file: a good one, and what uses it."""
    kits = routines_folder() / "kits"
    return {
        "routine": (SMALL.read_bytes(), _used_routine),
        "kit": ((kits / "example_kit.yaml").read_bytes(), _used_kit),
        "household": ((kits / "example_household.yaml").read_bytes(), _used_household),
        "phrase book": (_book_bytes(), _used_book),
        "home": (HOME.encode(), _used_home),
        "answers": (json.dumps(ANSWERS, indent=1).encode(), _used_answers),
    }


class Printable:
    """A terminal that takes nothing but what prints."""

    def write(self, text: str) -> int:
        for char in text:
            assert char.isprintable() or char == "\n", f"{char!r} reaches the terminal"
        return len(text)

    def flush(self) -> None:
        """Nothing is kept back."""

    def isatty(self) -> bool:
        return False


def damaged_file(number: int) -> tuple[str, str, str]:
    """Case `number`: its kind, "read", "complained" or "raised", and a traceback."""
    chance = random.Random(f"file {number}")
    kind = list(kinds())[number % len(kinds())]
    good, use = kinds()[kind]
    try:
        use(mutated(good, chance))
    except BadFile as error:
        try:
            show(error.complaints, Printable())
        except Exception:
            return kind, "raised", traceback.format_exc()
        return kind, "complained", ""
    except Exception:
        return kind, "raised", traceback.format_exc()
    return kind, "read", ""


@cache
def good_journal() -> bytes:
    """The journal of a willing household, to the end of the rinse, as a run writes it."""
    made = program("touch_up")
    w = Walk(made).go(lambda state: state.cream is Cream.RINSED)
    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder) / "run.jsonl"
        about = {**resume.about(made), "kind": "run"}
        journal = FileJournal.begin(path, lambda: NOON, about=about, sync=lambda handle: None)
        journal.write(resume.clock_record(0.0))
        for event in w.events:
            journal.write(of_event(event))
            for t, action in w.actions:
                if t == event.t:
                    journal.write(of_action(action, t))
        journal.close()
        return path.read_bytes()


def damaged(good: bytes, chance: random.Random) -> bytes:
    """Accidents anywhere, or in the lines after the first, which is long; a torn end in one of four."""
    head, _, rest = good.partition(b"\n")
    raw = mutated(good, chance) if chance.random() < 0.2 else head + b"\n" + mutated(rest, chance)
    return raw[: chance.randrange(len(raw) + 1)] if chance.random() < 0.25 else raw


def damaged_journal(number: int) -> tuple[str, str, str]:
    """Case `number`: read back as a start of the program does it, and gone on with."""
    chance = random.Random(f"journal {number}")
    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder) / "run.jsonl"
        path.write_bytes(damaged(good_journal(), chance))
        try:
            resume.ended(path)
            resume.unfinished(Path(folder))
            found = resume.read_back(path)
            found.told()
            state, actions = advance(found.program, found.state, Resumed(found.elapsed_s + 30.0))
            for action in actions:
                of_action(action, state.t)
        except resume.NotThisOne:
            return "journal", "complained", ""
        except Exception:
            return "journal", "raised", traceback.format_exc()
    return "journal", "read", ""


def tried(results: Iterable[tuple[str, str, str]], first: int) -> tuple[Counter[str], list[tuple[int, str]]]:
    """How many of each kind ended how, and every traceback with its number."""
    counts: Counter[str] = Counter()
    raised = []
    for number, (kind, how, trace) in enumerate(results, first):
        counts[f"{kind}: {how}"] += 1
        if trace:
            raised.append((number, trace))
    return counts, raised


def main(arguments: list[str] | None = None) -> int:
    parser = argparse.ArgumentParser(prog="python -m tests.simulate.fuzz", description=__doc__)
    parser.add_argument("--files", type=int, default=10_000, help="damaged files (10000)")
    parser.add_argument("--journals", type=int, default=10_000, help="damaged journals (10000)")
    parser.add_argument("--seed", type=int, default=1, help="number of the first case (1)")
    parser.add_argument("--json", type=Path, help="where the figures go")
    given = parser.parse_args(arguments)
    began = time.perf_counter()
    with multiprocessing.Pool(os.cpu_count()) as pool:
        files = range(given.seed, given.seed + given.files)
        journals = range(given.seed, given.seed + given.journals)
        counts, raised = tried(pool.imap(damaged_file, files, chunksize=50), given.seed)
        more, raised_too = tried(pool.imap(damaged_journal, journals, chunksize=50), given.seed)
    figures = {
        "files": given.files, "journals": given.journals, "tracebacks": len(raised) + len(raised_too),
        "outcomes": dict(sorted((counts + more).items())), "seconds": round(time.perf_counter() - began, 1),
    }  # fmt: skip
    if given.json is not None:
        given.json.write_text(json.dumps(figures, indent=2) + "\n", encoding="utf-8")
    print(json.dumps(figures, indent=2))
    for what, cases in (("file", raised), ("journal", raised_too)):
        for number, trace in cases[:5]:
            print(f"{what} {number}:\n{trace}")
    return 1 if raised or raised_too else 0


if __name__ == "__main__":
    sys.exit(main())
