"""The session: every stance a run can be in, every trigger, and what follows.

The rule of this file: `advance(program, state, event)` is a pure function; the
table at the end says which trigger does what in which stance; a trigger that is
not in a stance's row is heard by nobody there and changes nothing.

Time is a value. What is due stands in `State.timers` as absolute seconds on the
run clock, and an event at `t` first lets everything happen that was due by `t`.
The cream-on clock starts with the instruction to begin and never pauses.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass, field, replace
from enum import Enum

from assistant.core import pace
from assistant.core.actions import Action, Arm, Close, Disarm, Drop, Priority, Say, Sentence
from assistant.core.asks import ASKS
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
from assistant.core.exposure import Ledger
from assistant.core.forecast import Forecast, Verdict, advice, ahead, changes, forecast, task
from assistant.core.program import EYE_FLUSH_S, SKIN_RINSE_S, STILL_MIXING_S, Program, item_texts
from assistant.core.reasons import Limit, Reason
from assistant.core.routine import (
    AnyStep,
    Cover,
    Mix,
    Must,
    Rinse,
    Stand,
    TickOff,
)

WARN_BEFORE_S = (300.0, 180.0, 60.0)
"""Warnings before the rinse call, with the one at half time (design decision, no source)."""
STALE_S = 15.0
"""A warning that comes later than this, after a sleep of the machine, is left out: the next one tells the truth."""
CALL_EVERY_S = 12.0
"""The rinse call is repeated this often until it is acknowledged (interburst 2.5 to 15 s, IEC 60601-1-8)."""
CALL_LEVELS = (1.0, 1.25, 1.6)
"""The first call as loud as the alarm that was checked and heard before mixing, those after it louder: bent to fit full
scale the tone gains 1.7 and 3.2 dB, the words 1.9 and 4.1 dB (measured)."""
KEY_MEANS_CALL_S = 2.0
"""A key within this time of the call's first sound was meant for what was before it (a pedal pressed twice): it does not
silence what nobody can have heard yet. From the tone to a foot on a pedal takes some 0.7 s (common practice, no source),
and who pressed too early presses again."""
REMIND_EVERY_S = 45.0
WITHDRAW_WITHIN_S = 15.0
BURN_CHECK_EVERY_S = 180.0
CRY_APART_S = 15.0
"""After a burn check a child's talk is not asked about again for so long (our choice)."""
BURN_LADDER_S = 12.0
"""An unanswered burn check climbs one rung every so often: louder, with a tone, by key, rinse."""
DOUBT_S = 9.0
WORDS_A_SECOND = 2.3
"""For a prompt whose end is never reported (voice or speaker lost): 138 words a minute."""
PATIENCE_S = {
    "confirm": 60.0, "tick": 15.0, "both": 20.0, "read_back": 30.0, "mixed": 15.0, "strand": 20.0, "cover": 180.0,
    "smooth_zone": 120.0, "let_work": 120.0, "wiped": 20.0, "colour": 20.0, "yes_no": 15.0, "carry_on": 90.0,
}  # fmt: skip
"""Seconds of silence after a prompt before it is asked again: as long as the work asked for may well take."""
ASIDE_PATIENCE_S = {"burn": BURN_LADDER_S, "doubt": DOUBT_S, "wipe": PATIENCE_S["wiped"]}
TRIES_BEFORE_KEY = 2


class Stance(str, Enum):
    """Where a run stands."""

    READY = "ready"
    CONFIRM = "confirm"
    TICK_OFF = "tick off"
    BOTH = "both"
    MUST = "must"
    READ_BACK = "read back"
    STANDING = "standing"
    MIXING = "mixing"
    LUMPS = "lumps"
    STRAND_ON = "strand on"
    STRAND_WORKS = "strand works"
    STRAND_OFF = "strand off"
    COVERING = "covering"
    SMOOTHING = "smoothing"
    LETTING_WORK = "letting work"
    RINSE_CALL = "rinse call"
    RINSING = "rinsing"
    LATHER = "lather"
    LATHER_STANDS = "lather stands"
    LATHER_OUT = "lather out"
    FOAM = "foam"
    HEAT = "heat"
    CONDITIONING = "conditioning"
    HALTED = "halted"
    CARE = "care"
    AWAY = "away"
    CLOSED = "closed"


class Cream(str, Enum):
    """Where the cream is."""

    SHUT = "shut"
    BOWL = "bowl"
    STRAND = "strand"
    HEAD = "head"
    RINSED = "rinsed"


@dataclass(frozen=True, slots=True)
class Question:
    """What is wanted of the people: the prompt that asked, and how often it went unanswered."""

    asks: str
    prompt: Say
    tries: int = 0


@dataclass(frozen=True, slots=True)
class Aside:
    """A question beside the step's own: "burn", "doubt" or "wipe"."""

    kind: str
    question: Question
    since: float
    heard: Heard | None = None


@dataclass(frozen=True, slots=True)
class Call:
    """A rinse call: why, since when, how often sounded, and what stood before it (for taking it back)."""

    cause: str
    since: float
    by_voice: bool = False
    times: int = 0
    acknowledged: float | None = None
    clear: float | None = None
    key_at: float | None = None
    word_at: float | None = None
    before: State | None = None
    harms: tuple[str, ...] = ()
    """Every way somebody is hurt: a later report adds to the first aid, it never takes any away."""

    def with_harm(self, phrase: str) -> Call:
        """The same call for `phrase`, which stays in the books where it names a harm."""
        harms = (*self.harms, phrase) if phrase in HARM and phrase not in self.harms else self.harms
        return replace(self, cause=phrase, harms=harms)


@dataclass(frozen=True, slots=True)
class State:
    """Everything a run knows. Two runs with the same events have equal states."""

    t: float = 0.0
    stance: Stance = Stance.READY
    step: int = 0
    item: int = 0
    todo: tuple[str, ...] = ()
    left_out: tuple[str, ...] = ()
    cream: Cream = Cream.SHUT
    ledger: Ledger = field(default_factory=Ledger)
    limit: Limit = Limit(0.0, Reason("none", "", "this run"))
    limit_read_back: float = 0.0
    strand_since: float | None = None
    pace: pace.Belief = pace.FIRST_GUESS
    """What is believed of today's pace."""
    at_hand: float | None = None
    """Since when the first zone of `todo` is worked on; None when that is not known."""
    chance: float | None = None
    """Of doing all that is left in time, as last forecast."""
    will_not_fit: int = 0
    """Zones that were said not to fit and are still to do."""
    due: float | None = None
    question: Question | None = None
    asides: tuple[Aside, ...] = ()
    call: Call | None = None
    answered: tuple[str, ...] = ()
    timers: tuple[tuple[float, str], ...] = ()
    last: tuple[Say, ...] = ()
    sign: float = 0.0
    lost: tuple[str, ...] = ()
    outcome: str = ""


Handler = Callable[["Turn"], None]

HARM = ("it_burns", "in_my_eye", "swallowed_some", "cannot_breathe")
STOPS = ("rinse_now", "stop_now", *HARM)
LEAST_WATER_S = {"it_burns": SKIN_RINSE_S, "in_my_eye": EYE_FLUSH_S}
CREAM_OUT = frozenset({Cream.BOWL, Cream.STRAND, Cream.HEAD})


