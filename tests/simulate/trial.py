"""One trial, drawn from its seed: who is there, how they slip, how well they are heard, and what fails when.

Rates of hearing are those of the project's own measurements of the embedded
recogniser (README, `python -m tests.hearing_bench`) and of the first estimates
before it: in quiet next to nothing missed, 3 % with a tap at 10 dB, 12 to 23 %
at 5 dB; one room in ten is much worse than anything that was measured.
"""

from __future__ import annotations

import random
from dataclasses import dataclass, replace
from functools import cache

from assistant.app.load import load_book, load_routine
from assistant.core.kit_sheet import ChartRow, LimitMeans
from assistant.core.phrases import PhraseBook
from assistant.core.program import Program, prepare
from assistant.core.routine import Routine
from assistant.files.places import routines_folder
from assistant.room.home import Hair, Home, Mistakes, OffScript, Pace, People
from assistant.room.moments import Moment
from tests.programs import ROUTINES, household, kit

FAULTS: dict[str, tuple[float, float]] = {
    "microphone_lost": (5, 900),
    "microphone_silent": (5, 900),
    "microphone_frozen": (5, 900),
    "microphone_wrong_rate": (5, 900),
    "speaker_lost": (5, 900),
    "speaker_muted": (5, 900),
    "recogniser_hung": (5, 300),
    "recogniser_crashed": (5, 300),
    "voice_missing": (5, 900),
    "disk_full": (5, 1200),
    "journal_read_only": (5, 7200),
    "wall_clock_back": (0, 0),
    "wall_clock_forward": (0, 0),
    "sleep": (30, 600),
    "killed": (1, 240),
    "killed_torn": (1, 240),
    "rebooted": (20, 300),
    "guard_killed": (0, 0),
    "starved": (10, 600),
    "key_storm": (2, 20),
}
"""What can fail, and the least and the greatest seconds it lasts (for a kill: until somebody starts it again)."""


@dataclass(frozen=True, slots=True)
class Fault:
    """`what` fails at `at` for `for_s` seconds."""

    at: Moment
    what: str
    for_s: float


@dataclass(frozen=True, slots=True)
class Hearing:
    """Chances for one spoken live phrase: missed, taken for another, doubted; and for talk: taken for a phrase."""

    missed: float
    wrong: float
    doubted: float
    false_accept: float


ROOMS = (
    (4, Hearing(0.002, 0.0, 0.01, 0.002)),  # quiet
    (3, Hearing(0.03, 0.005, 0.04, 0.004)),  # a tap at 10 dB
    (2, Hearing(0.17, 0.02, 0.08, 0.04)),  # at 5 dB
    (1, Hearing(0.5, 0.05, 0.15, 0.08)),  # worse than measured
)


@dataclass(frozen=True, slots=True)
class Trial:
    """Everything chance decides about one run before it begins."""

    seed: int
    routine: str
    alone: bool
    means: LimitMeans
    limit_min: float
    home: Home
    hearing: Hearing
    faults: tuple[Fault, ...]
    away: tuple[tuple[Moment, float], ...]
    shouts: tuple[Moment, ...]
    reads_screen: float

    def program(self) -> Program:
        """The routine ready for these people."""
        chart = tuple(
            ChartRow(hair=hair, greatest_minutes=self.limit_min) for hair in ("fine", "medium", "coarse")
        )
        return prepared(self.routine, self.alone, self.means, chart)

    def without(self, **changes: object) -> Trial:
        return replace(self, **changes)  # type: ignore[arg-type]


@cache
def _files(routine: str) -> tuple[Routine, PhraseBook]:
    return load_routine(routines_folder() / f"{routine}.yaml"), _book()


@cache
def _book() -> PhraseBook:
    return load_book()


@cache
def prepared(routine: str, alone: bool, means: LimitMeans, chart: tuple[ChartRow, ...]) -> Program:
    """The shipped routine with the invented kit and household; every file is read once a process."""
    people = household().model_copy(update={"helper": None}) if alone else household()
    sheet = kit().model_copy(update={"limit_means": means, "chart": chart})
    made, book = _files(routine)
    found = prepare(made, sheet, people, book)
    assert isinstance(found, Program), found
    return found


