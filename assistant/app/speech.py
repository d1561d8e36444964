"""Ears and mouth for one program, opened and checked: the vocabulary, every prompt synthesised ahead.

Called by `run`, `rehearse` and `check`. Nothing after this needs the synthesiser.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Mapping
from dataclasses import dataclass
from pathlib import Path

from assistant.app.load import check_program
from assistant.core.household import Household
from assistant.core.phrases import PhraseBook
from assistant.core.program import Program
from assistant.ears.choose import GET_VOSK, open_ears
from assistant.ears.pronunciations import pronounceable
from assistant.files.places import cache_folder
from assistant.files.yaml_file import BadFile, Complaint
from assistant.mouth.levels import PROMPT_DB
from assistant.mouth.prompts import VOICES, Prompts
from assistant.mouth.synthesiser import Voicing
from assistant.ports import Ears, Voice


@dataclass(frozen=True, slots=True)
class Speech:
    """What a run hears and speaks with. `prompt_db`: the prompts' active level, dB of full scale."""

    ears: Ears
    voice: Voice
    prompt_db: float


def sounds_of(book: PhraseBook, words: Iterable[str]) -> Mapping[str, tuple[str, ...]]:
    """How words sound, those of the book's own list first; words without a pronunciation are left out."""
    own = {word: tuple(sounds.split()) for word, sounds in book.pronunciations.items()}
    return {**pronounceable(words, book.language), **own}


def all_words(program: Program) -> set[str]:
    """Every word of every phrase that may be heard."""
    return {word for phrase in program.live(program.book.heard) for word in phrase.text.split()}


def check_with_dictionary(program: Program, routine: Path) -> None:
    """The whole-routine checks by the pronouncing dictionary alone. Raises BadFile."""
    sounds = sounds_of(program.book, all_words(program))
    check_program(program, routine, lambda words: tuple(w for w in sorted(words) if w not in sounds), sounds)


def voices_of(household: Household) -> Mapping[str, Voicing]:
    """The prompts' voices: those the household names, else combside's own, each at its own rate."""
    named = household.voices.model_dump()
    return {who: Voicing(named[who] or usual.voice, usual.rate) for who, usual in VOICES.items()}


def open_speech(
    program: Program, *, vosk_model: Path | None = None, tell: Callable[[int, int], None] | None = None
) -> Speech:
    """Everything loaded. Raises VocabularyError, VoiceError, and BadFile for a folder that holds no model."""
    try:
        ears = open_ears(vosk_model, cache=cache_folder())
    except (ValueError, FileNotFoundError) as error:
        raise BadFile([Complaint("recogniser", 0, 0, str(error), GET_VOSK)]) from error
    ears.allow(program.live(program.book.heard))
    voice = Prompts(cache_folder() / "prompts", voices_of(program.household), tell=tell)
    voice.prepare(program.every_sentence())
    return Speech(ears, voice, PROMPT_DB)