class Turn:
    """One event being answered: the state as it changes and the actions so far.

    Lives for one call of `advance` and is never kept.
    """

    def __init__(self, program: Program, state: State, event: Event) -> None:
        self.program = program
        self.state = replace(
            state
        )  # a copy of our own, so that `set` may work in place: a frozen copy a change is slow
        self.event = event
        self.t = event.t
        self.actions: list[Action] = []

    # -- small verbs -----------------------------------------------------------------

    def set(self, **changes: object) -> None:
        for name, value in changes.items():
            object.__setattr__(self.state, name, value)

    def order(self, action: Action) -> None:
        self.actions.append(action)

    def timer(self, name: str, at: float) -> None:
        """Let `name` happen at `at`; a timer of that name is moved."""
        rest = [timer for timer in self.state.timers if timer[1] != name]
        self.set(timers=tuple(sorted([*rest, (at, name)])))

    def cancel(self, *names: str) -> None:
        self.set(timers=tuple(timer for timer in self.state.timers if timer[1] not in names))

    def left(self, name: str) -> float | None:
        """Seconds until the timer `name`, or None when it is not set."""
        return next((at - self.t for at, timer in self.state.timers if timer == name), None)

    @property
    def step(self) -> AnyStep:
        return self.program.steps[self.state.step]

    @property
    def about(self) -> str:
        return self.step.id

    def heard(self) -> Heard:
        assert isinstance(self.event, Heard)
        return self.event

    # -- speaking --------------------------------------------------------------------

    def say(
        self,
        name: str,
        *,
        asks: str = "",
        about: str | None = None,
        alarm: bool = False,
        level: float = 1.0,
        ask_now: bool = True,
        slots: Mapping[str, str] | None = None,
        **more: str,
    ) -> Say:
        """Speak the book's prompt `name`."""
        filled = {**(slots or {}), **more}
        values = self.program.slots(self.state.limit.seconds, **filled)
        return self.speak(
            Say(
                name,
                self.program.book.sentences(name, values, with_helper=self.program.with_helper),
                self.program.book.said[name].rank(),
                self.about if about is None else about,
                level,
                alarm,
                asks,
                tuple(sorted(filled.items())),
            ),
            ask_now=ask_now,
        )

    def speak(self, prompt: Say, *, ask_now: bool = True) -> Say:
        self.order(prompt)
        self.set(last=((*self.state.last, prompt) if self._same_breath() else (prompt,)))
        if prompt.asks and ask_now:
            self.ask(Question(prompt.asks, prompt))
        return prompt

    def _same_breath(self) -> bool:
        return any(isinstance(action, Say) for action in self.actions[:-1])

    def step_says(self, asks: str = "", *, alarm: bool = False, **slots: str) -> None:
        """Speak the step's own words: the caution first, then what to do."""
        step, book = self.step, self.program.book
        values = self.program.slots(self.state.limit.seconds, **slots)
        if step.caution:
            caution = book.fill(step.caution, (), values, with_helper=False)
            self.speak(Say(f"step:{step.id}:caution", caution, Priority.CAUTION, step.id))
        sentences = book.fill(step.say, step.helper, values, with_helper=self.program.with_helper)
        if sentences:
            self.speak(
                Say(
                    f"step:{step.id}",
                    sentences,
                    Priority.INSTRUCTION,
                    step.id,
                    1.0,
                    alarm,
                    asks,
                    tuple(sorted(slots.items())),
                )
            )

    def ask(self, question: Question) -> None:
        """Open a question; silence is counted from the end of the prompt, or from when it must have ended."""
        self.set(question=question)
        self.wait_for_answer(question.prompt)

    def wait_for_answer(self, prompt: Say) -> None:
        patience = PATIENCE_S.get(prompt.asks)
        if patience is not None:
            self.timer("unanswered", self.t + speaking_s(prompt.sentences) + patience)

    # -- asides ----------------------------------------------------------------------

    def aside(self, kind: str) -> Aside | None:
        return next((a for a in self.state.asides if a.kind == kind), None)

    def ask_beside(self, kind: str, name: str, asks: str, heard: Heard | None = None, **more: str) -> None:
        """Ask the book's `name` beside the step. What the same kind asked before goes first: its drop must not take
        the new words away."""
        self.close_aside(kind)
        prompt = self.say(name, about=f"aside:{kind}", asks=asks, ask_now=False, slots=more)
        self.set(asides=(*self.state.asides, Aside(kind, Question(asks, prompt), self.t, heard)))
        self.timer(f"{kind} unanswered", self.t + speaking_s(prompt.sentences) + ASIDE_PATIENCE_S[kind])

    def close_aside(self, *kinds: str) -> None:
        for kind in kinds:
            if self.aside(kind) is not None:
                self.order(Drop(f"aside:{kind}"))
        self.set(asides=tuple(a for a in self.state.asides if a.kind not in kinds))
        self.cancel(*(f"{kind} unanswered" for kind in kinds))

    # -- the deadline ----------------------------------------------------------------

    def touch(self, zone: str, t: float) -> None:
        """Cream is on `zone` from `t`: the clock runs."""
        left_out = tuple(z for z in self.state.left_out if z != zone)  # it has cream: it must be rinsed
        self.set(ledger=self.state.ledger.touch(zone, t), cream=Cream.HEAD, left_out=left_out)
        self.rearm()
        if self.left("burn check") is None and self.aside("burn") is None:
            self.timer("burn check", self.t + BURN_CHECK_EVERY_S)

    def rearm(self) -> None:
        """Set the rinse call; a deadline only ever comes nearer."""
        due = self.program.call_due(self.state.ledger, self.state.left_out, self.state.limit.seconds)
        if due is None or (self.state.due is not None and due >= self.state.due):
            return
        self.set(due=due)
        self.order(Arm(due))
        self.timer("call", due)
        began = self.state.ledger.began
        assert began is not None
        marks = {f"warn {int(s // 60)}": due - s for s in WARN_BEFORE_S} | {"warn half": (began + due) / 2}
        self.cancel(*marks)
        for name, at in marks.items():
            if at > self.t and not (name == "warn half" and due - at < WARN_BEFORE_S[0] + 30):
                self.timer(name, at)

    # -- moving ----------------------------------------------------------------------

    def enter(self, index: int) -> None:
        """Go to the step at `index`, or past those that do not hold, or to the end."""
        if self.state.stance is not Stance.READY and self.state.step < len(self.program.steps):
            self.order(Drop(self.about))
        steps = self.program.steps
        while (
            index < len(steps) and steps[index].only_if == "limit came down" and not self._limit_came_down()
        ):
            index += 1
        self.close_aside("doubt")
        self.cancel("unanswered", "least", "greatest", "lumps", "strand check", "remind")
        self.set(step=index, item=0, todo=(), question=None, answered=())
        if index >= len(steps):
            self.finish()
            return
        ENTER[steps[index].kind](self)

    def _limit_came_down(self) -> bool:
        return self.state.limit.seconds < self.state.limit_read_back

    def next(self) -> None:
        self.enter(self.state.step + 1)

    def finish(self) -> None:
        self.set(
            stance=Stance.CLOSED, outcome="finished", step=len(self.program.steps) - 1, timers=(), asides=()
        )
        after = self.program.book.fill(
            self.program.routine.aftercare, (), self.program.slots(0.0), with_helper=False
        )
        self.say("finished", about="end")
        for k in range(0, len(after), 2):
            self.speak(Say("aftercare", after[k : k + 2], Priority.INSTRUCTION, "end"))
        self.order(Close("finished"))

    def stop(self, name: str) -> None:
        """The run ends here, without a head to finish."""
        self.set(stance=Stance.CLOSED, outcome="stopped", timers=(), asides=(), question=None)
        self.say(name, about="end")
        self.order(Close("stopped"))


def speaking_s(sentences: tuple[Sentence, ...]) -> float:
    """About how long these sentences take to speak."""
    return sum(len(s.text.split()) for s in sentences) / WORDS_A_SECOND


