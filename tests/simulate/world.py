"""One simulated run from its trial to its result, in virtual time.

The world knows the true time; the run has its own clock, which differs only
after a reboot. From one moment at which anything happens it goes to the next:
a timer of the session, the end of a prompt, a word, a deed, a fault.
"""

from __future__ import annotations

import math
import random
from dataclasses import dataclass, field
from datetime import datetime, timedelta, timezone

import numpy as np

from assistant.app.loop import Loop, is_urgent
from assistant.clocks import Stamp, elapsed_across_reboot
from assistant.core.actions import Action, Priority, Say, Sentence
from assistant.core.events import DeviceBack, DeviceLost, Event
from assistant.core.session import WORDS_A_SECOND, Cream, Stance, State, advance
from assistant.guard.duty import CONFIRM_S
from assistant.journal.record import event_of
from assistant.room.home import Who
from assistant.room.measure import ZoneExposure, exposure
from assistant.room.moments import Moment
from assistant.room.people import People
from assistant.room.truth import Truth
from assistant.screens.none import NoScreen
from tests.simulate.claims import Breach, Watch
from tests.simulate.machine import DECISION_S, NOISE, Disk, Ears, Guard, Killed, Speaker, is_call, lasts_s
from tests.simulate.trial import Fault, Trial

BLOCK_S = 0.02
"""The loop looks at the world so often."""
LATE_S = 0.5
"""A call this much after its due time is late: the same as in a rehearsal."""
NONE = np.zeros(0, dtype=np.float32)
WALL = datetime(2026, 1, 1, 9, 0, tzinfo=timezone.utc)
LONGEST_S = 3.5 * 3600
AFTER_DUE_S = 1800.0
"""A run in which nobody has gone to the water so long after the due time is over: it is counted."""
READING_S = 5.0
"""Until somebody who looks at the screen has read what was not heard."""
GUARD_NOTICED_S = 2.0
"""Until the first process sees that the guard is gone, and has started another."""
LONGEST_CALL_S = 20.0
"""From one beginning of a call to the next: its words may take that long, and calls do not cut each other."""
HEARD_SOON_S = 12.0
"""From the due time to the end of the first call's words: tone, words, and a call that was under way."""
STARVED_S = 2.5
"""How late a starved loop may come to its turn."""
CALL_BY_GUARD = Say(
    "guard:call", (Sentence("Rinse now. Go to the sink."),), Priority.RINSE_CALL, "call", 1.0, True, "water"
)
SAID_LOST = frozenset({"microphone_lost", "microphone_wrong_rate", "speaker_lost", "recogniser_crashed"})
"""Faults the system tells the loop of."""
DEAF = SAID_LOST - {"speaker_lost"} | {"microphone_silent", "microphone_frozen", "recogniser_hung"}
MUTE = frozenset({"speaker_lost", "speaker_muted"})


@dataclass
class Result:
    """What one run came to."""

    seed: int
    outcome: str
    virtual_s: float
    events: int
    calls_due: int = 0
    missed: int = 0
    late: int = 0
    call_after_due_s: float = 0.0
    called_by_guard: int = 0
    while_off: int = 0
    lost_events: int = 0
    unwritten_at_kill: int = 0
    over_limit: dict[str, int] = field(default_factory=dict)
    calls_in_all: int = 0
    faults: dict[str, int] = field(default_factory=dict)
    resumed: int = 0
    breaches: list[Breach] = field(default_factory=list)
    error: str = ""

    @property
    def failed(self) -> bool:
        late_call = self.over_limit.get("late call", 0)
        return bool(self.missed or self.late or self.lost_events or self.breaches or self.error or late_call)


