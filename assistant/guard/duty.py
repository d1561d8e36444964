"""What the guard has to do, as a table: values in, values out.

`Watch` is all it knows: the deadline, how the main program is, what people did.
`mode` says what that asks for; `next_words` what is to be spoken now, if
anything. No clock is read here and nothing sounds. Called by the guard's own
process at every look; times are seconds on the clock that counts sleep.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, replace
from enum import Enum

SILENT_AFTER_S = 3.0
"""A main program that gave no beat for so long hangs. It beats twice a second; its longest known pause, a
recogniser at work on a starved machine, is under one."""
CONFIRM_S = 1.5
"""The main program sounds the call and says so. When it has not by so long after the deadline, the guard calls."""
CALL_GAP_S = 30.0
"""So long after its last call, and no water, a main program that should be calling has fallen silent: it
repeats its call every 12 s, and the longest words take 20."""
CALL_EVERY_S = 12.0
"""As the main program does (interburst 2.5 to 15 s, IEC 60601-1-8)."""
LEVELS = (1.0, 1.25, 1.6)
"""As the main program's: the first as loud as the alarm that was checked, then louder."""
TELL_EVERY_S = 60.0
REMIND_EVERY_S = 45.0
REMIND_LEVEL = 0.7
HUSH_S = 20.0
"""A new main program gets so long to take over before the guard goes on by itself."""
CLEAR_LEAST_S = 120.0
"""A second key sooner than this after the one for water does not end the reminders (our choice)."""
SAME_S = 1.0
"""Deadlines nearer than this are the same one."""
ATTENTION_S = 0.5
"""Between two looks no more time than this counts against the main program: where more has passed, the guard
itself slept, with the machine."""


class Main(str, Enum):
    """How the main program is."""

    WELL = "well"
    SILENT = "silent"  # its pipe is open and no beat comes
    GONE = "gone"


class Heir(str, Enum):
    """Another main program in this one's place."""

    NONE = "none"
    STARTING = "starting"
    TOOK_OVER = "took over"


class Mode(str, Enum):
    """What the guard does."""

    REST = "rest"
    TELL = "tell"  # says that the main program stopped, and the time on the clock
    CALL = "call"
    REMIND = "remind"
    HUSH = "hush"
    LEAVE = "leave"


@dataclass(frozen=True, slots=True)
class Watch:
    """Everything the guard knows.

    `due` the deadline, None when none stands; `since` when the cream went on.
    `place` is the main program's own word: "", "calling" or "water". `quiet_s`
    how long no beat came; `called_at` when the main program last said that its
    call sounds; `water_at` when a key said so after the main program was gone.
    """

    due: float | None = None
    since: float | None = None
    place: str = ""
    gone: bool = False
    quiet_s: float = 0.0
    called_at: float | None = None
    water_at: float | None = None
    over: bool = False
    heir: Heir = Heir.NONE
    hushed_at: float | None = None
    looked_at: float | None = None
    said_at: float | None = None
    said: int = 0
    mode: Mode = Mode.REST
    silent_after_s: float = SILENT_AFTER_S

    @property
    def main(self) -> Main:
        if self.gone:
            return Main.GONE
        return Main.SILENT if self.quiet_s > self.silent_after_s else Main.WELL


@dataclass(frozen=True, slots=True)
class Words:
    """What to speak: names of clips, in order, and how loud (1: as they are)."""

    clips: tuple[str, ...]
    level: float = 1.0


# -- what happens to it --------------------------------------------------------------


def armed(watch: Watch, due: float, since: float) -> Watch:
    """A deadline is set: earlier than before, never later."""
    nearer = due if watch.due is None else min(watch.due, due)
    earlier = since if watch.since is None else min(watch.since, since)
    return replace(watch, due=nearer, since=earlier)


def disarmed(watch: Watch) -> Watch:
    """A recorded rinse ends it."""
    return replace(watch, due=None, since=None, place="", called_at=None, water_at=None)


def beaten(watch: Watch, place: str) -> Watch:
    """The main program lives, and says where the run is."""
    return replace(watch, quiet_s=0.0, place=place, called_at=watch.called_at if place else None)


def called(watch: Watch, t: float) -> Watch:
    """The main program's own call began to sound."""
    return replace(watch, called_at=t)


def gone(watch: Watch) -> Watch:
    """The main program's end of the pipe is closed."""
    return replace(watch, gone=True)


def heir_seen(watch: Watch, heir: Heir, t: float) -> Watch:
    """What another main program says of itself. It gets its time to start once, not again and again."""
    hushed = watch.hushed_at if watch.hushed_at is not None or heir is not Heir.STARTING else t
    return replace(watch, heir=heir, hushed_at=hushed)


def pressed(watch: Watch, t: float) -> Watch:
    """A key at the terminal, the main program not being there to take it.

    While the call sounds: water is on. Long after it: the reminders may end. Before
    the call it means nothing: a deadline is not ended by a key.
    """
    if watch.mode is Mode.CALL or (watch.mode is Mode.REMIND and watch.water_at is None):
        return replace(watch, water_at=t)
    if watch.mode is Mode.REMIND and watch.water_at is not None and t - watch.water_at >= CLEAR_LEAST_S:
        return replace(watch, over=True)
    return watch