def draw(seed: int) -> Trial:
    """The trial of this seed."""
    chance = random.Random(seed)
    routine = chance.choice(ROUTINES)
    alone = _files(routine)[0].helper != "required" and chance.random() < 0.5
    calm = chance.random() < 0.15
    weights, rooms = zip(*ROOMS, strict=True)
    made = prepared(routine, alone, LimitMeans.FIRST_TOUCH, kit().chart)
    people = People() if not alone else People(helper="nobody")
    return Trial(
        seed,
        routine,
        alone,
        chance.choice(list(LimitMeans)),
        chance.choice((13.0, 18.0, 22.0, 30.0)),
        Home(
            seed=seed % 2**32,
            people=people,
            pace=_pace(chance),
            off_script=() if calm else _off_script(chance, made),
            mistakes=Mistakes() if calm else _mistakes(chance),
            hair=Hair(
                straight_after_min=chance.uniform(6, 24),
                strand_goes_bad=chance.random() < 0.05,
                colour_left=chance.choice((0, 0, 0, 1, 3)),
            ),
            says_no_to=tuple(name for name in ("alarm", "scalp", "heat") if chance.random() < 0.05),
        ),
        rooms[0] if calm else chance.choices(rooms, weights)[0],
        () if calm else _faults(chance),
        () if calm else tuple((_moment(chance), chance.uniform(20, 900)) for _ in range(_few(chance))),
        () if calm else tuple(_moment(chance) for _ in range(_few(chance))),
        chance.choice((0.0, 0.3, 0.9)),
    )


def _few(chance: random.Random) -> int:
    return chance.choice((0, 0, 0, 1, 1, 2))


def _moment(chance: random.Random) -> Moment:
    """Anywhere in a run, more often while cream is on."""
    if chance.random() < 0.65:
        return Moment("cream on", chance.uniform(0, 26 * 60))
    if chance.random() < 0.3:
        return Moment("rinse", chance.uniform(0, 240))
    return Moment("start", chance.uniform(0, 5400))


def _pace(chance: random.Random) -> Pace:
    hasty = chance.random() < 0.2
    return Pace(
        spread=chance.uniform(0, 0.5),
        reaction_s=chance.uniform(0.3, 2.5),
        confirm_s=chance.uniform(2, 20),
        mixing_s=chance.uniform(20, 150),
        zone_min={"default": chance.uniform(0.3, 5)},
        smoothing_s={"default": chance.uniform(8, 60)},
        walk_s=chance.uniform(3, 30),
        wetting_s={"default": chance.uniform(3, 8)},
        clearing_s={"default": chance.uniform(10, 40)},
        hold_s=chance.uniform(5, 120),
        flush_min=chance.uniform(5, 30),
        early_start_s=chance.uniform(0, 40) if hasty else 0.0,
        late_report_s=chance.uniform(0, 60) if hasty else 0.0,
    )


def _mistakes(chance: random.Random) -> Mistakes:
    return Mistakes(
        silent=chance.choice((0.0, 0.05, 0.3)),
        wrong_zone=chance.choice((0.0, 0.05, 0.3)),
        missing_item=chance.choice((0.0, 0.2)),
        lumpy_first=chance.choice((0.0, 0.5)),
        talk_per_min=chance.choice((0.0, 0.5, 4.0)),
    )


def _off_script(chance: random.Random, made: Program) -> tuple[OffScript, ...]:
    """Phrases nobody asked for, stop phrases more often, each at its moment."""
    phrases = made.book.live(made.book.heard, made.zones)
    stops = [p for p in phrases if p.risk.value == "stop"]
    found = []
    for _ in range(chance.choice((0, 1, 1, 2, 4))):
        phrase = chance.choice(stops if chance.random() < 0.4 else phrases)
        found.append(OffScript(at=_moment(chance), who="person", say=phrase.text))
    return tuple(found)


def _faults(chance: random.Random) -> tuple[Fault, ...]:
    found = []
    for _ in range(chance.choice((0, 1, 1, 2, 3, 5))):
        what = chance.choice(list(FAULTS))
        least, greatest = FAULTS[what]
        found.append(Fault(_moment(chance), what, chance.uniform(least, greatest)))
    return tuple(found)
