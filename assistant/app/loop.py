"""The loop: the only place where the core meets devices.

One `turn` takes in a block of sound and whatever keys and devices reported,
turns them into events, and carries out what the session orders. It is the same
loop for a real bathroom and for a rehearsal: whoever drives it owns the clock.
"""

from __future__ import annotations

from collections import deque
from collections.abc import Callable, Iterable
from dataclasses import dataclass

from assistant.core.actions import Action, Arm, Close, Disarm, Drop, Priority, Say
from assistant.core.checks import plain
from assistant.core.events import (
    Begun,
    DeviceBack,
    DeviceLost,
    Doubted,
    Event,
    Heard,
    Noticed,
    Pressed,
    Resumed,
    Spoken,
    Ticked,
)
from assistant.core.hearing import Hypothesis, Risk, Verdict, decide
from assistant.core.loudness import Loudness
from assistant.core.program import Program
from assistant.core.session import Cream, Stance, State, advance, live_names, view
from assistant.ears.knocks import Knocks
from assistant.journal.record import of_action, of_event
from assistant.ports import RATE, Behind, Ears, Guard, Journal, Mark, Mixer, Samples, Screen

KEPT_S = 30.0
"""How long a prompt's words are remembered for telling its echo from a person."""

SLEPT_S = 15.0
"""A turn that comes so long after the last one: the machine slept, or the program was held up as badly."""
PLACES = {Stance.RINSE_CALL: "calling", Stance.RINSING: "water"}
"""What the guard has to know of where a run is."""


@dataclass(slots=True)
class Playing:
    """A prompt that sounds or sounded: its plain words and when."""

    words: str
    begin: float
    end: float | None = None


