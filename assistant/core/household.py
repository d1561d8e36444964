"""The household: who is there, their hair, their water. Their own file, never in the repository.

Here only what a run needs; what was done when belongs to the diary.
"""

from __future__ import annotations

from datetime import date
from typing import Annotated, Literal

from pydantic import Field, model_validator

from assistant.core.kit_sheet import Hair, Minutes, Sheet
from assistant.core.pace import PARTING_CM, SECONDS_A_PARTING, WITHIN_FACTOR

Name = Annotated[str, Field(min_length=1, max_length=40)]
Seconds = Annotated[float, Field(gt=0, le=1800)]
Phone = Annotated[str, Field(max_length=40, pattern=r"^[0-9+*#() ./-]*$")]


class Person(Sheet):
    """Somebody of the household."""

    name: Name
    adult: bool = True
    born: date | None = Field(
        default=None, description="day of birth; the leaflet's least age is checked against it"
    )
    hair: Hair | None = None
    hearing: Literal["well", "badly"] | None = Field(
        default=None, description="without hearing aids, beside a running tap"
    )
    helped_by: Name | None = Field(default=None, description="who helps when it is this person's hair")
    phone: Phone = ""
    wish_greatest_minutes: Minutes | None = Field(
        default=None, description="own lower limit; it can only lower the chart's"
    )


class Water(Sheet):
    """The way to the water and what a rinse takes. Stated guesses until a practice run measures them."""

    walk_seconds: Annotated[float, Field(ge=0, le=600)] = 30
    wetting_seconds_a_zone: Seconds = 10
    clearing_seconds_a_zone: Seconds = 40
    reserve_seconds: Annotated[float, Field(ge=0, le=600)] = Field(
        default=60,
        description="the call comes this much before the last possible moment: people do not start at once",
    )


class Pace(Sheet):
    """How fast these hands are: stated guesses (no source) until runs are learned from."""

    seconds_a_parting: Seconds = Field(
        default=SECONDS_A_PARTING, description="from one parting to the next, cream on it"
    )
    parting_cm: Annotated[float, Field(ge=0.3, le=2.6)] = Field(
        default=PARTING_CM, description="width of a parting; 1/4 to 1/2 in is common practice"
    )
    within_factor: Annotated[float, Field(ge=1.05, le=4)] = Field(
        default=WITHIN_FACTOR, description="how sure that is: two times in three right within this factor"
    )


class Contact(Sheet):
    """Somebody to call, and the number."""

    name: Name
    phone: Phone = Field(min_length=2)


class Voices(Sheet):
    """Names of the synthesiser's voices as espeak-ng lists them; empty leaves the choice to combside."""

    person: Annotated[str, Field(max_length=80)] = ""
    helper: Annotated[str, Field(max_length=80)] = ""


class Household(Sheet):
    """People and water."""

    schema_version: Literal[1] = Field(default=1, alias="schema")
    people: Annotated[tuple[Person, ...], Field(min_length=1)]
    person: Name = Field(description="whose hair it is today")
    helper: Name | None = None
    water: Water = Water()
    pace: Pace = Pace()
    call_for_help: Annotated[str, Field(max_length=60)] = Field(
        default="",
        description="the number to call, shown and spoken; the local emergency number counts first",
    )
    contacts: tuple[Contact, ...] = Field(default=(), description="a poison centre, a doctor, a neighbour")
    voices: Voices = Voices()
    language: Annotated[str, Field(pattern=r"^[a-z]{2,3}$")] = Field(
        default="en", description="a phrase book's language"
    )

    @model_validator(mode="after")
    def _known_people(self) -> Household:
        names = [p.name for p in self.people]
        if len(set(names)) != len(names):
            raise ValueError("two people have the same name")
        for role, name in (("person", self.person), ("helper", self.helper)):
            if name is not None and name not in names:
                raise ValueError(f"{role} '{name}' is not among the people ({', '.join(names)})")
        for person in self.people:
            if person.helped_by is not None and (
                person.helped_by not in names or person.helped_by == person.name
            ):
                raise ValueError(
                    f"{person.name} is helped by '{person.helped_by}', who is nobody else of the people"
                )
        if self.person == self.helper:
            raise ValueError("person and helper are the same; leave helper out for somebody alone")
        return self

    def the_person(self) -> Person:
        return next(p for p in self.people if p.name == self.person)

    def the_helper(self) -> Person | None:
        return next((p for p in self.people if p.name == self.helper), None)

    def on_the_day_of(self, name: str) -> Household:
        """The same household with `name`'s hair done by whoever helps them. KeyError for a stranger."""
        if name == self.person:
            return self
        person = next((p for p in self.people if p.name == name), None)
        if person is None:
            raise KeyError(name)
        helper = person.helped_by or (self.helper if self.helper != name else None)
        return self.model_copy(update={"person": name, "helper": helper})
