"""How words sound: English ones by the dictionary that pocketsphinx carries, Korean ones by their spelling.

English in ARPAbet phonemes without stress marks, Korean as in `ears.hangul`. The
core measures with them how far phrases are apart in sound; it is handed the values
and knows no dictionary. Called by `cli` and `app` when a phrase book is checked,
and by `ears.sphinx`.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from functools import cache
from pathlib import Path

from pocketsphinx import get_model_path

from assistant.ears import hangul
from assistant.ears.vocabulary import VocabularyError

ADDED: dict[str, tuple[str, ...]] = {"nape": ("N", "EY", "P")}
"""Words of the trade that the dictionary lacks."""


def pronunciations(words: Iterable[str]) -> dict[str, tuple[str, ...]]:
    """The first pronunciation of each word (lower case). Raises VocabularyError with all that have none."""
    wanted = tuple(dict.fromkeys(words))
    known = _dictionary()
    missing = [w for w in wanted if w not in known]
    if missing:
        raise VocabularyError("the pronouncing dictionary", missing)
    return {w: known[w] for w in wanted}


def pronounceable(words: Iterable[str], language: str = "en") -> dict[str, tuple[str, ...]]:
    """The same for those of `words` that have a pronunciation; the others are left out. All of a language without one."""
    if language == "ko":
        told = {w: hangul.sounds(w) for w in words}
        return {w: heard for w, heard in told.items() if heard is not None}
    if language != "en":
        return {}
    known = _dictionary()
    return {w: known[w] for w in words if w in known}


@cache
def _dictionary() -> dict[str, tuple[str, ...]]:
    return ADDED | dict(_entries(Path(get_model_path("en-us"), "cmudict-en-us.dict")))


def _entries(path: Path) -> Iterator[tuple[str, tuple[str, ...]]]:
    """Word and phonemes of every first pronunciation; "read(2)" and the like are further ones."""
    for line in path.read_text("utf-8").splitlines():
        word, *sounds = line.split()
        if not word.endswith(")"):
            yield word, tuple(sounds)
