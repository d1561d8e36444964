"""The home file: who is there, how they sound, how fast they are, and what goes wrong.

Here is the shape of `HOME.yaml` for a rehearsal and what can be checked within
the file. What needs the routine's zones or the sound files is checked when the
room is built (`room.room`, `room.voices`). Every field is described in
`assistant/docs/home_file.md`.
"""

from __future__ import annotations

import math
from typing import Annotated, Literal

from pydantic import Field, field_validator, model_validator

from assistant.core.kit_sheet import Sheet
from assistant.room.moments import Moment, parse_moment

Seconds = Annotated[float, Field(ge=0, le=24 * 3600)]
Chance = Annotated[float, Field(ge=0, le=1)]
Level = Annotated[float, Field(ge=-60, le=40)]
Who = Literal["person", "helper"]


class VoiceSource(Sheet):
    """Where a person's sounds come from: exactly one of these."""

    clips: str | None = Field(
        default=None, description="a voice of the clips that ship with combside, such as flite_slt"
    )
    folder: str | None = Field(
        default=None, description="a folder of WAV or FLAC files named after what is said in them"
    )
    flite: str | None = Field(default=None, description="a voice of flite, such as slt")
    festival: str | None = Field(
        default=None, description="a voice of festival, such as cmu_us_slt_arctic_hts"
    )
    espeak: str | None = Field(default=None, description="a voice of espeak-ng, such as en-us+m3")

    @model_validator(mode="after")
    def _exactly_one(self) -> VoiceSource:
        given = [name for name in type(self).model_fields if getattr(self, name) is not None]
        if len(given) != 1:
            raise ValueError(
                "a voice is exactly one of clips, folder, flite, festival, espeak; "
                f"here is {' and '.join(given) if given else 'none'}"
            )
        return self


class Person(Sheet):
    """One of the people."""

    voice: VoiceSource = Field(
        default=VoiceSource(clips="flite_slt"), description="where their sounds come from"
    )
    level_db: Level = Field(default=0.0, description="how loud they talk, 0 as most people do")
    distance_m: Annotated[float, Field(ge=0.2, le=10)] = Field(
        default=1.0, description="from their mouth to the microphone; twice as far is 6 dB quieter"
    )


HELPER = Person(voice=VoiceSource(clips="flite_rms"), distance_m=1.2)


class People(Sheet):
    """Who is there."""

    person: Person = Field(default=Person(), description="whose hair it is")
    helper: Person | Literal["nobody"] = Field(default=HELPER, description="who puts the cream on, or nobody")


class Pace(Sheet):
    """How long things take. Every duration is drawn around its value with `spread`."""

    spread: Annotated[float, Field(ge=0, le=1)] = Field(
        default=0.15, description="how far durations scatter: sigma of a log-normal factor with median 1"
    )
    reaction_s: Seconds = Field(
        default=0.8, description="from the end of a prompt, or of the work, to the answer"
    )
    reaction_spread: Annotated[float, Field(ge=0, le=1)] = Field(
        default=0.3, description="sigma of the reaction time"
    )
    confirm_s: Seconds = Field(default=8.0, description="to do what a plain step asks")
    tick_s: Seconds = Field(default=2.0, description="to look for one item of a list")
    fetch_s: Seconds = Field(default=20.0, description="to fetch an item that was missing")
    mixing_s: Seconds = Field(default=50.0, description="to mix the cream until it is smooth")
    zone_min: dict[str, Annotated[float, Field(gt=0, le=60)]] = Field(
        default={"default": 0.6},
        description="minutes to cover a zone, by its name, and a default for the others",
    )
    smoothing_s: dict[str, Seconds] = Field(
        default={"default": 20.0},
        description="seconds to smooth a zone, by its name, and a default for the others",
    )
    walk_s: Seconds = Field(default=20.0, description="from the chair to the tap")
    wetting_s: dict[str, Seconds] = Field(
        default={"default": 8.0},
        description="seconds until a zone is wet through, and a default for the others",
    )
    clearing_s: dict[str, Seconds] = Field(
        default={"default": 25.0},
        description="seconds more until a zone runs clear, and a default for the others",
    )
    rinse_out_s: Seconds = Field(default=20.0, description="to rinse a lather out, with the tap on")
    wipe_s: Seconds = Field(default=6.0, description="to wipe cream off the skin")
    hold_s: Seconds = Field(default=20.0, description="how long they stay away when things are held")
    flush_min: Annotated[float, Field(ge=0, le=120)] = Field(
        default=20.0, description="until help says stop, at an eye flush"
    )
    early_start_s: Seconds = Field(
        default=0.0, description="hands start a zone this long before they are told"
    )
    late_report_s: Seconds = Field(
        default=0.0, description="a zone is reported done this long after it is done"
    )

    @field_validator("zone_min", "smoothing_s", "wetting_s", "clearing_s")
    @classmethod
    def _has_default(cls, value: dict[str, float]) -> dict[str, float]:
        if "default" not in value:
            raise ValueError("a default is needed beside the named zones, such as {default: 1.0, crown: 1.5}")
        return value