class Loop:
    """Runs one session. `on_heard` is told every hypothesis with its verdict, for those who count."""

    def __init__(
        self,
        program: Program,
        ears: Ears,
        mixer: Mixer,
        journal: Journal,
        guard: Guard,
        screen: Screen,
        *,
        decision_s: float = 0.0,
        stream_began: float = 0.0,
        on_heard: Callable[[Hypothesis, Verdict], None] | None = None,
        on_event: Callable[[Event, tuple[Action, ...], State], None] | None = None,
    ) -> None:
        """`decision_s`: seconds a hearing decision costs on the run clock, where the clock does not count them itself;
        `stream_began`: when the output stream gave its first sample.
        """
        self.program = program
        self.ears = ears
        self.mixer = mixer
        self.journal = journal
        self.guard = guard
        self.screen = screen
        self.decision_s = decision_s
        self.stream_began = stream_began
        self.on_heard = on_heard
        self.on_event = on_event
        self.state = State()
        self._view = view(program, self.state)
        self.t = 0.0
        self.closing = False
        self.causes: list[str] = []
        self._live: tuple[str, ...] = ()
        self._waiting: deque[tuple[float, Hypothesis]] = deque()
        self._prompts: deque[Playing] = deque()
        self._open: list[Playing] = []
        self._unwritten: deque[dict[str, object]] = deque()
        self._unguarded = False
        self._knocks = Knocks()
        self._loudness = Loudness()

    def begin(self, t: float = 0.0) -> None:
        """Start the run. Raises VocabularyError when the ears lack a word of a phrase."""
        self.t = t
        self.ears.allow(self.program.live(self.program.book.heard))
        self.happen(Begun(t))

    def resume(self, state: State, t: float) -> None:
        """Go on from `state`, which a run that broke off was in, at `t` on its clock."""
        self.state, self.t = state, t
        self.happen(Resumed(t))

    @property
    def done(self) -> bool:
        """The run is closed and everything was said."""
        return self.closing and self.mixer.idle()

    def turn(
        self,
        t: float,
        heard: Samples,
        played: Samples,
        marks: Iterable[Mark],
        keys: Iterable[str] = (),
        devices: Iterable[Event] = (),
    ) -> None:
        """One block ending at `t`: `heard` from the microphone, `played` by the speaker meanwhile (both may be empty).

        `marks` are the mixer's, `keys` the pressed keys by meaning, `devices` what was lost or came back.
        """
        slept, self.t = t - self.t > SLEPT_S, t
        if slept:
            self.happen(Resumed(t, "sleep"))
        for mark in marks:
            self._marked(mark)
        self._tick()  # what is due waits for no recogniser
        self._look_to_guard()
        for event in devices:
            self.happen(event)
        missing = self.mixer.missing()
        if missing and "voice" not in self.state.lost:
            self.happen(DeviceLost(t, "voice", f"no clip of {missing[0].text!r}"))
        if len(heard):
            for hypothesis in self.ears.feed(heard, played, t):
                self._waiting.append((t + self.decision_s, hypothesis))
            if self._knocks.feed(heard, played, t):
                self.happen(Noticed(t, "knock"))
        while self._waiting and self._waiting[0][0] <= t:
            self._hear(self._waiting.popleft()[1])
        for key in keys:
            self.happen(Pressed(t, key))
        self._tick()
        now, began, due = self._view, self.state.ledger.began, self.state.due
        call_in = None if due is None or now.call_in_s is None else due - t
        cream = None if began is None or now.cream_on_s is None else t - began
        self.screen.clock(t, cream, call_in, f"{now.where}: {now.zone}" if now.zone else now.where)

    def _tick(self) -> None:
        if self.state.timers and self.state.timers[0][0] <= self.t:
            self.happen(Ticked(self.t))

    def _look_to_guard(self) -> None:
        """One beat; and whether anybody feels it."""
        self.guard.beat(PLACES.get(self.state.stance, ""))
        problem = self.guard.problem
        if bool(problem) is not self._unguarded:
            self._unguarded = bool(problem)
            lost, back = DeviceLost(self.t, "guard", problem), DeviceBack(self.t, "guard")
            self.happen(lost if problem else back)

    # -- hearing -----------------------------------------------------------------------

    def _hear(self, hypothesis: Hypothesis) -> None:
        verdict = self._judge(hypothesis)
        if self.on_heard is not None:
            self.on_heard(hypothesis, verdict)
        best = hypothesis.best
        if verdict is not Verdict.IGNORE:
            self.screen.heard(self.t, best.text if best is not None else "", verdict.value)
        if verdict is Verdict.BELIEVE and best is not None:
            self._loudness = self._loudness.after(hypothesis.level_db)
            self.happen(Heard(self.t, best.name, best.slot))
        elif verdict is Verdict.ASK and best is not None:
            self.happen(Doubted(self.t, best.name, best.slot))
        elif verdict is Verdict.SOMEBODY:
            shout = self._loudness.is_shout(hypothesis.level_db)
            self.happen(Noticed(self.t, "shout" if shout else "speech"))

    def _judge(self, hypothesis: Hypothesis) -> Verdict:
        """The hearing decision, after setting aside the echo of our own words.

        Words of a prompt can not be taken for a command while it sounds. Stop
        phrases are never set aside so while cream is out.
        """
        best = hypothesis.best
        if best is not None and best.name not in live_names(self.program, self.state):
            return Verdict.SOMEBODY
        own = best is not None and any(
            f" {best.text} " in f" {p.words} "
            for p in self._prompts
            if p.begin < hypothesis.t_end and (p.end is None or p.end > hypothesis.t_begin)
        )
        if own and best is not None and (best.risk is not Risk.STOP or self.state.cream in (Cream.SHUT,)):
            return Verdict.IGNORE
        return decide(hypothesis, self._loudness.softest_db)

    def _marked(self, mark: Mark) -> None:
        t = min(self.t, self.stream_began + mark.at / RATE)
        if mark.what == "begun":
            if mark.prompt.alarm and "speaker" not in self.state.lost:
                self.guard.called()
            prompt = Playing(plain(mark.prompt), t)
            self._prompts.append(prompt)
            self._open.append(prompt)
            while self._prompts and self._prompts[0].end is not None and self._prompts[0].end < t - KEPT_S:
                self._prompts.popleft()
            self.screen.said(t, mark.prompt)
            return
        words = plain(mark.prompt)
        for prompt in [p for p in self._open if p.words == words][:1]:
            prompt.end = t
            self._open.remove(prompt)
        if mark.what == "ended" and self.state.stance is not Stance.CLOSED:
            self.happen(Spoken(self.t, mark.prompt.name))

    # -- one event ---------------------------------------------------------------------

    def happen(self, event: Event) -> None:
        """Journal first, then act; what calls to the water or stops never waits for the disk."""
        if event.t < self.state.t:
            raise ValueError("the run clock went back")
        before = self.state
        self.state, actions = advance(self.program, self.state, event)
        records = [of_event(event), *(of_action(action, event.t) for action in actions)]
        if any(is_urgent(action) for action in actions):
            self._carry_out(actions)
            failed = self._write(records)
        else:
            failed = self._write(records)
            self._carry_out(actions)
        if wants_a_sign(event) and not any(isinstance(action, Say) for action in actions):
            self.mixer.acknowledge()
        call = self.state.call
        if call is not None and (before.call is None or before.call.cause != call.cause):
            self.causes.append(call.cause)
        self._view = view(self.program, self.state)
        self.screen.stands(event.t, self._view)
        if self.on_event is not None:
            self.on_event(event, actions, self.state)
        self._listen()
        if isinstance(event, DeviceLost | DeviceBack) and event.device == "journal":
            return
        if bool(failed) is not ("journal" in self.state.lost):
            lost, back = DeviceLost(event.t, "journal", failed), DeviceBack(event.t, "journal")
            self.happen(lost if failed else back)

    def _write(self, records: list[dict[str, object]]) -> str:
        """Write, oldest first; what the disk would not take is kept for the next time. Returns what went wrong."""
        self._unwritten.extend(records)
        failed = ""
        while self._unwritten:
            try:
                self.journal.write(self._unwritten[0])
            except Behind as behind:
                failed = str(behind)
            except OSError as error:
                return str(error)
            self._unwritten.popleft()
        return failed

    def _carry_out(self, actions: tuple[Action, ...]) -> None:
        for action in actions:
            if isinstance(action, Say):
                self.mixer.say(action)
            elif isinstance(action, Drop):
                self.mixer.drop(action.about)
            elif isinstance(action, Arm):
                began = self.state.ledger.began
                self.guard.arm(action.due, action.due if began is None else began)
            elif isinstance(action, Disarm):
                self.guard.disarm()
            elif isinstance(action, Close):
                self.closing = True

    def _listen(self) -> None:
        names = live_names(self.program, self.state)
        if names != self._live:
            self._live = names
            self.ears.allow(self.program.live(names))


def wants_a_sign(event: Event) -> bool:
    """Who spoke or knocked shall know that it was heard, also where nothing is said to it."""
    return isinstance(event, Heard) or (isinstance(event, Noticed) and event.kind == "knock")


def is_urgent(action: Action) -> bool:
    """What calls to the water or stops never waits for the disk.

    The guard's deadline waits the little while that writing is given: what it is
    told is then in the journal, too, unless the disk fails.
    """
    return isinstance(action, Say) and action.priority <= Priority.WARNING
