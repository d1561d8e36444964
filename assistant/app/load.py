"""From files to a Program: the routine, the kit sheet, the household and the phrase book, read and checked.

Called by every command that needs a routine. Raises BadFile for what is wrong
in a file and Refused for what these people may not do with this kit.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Mapping, Sequence
from datetime import date
from pathlib import Path

from assistant.core import checks
from assistant.core.household import Household
from assistant.core.kit_sheet import KitSheet
from assistant.core.pace import Belief
from assistant.core.phrases import PhraseBook
from assistant.core.program import Program, prepare
from assistant.core.reasons import Reason
from assistant.core.routine import Routine
from assistant.core.strand_test import StrandResult
from assistant.core.translation import Translation, kit_in_words, translated, translation_problems
from assistant.files.places import routines_folder
from assistant.files.yaml_file import BadFile, Complaint, Document, read

ROUTINES_LANGUAGE = "en"
"""What the routines are written in; other languages lie beside them, a folder each."""
DEFAULT_ROUTINE = "whole_head"
EXAMPLE_KIT = "kits/example_kit.yaml"
EXAMPLE_HOUSEHOLD = "kits/example_household.yaml"


class Refused(Exception):
    """The answer is no, with every reason."""

    def __init__(self, reasons: Sequence[Reason]) -> None:
        super().__init__("; ".join(reason.words for reason in reasons))
        self.reasons = tuple(reasons)


def shipped_routines() -> tuple[str, ...]:
    """Names of the routines that come with combside."""
    return tuple(sorted(path.stem for path in routines_folder().glob("*.yaml")))


def find_routine(name: str) -> Path:
    """A shipped routine by its name, or a file by its path. Raises BadFile with what was nearly meant."""
    shipped = routines_folder() / f"{name}.yaml"
    if "/" not in name and "\\" not in name and shipped.is_file():
        return shipped
    path = Path(name)
    if path.exists() or path.suffix in (".yaml", ".yml"):
        return path
    names = shipped_routines()
    hint = checks.did_you_mean(name, names) or f"there are {', '.join(names)}, or give a file"
    raise BadFile([Complaint(name, 0, 0, f"there is no routine '{name}'", hint)])


def book_path(language: str = "en") -> Path:
    return routines_folder() / "phrases" / f"{language}.yaml"


def load_book(language: str = "en") -> PhraseBook:
    """A language's phrase book. Raises BadFile, also where there is none for it."""
    path = book_path(language)
    if not path.is_file():
        known = ", ".join(sorted(other.stem for other in path.parent.glob("*.yaml")))
        hint = f"there are: {known}; the household's file says which as 'language'"
        raise BadFile(
            [Complaint(language, 0, 0, f"there is no phrase book for the language '{language}'", hint)]
        )
    return read(path).into(PhraseBook)


def load_routine(path: Path) -> Routine:
    """A routine that is right by itself. Raises BadFile."""
    document = read(path)
    routine = document.into(Routine)
    told(document, checks.routine_problems(routine))
    return routine


def translation_path(routine: str, language: str) -> Path:
    return routines_folder() / language / f"{routine}.yaml"


def load_translation(routine: Routine, language: str) -> Translation:
    """The routine's texts in `language`, all of them. Raises BadFile, also where there are none."""
    path = translation_path(routine.name, language)
    if not path.is_file():
        there = sorted(p.stem for p in path.parent.glob("*.yaml"))
        hint = f"in this language there are: {', '.join(there) or 'none'}"
        words = f"the routine '{routine.name}' has no texts in the language '{language}'"
        raise BadFile([Complaint(language, 0, 0, words, hint)])
    document = read(path)
    texts = document.into(Translation)
    told(document, translation_problems(routine, texts))
    return texts


def zones_in(language: str) -> tuple[str, ...]:
    """The zones' names in a language, of the first routine that has texts in it; none where no routine has."""
    for path in sorted((routines_folder() / language).glob("*.yaml")):
        return tuple(read(path).into(Translation).zones.values())
    return ()


def told(document: Document, problems: Iterable[checks.Problem]) -> None:
    """Raise what is wrong, each at its place in the document."""
    complaints = [document.complain(p.loc, p.message, p.hint) for p in problems]
    if complaints:
        raise BadFile(complaints)


def load_program(
    routine: Path,
    kit: Path,
    household: Household,
    *,
    strand: StrandResult | None = None,
    pace: Belief | None = None,
    today: date | None = None,
) -> Program:
    """Everything together; `strand`, `pace` and `today` as for `prepare`. Raises BadFile or Refused."""
    sheet, book, wanted = read(kit).into(KitSheet), load_book(household.language), load_routine(routine)
    if book.language != ROUTINES_LANGUAGE:
        texts = load_translation(wanted, book.language)
        wanted, sheet = translated(wanted, texts), kit_in_words(sheet, texts)
    made = prepare(wanted, sheet, household, book, strand=strand, pace=pace, today=today)
    if isinstance(made, Program):
        return made
    raise Refused(made)


def check_program(
    program: Program,
    routine: Path,
    unknown_words: Callable[[Iterable[str]], tuple[str, ...]],
    pronunciations: Mapping[str, Sequence[str]],
) -> None:
    """The whole-routine checks, each complaint in the file it belongs to. Raises BadFile."""
    problems = checks.program_problems(program, unknown_words, pronunciations)
    of_book = [p for p in problems if p.loc and p.loc[0] in ("heard", "said")]
    complaints: list[Complaint] = []
    for path, mine in (
        (routine, [p for p in problems if p not in of_book]),
        (book_path(program.book.language), of_book),
    ):
        if mine:
            document = read(path)
            complaints += [document.complain(p.loc, p.message, p.hint) for p in mine]
    if complaints:
        raise BadFile(complaints)