class Wording(Sheet):
    """Which of the ways of saying a phrase they use."""

    other_ways: Chance = Field(
        default=0.0, description="how often another way is said than the one that is taught"
    )
    fixed: dict[str, str] = Field(
        default={}, description="a phrase's name and the way they always say it, such as {next_step: next}"
    )


class Noise(Sheet):
    """A noise in the room."""

    source: str = Field(default="none", description="none, tap (made here), or a WAV or FLAC file")
    snr_db: Annotated[float, Field(ge=-20, le=60)] = Field(
        default=10.0, description="how far the person's talk is above it at the microphone"
    )
    when: Literal["always", "tap on"] | tuple[tuple[Seconds, Seconds], ...] = Field(
        default="always", description="always, tap on, or pairs of seconds from and to"
    )

    @field_validator("when")
    @classmethod
    def _forward(cls, value: object) -> object:
        if isinstance(value, tuple):
            for begin, end in value:
                if end <= begin:
                    raise ValueError(f"noise from {begin:g} to {end:g} s runs backwards")
        return value


MARGIN_M = 0.3


class Walls(Sheet):
    """The room as sound sees it, and the machine in it."""

    size_m: tuple[float, float, float] = Field(
        default=(3.2, 2.6, 2.5), description="length, width and height"
    )
    absorption: Annotated[float, Field(gt=0, le=1)] = Field(
        default=0.35, description="share of energy the walls swallow"
    )
    rt60_s: Annotated[float, Field(ge=0.05, le=2)] | None = Field(
        default=None, description="reverberation time; where given it rules instead of absorption"
    )
    echo_db: Level = Field(
        default=0.0, description="the tool at the microphone, against a person talking 1 m away"
    )
    ear_db: Level = Field(
        default=3.0, description="the tool at the people's ears, against a person talking 1 m away"
    )
    heard_at_db: Level = Field(
        default=0.0, description="a prompt is understood from this level over the noise"
    )
    floor_db: Annotated[float, Field(ge=-140, le=-30)] | None = Field(
        default=-75.0, description="the microphone's own noise in dB of full scale, or null for none"
    )

    @model_validator(mode="after")
    def _is_a_room(self) -> Walls:
        if min(self.size_m) < 1.5 or max(self.size_m) > 20:
            raise ValueError("a room measures 1.5 to 20 m each way")
        if self.rt60_s is not None:
            length, width, height = self.size_m
            surface = 2 * (length * width + length * height + width * height)
            if 0.161 * length * width * height / (surface * self.rt60_s) > 1:
                raise ValueError(f"rt60_s of {self.rt60_s:g} s is too short for a room of this size")
        return self

    def reach_m(self) -> float:
        """The farthest a person can be from the microphone, which stands in a corner."""
        return math.dist((2 * MARGIN_M, 2 * MARGIN_M), self.size_m[:2])


class OffScript(Sheet):
    """Something nobody asked for."""

    at: Moment = Field(description="when: seconds, or a moment such as '12.5 min after cream on'")
    who: Who = Field(default="person", description="who says or presses it")
    say: str | None = Field(default=None, description="the words: a phrase, or anything their voice has")
    talk: str | None = Field(default=None, description="a clip of everyday talk that ships with combside")
    press: str | None = Field(default=None, description="a key: yes, no, again, stop, or phrase:NAME")

    @field_validator("at", mode="before")
    @classmethod
    def _moment(cls, value: object) -> object:
        return parse_moment(value)

    @model_validator(mode="after")
    def _one_deed(self) -> OffScript:
        given = [name for name in ("say", "talk", "press") if getattr(self, name) is not None]
        if len(given) != 1:
            here = " and ".join(given) if given else "none"
            raise ValueError(f"one of say, talk and press is needed; here is {here}")
        return self