def heir_of(note: Mapping[str, object], own: str, watch: Watch) -> Heir:
    """Whether the main program that `note` tells of is another one, and has all that the guard has.

    One that knows no deadline, or a later one, takes nothing over unless it knows
    of the rinse: what it did not read in its journal, the guard still knows.
    """
    if note.get("run") in (None, own):
        return Heir.NONE
    if not note.get("took_over"):
        return Heir.STARTING
    due = note.get("due")
    knows = isinstance(due, int | float) and watch.due is not None and due <= watch.due + SAME_S
    return Heir.TOOK_OVER if watch.due is None or note.get("rinsed") or knows else Heir.NONE


# -- what that asks for --------------------------------------------------------------


def mode(watch: Watch, t: float) -> Mode:
    """The table. The first line that holds decides."""
    if watch.heir is Heir.TOOK_OVER or watch.over or watch.mode is Mode.LEAVE:
        return Mode.LEAVE
    if watch.heir is Heir.STARTING and watch.hushed_at is not None and t - watch.hushed_at < HUSH_S:
        comes_now = watch.due is not None and watch.hushed_at < watch.due <= t
        return Mode.CALL if comes_now else Mode.HUSH  # the new one may not speak yet when the deadline comes
    if watch.due is None:
        return Mode.REST if watch.main is not Main.GONE else Mode.TELL if watch.said == 0 else Mode.LEAVE
    if watch.main is Main.WELL:
        return _beside_a_living_main(watch, t, watch.due)
    if watch.place == "water" or watch.water_at is not None:
        return Mode.REMIND
    return Mode.CALL if t >= watch.due or watch.place == "calling" else Mode.TELL


def _beside_a_living_main(watch: Watch, t: float, due: float) -> Mode:
    """It calls by itself; the guard only when that call is not confirmed."""
    if watch.place == "water":
        return Mode.REST
    if watch.called_at is not None:
        return Mode.CALL if t - watch.called_at >= CALL_GAP_S else Mode.REST
    return Mode.CALL if t - due >= CONFIRM_S else Mode.REST


def look(watch: Watch, t: float) -> Watch:
    """Time has passed: how long no beat came, and what to do now. A new mode begins with its first words."""
    passed = 0.0 if watch.looked_at is None else max(0.0, t - watch.looked_at)
    watch = replace(watch, looked_at=t, quiet_s=watch.quiet_s + min(passed, ATTENTION_S))
    now = mode(watch, t)
    if now is not watch.mode:
        watch = replace(watch, mode=now, said_at=None, said=0)
    return watch


EVERY_S = {Mode.TELL: TELL_EVERY_S, Mode.CALL: CALL_EVERY_S, Mode.REMIND: REMIND_EVERY_S}


def next_words(watch: Watch, t: float) -> tuple[Watch, Words | None]:
    """What is to be spoken now, if anything; the watch then knows that it was."""
    every = EVERY_S.get(watch.mode)
    if every is None or (watch.said_at is not None and t - watch.said_at < every):
        return watch, None
    words = _words(watch, t)
    return replace(watch, said_at=t, said=watch.said + 1), words


def _words(watch: Watch, t: float) -> Words:
    stopped = ("stopped",) if watch.main is not Main.WELL and watch.said == 0 else ()
    if watch.due is None:
        return Words((*stopped, "start"))
    if watch.mode is Mode.CALL:
        level = LEVELS[min(watch.said, len(LEVELS) - 1)]
        return Words(("call", on_clip(watch, t), *stopped) if watch.said % 2 == 0 else ("call",), level)
    if watch.mode is Mode.REMIND:
        return Words((*stopped, "remind"), REMIND_LEVEL)
    start = ("start",) if watch.said == 0 else ()
    return Words((*stopped, on_clip(watch, t), left_clip(watch, t), *start))


def on_clip(watch: Watch, t: float) -> str:
    """The clip that says how long cream has been on: a minute that has begun counts whole."""
    seconds = 0.0 if watch.since is None else max(0.0, t - watch.since)
    return f"on_{int(-(-seconds // 60))}"


def left_clip(watch: Watch, t: float) -> str:
    """The clip that says how long until the water: only whole minutes count."""
    return f"left_{int(max(0.0, (watch.due or t) - t) // 60)}"


def next_look(watch: Watch, t: float, longest_s: float) -> float:
    """Seconds until something may have to be done by time alone, `longest_s` at most."""
    at = [t + longest_s]
    if watch.due is not None:
        at += [watch.due, watch.due + CONFIRM_S]
    if watch.said_at is not None and watch.mode in EVERY_S:
        at.append(watch.said_at + EVERY_S[watch.mode])
    return max(0.0, min(moment for moment in at if moment >= t) - t)
