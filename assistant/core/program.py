"""A routine made ready for these people, this kit and this language: everything fixed before the run.

`prepare` answers with a Program or with the reasons why not. Called by the app
before a run and by `check`; the session reads it and never changes it.
"""

from __future__ import annotations

import itertools
import math
from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass
from datetime import date

from assistant.core import rinse_order, strand_test
from assistant.core.actions import Sentence
from assistant.core.company import is_adult, missing_company
from assistant.core.exposure import Ledger
from assistant.core.hearing import LivePhrase
from assistant.core.household import Household
from assistant.core.kit_sheet import Hair, KitSheet, LimitMeans
from assistant.core.pace import FIRST_GUESS, Belief
from assistant.core.phrases import MINUTES_HEARD, PLACEHOLDER, PhraseBook
from assistant.core.reasons import Limit, Reason
from assistant.core.routine import AnyStep, Cover, Routine, Stand, TickOff
from assistant.core.spoken_numbers import MOST_MINUTES
from assistant.core.strand_test import StrandResult

MIX_LEAST_S = 60.0
"""A two-part cream is mixed at least a minute and until smooth (common practice, no source)."""

STILL_MIXING_S = 30.0
"""How long after "still lumpy" the bowl is asked about again (our choice)."""

EYE_FLUSH_S = 20 * 60.0
"""At least 20 minutes and until help says stop: above the 15 minutes of ANSI/ISEA Z358.1."""

SKIN_RINSE_S = 20 * 60.0
"""Cool running water on a burn for at least 20 minutes (hospital guideline)."""


