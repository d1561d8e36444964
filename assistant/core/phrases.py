"""The phrase book: what may be heard and what may be said, one file a language.

Here the book's shape and how its patterns become whole phrases and sentences. How
far phrases are apart in sound is `core.phrase_distance`.
"""

from __future__ import annotations

import re
from collections.abc import Iterable, Mapping, Sequence
from typing import Annotated, Literal

from pydantic import Field, model_validator

from assistant.core.actions import Priority, Sentence
from assistant.core.hearing import LivePhrase, Risk
from assistant.core.kit_sheet import Sheet
from assistant.core.spoken_numbers import MINUTES, minutes_in_words

PLACEHOLDER = re.compile(r"\{([A-Za-z_]+)\}")
MINUTES_HEARD = range(5, 41)
"""Minutes that can be read back where nothing asks for more: no relaxer chart comes near the ends (plausible range, common
practice, no source). Each number more is one more that a number may be taken for."""

PRIORITIES = {p.name.lower().replace("_", " "): p for p in Priority}


class HeardEntry(Sheet):
    """A phrase that may be heard: its risk class and the ways of saying it."""

    risk: Risk
    ways: Annotated[tuple[str, ...], Field(min_length=1)]

    @model_validator(mode="after")
    def _known_placeholders(self) -> HeardEntry:
        for way in self.ways:
            for slot in PLACEHOLDER.findall(way):
                if slot not in ("zone", "minutes"):
                    raise ValueError(
                        f"'{{{slot}}}' is no placeholder of a phrase; there are {{zone}} and {{minutes}}"
                    )
        return self

    def slot(self) -> str:
        """The placeholder's name, or ""."""
        found = PLACEHOLDER.search(self.ways[0])
        return found.group(1) if found else ""


class SaidEntry(Sheet):
    """A prompt: who may be interrupted by it and its sentences for the two people."""

    priority: Literal["rinse call", "warning", "caution", "instruction", "information"] = "instruction"
    person: tuple[str, ...] = ()
    helper: tuple[str, ...] = ()

    def rank(self) -> Priority:
        return PRIORITIES[self.priority]


class PhraseBook(Sheet):
    """One language's book."""

    schema_version: Literal[1] = Field(1, alias="schema")
    language: Annotated[str, Field(pattern=r"^[a-z]{2,3}$")]
    helper_address: str = Field("Helper: ", description="what a sentence for the helper begins with")
    pronunciations: dict[str, str] = Field(
        {}, description="ARPAbet for words a recogniser's dictionary may lack"
    )
    units: dict[str, tuple[str, str]] = Field(description="minute and second, one and many")
    heard: dict[str, HeardEntry]
    said: dict[str, SaidEntry]

    @model_validator(mode="after")
    def _numbers_have_words(self) -> PhraseBook:
        counted = [name for name, entry in self.heard.items() if entry.slot() == "minutes"]
        if counted and self.language not in MINUTES:
            raise ValueError(
                f"'{counted[0]}' needs number words of the language '{self.language}'; there are those of {', '.join(MINUTES)}"
            )
        return self

    def live(
        self, names: Iterable[str], zones: Sequence[str], minutes: Iterable[int] = MINUTES_HEARD
    ) -> tuple[LivePhrase, ...]:
        """Every way of saying every phrase in `names`, placeholders filled."""
        found: list[LivePhrase] = []
        for name in names:
            entry = self.heard[name]
            fillings: list[tuple[str, str]] = [("", "")]
            if entry.slot() == "zone":
                fillings = [(zone, zone) for zone in zones]
            elif entry.slot() == "minutes":
                fillings = [
                    (str(n), f"{minutes_in_words(n, self.language)} {self.units['minute'][n != 1]}")
                    for n in minutes
                ]
            for value, words in fillings:
                for way in entry.ways:
                    found.append(LivePhrase(PLACEHOLDER.sub(words, way), name, value, entry.risk))
        return tuple(found)

    def taught(self, name: str, slot: str = "") -> str:
        """The first way of saying `name`, its placeholder filled with `slot`."""
        return PLACEHOLDER.sub(slot, self.heard[name].ways[0])

    def amount(self, n: int, unit: str = "minute") -> str:
        """ "1 minute", "11 minutes"."""
        return f"{n} {self.units[unit][n != 1]}"

    def sentences(self, name: str, slots: Mapping[str, str], *, with_helper: bool) -> tuple[Sentence, ...]:
        """The prompt's sentences with `slots` filled; the helper's only where there is one."""
        entry = self.said[name]
        return self.fill(entry.person, entry.helper, slots, with_helper=with_helper)

    def fill(
        self, person: Iterable[str], helper: Iterable[str], slots: Mapping[str, str], *, with_helper: bool
    ) -> tuple[Sentence, ...]:
        """Any sentences, their placeholders filled. Raises KeyError for a placeholder without a value."""

        def filled(text: str) -> str:
            whole = PLACEHOLDER.sub(lambda m: slots[m.group(1)], text)
            return whole[:1].upper() + whole[1:]

        spoken = [Sentence(filled(text), "person") for text in person]
        if with_helper:
            spoken += [Sentence(self.helper_address + filled(text), "helper") for text in helper]
        return tuple(spoken)
