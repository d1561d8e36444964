"""Which days belong to a relaxer: the run-up and the aftermath. The file format is `files.calendar_file`."""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass
from datetime import date, timedelta

from assistant.core.answers import Value, add_months, in_words
from assistant.core.consultation import Form
from assistant.core.kit_sheet import KitSheet

STRAND_TEST_DAYS = 3
"""A strand test that goes wrong leaves time to call it off (our choice, no source)."""


@dataclass(frozen=True, slots=True)
class Entry:
    """One day. `key` names it for good: the same key is the same entry, moved.

    `remind_days`: alarms so many days before.
    """

    key: str
    day: date
    title: str
    words: str
    remind_days: tuple[int, ...] = (0,)


def run_up(
    form: Form, kit: KitSheet, day: date, today: date, answers: Mapping[str, Value] | None = None
) -> tuple[Entry, ...]:
    """What is to be done before `day`, in order; what is over by `today` or does not apply is left out."""
    given = answers or {}
    colour, shampoo = _days(form, kit, "colour_wait"), _days(form, kit, "dandruff_wait")
    braids, wash = _days(form, kit, "braids_wait"), _days(form, kit, "wash_wait")
    entries = []

    def by(key: str, days: int, title: str, words: str, remind: tuple[int, ...] = (0,)) -> None:
        entries.append(Entry(key, day - timedelta(days=days), title, words, remind))

    if given.get("dandruff_shampoo") != "never":
        by(
            "dandruff",
            shampoo,
            "Last day for anti-dandruff shampoo",
            f"None from now until {shampoo} days after the relaxer.",
            (1, 0),
        )
    if given.get("next_colour") != "none" or given.get("last_colour") != "never":
        by(
            "colour_before",
            colour,
            "Last day for permanent colour",
            "No permanent colour from now on.",
            (1, 0),
        )
    if given.get("braids") != "none":
        by(
            "braids",
            braids,
            "Last day to take braids or extensions out",
            "Roots and scalp rest from now on.",
            (3, 0),
        )
    if kit.patch_test_hours is not None:
        ahead = math.ceil(kit.patch_test_hours / 24) + 1
        by(
            "patch_test",
            ahead,
            "Patch test on",
            f"As the leaflet says; it is read {kit.patch_test_hours:g} hours later.",
        )
    strand = max(today, day - timedelta(days=STRAND_TEST_DAYS))
    if strand < day:
        entries.append(
            Entry("strand_test", strand, "Strand test", "With the kit of the day, as its leaflet says.")
        )
    if kit.product_class in ("hydroxide", "hydroxide to mix"):
        by(
            "wash",
            wash,
            "Last wash before the relaxer",
            "A mild shampoo, no scratching. No washing after this.",
            (1, 0),
        )
    by("condition", wash, "Condition the hair", "With the last wash. Not on the day itself.")
    entries.append(
        Entry(
            "day",
            day,
            "Relaxer day",
            "No washing, no scratching, no hot drinks before. Look at the scalp first: combside run",
            (1, 0),
        )
    )
    order = {entry.key: number for number, entry in enumerate(entries)}
    return tuple(sorted((e for e in entries if e.day >= today), key=lambda e: (e.day, order[e.key])))


def aftermath(form: Form, kit: KitSheet, done: date) -> tuple[Entry, ...]:
    """What is allowed again from when, after a relaxer on `done`."""
    colour, shampoo = _days(form, kit, "colour_wait"), _days(form, kit, "dandruff_wait")
    relaxer = _days(form, kit, "relaxer_wait")
    better = add_months(done, 2)
    entries = [
        Entry(
            "look", done + timedelta(days=1), "Look at the scalp and the ears",
            "A sore, a blister, weeping skin, swelling or hair coming out: see a doctor. No hot pressing.",
        ),
        Entry("colour_after", done + timedelta(days=colour), "Permanent colour allowed "
            "again", f"{colour} days after "
            f"the relaxer."),
        Entry("dandruff_after", done + timedelta(days=shampoo), "Anti-dandruff shampoo allowed "
            "again", f"{shampoo} days after "
            f"the relaxer."),
        Entry(
            "relaxer", done + timedelta(days=relaxer), "Next relaxer not before today",
            f"{relaxer} days after the last. Better from "
                f"{in_words(max(better, done + timedelta(days=relaxer)))}. First: combside consult",
        ),
    ]  # fmt: skip
    if better > done + timedelta(days=relaxer):
        entries.append(
            Entry(
                "better",
                better,
                "Next relaxer better from today",
                "Two calendar months after the last. New growth only.",
            )
        )
    return tuple(sorted(entries, key=lambda e: e.day))


def _days(form: Form, kit: KitSheet, rule: str) -> int:
    """The rule's days or the leaflet's, whichever is more: the same numbers as the consultation's."""
    wait = next(r.wait for r in form.rules if r.id == rule)
    assert wait is not None
    asked: float | None = getattr(kit.waits, wait.leaflet) if wait.leaflet else None
    return max(wait.days, math.ceil((asked or 0) * (7 if wait.leaflet.endswith("weeks") else 1)))