@dataclass(frozen=True, slots=True)
class Program:
    """What one run needs to know and what never changes in it.

    `zones` in order of application; `limit` the kit chart's or the person's own
    lower wish, whichever is lower (a strand test may lower it in the run). `pace` is
    what is believed of the household's long-run pace. `child`: the hair is a child's,
    and nobody but the child answers whether it burns.
    """

    routine: Routine
    kit: KitSheet
    household: Household
    book: PhraseBook
    hair: Hair
    zones: tuple[str, ...]
    steps: tuple[AnyStep, ...]
    limit: Limit
    pace: Belief = FIRST_GUESS
    child: bool = False

    @property
    def with_helper(self) -> bool:
        return self.household.helper is not None

    @property
    def mix_least_s(self) -> float:
        asked = self.kit.mixing_least_minutes
        return 0.0 if asked is None else max(MIX_LEAST_S, asked * 60)

    @property
    def minutes_heard(self) -> range:
        """Minutes that can be read back in words: the usual ones, and on to a limit above them and two more, so that a
        wrong value is told from the right one."""
        most = max(MINUTES_HEARD.stop, int(self.limit.seconds // 60) + 3)
        return range(MINUTES_HEARD.start, min(most, MOST_MINUTES + 1))

    def live(self, names: Iterable[str]) -> tuple[LivePhrase, ...]:
        """Every way of saying every phrase in `names`, with this run's zones and minutes."""
        return self.book.live(names, self.zones, self.minutes_heard)

    def zones_of(self, step: Cover) -> tuple[str, ...]:
        """A cover step's zones, in the order of the head unless the step names its own."""
        return step.zones or self.zones

    def rinse_plan(
        self, ledger: Ledger, left_out: Iterable[str], limit_s: float
    ) -> rinse_order.RinsePlan | None:
        """The rinse's order and latest call for what is on the head and what is still to come; None before the clock."""
        water, means = self.household.water, self.kit.limit_means
        seconds = water.wetting_seconds_a_zone
        if means is LimitMeans.UNTIL_CLEAR:
            seconds += water.clearing_seconds_a_zone
        skipped = set(left_out)
        jobs = [
            rinse_order.Job(zone, seconds, due)
            for zone in self.zones
            if zone not in skipped and (due := ledger.due(zone, limit_s, means)) is not None
        ]
        return rinse_order.plan(jobs, water.walk_seconds, means) if jobs else None

    def call_due(self, ledger: Ledger, left_out: Iterable[str], limit_s: float) -> float | None:
        """When the rinse call is due on the run clock: the latest call less the household's reserve."""
        plan = self.rinse_plan(ledger, left_out, limit_s)
        return None if plan is None else plan.latest - self.household.water.reserve_seconds

    def slots(self, limit_s: float, **more: str) -> dict[str, str]:
        """What placeholders stand for, with `more` of the moment."""
        names = {
            "limit": self.book.amount(int(limit_s // 60)),
            "person": self.household.person,
            "helper": self.household.helper or self.household.person,
            "kit": self.kit.name,
            "mix_least": self.book.amount(round(self.mix_least_s / 60)),
            "help": self.household.call_for_help or "the emergency number",
        }
        names.update(more)
        return names

    def domains(self) -> dict[str, tuple[str, ...]]:
        """Every value a placeholder can take in this run."""
        fixed = {name: (value,) for name, value in self.slots(self.limit.seconds).items() if name != "limit"}
        taught = tuple(
            self.book.taught(name, zone)
            for name, entry in self.book.heard.items()
            for zone in (self.zones if entry.slot() == "zone" else ("",))
            if entry.slot() != "minutes"
        )
        items = tuple(item.name for step in self.steps if isinstance(step, TickOff) for item in step.items)
        return {
            **fixed,
            "limit": tuple(self.book.amount(n) for n in range(1, int(self.limit.seconds // 60) + 1)),
            "zone": self.zones,
            "next_zone": self.zones,
            "until": tuple(self.book.amount(n) for n in range(int(self.limit.seconds // 60) + 1)),
            "on": tuple(self.on_for(n * 60.0) for n in range(self.longest_on_minutes() + 2)),
            "time": tuple(self.book.amount(n) for n in range(self.longest_minutes() + 1)),
            "left": tuple(self.book.amount(n, "zone") for n in range(len(self.zones) + 1)),
            "phrase": taught,
            "title": tuple(step.title for step in self.steps),
            "item": items or ("it",),
        }

    def on_for(self, seconds: float) -> str:
        """How long cream has been on, as it is spoken: a minute that has begun counts whole."""
        longest = self.longest_on_minutes()
        said = self.book.amount(min(longest, math.ceil(seconds / 60)))
        return said if seconds <= longest * 60 else f"more than {said}"

    def longest_on_minutes(self) -> int:
        """The longest time with cream on that is spoken to the minute: the limit and half an hour."""
        return int(self.limit.seconds // 60) + 30

    def longest_minutes(self) -> int:
        """The longest time other than the limit that may be spoken, in whole minutes, rounded up."""
        stands = [step.greatest_minutes for step in self.steps if isinstance(step, Stand)]
        kit = self.kit
        spans = (kit.second_lather_minutes, kit.conditioner_heat_minutes, kit.conditioner_minutes)
        least_water = max(EYE_FLUSH_S, SKIN_RINSE_S) / 60
        return (
            math.ceil(
                max(*stands, *(s.greatest for s in spans), least_water, kit.strand_test.check_every_minutes)
            )
            + 1
        )

    def every_sentence(self) -> Iterator[Sentence]:
        """Every sentence this run may speak, each once."""
        domains = self.domains()
        seen: set[Sentence] = set()
        for person, helper in itertools.chain(self._step_texts(), self._book_texts()):
            for text in (*person, *helper):
                for values in spread(text, domains):
                    mine = self.book.fill(
                        [text] if text in person else [],
                        [text] if text in helper else [],
                        values,
                        with_helper=self.with_helper,
                    )
                    for sentence in mine:
                        if sentence not in seen:
                            seen.add(sentence)
                            yield sentence

    def _step_texts(self) -> Iterator[tuple[tuple[str, ...], tuple[str, ...]]]:
        for step in self.steps:
            yield step.caution + step.say + getattr(step, "if_no", ()), step.helper
            if isinstance(step, TickOff):
                for item in step.items:
                    yield item_texts(item.name, item.why), ()
        yield self.routine.aftercare, ()

    def _book_texts(self) -> Iterator[tuple[tuple[str, ...], tuple[str, ...]]]:
        for entry in self.book.said.values():
            yield entry.person, entry.helper


def item_texts(name: str, why: str) -> tuple[str, ...]:
    """What is said of one item of a list."""
    return (name + ".", why) if why else (name + ".",)


def spread(text: str, domains: Mapping[str, tuple[str, ...]]) -> Iterator[dict[str, str]]:
    """Every filling of a text's placeholders. Raises KeyError for an unknown placeholder."""
    names = list(dict.fromkeys(PLACEHOLDER.findall(text)))
    for values in itertools.product(*(domains[name] for name in names)):
        yield dict(zip(names, values, strict=True))


FOR_CHILD = "child."
"""A prompt whose name begins so is said instead of the one without it, where the hair is a child's."""


def for_child(book: PhraseBook) -> PhraseBook:
    said = {n.removeprefix(FOR_CHILD): e for n, e in book.said.items() if n.startswith(FOR_CHILD)}
    return book.model_copy(update={"said": {**book.said, **said}})


def limit_for(kit: KitSheet, household: Household) -> Limit | None:
    """The lowest of the chart's greatest time for this hair and the person's own wish; None without a chart row."""
    person = household.the_person()
    row = kit.row_for(person.hair) if person.hair else None
    if row is None:
        return None
    chart = Limit(
        row.greatest_minutes * 60,
        Reason(
            "chart",
            f"The kit sheet's chart says at most {row.greatest_minutes:g} minutes for {row.hair} hair.",
            "leaflet",
        ),
    )
    wish = person.wish_greatest_minutes
    own = (
        None
        if wish is None
        else Limit(
            wish * 60, Reason("own wish", f"{person.name} wishes at most {wish:g} minutes.", "household")
        )
    )
    return chart.lower_of(own)


def prepare(
    routine: Routine,
    kit: KitSheet,
    household: Household,
    book: PhraseBook,
    *,
    strand: StrandResult | None = None,
    pace: Belief | None = None,
    today: date | None = None,
) -> Program | tuple[Reason, ...]:
    """The Program, or every reason why this routine can not be run by these people with this kit.

    `strand` is a strand test done before, `pace` what was learned of the household's
    pace (None: the household file's own guess). `today` tells ages; without it no
    child's age is known, and no child is done.
    """
    person, helper = household.the_person(), household.the_helper()
    refused: list[Reason] = []
    if kit.product_class not in routine.product_classes:
        refused.append(
            Reason(
                "product class",
                f"The kit is of class '{kit.product_class}'; this routine is for {' or '.join(routine.product_classes)}. "
                "Classes do not mix and are neutralised differently.",
                "published",
            )
        )
    if helper is None and routine.helper == "required":
        refused.append(
            Reason(
                "helper",
                "This routine needs a second person: nobody can reach and watch all of it alone.",
                "common practice",
            )
        )
    first = routine.treats == "never relaxed"
    refused += missing_company(person, helper, kit, first_relaxer=first, today=today)
    limit = limit_for(kit, household)
    if person.hair is None:
        refused.append(
            Reason("hair", f"The household file does not say what hair {person.name} has.", "household")
        )
    elif limit is None:
        refused.append(
            Reason(
                "no limit",
                f"The kit sheet's chart has no row for {person.hair} hair: without a limit nothing starts.",
                "leaflet",
            )
        )
    elif strand is not None:
        said = strand_test.told(strand, kit, person.name, person.hair)
        if isinstance(said, Reason):
            refused.append(said)
        else:
            limit = limit.lower_of(said)
    unknown = [z for z in kit.zone_order if z not in routine.zone_names()]
    if unknown:
        refused.append(
            Reason(
                "zone order",
                f"The kit sheet orders zones this routine has not: {', '.join(unknown)}.",
                "leaflet",
            )
        )
    if refused or limit is None or person.hair is None:
        return tuple(refused)
    zones = kit.zone_order + tuple(z for z in routine.zone_names() if z not in kit.zone_order)
    holds = {
        "always": True,
        "helper": helper is not None,
        "alone": helper is None,
        "to mix": kit.mixing_least_minutes is not None,
        "colour indicator": kit.colour_indicator,
        "limit came down": True,  # known only in the run
    }
    steps = tuple(step for step in routine.steps if holds[step.only_if])
    belief = pace or Belief.within(household.pace.within_factor)
    child = not is_adult(person.adult, person.born, today)
    book = for_child(book) if child else book
    program = Program(routine, kit, household, book, person.hair, zones, steps, limit, belief, child)
    due = program.call_due(Ledger().touch(zones[0], 0.0), (), limit.seconds)
    if due is None or due <= 60:
        return (
            Reason(
                "too short",
                f"{limit.reason.words} The walk, the rinse and the reserve leave no time to work: "
                "the call would come within a minute.",
                "household",
            ),
        )
    return program