class Mistakes(Sheet):
    """How often people slip."""

    silent: Chance = Field(default=0.0, description="an answer is not given until it is asked for again")
    wrong_zone: Chance = Field(default=0.0, description="another zone is reported done than the one that is")
    missing_item: Chance = Field(default=0.0, description="an item of the list has to be fetched first")
    lumpy_first: Chance = Field(default=0.0, description="the cream still has lumps when first asked about")
    talk_per_min: Annotated[float, Field(ge=0, le=20)] = Field(
        default=0.0, description="everyday talk, sentences a minute"
    )


What = Literal[
    "microphone_lost", "microphone_silent", "microphone_frozen", "microphone_wrong_rate", "speaker_lost",
    "speaker_muted", "recogniser_hung", "recogniser_crashed", "voice_missing", "disk_full", "journal_read_only",
    "clock_forward", "clock_back", "sleep", "killed", "guard_killed", "starved", "key_storm",
]  # fmt: skip
ENDS = ("sleep", "killed")
"""Faults that must end, or the rehearsal never would."""


class Fault(Sheet):
    """Something that fails."""

    at: Moment = Field(description="when: seconds, or a moment as for off_script")
    what: What = Field(description="lost or crashed: the system says so; the others: nobody says so")
    for_s: Annotated[float, Field(gt=0)] | None = Field(
        default=None, description="how long; left out: to the end"
    )

    @field_validator("at", mode="before")
    @classmethod
    def _moment(cls, value: object) -> object:
        return parse_moment(value)

    @model_validator(mode="after")
    def _comes_to_an_end(self) -> Fault:
        if self.what in ENDS and self.for_s is None:
            raise ValueError(f"'{self.what}' needs for_s: how many seconds until it is over")
        return self


class Hair(Sheet):
    """What the hair does."""

    straight_after_min: Annotated[float, Field(gt=0, le=240)] = Field(
        default=15.0, description="minutes until the cream has straightened it, on the strand and on the head"
    )
    strand_goes_bad: bool = Field(default=False, description="the strand breaks or turns gummy at that time")
    colour_left: Annotated[int, Field(ge=0, le=10)] = Field(
        default=0, description="how many lathers still show the indicator's colour"
    )


class Home(Sheet):
    """A home file."""

    schema_version: Literal[1] = Field(
        default=1, alias="schema", description="the version of this file's shape"
    )
    title: str = Field(default="", description="what this household is for; printed, never heard")
    seed: Annotated[int, Field(ge=0, lt=2**32)] = Field(
        default=1, description="the same seed gives the same rehearsal"
    )
    people: People = Field(default=People(), description="who is there")
    pace: Pace = Field(default=Pace(), description="how long things take")
    wording: Wording = Field(default=Wording(), description="which ways of saying things they use")
    noise: Noise = Field(default=Noise(), description="a noise in the room")
    room: Walls = Field(default=Walls(), description="the room as sound sees it")
    off_script: tuple[OffScript, ...] = Field(default=(), description="what nobody asked for")
    mistakes: Mistakes = Field(default=Mistakes(), description="how often people slip")
    faults: tuple[Fault, ...] = Field(default=(), description="what fails")
    hair: Hair = Field(default=Hair(), description="what the hair does")
    says_no_to: tuple[str, ...] = Field(
        default=(), description="questions they answer with no, by the step's id, until told to put it right"
    )

    @model_validator(mode="after")
    def _fits(self) -> Home:
        everyone = {"person": self.people.person}
        if isinstance(self.people.helper, Person):
            everyone["helper"] = self.people.helper
        for who, person in everyone.items():
            if person.distance_m > self.room.reach_m():
                raise ValueError(
                    f"the {who} is {person.distance_m:g} m from the microphone, but this room "
                    f"has {self.room.reach_m():.1f} m at most"
                )
        for line in self.off_script:
            if line.who not in everyone:
                raise ValueError(f"off_script at '{line.at}': there is no helper in this home")
        return self

    def everyone(self) -> dict[Who, Person]:
        """The people who are there."""
        found: dict[Who, Person] = {"person": self.people.person}
        if isinstance(self.people.helper, Person):
            found["helper"] = self.people.helper
        return found