def minutes(seconds: float) -> int:
    """Whole minutes a person may count on: rounded down, never below zero."""
    return max(0, int(seconds // 60))


# -- entering each kind of step ------------------------------------------------------


def enter_confirm(turn: Turn) -> None:
    turn.set(stance=Stance.CONFIRM)
    turn.step_says("confirm")


def enter_tick_off(turn: Turn) -> None:
    turn.set(stance=Stance.TICK_OFF)
    turn.step_says()
    name_item(turn)


def name_item(turn: Turn) -> None:
    assert isinstance(turn.step, TickOff)
    item = turn.step.items[turn.state.item]
    words = turn.program.book.fill(
        item_texts(item.name, item.why), (), turn.program.slots(0.0), with_helper=False
    )
    turn.speak(
        Say("item", words, Priority.INSTRUCTION, turn.about, asks="tick", slots=(("item", item.name),))
    )


def enter_both(turn: Turn) -> None:
    turn.set(stance=Stance.BOTH)
    turn.step_says("both")


def enter_must(turn: Turn) -> None:
    assert isinstance(turn.step, Must)
    turn.set(stance=Stance.MUST)
    turn.step_says("yes_no", alarm=turn.step.plays_alarm)


def enter_read_back(turn: Turn) -> None:
    turn.set(stance=Stance.READ_BACK)
    turn.step_says("read_back", minutes=str(minutes(turn.state.limit.seconds)))
    offer_key_for_value(turn)


def offer_key_for_value(turn: Turn) -> None:
    """A number that no ear here knows: the key is named at once, not after two silences."""
    if minutes(turn.state.limit.seconds) not in turn.program.minutes_heard:
        turn.say("by_key.value", asks="key", ask_now=False)


def enter_stand(turn: Turn) -> None:
    assert isinstance(turn.step, Stand)
    stand(turn, Stance.STANDING, turn.step.least_minutes, turn.step.greatest_minutes)
    turn.step_says("let_work")


def stand(turn: Turn, stance: Stance, least: float, greatest: float) -> None:
    turn.set(stance=stance)
    turn.timer("least", turn.t + least * 60)
    turn.timer("greatest", turn.t + greatest * 60)


def enter_mix(turn: Turn) -> None:
    turn.set(stance=Stance.MIXING, cream=Cream.BOWL)
    turn.timer("lumps", turn.t + turn.program.mix_least_s)
    turn.step_says()


def enter_strand(turn: Turn) -> None:
    turn.set(stance=Stance.STRAND_ON, cream=Cream.STRAND)
    turn.step_says("confirm")


def enter_cover(turn: Turn) -> None:
    step = turn.step
    assert isinstance(step, Cover)
    todo = tuple(z for z in turn.program.zones_of(step) if z not in turn.state.left_out)
    if not todo:
        turn.next()
        return
    turn.set(stance=Stance.COVERING, todo=todo, limit_read_back=turn.state.limit.seconds, at_hand=None)
    if turn.state.cream is Cream.HEAD and not look_ahead(turn):
        turn.next()
        return
    turn.touch(todo[0], turn.t)
    turn.set(at_hand=turn.t)
    turn.step_says()
    turn.say("cover.first", asks="cover", zone=todo[0], part=step.part)


def enter_smooth(turn: Turn) -> None:
    order = turn.state.ledger.order()
    turn.set(stance=Stance.SMOOTHING, todo=order)
    turn.step_says()
    turn.say("smooth.first", asks="smooth_zone", zone=order[0])


def enter_let_work(turn: Turn) -> None:
    turn.set(stance=Stance.LETTING_WORK)
    turn.step_says("let_work")


def enter_rinse(turn: Turn) -> None:
    if turn.state.cream is Cream.HEAD:
        call(turn, "planned")
    else:
        turn.next()


def enter_lather(turn: Turn) -> None:
    turn.set(stance=Stance.LATHER)
    turn.step_says("confirm")


def enter_lather_stand(turn: Turn) -> None:
    span = turn.program.kit.second_lather_minutes
    stand(turn, Stance.LATHER_STANDS, span.least, span.greatest)
    turn.step_says()


def enter_condition(turn: Turn) -> None:
    turn.set(stance=Stance.HEAT)
    turn.step_says()
    turn.say("heat", asks="yes_no")


ENTER: Mapping[str, Handler] = {
    "confirm": enter_confirm,
    "tick off": enter_tick_off,
    "both": enter_both,
    "must": enter_must,
    "read back": enter_read_back,
    "stand": enter_stand,
    "mix": enter_mix,
    "strand test": enter_strand,
    "cover": enter_cover,
    "smooth": enter_smooth,
    "let work": enter_let_work,
    "rinse": enter_rinse,
    "lather": enter_lather,
    "lather and stand": enter_lather_stand,
    "condition": enter_condition,
}


# -- what triggers do ----------------------------------------------------------------


def go_on(turn: Turn) -> None:
    turn.next()


def nothing(turn: Turn) -> None:
    """Live, so that it is not taken for something else, and without effect here."""


def begin(turn: Turn) -> None:
    turn.set(limit=turn.program.limit, pace=pace.today(turn.program.pace))
    turn.enter(0)


def go_back(turn: Turn) -> None:
    """One step or item back, never behind what can not be undone."""
    state = turn.state
    if state.item > 0:
        turn.set(item=state.item - 1)
        name_item(turn)
        return
    floor = 0
    for index, step in enumerate(turn.program.steps[: state.step + 1]):
        if isinstance(step, Mix | Rinse) or (isinstance(step, Cover) and state.cream is Cream.HEAD):
            floor = index + (0 if isinstance(step, Cover) else 1)
    target = state.step - 1
    while target > floor and turn.program.steps[target].only_if == "limit came down":
        target -= 1
    if target < floor:
        turn.say("no_way_back")
        return
    turn.enter(target)


def cover_back(turn: Turn) -> None:
    """Back to the zone before: it is covered further, its first touch stands."""
    step = turn.step
    assert isinstance(step, Cover)
    done = [
        z for z in turn.program.zones_of(step) if z not in turn.state.todo and z not in turn.state.left_out
    ]
    if not done:
        turn.say("no_way_back")
        return
    turn.set(todo=(done[-1], *turn.state.todo), at_hand=None)
    turn.say("cover.back", asks="cover", zone=done[-1], part=step.part)


def have_it(turn: Turn) -> None:
    assert isinstance(turn.step, TickOff)
    if turn.state.item + 1 < len(turn.step.items):
        turn.set(item=turn.state.item + 1)
        name_item(turn)
    else:
        turn.next()


def missing(turn: Turn) -> None:
    assert isinstance(turn.step, TickOff)
    item = turn.step.items[turn.state.item].name
    turn.say("missing", asks="tick", item=item)


def ready(turn: Turn) -> None:
    """One of the two is ready; both are needed where there are two."""
    answered = set(turn.state.answered) | {turn.heard().phrase}
    turn.set(answered=tuple(sorted(answered)))
    if not turn.program.with_helper or len(answered) == 2:
        turn.next()
    elif "person_ready" in answered:
        turn.say("both.helper", asks="both")
    else:
        turn.say("both.person", asks="both")


def must_no(turn: Turn) -> None:
    step = turn.step
    assert isinstance(step, Must)
    if turn.state.cream is Cream.HEAD:
        call(turn, "planned")
        return
    words = turn.program.book.fill(
        step.if_no, (), turn.program.slots(turn.state.limit.seconds), with_helper=False
    )
    turn.speak(Say(f"step:{step.id}:no", words, Priority.INSTRUCTION, "end" if step.no_ends else step.id))
    if step.no_ends:
        turn.stop("stopped")
    else:
        turn.set(stance=Stance.HALTED)
        turn.say("halted", asks="carry_on")


def read_back(turn: Turn) -> None:
    """The value itself is the answer (challenge and response), and it must be the limit."""
    said, wanted = turn.heard().slot, minutes(turn.state.limit.seconds)
    if said and int(said) == wanted:
        turn.set(limit_read_back=turn.state.limit.seconds)
        turn.next()
    else:
        turn.say("read_back.wrong", asks="read_back", minutes=str(wanted))
        offer_key_for_value(turn)


def stand_early(turn: Turn) -> None:
    """Not before the least time; said with what is left."""
    left = turn.left("least")
    if left is None:
        turn.next()
    else:
        turn.say("not_yet", time=turn.program.book.amount(minutes(left) + 1), asks="let_work")


def least_over(turn: Turn) -> None:
    turn.cancel("least")
    turn.say("least_over", asks="let_work")


def greatest_over(turn: Turn) -> None:
    turn.cancel("least", "greatest")
    turn.next()


def smooth_early(turn: Turn) -> None:
    """Smooth before the minute is over: kept, and the minute is finished first."""
    turn.set(answered=("smooth",))
    turn.say("mix.keep_on")


def ask_lumps(turn: Turn) -> None:
    turn.cancel("lumps")
    if "smooth" in turn.state.answered:
        turn.next()
    else:
        turn.set(stance=Stance.LUMPS)
        turn.say("mix.lumps", asks="mixed")


def still_lumpy(turn: Turn) -> None:
    turn.set(stance=Stance.MIXING, question=None, answered=())
    turn.cancel("unanswered")
    turn.timer("lumps", turn.t + STILL_MIXING_S)
    turn.say("mix.more")


def strand_on(turn: Turn) -> None:
    turn.set(stance=Stance.STRAND_WORKS, strand_since=turn.t, question=None)
    turn.cancel("unanswered")
    turn.timer("strand check", turn.t + turn.program.kit.strand_test.check_every_minutes * 60)
    turn.timer("greatest", turn.t + strand_greatest_s(turn))
    turn.say(
        "strand.works", time=turn.program.book.amount(round(turn.program.kit.strand_test.check_every_minutes))
    )


def strand_greatest_s(turn: Turn) -> float:
    own = turn.program.kit.strand_test.greatest_minutes
    return min(turn.state.limit.seconds, own * 60 if own is not None else turn.state.limit.seconds)


def strand_check(turn: Turn) -> None:
    turn.timer("strand check", turn.t + turn.program.kit.strand_test.check_every_minutes * 60)
    turn.say("strand.check", asks="strand")


def strand_not_yet(turn: Turn) -> None:
    turn.set(question=None)
    turn.cancel("unanswered")
    turn.say("strand.more")


def strand_straight(turn: Turn) -> None:
    """The time the strand took, rounded down, is a limit; it can only lower."""
    assert turn.state.strand_since is not None
    took = max(60.0, minutes(turn.t - turn.state.strand_since) * 60.0)
    words = f"The strand was straight after {turn.program.book.amount(minutes(took))}."
    turn.set(limit=turn.state.limit.lower_of(Limit(took, Reason("strand test", words, "this run"))))
    strand_off(turn, "strand.straight")


def strand_over(turn: Turn) -> None:
    strand_off(turn, "strand.over")


def strand_off(turn: Turn, name: str) -> None:
    turn.cancel("strand check", "greatest", "unanswered")
    turn.set(stance=Stance.STRAND_OFF)
    if program_call_too_soon(turn):
        turn.set(stance=Stance.AWAY, question=None)
        turn.say("strand.too_quick", asks="confirm")
    else:
        turn.say(name, asks="confirm")


def program_call_too_soon(turn: Turn) -> bool:
    """With this limit the call would come before there is time to work."""
    first = turn.program.zones[0]
    due = turn.program.call_due(Ledger().touch(first, 0.0), turn.state.left_out, turn.state.limit.seconds)
    return due is None or due <= 60


def strand_bad(turn: Turn) -> None:
    turn.cancel("strand check", "greatest", "unanswered")
    turn.set(stance=Stance.AWAY, question=None)
    turn.say("strand.bad", asks="confirm")


def strand_is_off(turn: Turn) -> None:
    turn.set(cream=Cream.BOWL)
    turn.next()


def started(turn: Turn) -> None:
    """Cream is on a zone, told or not: the clock has it from now, or from the instruction before."""
    zone, state = turn.heard().slot, turn.state
    if state.cream is Cream.HEAD:
        fresh = state.ledger.get(zone) is None
        turn.touch(zone, turn.t)
        if state.stance is Stance.COVERING and (fresh or zone in state.todo):
            if turn.state.todo[:1] != (zone,):
                turn.set(at_hand=turn.t)
            turn.set(todo=(zone, *(z for z in turn.state.todo if z != zone)))
        elif state.stance is Stance.SMOOTHING and fresh:
            turn.set(todo=(*turn.state.todo, zone))
        turn.say("started", about="note", zone=zone)
        return
    index = next(i for i, step in enumerate(turn.program.steps) if isinstance(step, Cover))
    turn.touch(zone, turn.t)
    turn.order(Drop(turn.about))
    turn.cancel("unanswered", "lumps", "strand check", "greatest", "least")
    turn.close_aside("doubt")
    step = turn.program.steps[index]
    assert isinstance(step, Cover)
    rest = tuple(z for z in turn.program.zones_of(step) if z != zone)
    turn.set(step=index, stance=Stance.COVERING, todo=(zone, *rest), answered=(), item=0, at_hand=turn.t)
    turn.say("started.early", about="note", zone=zone)
    turn.say("cover.first", asks="cover", zone=zone, part=step.part)


def done_with(turn: Turn) -> None:
    zone = turn.heard().slot
    begun_without_a_word(turn, zone)
    turn.touch(zone, turn.t)
    if zone in turn.state.todo:
        covered(turn, tuple(z for z in turn.state.todo if z != zone), zone)
    else:
        turn.say("already_done", about="note", zone=zone)


def begun_without_a_word(turn: Turn, zone: str) -> None:
    """A zone reported done and never begun: it may have had cream since the zone at hand was begun."""
    if turn.state.ledger.get(zone) is None:
        at_hand = turn.state.ledger.get(turn.state.todo[0]) if turn.state.todo else None
        turn.touch(zone, at_hand.first if at_hand is not None else turn.t)


def covered(turn: Turn, todo: tuple[str, ...], zone: str) -> None:
    step = turn.step
    assert isinstance(step, Cover)
    learn_pace(turn, zone)
    turn.set(todo=todo, at_hand=None)
    turn.cancel("unanswered")
    turn.close_aside("doubt")
    turn.order(Drop(turn.about))
    if not todo:
        turn.say("cover.last", about="note", zone=zone)
        turn.next()
        return
    if not look_ahead(turn):
        turn.next()
        return
    turn.touch(todo[0], turn.t)
    turn.set(at_hand=turn.t)
    turn.say("cover.next", asks="cover", zone=zone, next_zone=todo[0], part=step.part, until=time_left(turn))


def time_left(turn: Turn) -> str:
    """Minutes until the rinse call, as they are spoken."""
    return turn.program.book.amount(minutes((turn.state.due or turn.t) - turn.t))


def leave_out(turn: Turn) -> None:
    """A zone that is not begun. At the scalp pass its lengths have cream already: only the roots are left out."""
    zone, state = turn.heard().slot, turn.state
    has_cream = state.ledger.get(zone) is not None
    roots = isinstance(turn.step, Cover) and turn.step.part == "scalp"
    if zone in state.left_out:
        turn.say("left_out", about="note", zone=zone)
        return
    if zone not in state.todo[1:] or (has_cream and not roots):
        turn.say("has_cream", about="note", zone=zone)
        return
    skip(turn, (zone,))
    turn.say("left_out.roots" if has_cream else "left_out", about="note", zone=zone)


def skip(turn: Turn, zones: tuple[str, ...]) -> None:
    """Take `zones` off what is to be covered; those without any cream stay without."""
    state = turn.state
    dry = tuple(z for z in zones if state.ledger.get(z) is None)
    turn.set(
        todo=tuple(z for z in state.todo if z not in zones),
        left_out=(*state.left_out, *dry),
        will_not_fit=max(0, state.will_not_fit - len(zones)),
    )


# -- the forecast --------------------------------------------------------------------


def learn_pace(turn: Turn, zone: str) -> None:
    """Today's pace learns from a zone that was at hand from its beginning to its end."""
    state, step = turn.state, turn.step
    assert isinstance(step, Cover)
    if state.at_hand is not None and state.todo[:1] == (zone,):
        work = task(turn.program, zone, step.part)
        turn.set(pace=pace.after(state.pace, work.timed(turn.t - state.at_hand)))


def look_ahead(turn: Turn) -> bool:
    """Will the rest fit? Said only where it changes what to do. False: no new zone is begun."""
    state = turn.state
    result = forecast(
        turn.program,
        state.ledger,
        ahead(turn.program, state.step, state.todo, state.left_out),
        turn.t,
        state.pace,
        limit_s=state.limit.seconds,
        armed=state.due,
        since=state.at_hand,
    )
    turn.set(chance=result.chance)
    if result.verdict is Verdict.NO_NEW_ZONE:
        skip(turn, result.drop)
        turn.set(will_not_fit=0)
        turn.say("forecast.no_new_zone", about="note")
    else:
        advise(turn, result)
    return bool(turn.state.todo)


def advise(turn: Turn, result: Forecast) -> None:
    """Which zones will not fit: once, and again only when there are more of them."""
    said = advice(result)
    if said is not None and changes(result, turn.state.will_not_fit):
        turn.set(will_not_fit=said.zones)
        turn.say(said.name, about="note", zone=said.zone)


def smoothed(turn: Turn) -> None:
    zone = turn.heard().slot
    begun_without_a_word(turn, zone)
    if zone not in turn.state.todo:
        turn.say("already_done", about="note", zone=zone)
        return
    todo = tuple(z for z in turn.state.todo if z != zone)
    turn.set(todo=todo)
    turn.cancel("unanswered")
    turn.order(Drop(turn.about))
    if todo:
        turn.say("smooth.next", asks="smooth_zone", zone=zone, next_zone=todo[0])
    else:
        turn.next()


# -- the rinse -----------------------------------------------------------------------


def call(turn: Turn, cause: str, *, by_voice: bool = False) -> None:
    """The rinse call: everything else is put aside until water runs."""
    before = replace(turn.state, call=None, last=(), timers=()) if by_voice else None
    turn.order(Drop(turn.about))
    turn.close_aside("burn", "doubt", "wipe")
    turn.cancel(
        "unanswered",
        "least",
        "greatest",
        "lumps",
        "strand check",
        "burn check",
        "call",
        "warn half",
        "warn 5",
        "warn 3",
        "warn 1",
    )
    turn.set(
        stance=Stance.RINSE_CALL,
        call=Call(cause, turn.t, by_voice, before=before).with_harm(cause),
        question=None,
    )
    sound_call(turn)


def sound_call(turn: Turn, name: str = "") -> None:
    """Tone and words, once. `name`: other words than those of its cause, with the time that cream has been on."""
    now = turn.state.call
    assert now is not None
    turn.set(call=replace(now, times=now.times + 1))
    turn.timer("call again", turn.t + CALL_EVERY_S)
    level = CALL_LEVELS[min(now.times, len(CALL_LEVELS) - 1)]
    slots = {"on": time_on(turn)} if name else {}
    name = name or (f"call.{now.cause}" if f"call.{now.cause}" in turn.program.book.said else "call")
    prompt = turn.say(name, about="call", alarm=True, level=level, asks="water", ask_now=False, slots=slots)
    turn.set(question=Question("water", prompt))
    plan = turn.program.rinse_plan(turn.state.ledger, turn.state.left_out, turn.state.limit.seconds)
    touched = [z for z in plan.order if turn.state.ledger.get(z)] if plan else []
    if now.times % 2 == 1 and len(touched) > 1:
        turn.say("call.order", about="call", zone=touched[0], next_zone=touched[1])


def worse(turn: Turn) -> None:
    """Somebody is hurt while the call sounds or the water runs: the water stays on longer, and help is called."""
    now, cause = turn.state.call, turn.heard().phrase
    assert now is not None
    if now.cause == cause:
        return
    turn.set(call=now.with_harm(cause))
    if turn.state.stance is Stance.RINSE_CALL:
        turn.order(Drop("call"))
        sound_call(turn)
    else:
        turn.say(f"call.{cause}", about="rinse")
        wait_for_clear(turn)


def water_running(turn: Turn) -> None:
    now = turn.state.call
    assert now is not None
    if isinstance(turn.event, Pressed):
        now = replace(now, key_at=turn.t)
        if taken_back(turn, now):
            return
        if turn.t - now.since < KEY_MEANS_CALL_S:
            turn.set(call=now)
            return
    turn.order(Drop("call"))
    turn.cancel("call again")
    seconds = turn.program.household.water.wetting_seconds_a_zone
    plan = turn.program.rinse_plan(turn.state.ledger, turn.state.left_out, turn.state.limit.seconds)
    order = [z for z in plan.order if turn.state.ledger.get(z)] if plan else []
    wet = turn.state.ledger.wetted((zone, turn.t + k * seconds) for k, zone in enumerate(order))
    turn.set(stance=Stance.RINSING, call=replace(now, acknowledged=turn.t), ledger=wet)
    turn.say("rinsing", about="rinse", asks="clear")
    rinse_words(turn)
    wait_for_clear(turn)


def rinse_words(turn: Turn) -> None:
    step = next((s for s in turn.program.steps[turn.state.step :] if isinstance(s, Rinse)), None)
    if step is not None:
        book, values = turn.program.book, turn.program.slots(turn.state.limit.seconds)
        words = book.fill(step.say, step.helper, values, with_helper=turn.program.with_helper)
        turn.speak(Say(f"step:{step.id}", words, Priority.INSTRUCTION, "rinse"))


def wait_for_clear(turn: Turn) -> None:
    turn.timer("remind", turn.t + REMIND_EVERY_S)
    now = turn.state.call
    assert now is not None
    least = max((LEAST_WATER_S.get(harm, 0.0) for harm in now.harms), default=0.0)
    if least > (turn.left("least") or 0.0):
        turn.timer("least", turn.t + least)


def remind(turn: Turn) -> None:
    """Quieter reminders until it runs clear. They never give up."""
    now = turn.state.call
    assert now is not None
    turn.timer("remind", turn.t + REMIND_EVERY_S)
    left = turn.left("least")
    if left is not None:
        turn.say(
            "remind.water", about="rinse", level=0.7, asks="clear" if now.clear is None else "flush",
            time=turn.program.book.amount(minutes(left) + 1), ask_now=False,
        )  # fmt: skip
    elif now.clear is not None and now.harms:
        turn.say("remind.help", about="rinse", level=0.7, asks="flush")
    else:
        turn.say("remind", about="rinse", level=0.7, asks="clear")


def runs_clear(turn: Turn) -> None:
    now = turn.state.call
    assert now is not None and now.acknowledged is not None
    wetting = turn.program.household.water.wetting_seconds_a_zone * len(turn.state.ledger.zones)
    if turn.state.cream is Cream.HEAD and turn.t - now.acknowledged < wetting:
        # A second press of the pedal, or haste: the water can not have been everywhere yet.
        turn.say("clear.too_soon", about="rinse", asks="clear")
        return
    turn.set(ledger=turn.state.ledger.cleared(turn.t), cream=Cream.RINSED, call=replace(now, clear=turn.t))
    turn.order(Disarm())
    turn.cancel("call")
    if now.harms:
        left = turn.left("least")
        turn.say(
            "clear.water" if left is not None else "clear.help", about="rinse", asks="flush",
            slots=({"time": turn.program.book.amount(minutes(left) + 1)} if left is not None else {}),
        )  # fmt: skip
        turn.timer("remind", turn.t + REMIND_EVERY_S)
        return
    leave_rinse(turn)


def least_water_over(turn: Turn) -> None:
    """The least time under water has passed; help decides the rest."""
    turn.cancel("least")
    turn.say("water.enough", about="rinse", asks="flush")


def help_says_stop(turn: Turn) -> None:
    now = turn.state.call
    assert now is not None
    if now.clear is None:
        turn.say("not_clear", about="rinse", asks="clear")
        return
    left = turn.left("least")
    if left is not None:
        turn.say(
            "care.too_soon", about="rinse", asks="flush", time=turn.program.book.amount(minutes(left) + 1)
        )
        return
    if now.harms:
        leave_rinse(turn)


def leave_rinse(turn: Turn) -> None:
    """On with the step after the rinse; a rinse from a later step begins that step anew."""
    now = turn.state.call
    assert now is not None
    turn.cancel("remind", "least", "call again", "burn check")
    turn.order(Drop("rinse"))
    turn.set(call=None)
    if now.harms:
        turn.say("after_harm", about="note")
    steps, here = turn.program.steps, turn.state.step
    later = next((i for i, s in enumerate(steps) if isinstance(s, Rinse) and i >= here), None)
    turn.enter(here if later is None else later + 1)


def false_alarm(turn: Turn) -> None:
    now = turn.state.call
    assert now is not None
    if not now.by_voice or turn.t - now.since > WITHDRAW_WITHIN_S:
        turn.say("no_way_back", about="call")
        return
    now = replace(now, word_at=turn.t)
    if not taken_back(turn, now):
        turn.set(call=now)
        turn.say("false_alarm.key", about="call")


def taken_back(turn: Turn, now: Call) -> bool:
    """A call that came from a voice alone: taken back by a key and a spoken word together, within 15 s."""
    if now.before is None or now.key_at is None or now.word_at is None:
        return False
    if max(now.key_at, now.word_at) - now.since > WITHDRAW_WITHIN_S:
        return False
    before = now.before
    turn.order(Drop("call"))
    turn.order(Drop("rinse"))
    turn.cancel("call again", "remind", "least")
    turn.set(
        stance=before.stance, step=before.step, item=before.item, todo=before.todo, question=before.question,
        answered=before.answered, cream=before.cream, call=None,
    )  # fmt: skip
    if turn.state.due is not None and turn.state.ledger.began is not None:
        due = turn.state.due
        turn.set(due=None)
        turn.rearm()
        turn.set(due=min(due, turn.state.due or due))
        turn.timer("call", turn.state.due)
        turn.timer("burn check", turn.t + BURN_CHECK_EVERY_S)
    turn.say("taken_back", about="note")
    if before.question is not None:
        turn.speak(before.question.prompt)
    return True


def call_due(turn: Turn) -> None:
    turn.cancel("call")
    call(turn, "clock")


def call_again(turn: Turn) -> None:
    sound_call(turn)


# -- stopping and being hurt ---------------------------------------------------------


def stop_phrase(turn: Turn) -> None:
    """One event, one response, by where the cream is."""
    event = turn.event
    cause = event.phrase if isinstance(event, Heard) else "stop_now"
    by_voice = isinstance(event, Heard)
    if turn.state.cream is Cream.HEAD:
        call(turn, cause, by_voice=by_voice)
        return
    if turn.state.cream is Cream.RINSED:
        call(turn, cause)
        return
    halt(turn, cause)


def halt(turn: Turn, cause: str) -> None:
    """No cream on the head. Cream in the bowl is put away; without any, the run only waits.

    First aid that is under way goes on: what is said later adds to it and takes none away.
    """
    in_care = turn.state.stance is Stance.CARE
    if in_care and cause not in HARM:
        turn.say("care.keep_on", about="care", asks="flush")
        return
    water_left = (turn.left("least") or 0.0) if in_care else 0.0
    turn.order(Drop(turn.about))
    turn.close_aside("burn", "doubt", "wipe")
    turn.cancel("unanswered", "least", "greatest", "lumps", "strand check")
    out = turn.state.cream in CREAM_OUT
    if cause in HARM:
        turn.set(stance=Stance.CARE, question=None)
        turn.say(f"care.{cause}", about="care", asks="flush")
        turn.timer("remind", turn.t + REMIND_EVERY_S)
        turn.timer("least", turn.t + max(water_left, LEAST_WATER_S.get(cause, 0.0)))
    elif out:
        turn.set(stance=Stance.AWAY, question=None)
        turn.say("away.strand" if turn.state.cream is Cream.STRAND else "away", about="care", asks="confirm")
    else:
        turn.set(stance=Stance.HALTED, question=None)
        turn.say("halted", about="care", asks="carry_on")


def carry_on_from_halt(turn: Turn) -> None:
    turn.enter(turn.state.step)


def care_again(turn: Turn) -> None:
    turn.timer("remind", turn.t + REMIND_EVERY_S)
    turn.say("care.keep_on", about="care", level=0.8, asks="flush")


def care_over(turn: Turn) -> None:
    if turn.left("least") is not None and (turn.left("least") or 0.0) > 0:
        turn.say(
            "care.too_soon",
            about="care",
            asks="flush",
            time=turn.program.book.amount(minutes(turn.left("least") or 0) + 1),
        )
        return
    turn.stop("stopped")


def care_least_over(turn: Turn) -> None:
    turn.cancel("least")


def put_away(turn: Turn) -> None:
    turn.stop("stopped")


# -- asking, waiting, noticing -------------------------------------------------------


def say_again(turn: Turn) -> None:
    """What was said last, whole; a safety question that is open comes first."""
    question = turn.state.question
    if question is not None and question.asks in STILL and not turn.state.asides:
        still(turn, question.asks)
        return
    prompts = turn.state.last
    aside = turn.state.asides[-1].question.prompt if turn.state.asides else None
    for prompt in (*((aside,) if aside is not None and aside not in prompts else ()), *prompts):
        turn.order(prompt)


def how_long(turn: Turn) -> None:
    if turn.state.due is not None and turn.state.cream is Cream.HEAD:
        if turn.state.stance is Stance.RINSE_CALL:
            turn.say("how_long.now", about="note")
        elif turn.state.stance is Stance.RINSING:
            turn.say("how_long.rinse", about="note")
        else:
            turn.say("how_long.call", about="note", until=time_left(turn))
        return
    for timer in ("lumps", "least", "greatest"):
        left = turn.left(timer)
        if left is not None:
            turn.say("how_long.least" if timer != "greatest" else "how_long.greatest", about="note",
                     time=turn.program.book.amount(minutes(left) + 1))  # fmt: skip
            return
    turn.say("how_long.none", about="note")


def where_are_we(turn: Turn) -> None:
    turn.say("where", about="note", title=turn.step.title)
    if turn.state.stance in (Stance.COVERING, Stance.SMOOTHING) and turn.state.todo:
        left = turn.program.book.amount(len(turn.state.todo), "zone")
        turn.say("where.zone", about="note", zone=turn.state.todo[0], left=left)


def wait(turn: Turn) -> None:
    """Instructions are held, exposure never is."""
    turn.order(Drop(turn.about))
    turn.cancel("unanswered")
    if turn.state.question is not None:
        turn.timer("unanswered", turn.t + PATIENCE_S["carry_on"])
    turn.say("waiting.clock" if turn.state.cream is Cream.HEAD else "waiting", about="note")


def carry_on(turn: Turn) -> None:
    question = turn.state.question
    if question is not None and question.asks in STILL:
        still(turn, question.asks)
    elif question is not None:
        turn.speak(question.prompt)
    else:
        turn.say("where", about="note", title=turn.step.title)


def cream_on_skin(turn: Turn) -> None:
    turn.ask_beside("wipe", "wipe", "wiped")


def wiped_off(turn: Turn) -> None:
    if turn.aside("wipe") is not None:
        turn.close_aside("wipe")
        turn.say("wiped", about="note")


def wipe_again(turn: Turn) -> None:
    aside = turn.aside("wipe")
    if aside is None:
        return
    question = replace(aside.question, tries=aside.question.tries + 1)
    if question.tries > 3:
        turn.close_aside("wipe")
        return
    turn.set(
        asides=tuple(replace(a, question=question) if a.kind == "wipe" else a for a in turn.state.asides)
    )
    turn.order(question.prompt)
    turn.timer("wipe unanswered", turn.t + speaking_s(question.prompt.sentences) + PATIENCE_S["wiped"])


def burn_check(turn: Turn) -> None:
    turn.cancel("burn check")
    if turn.state.stance not in BURN_CHECKED:
        return
    deaf = {"microphone", "recogniser"} & set(turn.state.lost)
    turn.ask_beside("burn", "burn_check.key" if deaf else "burn_check", "any_burning")


def burn_unanswered(turn: Turn) -> None:
    """Louder, then with a tone, then by key; only when nobody shows any sign of being there, the rinse call."""
    aside = turn.aside("burn")
    if aside is None:
        return
    tries = aside.question.tries + 1
    if tries > 3:
        if turn.state.sign <= aside.since:
            call(turn, "nobody")
        else:
            turn.close_aside("burn")
            turn.timer("burn check", turn.t + BURN_CHECK_EVERY_S / 3)
        return
    name = ("burn_check.louder", "burn_check.tone", "burn_check.key")[tries - 1]
    prompt = turn.say(name, about="aside:burn", asks="any_burning", ask_now=False)
    question = Question("any_burning", prompt, tries)
    turn.set(
        asides=tuple(replace(a, question=question) if a.kind == "burn" else a for a in turn.state.asides)
    )
    turn.timer("burn unanswered", turn.t + speaking_s(prompt.sentences) + BURN_LADDER_S)


def cry(turn: Turn) -> None:
    """A shout, or any sound of a child, that is no phrase: asked about at once, unless it was asked a moment ago."""
    due = turn.left("burn check")
    if due is not None and due < BURN_CHECK_EVERY_S - CRY_APART_S and turn.aside("burn") is None:
        burn_check(turn)


def all_is_well(turn: Turn) -> None:
    if turn.aside("burn") is not None:
        turn.close_aside("burn")
        turn.timer("burn check", turn.t + BURN_CHECK_EVERY_S)
        turn.say("well", about="note")


def warn(turn: Turn) -> None:
    """A warning before the call, when it is not stale."""
    name = timer_name(turn)
    at = next(at for at, timer in turn.state.timers if timer == name)
    turn.cancel(name)
    if turn.event.t - at > STALE_S or turn.state.due is None or turn.state.stance not in BURN_CHECKED:
        return
    left = turn.program.book.amount(len(turn.state.todo), "zone")
    covering = turn.state.stance is Stance.COVERING
    until = turn.program.book.amount(round((turn.state.due - at) / 60))
    book_name = (
        "warn.half" if name == "warn half" else ("warn.zones" if covering and turn.state.todo else "warn")
    )
    turn.say(
        book_name, about="note", until=until, slots=({"left": left} if book_name == "warn.zones" else {})
    )


def timer_name(turn: Turn) -> str:
    return min(turn.state.timers)[1]


def unanswered(turn: Turn) -> None:
    """Asked again, and after two tries offered by key."""
    turn.cancel("unanswered")
    question = turn.state.question
    if question is None:
        return
    tries = question.tries + 1
    turn.set(question=replace(question, tries=tries))
    if question.asks in STILL:
        still(turn, question.asks)
        question = replace(turn.state.question or question, tries=tries)
        turn.set(question=question)
    else:
        turn.order(question.prompt)
    if tries >= TRIES_BEFORE_KEY:
        turn.say("by_key" if question.asks != "read_back" else "by_key.value", about=question.prompt.about,
                 asks="key", ask_now=False)  # fmt: skip
    turn.wait_for_answer(question.prompt)


STILL = {"cover": "cover.still", "smooth_zone": "smooth.still"}


def still(turn: Turn, asks: str) -> None:
    """The zone at hand with the time as it is now: an old number must not be spoken again."""
    if asks == "cover" and turn.state.at_hand is not None:
        look_ahead(turn)
    part = {"part": turn.step.part} if isinstance(turn.step, Cover) else {}
    turn.say(STILL[asks], asks=asks, zone=turn.state.todo[0], until=time_left(turn), slots=part)


def doubted(turn: Turn) -> None:
    """Nearly heard: asked about, never obeyed.

    Nor when it is nearly heard twice: what sounds like it once sounds like it again, and "water is running" taken
    wrongly would silence the call. Twice in doubt it is offered by key.
    """
    event, before = turn.event, turn.aside("doubt")
    assert isinstance(event, Doubted)
    ask_about(turn, Heard(event.t, event.phrase, event.slot))
    again = before is not None and before.heard is not None and before.heard.phrase == event.phrase
    if again and event.phrase == "water_running" and turn.state.stance is Stance.RINSE_CALL:
        turn.say("by_key", about="aside:doubt", asks="key", ask_now=False)


def ask_about(turn: Turn, heard: Heard) -> None:
    """ "Did you say ...?" Yes does what was heard."""
    zone = heard.slot if turn.program.book.heard[heard.phrase].slot() == "zone" else ""
    turn.ask_beside("doubt", "doubt", "doubt", heard, phrase=turn.program.book.taught(heard.phrase, zone))


def unlikely_now(turn: Turn, heard: Heard) -> bool:
    """A zone reported done that was never begun, while another is at hand: one zone's name sounds like another's
    ("crown" by a Scottish voice like "front"), however sure the ears are."""
    todo, ledger = turn.state.todo, turn.state.ledger
    if heard.phrase != "done_with" or turn.state.stance is not Stance.COVERING or not todo:
        return False
    return heard.slot in todo[1:] and ledger.get(heard.slot) is None


def doubt_over(turn: Turn) -> None:
    turn.close_aside("doubt")


def foam_colour(turn: Turn) -> None:
    """An indicator that still shows colour adds a lather."""
    turn.say("foam.again", about="note")
    turn.enter(turn.state.step)


def lather_least(turn: Turn) -> None:
    """From the least time on it may come out; at the greatest it is asked for once more."""
    turn.cancel("least")
    turn.set(stance=Stance.LATHER_OUT)
    turn.say("lather.out", asks="confirm")


def lather_greatest(turn: Turn) -> None:
    turn.cancel("greatest")
    turn.say("lather.out", asks="confirm")


def lather_early(turn: Turn) -> None:
    turn.say("not_yet", time=turn.program.book.amount(minutes(turn.left("least") or 0.0) + 1))


def lather_rinsed(turn: Turn) -> None:
    turn.cancel("greatest")
    if turn.program.kit.colour_indicator:
        turn.set(stance=Stance.FOAM)
        turn.cancel("unanswered")
        turn.say("foam", asks="colour")
    else:
        turn.next()


def with_heat(turn: Turn) -> None:
    conditioning(turn, True)


def without_heat(turn: Turn) -> None:
    conditioning(turn, False)


def conditioning(turn: Turn, heat: bool) -> None:
    span = turn.program.kit.conditioner_heat_minutes if heat else turn.program.kit.conditioner_minutes
    turn.cancel("unanswered")
    stand(turn, Stance.CONDITIONING, span.least, span.greatest)
    turn.set(question=None)
    turn.say("condition.heat" if heat else "condition", time=turn.program.book.amount(round(span.least)))


def condition_least(turn: Turn) -> None:
    turn.cancel("least")
    turn.say("condition.out", asks="confirm")


def lost(turn: Turn) -> None:
    event = turn.event
    assert isinstance(event, DeviceLost)
    if event.device not in turn.state.lost:
        turn.set(lost=tuple(sorted({*turn.state.lost, event.device})))
        turn.say(f"lost.{event.device}", about="device")


def back(turn: Turn) -> None:
    event = turn.event
    assert isinstance(event, DeviceBack)
    if event.device in turn.state.lost:
        turn.set(lost=tuple(d for d in turn.state.lost if d != event.device))
        turn.order(Drop("device"))
        turn.say("device.back", about="device")


# -- going on after a time away -------------------------------------------------------

COUNTS_SILENCE = ("unanswered", "burn unanswered", "doubt unanswered", "wipe unanswered")
"""Timers of people who do not answer: while nobody could be heard they count nothing."""
COMES_AGAIN = ("burn check", "call again", "remind", "strand check")
"""Timers that come again and again: what fell into the time away is not made up for."""


def was_away(turn: Turn) -> None:
    """Before, and after each thing in it that the clock brought: silence in it means nothing, every clock is true."""
    turn.close_aside("burn", "doubt", "wipe")
    passed = {name for at, name in turn.state.timers if at <= turn.event.t}
    turn.cancel(*COUNTS_SILENCE, *passed.intersection(COMES_AGAIN))


def resumed(turn: Turn) -> None:
    """How long cream has been on and what to do, before anything else; then the step as it stands."""
    event, state = turn.event, turn.state
    assert isinstance(event, Resumed)
    if state.stance is Stance.READY:
        begin(turn)
        return
    said_to_nobody = [a for a in turn.actions if isinstance(a, Say) and a.about != "end"]
    turn.actions = [action for action in turn.actions if action not in said_to_nobody]
    if state.stance is Stance.CLOSED:
        return
    last = state.last
    turn.order(Drop(turn.about))
    if event.after == "start":
        turn.set(lost=())
    if state.due is not None and state.cream is Cream.HEAD:
        turn.order(Arm(state.due))
    if state.call is not None and state.stance is Stance.RINSE_CALL:
        tells_time = state.cream is Cream.HEAD and not state.call.harms
        sound_call(turn, "resumed.call" if tells_time else "")
        return
    if state.cream is not Cream.HEAD:
        turn.say("resumed.bowl" if state.cream in CREAM_OUT else "resumed")
    elif state.stance is Stance.RINSING:
        turn.say("resumed.rinsing", about="rinse", on=time_on(turn))
    else:
        turn.say("resumed.cream", on=time_on(turn))
        turn.say("resumed.left", until=time_left(turn))
        if turn.left("burn check") is None:
            turn.timer("burn check", turn.t)
    if state.stance in REMINDED:
        turn.timer("remind", turn.t + REMIND_EVERY_S)
    elif state.stance is Stance.STRAND_WORKS and turn.left("strand check") is None:
        turn.timer("strand check", turn.t)
    ask_afresh(turn, last)


REMINDED = (Stance.RINSING, Stance.CARE)


def time_on(turn: Turn) -> str:
    """Minutes since the first cream, as they are spoken; those begun count whole."""
    began = turn.state.ledger.began
    return turn.program.on_for(0.0 if began is None else turn.t - began)


def ask_afresh(turn: Turn, last: tuple[Say, ...]) -> None:
    """What was asked, with the time as it is now; where nothing was asked, what was said last."""
    question = turn.state.question
    if question is None:
        for prompt in last:
            turn.speak(prompt)
    elif question.asks in STILL and turn.state.todo:
        still(turn, question.asks)
    else:
        turn.ask(Question(question.asks, turn.speak(question.prompt, ask_now=False)))


# -- the table -----------------------------------------------------------------------

ANSWERABLE: Mapping[str, Handler] = {
    "say_again": say_again,
    "how_long": how_long,
    "where_are_we": where_are_we,
    "wait": wait,
    "carry_on": carry_on,
    "timer:unanswered": unanswered,
    "timer:doubt unanswered": doubt_over,
    "doubted": doubted,
    "lost": lost,
    "back": back,
}
"""What works everywhere."""

STOPPABLE: Mapping[str, Handler] = {**dict.fromkeys(STOPS, stop_phrase), "key_stop": stop_phrase}

TIMED: Mapping[str, Handler] = {
    "timer:call": call_due,
    "timer:warn half": warn,
    "timer:warn 5": warn,
    "timer:warn 3": warn,
    "timer:warn 1": warn,
    "timer:burn check": burn_check,
    "timer:burn unanswered": burn_unanswered,
    "all_is_well": all_is_well,
}
"""What the clock on the cream brings."""

SKIN: Mapping[str, Handler] = {
    "cream_on_skin": cream_on_skin,
    "wiped_off": wiped_off,
    "timer:wipe unanswered": wipe_again,
}

CALM = {**ANSWERABLE, **STOPPABLE, **SKIN}
BEFORE_RINSE = {**CALM, **TIMED, "started": started}
"""Any stance that a routine may put between opening the cream and the rinse: the clock's own rows are always in."""
NOT_TWICE: Mapping[str, Handler] = {
    "rinse_now": nothing,
    "stop_now": nothing,
    **dict.fromkeys(HARM, worse),
}

NEEDS_CREAM = frozenset({"started", "all_is_well", *SKIN})

BURN_CHECKED = frozenset({Stance.COVERING, Stance.SMOOTHING, Stance.LETTING_WORK})

TABLE: Mapping[Stance, Mapping[str, Handler]] = {
    Stance.READY: {"begun": begin},
    Stance.CONFIRM: {**BEFORE_RINSE, "next_step": go_on, "yes": go_on, "go_back": go_back},
    Stance.TICK_OFF: {**BEFORE_RINSE, "have_it": have_it, "yes": have_it, "missing": missing, "no": missing, "go_back": go_back},
    Stance.BOTH: {**BEFORE_RINSE, "person_ready": ready, "helper_ready": ready, "go_back": go_back},
    Stance.MUST: {**BEFORE_RINSE, "yes": go_on, "no": must_no, "go_back": go_back},
    Stance.READ_BACK: {**BEFORE_RINSE, "timer_says": read_back, "go_back": go_back},
    Stance.STANDING: {
        **BEFORE_RINSE, "next_step": stand_early, "timer:least": least_over, "timer:greatest": greatest_over, "go_back": go_back,
    },
    Stance.MIXING: {**BEFORE_RINSE, "smooth": smooth_early, "lumpy": nothing, "timer:lumps": ask_lumps},
    Stance.LUMPS: {**BEFORE_RINSE, "smooth": go_on, "yes": go_on, "lumpy": still_lumpy, "no": still_lumpy},
    Stance.STRAND_ON: {**BEFORE_RINSE, "next_step": strand_on, "yes": strand_on},
    Stance.STRAND_WORKS: {
        **BEFORE_RINSE, "strand_straight": strand_straight, "strand_not_yet": strand_not_yet, "strand_bad": strand_bad,
        "timer:strand check": strand_check, "timer:greatest": strand_over,
    },
    Stance.STRAND_OFF: {**BEFORE_RINSE, "next_step": strand_is_off, "yes": strand_is_off},
    Stance.COVERING: {
        **BEFORE_RINSE, "done_with": done_with, "leave_out": leave_out, "go_back": cover_back,
    },
    Stance.SMOOTHING: {**BEFORE_RINSE, "done_with": smoothed, "next_step": go_on},
    Stance.LETTING_WORK: {**BEFORE_RINSE, "next_step": go_on, "strand_straight": go_on, "strand_bad": stop_phrase, "strand_not_yet": nothing},
    Stance.RINSE_CALL: {
        **{k: v for k, v in ANSWERABLE.items() if k not in ("wait", "carry_on")}, **NOT_TWICE,
        "key_stop": water_running, "water_running": water_running, "key_yes": water_running, "key_no": water_running,
        "key_again": water_running, "false_alarm": false_alarm, "timer:call again": call_again,
    },
    Stance.RINSING: {
        **{k: v for k, v in ANSWERABLE.items() if k not in ("wait", "carry_on")}, **SKIN, **NOT_TWICE,
        "runs_clear": runs_clear, "water_running": nothing, "false_alarm": false_alarm, "help_says_stop": help_says_stop,
        "timer:remind": remind, "timer:least": least_water_over, "key_stop": nothing,
    },
    Stance.LATHER: {**CALM, "next_step": go_on, "yes": go_on, "go_back": go_back},
    Stance.LATHER_STANDS: {
        **CALM, "next_step": lather_early, "timer:least": lather_least, "go_back": go_back,
    },
    Stance.LATHER_OUT: {**CALM, "next_step": lather_rinsed, "yes": lather_rinsed, "timer:greatest": lather_greatest},
    Stance.FOAM: {**CALM, "no_colour": go_on, "still_colour": foam_colour},
    Stance.HEAT: {**CALM, "yes": with_heat, "no": without_heat, "go_back": go_back},
    Stance.CONDITIONING: {
        **CALM, "next_step": stand_early, "timer:least": condition_least, "timer:greatest": greatest_over,
    },
    Stance.HALTED: {**ANSWERABLE, **STOPPABLE, "carry_on": carry_on_from_halt, "next_step": carry_on_from_halt},
    Stance.CARE: {
        **{k: v for k, v in ANSWERABLE.items() if k not in ("wait", "carry_on")}, **STOPPABLE,
        "help_says_stop": care_over, "timer:remind": care_again, "timer:least": care_least_over,
    },
    Stance.AWAY: {**ANSWERABLE, **STOPPABLE, "next_step": put_away, "yes": put_away},
    Stance.CLOSED: {},
}  # fmt: skip


def row(state: State) -> Mapping[str, Handler]:
    """What is live in this state: its stance's row, less what makes no sense where the cream is."""
    live = TABLE[state.stance]
    if state.cream is Cream.SHUT:
        return {name: handler for name, handler in live.items() if name not in NEEDS_CREAM}
    if state.cream is Cream.RINSED:
        return {name: handler for name, handler in live.items() if name != "started"}
    return live


def trigger_of(event: Event) -> str:
    """The table's name for an event."""
    if isinstance(event, Heard):
        return event.phrase
    if isinstance(event, Pressed):
        return f"key_{event.key}"
    return {
        Begun: "begun", Resumed: "resumed", Doubted: "doubted", DeviceLost: "lost", DeviceBack: "back", Spoken: "spoken", Noticed: "noticed",
        Ticked: "ticked",
    }[type(event)]  # fmt: skip


def live_names(program: Program, state: State) -> tuple[str, ...]:
    """Names of the phrases that may be heard in this state, in the phrase book's order."""
    live = row(state)
    asked = {name for aside in state.asides for name in ASKS[aside.question.asks]}
    return tuple(
        name
        for name in program.book.heard
        if name in live or (name in asked and state.stance is not Stance.CLOSED)
    )


def advance(program: Program, state: State, event: Event) -> tuple[State, tuple[Action, ...]]:
    """What the run is after `event`, and what is to be done.

    Raises ValueError for an event that is earlier than the one before it.
    """
    if event.t < state.t:
        raise ValueError(
            f"an event at {event.t:.3f} s after one at {state.t:.3f} s: the run clock never goes back"
        )
    turn = Turn(program, state, event)
    away = isinstance(event, Resumed)
    if away:
        was_away(turn)
    while turn.state.timers and turn.state.timers[0][0] <= event.t:
        let_happen(turn)
        if away:
            was_away(turn)
    turn.t = event.t
    turn.set(t=event.t)
    answer(turn, event)
    return turn.state, tuple(turn.actions)


def let_happen(turn: Turn) -> None:
    """The earliest timer that is due: its row's handler, or nothing where it no longer means anything."""
    at, name = turn.state.timers[0]
    turn.t = max(turn.state.t, at)
    turn.set(t=turn.t)
    handler = row(turn.state).get(f"timer:{name}")
    if handler is not None:
        handler(turn)
    if turn.state.timers and turn.state.timers[0] == (at, name):
        turn.cancel(name)


def answer(turn: Turn, event: Event) -> None:
    if isinstance(event, Ticked):
        return
    if isinstance(event, Spoken):
        spoken(turn, event)
        return
    if isinstance(event, Resumed):
        resumed(turn)
        return
    if isinstance(event, Heard | Doubted | Noticed | Pressed):
        turn.set(sign=event.t)
    if isinstance(event, Noticed):
        if event.kind == "shout" or (turn.program.child and event.kind != "knock"):
            cry(turn)
        return
    if isinstance(event, Pressed) and f"key_{event.key}" not in row(turn.state):
        by_key(turn, event)
        return
    if isinstance(event, Heard) and answers_doubt(turn, event):
        return
    if isinstance(event, Heard) and unlikely_now(turn, event):
        ask_about(turn, event)
        return
    handler = row(turn.state).get(trigger_of(event))
    if handler is not None:
        handler(turn)


def answers_doubt(turn: Turn, event: Heard) -> bool:
    """Yes and no belong to an open "Did you say ...?" before anything else; any other phrase overrules it."""
    doubt = turn.aside("doubt")
    if doubt is None:
        return False
    turn.close_aside("doubt")
    if event.phrase == "yes" and doubt.heard is not None:
        turn.event = replace(doubt.heard, t=event.t)
        handler = row(turn.state).get(doubt.heard.phrase)
        if handler is not None:
            handler(turn)
        return True
    return event.phrase == "no"


def by_key(turn: Turn, event: Pressed) -> None:
    """A key is the first answer to what is asked (no: the second); an open question beside the step comes first."""
    if event.key == "again":
        say_again(turn)
        return
    question = turn.state.asides[-1].question if turn.state.asides else turn.state.question
    if question is None:
        return
    if turn.program.child and only_the_child_answers(turn, question):
        return  # whoever holds the pedal is not the child
    choices = ASKS[question.asks]
    if event.key == "no" and len(choices) < 2:
        return
    name = choices[1 if event.key == "no" else 0]
    if question.asks == "both" and "person_ready" in turn.state.answered:
        name = "helper_ready"
    slot = dict(question.prompt.slots).get({"read_back": "minutes"}.get(question.asks, "zone"), "")
    if question.asks == "cover" or question.asks == "smooth_zone":
        slot = turn.state.todo[0] if turn.state.todo else slot
    turn.event = Heard(event.t, name, slot)
    if answers_doubt(turn, turn.event):
        return
    handler = row(turn.state).get(name)
    if handler is not None:
        handler(turn)


def only_the_child_answers(turn: Turn, question: Question) -> bool:
    """A question about burning, or whether "all is well" was said, until the child was asked to press a key itself."""
    burn, doubt = turn.aside("burn"), turn.aside("doubt")
    nearly_well = doubt is not None and doubt.heard is not None and doubt.heard.phrase == "all_is_well"
    if question.asks != "any_burning" and not (question.asks == "doubt" and nearly_well):
        return False
    return burn is None or not burn.question.prompt.name.endswith(".key")


def spoken(turn: Turn, event: Spoken) -> None:
    """The prompt has ended: only now does silence count."""
    question = turn.state.question
    if question is not None and question.prompt.name == event.name:
        patience = PATIENCE_S.get(question.asks)
        if patience is not None and turn.left("unanswered") is not None:
            turn.timer("unanswered", turn.t + patience)
    for aside in turn.state.asides:
        if aside.question.prompt.name == event.name:
            turn.timer(f"{aside.kind} unanswered", turn.t + ASIDE_PATIENCE_S[aside.kind])


@dataclass(frozen=True, slots=True)
class View:
    """What a screen shows of a state: seconds of cream, seconds until the call, where the run is ("step 9 of 26: mixing").

    `asks` is what is wanted of the people (see `core.asks`), `answers` what may be said now, as it was taught ("..." stands for the number
    that the people read themselves); `stop` the words for the water, while cream is out.
    `called_s` counts from the rinse call. `chance` of being done in time as last
    forecast, with `will_not_fit` zones too many.
    """

    cream_on_s: float | None
    call_in_s: float | None
    where: str
    zone: str
    stance: Stance = Stance.READY
    number: int = 1
    steps: int = 1
    asks: str = ""
    answers: tuple[str, ...] = ()
    stop: str = ""
    called_s: float | None = None
    chance: float | None = None
    will_not_fit: int = 0


def view(program: Program, state: State) -> View:
    number = min(state.step, len(program.steps) - 1) + 1
    step = program.steps[number - 1]
    on = state.cream is Cream.HEAD and state.ledger.began is not None
    where = {
        Stance.RINSE_CALL: "rinse now", Stance.RINSING: "rinsing", Stance.CARE: "first aid", Stance.AWAY: "bowl away",
        Stance.HALTED: "stopped, waiting", Stance.CLOSED: state.outcome or "closed",
    }.get(state.stance, step.title)  # fmt: skip
    working = on and state.call is None
    question = open_question(state)
    return View(
        state.t - (state.ledger.began or 0.0) if on else None,
        max(0.0, state.due - state.t) if working and state.due is not None else None,
        f"step {number} of {len(program.steps)}: {where}",
        state.todo[0] if state.todo else "",
        state.stance,
        number,
        len(program.steps),
        question.asks if question is not None else "",
        answers(program, state),
        program.book.taught("rinse_now") if working else "",
        state.t - state.call.since if state.stance is Stance.RINSE_CALL and state.call is not None else None,
        state.chance if working and state.stance is Stance.COVERING else None,
        state.will_not_fit if working else 0,
    )


def open_question(state: State) -> Question | None:
    """What is wanted of the people now; a question beside the step comes first."""
    if state.stance is Stance.CLOSED:
        return None
    return state.asides[-1].question if state.asides else state.question


def answers(program: Program, state: State) -> tuple[str, ...]:
    """The taught ways of answering what is asked now."""
    question = open_question(state)
    if question is None:
        return ()
    live = live_names(program, state)
    names = [name for name in ASKS[question.asks] if name in live and name not in state.answered]
    if minutes(state.limit.seconds) not in program.minutes_heard:
        names = [name for name in names if name != "timer_says"]
    if not program.with_helper:
        names = [name for name in names if name != "helper_ready"]
    zone = state.todo[0] if state.todo else ""
    slots = {"zone": zone, "minutes": "..."}
    return tuple(program.book.taught(name, slots.get(program.book.heard[name].slot(), "")) for name in names)