class World:
    """Everything of one run. `run` is the whole of it."""

    def __init__(self, trial: Trial) -> None:
        self.trial = trial
        self.program = trial.program()
        self.chance = random.Random(trial.seed ^ 0x5EED)
        self.now = 0.0
        self.offset = 0.0
        self.clocks = [(0.0, 0.0)]
        self.wall_shift = 0.0
        self.truth = Truth()
        self.disk = Disk()
        self.guard = Guard()
        self.guard_problem = ""
        self.old_guards: list[Guard] = []
        self.guard_sounds: list[float] = []
        self.speaker = Speaker(self._ordered)
        self.ears = Ears(trial.hearing, self.chance)
        self.loop: Loop | None = None
        self.history: list[tuple[Event, State]] = []
        self.last = State()
        self.watch = Watch(self.program)
        self.result = Result(trial.seed, "", 0.0, 0)
        self.sayings: list[tuple[float, str, float, float]] = []
        self.readings: list[tuple[float, Say]] = []
        self.guard_says: list[float] = []
        self.agenda: list[tuple[float, str, Fault | float]] = []
        self.failing: dict[str, float] = {}
        self.news: list[Event] = []
        self.away_until = -math.inf
        self.off_until = -math.inf
        self.hindered: list[tuple[float, float]] = []
        self.off: list[tuple[float, float]] = []
        self.resume_at = math.inf
        self.rebooting = False
        self.stamp: Stamp | None = None
        self.clock_unknown = False
        self.starved_until = -math.inf
        self.next_turn = 0.0
        self.keys: list[str] = []
        self.ordered: list[tuple[Say, bool]] = []
        self.heard_call_at: float | None = None
        self.water_log = [(0.0, False)]
        self.pause_s = 0.0
        self.slept = False
        self.lost_at = 0.0
        self.end_t = 0.0
        phrases = self.program.book.live(self.program.book.heard, self.program.zones)
        self.people = People(
            trial.home, self.program.zones, phrases, self, self.truth, talk=("talk",), notice=self.happens
        )

    # -- from here on the way through a run ----------------------------------------------------

    def run(self) -> Result:
        self._start_first()
        assert self.loop is not None
        try:
            self.loop.begin(0.0)
            while not self._over():
                moment = self._next_moment()
                if moment == math.inf:
                    self._breach("something_always_comes", f"everybody waits in '{self.last.stance.value}'")
                    break
                self._step(moment)
        except Killed:
            raise AssertionError("killed outside a turn") from None
        self._close()
        return self.result

    def _over(self) -> bool:
        if self.last.stance is Stance.CLOSED and self.speaker.idle():
            return True
        if self.now > LONGEST_S:
            return True
        due = self.last.due
        waiting = self.last.cream is Cream.HEAD and self.last.stance is not Stance.CLOSED
        return due is not None and waiting and self.now > due + AFTER_DUE_S + max(0.0, -self.offset)

    def _next_moment(self) -> float:
        moments = [self.people.wakes_at()]
        moments += [entry[0] for entry in self.agenda]
        moments += [entry[0] for entry in self.readings]
        moments += self.guard_says
        if self.off_until > self.now:
            moments.append(self.off_until)
        else:
            moments += [guard.wakes_at() for guard in (self.guard, *self.old_guards)]
            moments += [self.resume_at, self.speaker.ends_at()]
            moments += [max(entry[0], self.next_turn) for entry in self.sayings]
            if self.loop is not None:
                timers = self.loop.state.timers
                if timers:
                    moments.append(max(timers[0][0] - self.offset, self.next_turn))
        return min(moments)

    def _step(self, moment: float) -> None:
        self.now = max(self.now, math.ceil(moment / BLOCK_S - 1e-9) * BLOCK_S, self.now + BLOCK_S)
        asleep = self.now < self.off_until
        if not asleep:
            self.speaker.play_until(self.now)
        for entry in sorted((e for e in self.agenda if e[0] <= self.now), key=lambda e: e[0]):
            self.agenda.remove(entry)
            self._incident(entry[1], entry[2], entry[0])
        asleep = self.now < self.off_until
        self.slept = self.slept or asleep
        self._listen_to_machine()
        self.people.live_until(self.now)
        pressed = self.people.pressed()
        self.keys += [] if self._away() else pressed
        if asleep:
            self._nobody_listens()
            return
        for guard in (self.guard, *self.old_guards):
            guard.now = self.now
        if self.resume_at <= self.now:
            self._resume()
        if self.loop is None:
            self._nobody_listens()
        elif self.now >= self.next_turn and self._something_came():
            self._turn()
        self._guards_turn()

    def _something_came(self) -> bool:
        """Whether this turn of the loop differs from the many in which nothing happens."""
        assert self.loop is not None
        timers = self.loop.state.timers
        return bool(
            self.keys or self.news or self.slept or self.speaker.has_marks or self.guard.problem != self.guard_problem
            or any(saying[0] <= self.now for saying in self.sayings)
            or (timers and timers[0][0] <= self.now + self.offset)
        )  # fmt: skip

    def _nobody_listens(self) -> None:
        self.keys.clear()
        self.sayings = [saying for saying in self.sayings if saying[0] > self.now]

    def _turn(self) -> None:
        assert self.loop is not None
        for saying in [s for s in self.sayings if s[0] <= self.now]:
            self.sayings.remove(saying)
            self._sound_arrives(*saying)
        if self.starved_until > self.now:
            self.next_turn = self.now + self.chance.uniform(0, STARVED_S)
        keys, self.keys = self.keys, []
        news, self.news = self.news, []
        t = self.now + self.offset
        self.guard_problem = self.guard.problem
        try:
            if self.slept:
                self.speaker.wakes()
            else:
                self.loop.t = max(self.loop.t, t - BLOCK_S)  # all the turns between, in which nothing came
            self.slept = False
            sound = NOISE if self.ears.waiting else NONE
            self.loop.turn(
                t, sound, sound, self.speaker.marks(), keys,
                [type(e)(t, e.device) for e in news if isinstance(e, DeviceLost | DeviceBack)],
            )  # fmt: skip
        except Killed:
            self._dies()

    def _listen_to_machine(self) -> None:
        """What the people hear of what was played since, and until when it sounds."""
        silent = bool(MUTE & self.failing.keys())
        news, self.speaker.news = self.speaker.news, []
        for mark in news:
            if mark.what == "begun" and not silent:
                self.people.tool_is_audible(self.speaker.began + lasts_s(mark.prompt))
            elif mark.what == "cut" and not silent:
                self.people.tool_is_audible(self.now)
            elif mark.what == "ended":
                self._reaches(mark.prompt, heard=not silent)
        for entry in [r for r in self.readings if r[0] <= self.now]:
            self.readings.remove(entry)
            if not self._away():
                self.people.hear(entry[1], self.now)
        for at in [g for g in self.guard_says if g <= self.now]:
            self.guard_says.remove(at)
            self._reaches(CALL_BY_GUARD, heard=not silent)

    def _reaches(self, prompt: Say, *, heard: bool) -> None:
        if heard and not self._away() and is_call(prompt) and self.truth.zones and self.heard_call_at is None:
            self.heard_call_at = self.now
        if heard and not self._away():
            self.people.hear(prompt, self.now)
        elif self.chance.random() < self.trial.reads_screen:
            self.readings.append((self.now + READING_S, prompt))

    def _away(self) -> bool:
        return self.now < self.away_until

    # -- the people's mouths ---------------------------------------------------------------------

    def speak(self, who: Who, text: str, begin: float) -> tuple[float, float]:
        begin = max(begin, self.now)
        end = begin + 0.2 + len(text.split()) / WORDS_A_SECOND
        if not self._away():
            self.sayings.append((end + DECISION_S, text, begin, end))
        return begin, end

    def talk(self, who: Who, clip: str, begin: float) -> tuple[str, float, float]:
        return clip, *self.speak(who, "have you seen my blue jacket", begin)

    def _sound_arrives(self, at: float, text: str, begin: float, end: float) -> None:
        if DEAF & self.failing.keys():
            return
        over = self.speaker.queue.playing is not None and not MUTE & self.failing.keys()
        found = self.ears.make_of(text, begin + self.offset, end + self.offset, over)
        if found is not None:
            self.ears.waiting.append(found)

    # -- what goes wrong ---------------------------------------------------------------------------

    def happens(self, event: str, t: float) -> None:
        """Something took place that faults, absences and shouts wait for."""

        def due(moment: Moment) -> bool:
            return moment.event == event

        trial = self.trial
        self.agenda += [(t + f.at.seconds, f.what, f) for f in trial.faults if due(f.at)]
        self.agenda += [(t + at.seconds, "away", seconds) for at, seconds in trial.away if due(at)]
        self.agenda += [(t + at.seconds, "shout", 0.0) for at in trial.shouts if due(at)]

    def _incident(self, what: str, fault: Fault | float, at: float) -> None:
        seconds = fault.for_s if isinstance(fault, Fault) else fault
        if isinstance(fault, Fault) and not what.startswith("end "):
            self.result.faults[what] = self.result.faults.get(what, 0) + 1
        kind, _, device = what.partition(" ")
        if kind == "end":
            self._ends(device)
        elif what == "away":
            self.away_until = max(self.away_until, self.now + seconds)
        elif what == "shout":
            for k in range(3):
                self.sayings.append((self.now + k + 1.0, "aah", self.now + k, self.now + k + 0.8))
        elif what in DEAF | MUTE | {"disk_full", "journal_read_only"}:
            if what not in self.failing:
                self._begins(what)
            self.failing[what] = max(self.failing.get(what, 0.0), self.now + seconds)
            self.agenda.append((self.now + seconds, f"end {what}", 0.0))
        elif what == "voice_missing":
            self.speaker.lack(self.speaker.queue.playing)
        elif what.startswith("wall_clock"):
            self.wall_shift += 3600.0 if what.endswith("forward") else -3600.0
        elif what == "sleep":
            self._goes_off(seconds)
        elif what in ("killed", "killed_torn"):
            if self.loop is not None:
                self.disk.kill_next = "torn" if what == "killed_torn" else "whole"
                self.pause_s = seconds
        elif what == "rebooted":
            if self.loop is not None:
                self.rebooting, self.pause_s = True, seconds
                self._dies()
        elif what == "guard_killed":
            noticed = self.now + GUARD_NOTICED_S if self.loop is not None else math.inf
            self.guard.die(restart_at=noticed)
            if self.loop is None:  # both are gone: the next start says so first
                self.off.append((self.now, self.resume_at))
        elif what == "starved":
            self.starved_until = max(self.starved_until, self.now + seconds)
            self.hindered.append((self.now, self.starved_until))
        elif what == "key_storm":
            for _ in range(30):
                self.agenda.append((self.now + self.chance.uniform(0, seconds), "key", 0.0))
        elif what == "key":
            self.keys.append(self.chance.choice(("yes", "yes", "no", "again", "stop")))

    def _begins(self, what: str) -> None:
        device = what.partition("_")[0]
        if what in SAID_LOST:
            self.news.append(DeviceLost(self.now, device))
        if what == "speaker_lost":
            self.speaker.lost, self.lost_at = True, self.now
        if what in ("disk_full", "journal_read_only"):
            self.disk.full = True

    def _ends(self, what: str) -> None:
        if self.failing.get(what, math.inf) > self.now + 1e-6:
            return
        self.failing.pop(what, None)
        device = what.partition("_")[0]
        if what in SAID_LOST:
            self.news.append(DeviceBack(self.now, device))
        if what == "speaker_lost":
            self.speaker.is_back(self.lost_at)
        if not {"disk_full", "journal_read_only"} & self.failing.keys():
            self.disk.full = False

    def _goes_off(self, seconds: float) -> None:
        """Nothing of the machine runs; what plays goes on where it was."""
        already = max(0.0, self.off_until - self.now)
        self.speaker.stall(max(0.0, seconds - already))
        begin = self.off.pop()[0] if already and self.off else self.now
        self.off_until = max(self.off_until, self.now + seconds)
        self.off.append((begin, self.off_until))

    def _dies(self) -> None:
        """The first process is gone; with a reboot the guard too."""
        assert self.loop is not None
        self.result.unwritten_at_kill += max(0, len(self.history) - self.disk.events)
        self.loop = None
        old, self.speaker = self.speaker, Speaker(self._ordered)
        self.speaker.lost, self.speaker.now, self.speaker.sounds = old.lost, self.now, old.sounds
        self.people.tool_is_audible(min(self.now, old.ends_at()))
        self.ordered = []
        self.resume_at = self.now + self.pause_s
        self.hindered.append((self.now, self.resume_at))
        wall = WALL + timedelta(seconds=self.now + self.wall_shift)
        self.stamp = Stamp(wall, "one", self.now, self.now + self.offset)
        if self.rebooting:
            self.guard.die(restart_at=math.inf)
            self.old_guards = []
            self.off.append((self.now, self.resume_at))
        else:
            self.guard.gone()

    # -- the first process ---------------------------------------------------------------------------

    def _start_first(self) -> None:
        self.loop = Loop(
            self.program, self.ears, self.speaker, self.disk, self.guard, NoScreen(),
            on_event=self._took,
        )  # fmt: skip

    def _resume(self) -> None:
        """A new first process: the journal is replayed, the clock goes on, the guard stays or is started."""
        self.resume_at = math.inf
        self.result.resumed += 1
        self._replay([event_of(record) for record in self.disk.read() if "event" in record])
        state = self.last
        if self.rebooting:
            self._clock_after_reboot()
        self._new_guard(state)
        self._start_first()
        assert self.loop is not None
        self.speaker.now = self.now
        if not self.history:
            self.loop.begin(self.now + self.offset)
            return
        try:
            self.loop.resume(state, self.now + self.offset)
        except Killed:
            self._dies()
        for device in ("microphone", "speaker", "recogniser"):
            failing = any(what in SAID_LOST and what.startswith(device) for what in self.failing)
            if failing:
                self.news.append(DeviceLost(self.now, device))

    def _clock_after_reboot(self) -> None:
        """The larger of the wall clock's and the recorded elapsed time."""
        assert self.stamp is not None
        wall = WALL + timedelta(seconds=self.now + self.wall_shift)
        t = elapsed_across_reboot(self.stamp, wall, "two", self.pause_s / 2)
        self.offset = t - self.now
        self.clocks.append((self.now, self.offset))
        self.clock_unknown = self.clock_unknown or t < self.now - 1.0
        self.rebooting = False

    def _new_guard(self, state: State) -> None:
        """The new first process brings its own; the old one leaves only when nothing it knows is lost."""
        if not self.guard.hands_over(state.due, rinsed=state.cream is Cream.RINSED) and self.guard.alive:
            self.old_guards.append(self.guard)
        self.guard = Guard(self.offset)
        self.guard.now = self.now
        if state.due is not None and state.cream is Cream.HEAD:
            self.guard.arm(state.due, state.ledger.began or state.due)

    def _replay(self, events: list[Event]) -> None:
        """9: the same events give the same states, exactly, and nothing that was on disk is gone."""
        known = self.history
        if events[: len(known)] != [event for event, _ in known[: len(events)]]:
            self.result.lost_events += 1
        if len(events) < min(self.disk.events, len(known)):
            self.result.lost_events += 1
        state, history, self.watch = State(), [], Watch(self.program)
        for event in events:
            before = state
            state, actions = advance(self.program, before, event)
            history.append((event, state))
            self.watch.look(before, event, actions, state)
        self.disk.events = len(events)
        if history[: len(known)] != known[: len(history)]:
            self._breach("replay_gives_the_same_state", "the state after the replay is another")
        self.history, self.last = history, state

    def _took(self, event: Event, actions: tuple[Action, ...], state: State) -> None:
        """Every event that the loop has dealt with, held against all claims."""
        before, self.last = self.last, state
        self.history.append((event, state))
        self.result.events += 1
        known = state.cream is Cream.RINSED or state.stance is Stance.RINSING
        if known != self.water_log[-1][1]:
            self.water_log.append((self.now, known))
        for breach in self.watch.look(before, event, actions, state):
            self._breach(breach.claim, breach.what)
        says = [action for action in actions if isinstance(action, Say)]
        ordered, self.ordered = self.ordered, []
        if [prompt for prompt, _ in ordered] != says:
            self._breach("what_is_ordered_is_spoken", f"{len(says)} prompts ordered, {len(ordered)} spoken")
        if not all(written for _, written in ordered) and not any(is_urgent(action) for action in actions):
            self._breach("journal_first", "something that could wait was spoken before it was written")

    def _ordered(self, prompt: Say) -> None:
        """The loop hands a prompt to the mixer: is it on disk by now, or can it not be?"""
        self.ordered.append((prompt, prompt.name in self.disk.in_turn or self.disk.full))

    # -- the guard, and the deadline -----------------------------------------------------------------

    def _beat(self) -> None:
        assert self.loop is not None
        places = {Stance.RINSE_CALL: "calling", Stance.RINSING: "water"}
        self.guard.beat(places.get(self.loop.state.stance, ""))

    def _guards_turn(self) -> None:
        starved = self.next_turn > self.now
        if not self.guard.alive and self.guard.restart_at <= self.now:
            self.guard.start()
        elif not self.guard.alive and self.guard.restart_at == math.inf and self.loop is not None:
            self.guard.restart_at = self.now + GUARD_NOTICED_S
        if self.loop is not None and not starved and self.guard.wakes_at() <= self.now:
            self._beat()  # between two moments of the world the loop turns fifty times a second
        for guard in (self.guard, *self.old_guards):
            if guard.look(closely=self.loop is None or starved):
                self.guard_sounds.append(self.now)
                self.guard_says.append(self.now + lasts_s(CALL_BY_GUARD))
                if not MUTE & self.failing.keys():
                    self.people.tool_is_audible(self.now + lasts_s(CALL_BY_GUARD))

    def _deadline(self) -> None:
        """The one deadline of the run, seen from outside: was a call sounding when it was due, and if not, why."""
        due = self.last.due
        if due is None:
            return
        at = self._true_time(due)
        if self.end_t < at:
            return
        self.result.calls_due = 1
        wet = [zone.wet for zone in self.truth.zones.values()]
        if self._water_known_at(at) or all(t is not None and t <= at + LATE_S for t in wet):
            return
        sounds = sorted([*self.speaker.sounds, *self.guard_sounds])
        armed = self._true_time(next(event.t for event, state in self.history if state.due == due))
        asleep = None
        for begin, until in sorted(self.off):  # one may begin within another, and end after it
            if begin <= (at + LATE_S if asleep is None else asleep) and at <= until:
                asleep = max(until, asleep or 0.0)
        latest = max(at, armed, asleep if asleep is not None else 0.0) + LATE_S
        if asleep is not None:
            self.result.while_off = 1
        if self._guard_may_be_first(at):
            latest += CONFIRM_S
        later = [t for t in sounds if t >= at - LONGEST_CALL_S]
        if not later:
            self.result.missed = int(self.end_t > latest)
            return
        self.result.late = int(later[0] > latest)
        if asleep is None and armed <= at:
            self.result.call_after_due_s = max(0.0, later[0] - at)

    def _true_time(self, run_s: float) -> float:
        """When the run clock said so first."""
        ends = [begin for begin, _ in self.clocks[1:]] + [math.inf]
        for (begin, offset), end in zip(self.clocks, ends, strict=True):
            if run_s - offset < end:
                return max(begin, run_s - offset)
        return math.inf

    def _guard_may_be_first(self, at: float) -> bool:
        """The first process could not be in time: starved, or dead, or just started again."""
        return any(begin - 1 <= at <= end + STARVED_S for begin, end in self.hindered)

    def _water_known_at(self, at: float) -> bool:
        """By then somebody had said that the water runs, or it had run clear; a disk that failed forgets no truth."""
        return next((known for t, known in reversed(self.water_log) if t <= at + LATE_S), False)

    # -- the end -------------------------------------------------------------------------------------

    def _close(self) -> None:
        result = self.result
        self.end_t = self.now
        result.outcome = self.last.outcome or f"open: {self.last.stance.value}"
        result.virtual_s = self.now
        self._deadline()
        if self.loop is not None and not self.disk.full:
            waiting = sum("event" in record for record in self.loop._unwritten)
            result.lost_events += abs(len(self.history) - self.disk.events - waiting)
        result.called_by_guard = len(self.guard_sounds)
        result.calls_in_all = len(self.speaker.sounds) + len(self.guard_sounds)
        for zone in exposure(
            self.truth, self.last.limit.seconds or math.inf, self.program.kit.limit_means, self.now
        ):
            if zone.over_limit:
                cause = self._why(zone)
                result.over_limit[cause] = result.over_limit.get(cause, 0) + 1

    def _why(self, zone: ZoneExposure) -> str:
        """Why a zone was over its limit, the tool's own faults first."""
        result = self.result
        if result.late or result.missed:
            return "late call"
        if self.clock_unknown:
            return "wall clock set back while the machine was off"
        if result.while_off:
            return "machine off, or both processes killed, at the due time"
        if self.heard_call_at is None or zone.water is None:
            return "people: nobody heard the call" if self.heard_call_at is None else "people: never went"
        if self.heard_call_at > self._true_time(self.last.due or 0.0) + HEARD_SOON_S:
            return "people: heard it late"
        began, told = self.truth.cream_on(), self.last.ledger.began
        if began is not None and told is not None and began < self._true_time(told) - 1.0:
            return "people: began before they were told"
        return "people: went late or were slow"

    def _breach(self, claim: str, what: str) -> None:
        if claim not in {
            breach.claim for breach in self.result.breaches
        }:  # the first is what led to the others
            self.result.breaches.append(Breach(claim, self.now, what))
