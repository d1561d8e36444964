"""Who has to be beside whom, and from which age on: asked of the people who are there today.

The consultation asks the same weeks before (`routines/consultation/rules.yaml`);
here it is asked of the household's file on the day, because people change. The
words and marks are the consultation's. Called by `core.program`.
"""

from __future__ import annotations

from datetime import date

from assistant.core.household import Person
from assistant.core.kit_sheet import KitSheet
from assistant.core.reasons import Reason

ADULT = 18
"""Below this a person counts as a child, whatever the leaflet allows (our choice)."""


def age_on(born: date, day: date) -> int:
    """Whole years on `day`; somebody born on 29 February is a year older on 1 March of a common year."""
    return max(0, day.year - born.year - ((day.month, day.day) < (born.month, born.day)))


def is_adult(said: bool, born: date | None, day: date | None) -> bool:
    """By the day of birth where both days are known, else as it was said."""
    return said if born is None or day is None else age_on(born, day) >= ADULT


def missing_company(
    person: Person, helper: Person | None, kit: KitSheet, *, first_relaxer: bool, today: date | None
) -> tuple[Reason, ...]:
    """Every reason why this person may not be done with this company; `today` None: no age can be told."""
    child = not is_adult(person.adult, person.born, today)
    with_adult = helper is not None and is_adult(helper.adult, helper.born, today)
    hears = helper is not None and with_adult and helper.hearing != "badly"
    refused: list[Reason] = []
    if child and not with_adult:
        words = "A child needs an adult beside them the whole time."
        refused.append(Reason("second adult", words, "common practice"))
    if child:
        refused += _age(person, kit, today)
    if first_relaxer and not with_adult:
        words = "A first relaxer is not done without a second adult."
        refused.append(Reason("first relaxer", words, "published"))
    if person.hearing == "badly" and not hears:
        words = "Nobody who hears well would be there when the call to the water sounds."
        refused.append(Reason("hearing", words, "common practice"))
    return tuple(refused)


def _age(person: Person, kit: KitSheet, today: date | None) -> tuple[Reason, ...]:
    if kit.least_age is None:
        words = "The kit sheet gives no age, and without one nobody under 18 is relaxed at home."
        return (Reason("age", words, "common practice"),)
    if person.born is None or today is None:
        words = f"The leaflet says not below the age of {kit.least_age}, and the household's file does not say when {person.name} was born."
        return (Reason("age", words, "leaflet"),)
    if age_on(person.born, today) < kit.least_age:
        return (Reason("age", f"The leaflet says not below the age of {kit.least_age}.", "leaflet"),)
    return ()
