"""What must hold after every event of a run, whatever happened: the rules of the design, each as a claim of its own.

A claim looks at one event: the state before, the event, what was ordered, the
state after, and what was seen so far. It answers "" or what is wrong. Claims
know the table of the session only by what it leads to. `tests/simulate/test_claims.py`
plants a breach of each and sees it found. Numbers are those of the design's list.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass, field

from assistant.core.actions import Action, Arm, Drop, Priority, Say
from assistant.core.events import (
    DeviceLost,
    Doubted,
    Event,
    Heard,
    Noticed,
    Pressed,
    Resumed,
    Ticked,
)
from assistant.core.kit_sheet import LimitMeans
from assistant.core.program import Program
from assistant.core.routine import Must, ReadBack
from assistant.core.session import Cream, Stance, State, advance, live_names

OUT = {Cream.BOWL, Cream.STRAND, Cream.HEAD}
HURT = {"it_burns", "in_my_eye", "swallowed_some", "cannot_breathe"}
STOP_WORDS = {"rinse_now", "stop_now", *HURT}
AT_THE_WATER = {Stance.RINSE_CALL, Stance.RINSING}
BEFORE_THE_RINSE = {
    Stance.MIXING, Stance.LUMPS, Stance.STRAND_ON, Stance.STRAND_WORKS, Stance.STRAND_OFF, Stance.COVERING,
    Stance.SMOOTHING, Stance.LETTING_WORK,
}  # fmt: skip
CREAM_AT_WORK = {Stance.COVERING, Stance.SMOOTHING, Stance.LETTING_WORK}
WATER_S = {"it_burns": 20 * 60.0, "in_my_eye": 20 * 60.0}
"""Seconds of water: a burn at least 20 minutes (hospital guideline), an eye above the 15 of ANSI/ISEA Z358.1."""
REPEATED_WITHIN_S = 15.0
"""A call is sounded again within the longest interburst of IEC 60601-1-8 (2.5 to 15 s, from a secondary source)."""
REMINDED_WITHIN_S = 60.0
TAKEN_BACK_WITHIN_S = 15.0
ASKED_WITHIN_S = 200.0
"""With cream on, somebody is asked about burning at least this often, or a question stands."""


@dataclass(frozen=True, slots=True)
class Breach:
    """A claim that did not hold, when, and how."""

    claim: str
    t: float
    what: str


@dataclass
class Past:
    """What was seen of the run so far."""

    armed: list[float] = field(default_factory=list)
    said: set[str] = field(default_factory=set)
    passed: set[str] = field(default_factory=set)
    called_by_clock: bool = False
    rinsed: bool = False
    level: float = 0.0
    call_since: float | None = None
    keys: list[float] = field(default_factory=list)
    words_back: list[float] = field(default_factory=list)
    water_until: float = 0.0
    harms: set[str] = field(default_factory=set)
    by_itself: dict[tuple[str, object], float] = field(default_factory=dict)


@dataclass(slots=True)
class Seen:
    """One event. `mid` is the state before, with everything let happen that was due by then."""

    program: Program
    before: State
    mid: State
    event: Event
    actions: Sequence[Action]
    after: State
    past: Past

    @property
    def says(self) -> list[Say]:
        return [action for action in self.actions if isinstance(action, Say)]


# -- 1 -----------------------------------------------------------------------------------


def armed_while_cream_is_on(seen: Seen) -> str:
    """1: cream on the head and no water called for: a deadline stands, here and at the guard, the same."""
    after = seen.after
    if after.cream is not Cream.HEAD or after.stance in AT_THE_WATER or after.stance is Stance.CLOSED:
        return ""
    if after.due is None or not any(timer == (after.due, "call") for timer in after.timers):
        return f"cream on the head in '{after.stance.value}' and no call is set"
    told = [*seen.past.armed, *(a.due for a in seen.actions if isinstance(a, Arm))]
    if not told or min(told) != after.due:
        return f"the guard was told {told[-1:]} and the session counts on {after.due}"
    return ""


def own_timer_and_alarm_first(seen: Seen) -> str:
    """1: the alarm was heard and an own timer was read back before the cream is opened."""
    if seen.after.cream is Cream.SHUT or seen.before.cream is not Cream.SHUT:
        return ""
    steps = seen.program.steps[: seen.after.step]
    needed = {s.id for s in steps if isinstance(s, ReadBack) or (isinstance(s, Must) and s.plays_alarm)}
    missing = needed - seen.past.passed
    return f"the cream is open without {', '.join(sorted(missing))}" if missing or not needed else ""


# -- 2 -----------------------------------------------------------------------------------


def clock_never_starts_later(seen: Seen) -> str:
    """2: once cream is on the clock has begun, and it is never set to a later beginning."""
    before, after = seen.before.ledger.began, seen.after.ledger.began
    if before is not None and (after is None or after > before):
        return f"the clock began at {before} and now at {after}"
    if seen.after.cream is Cream.HEAD and (after is None or after > seen.after.t):
        return "cream on the head and the clock does not run"
    return ""


def a_touch_is_never_forgotten(seen: Seen) -> str:
    """2: a zone in the ledger stays there, and its first touch only gets earlier."""
    now = {z.zone: z for z in seen.after.ledger.zones}
    for zone in seen.before.ledger.zones:
        if zone.zone not in now or now[zone.zone].first > zone.first:
            return f"the first touch of {zone.zone} was lost"
    return ""


def zone_at_hand_counts(seen: Seen) -> str:
    """2: the zone that is being covered counts from the instruction to begin it."""
    after = seen.after
    if after.stance is Stance.COVERING and after.todo and after.ledger.get(after.todo[0]) is None:
        return f"{after.todo[0]} is being covered and has no clock"
    return ""


# -- 3 -----------------------------------------------------------------------------------


def limit_only_comes_down(seen: Seen) -> str:
    """3: the limit is never above the kit's, and never rises."""
    before, after = seen.before.limit.seconds, seen.after.limit.seconds
    if after > seen.program.limit.seconds or (before and after > before):
        return f"the limit rose from {before} to {after}"
    return ""


def deadline_only_comes_nearer(seen: Seen) -> str:
    """3: no later deadline, neither counted on nor told to the guard."""
    past, dues = seen.past.armed, [a.due for a in seen.actions if isinstance(a, Arm)]
    if sorted([*past, *dues], reverse=True) != [*past, *dues]:
        return f"armed {dues} after {past[-1:]}"
    before, after = seen.before.due, seen.after.due
    if before is not None and (after is None or after > before):
        return f"the deadline moved from {before} to {after}"
    return ""


def deadline_leaves_time_to_walk(seen: Seen) -> str:
    """3: the call is at the latest the first touch's limit less the walk to the water, whatever the limit's sense."""
    after, program = seen.after, seen.program
    if after.due is None or after.ledger.began is None:
        return ""
    latest = after.ledger.began + after.limit.seconds - program.household.water.walk_seconds
    if program.kit.limit_means is LimitMeans.UNTIL_CLEAR:
        latest -= program.household.water.wetting_seconds_a_zone
    if after.due > latest:
        return f"the call is due at {after.due}, the water is needed from {latest}"
    return ""


# -- 4 -----------------------------------------------------------------------------------


def every_stop_phrase_is_live(seen: Seen) -> str:
    """4: while cream is out each stop phrase can be heard."""
    after = seen.after
    if after.cream not in OUT or after.stance is Stance.CLOSED:
        return ""
    deaf = STOP_WORDS - set(live_names(seen.program, after))
    return f"{', '.join(sorted(deaf))} not live in '{after.stance.value}'" if deaf else ""


def response(cream: Cream, phrase: str, stance: Stance) -> set[Stance]:
    """Where a stop phrase must lead, by where the cream is."""
    if cream is Cream.HEAD or (cream is Cream.RINSED and stance is not Stance.CARE):
        return AT_THE_WATER
    if phrase in HURT or stance is Stance.CARE:
        return {Stance.CARE}
    return {Stance.HALTED} if cream is Cream.SHUT else {Stance.AWAY}


def a_stop_phrase_is_obeyed_at_once(seen: Seen) -> str:
    """4: one event leads to the response for where the cream is."""
    event, mid = seen.event, seen.mid
    if not isinstance(event, Heard) or event.phrase not in STOP_WORDS or mid.stance is Stance.CLOSED:
        return ""
    if mid.cream not in OUT:
        return ""
    wanted = response(mid.cream, event.phrase, mid.stance)
    if seen.after.stance not in wanted:
        return f"'{event.phrase}' in '{mid.stance.value}' led to '{seen.after.stance.value}'"
    return ""


def stop_phrases_would_be_obeyed(seen: Seen) -> str:
    """4: the same tried on a copy of the state, whether somebody says it or not (now and then: it costs time)."""
    after = seen.after
    if after.cream not in OUT or after.stance is Stance.CLOSED or int(after.t * 50) % 16:
        return ""
    for phrase in sorted(STOP_WORDS):
        then, _ = advance(seen.program, after, Heard(after.t, phrase))
        if then.stance not in response(after.cream, phrase, after.stance):
            return f"'{phrase}' in '{after.stance.value}' would lead to '{then.stance.value}'"
    return ""


def first_aid_is_not_cut_short(seen: Seen) -> str:
    """4: water on a burn or an eye lasts its least time from the report; nothing said later takes it away."""
    after = seen.after
    if after.t >= seen.past.water_until or after.stance in {*AT_THE_WATER, Stance.CARE}:
        return ""
    return f"'{after.stance.value}' with {seen.past.water_until - after.t:.0f} s of water to go"


# -- 5 -----------------------------------------------------------------------------------


def the_call_repeats(seen: Seen) -> str:
    """5: unanswered it is sounded again; answered, reminders run until the water is clear."""
    after, wanted, within = seen.after, "", 0.0
    if after.stance is Stance.RINSE_CALL:
        wanted, within = "call again", REPEATED_WITHIN_S
    elif after.stance is Stance.RINSING:
        wanted, within = "remind", REMINDED_WITHIN_S
    if wanted and not any(name == wanted and at - after.t <= within for at, name in after.timers):
        return f"'{after.stance.value}' and no '{wanted}' is set"
    return ""


def the_call_grows(seen: Seen) -> str:
    """5: each call is at least as loud as the one before, has its tone, and nothing ranks above it."""
    level = seen.past.level if seen.past.call_since is not None else 0.0
    for prompt in seen.says:
        if prompt.about == "call" and prompt.asks == "water":
            if not prompt.alarm or prompt.priority is not Priority.RINSE_CALL:
                return f"the call '{prompt.name}' has no tone or does not rank first"
            if prompt.level < level and seen.mid.call is not None and seen.before.call is not None:
                return f"the call fell from {level} to {prompt.level}"
            level = prompt.level
    return ""


def only_water_ends_the_call(seen: Seen) -> str:
    """5: with cream on the head a call ends at the water or is taken back, and a rinse ends when it runs clear."""
    before, after = seen.mid.stance, seen.after.stance
    if seen.mid.cream is not Cream.HEAD or before not in AT_THE_WATER or after in AT_THE_WATER:
        return ""
    if seen.after.cream is Cream.RINSED or taken_back(seen):
        return ""
    return f"'{before.value}' led to '{after.value}' with cream on the head"


def taken_back(seen: Seen) -> bool:
    return seen.mid.call is not None and seen.after.call is None and seen.after.cream is not Cream.RINSED


# -- 6 -----------------------------------------------------------------------------------


def nothing_leads_back_to_cream(seen: Seen) -> str:
    """6: after a call by the clock, and after a rinse, no step before the rinse is entered again."""
    if (seen.past.called_by_clock or seen.past.rinsed) and seen.after.stance in BEFORE_THE_RINSE:
        return f"back in '{seen.after.stance.value}'"
    if seen.past.rinsed and seen.after.cream is not Cream.RINSED:
        return f"rinsed, and now the cream is '{seen.after.cream.value}'"
    return ""


def a_call_is_taken_back_by_key_and_word(seen: Seen) -> str:
    """6: only a call by a voice alone, by a key and a word, both within 15 s of it."""
    if not taken_back(seen):
        return ""
    call = seen.mid.call
    assert call is not None
    since, latest = call.since, call.since + TAKEN_BACK_WITHIN_S
    keys = [t for t in [*seen.past.keys, *_pressed(seen)] if since <= t <= latest]
    words = [t for t in [*seen.past.words_back, *_false_alarm(seen)] if since <= t <= latest]
    if not call.by_voice or not keys or not words:
        return f"taken back with keys at {keys} and words at {words}; the call was at {since}"
    return ""


def _pressed(seen: Seen) -> list[float]:
    return [seen.event.t] if isinstance(seen.event, Pressed) else []


def _false_alarm(seen: Seen) -> list[float]:
    event = seen.event
    said = isinstance(event, Heard) and (event.phrase == "false_alarm" or _yes_to_false_alarm(seen))
    pressed = isinstance(event, Pressed) and _yes_to_false_alarm(seen)
    return [event.t] if said or pressed else []


def _yes_to_false_alarm(seen: Seen) -> bool:
    """ "Did you say: it was a false alarm?", answered with yes."""
    return any(
        a.kind == "doubt" and a.heard is not None and a.heard.phrase == "false_alarm" for a in seen.mid.asides
    )


# -- 7 -----------------------------------------------------------------------------------


def doubt_changes_nothing(seen: Seen) -> str:
    """7: what was nearly heard, a knock or talk moves no step."""
    if not isinstance(seen.event, Doubted | Noticed):
        return ""
    mid, after = seen.mid, seen.after
    for name in (
        "stance",
        "step",
        "item",
        "todo",
        "left_out",
        "cream",
        "ledger",
        "limit",
        "due",
        "call",
        "answered",
    ):
        if getattr(mid, name) != getattr(after, name):
            return f"{type(seen.event).__name__} changed {name}"
    return ""


# -- 8 -----------------------------------------------------------------------------------


def cautions_come_first(seen: Seen) -> str:
    """8: a step's caution was spoken before its instruction."""
    said = set(seen.past.said)
    for prompt in seen.says:
        said.add(prompt.name)
        kind, _, step = prompt.name.partition(":")
        if kind == "step" and ":" not in step:
            cautions = any(s.id == step and s.caution for s in seen.program.steps)
            if cautions and f"step:{step}:caution" not in said:
                return f"step '{step}' was spoken without its caution"
    return ""


def what_is_said_can_be_said_again(seen: Seen) -> str:
    """8: words in every prompt, no gap left open in them, and the last prompt is kept."""
    for prompt in seen.says:
        words = " ".join(s.text for s in prompt.sentences)
        if not words.strip() or "{" in words or "}" in words:
            return f"'{prompt.name}' says {words!r}"
    if seen.says and not seen.after.last:
        return "something was said and nothing is kept to say again"
    return ""


def what_is_asked_is_heard(seen: Seen) -> str:
    """8: a question that stands is not taken out of the loudspeaker by the event that asked it; the step's own may be
    by a word to wait."""
    waits = any(prompt.name in ("waiting", "waiting.clock") for prompt in seen.says)
    step = None if waits else seen.after.question
    asked = [q for q in (step, *(a.question for a in seen.after.asides)) if q is not None]
    for question in asked:
        if question.prompt in seen.actions:
            later = seen.actions[seen.actions.index(question.prompt) :]
            if Drop(question.prompt.about) in later:
                return f"'{question.prompt.name}' was asked and dropped"
    return ""


# -- 12 ----------------------------------------------------------------------------------


def a_lost_device_is_said(seen: Seen) -> str:
    """12: a device that fails is said at once, and no clock changes."""
    event, mid = seen.event, seen.mid
    if not isinstance(event, DeviceLost) or mid.stance is Stance.CLOSED or event.device in mid.lost:
        return ""
    if mid.stance is Stance.READY:
        return ""
    if f"lost.{event.device}" not in {p.name for p in seen.says}:
        return f"{event.device} is lost and nobody is told"
    if (mid.due, mid.ledger) != (seen.after.due, seen.after.ledger):
        return f"the loss of {event.device} moved a clock"
    return ""


# -- 13 ----------------------------------------------------------------------------------


def burning_is_asked_about(seen: Seen) -> str:
    """13: with cream at work a question about burning stands or is set."""
    after = seen.after
    if after.cream is not Cream.HEAD or after.stance not in CREAM_AT_WORK:
        return ""
    if any(aside.kind == "burn" for aside in after.asides):
        return ""
    if not any(name == "burn check" and at - after.t <= ASKED_WITHIN_S for at, name in after.timers):
        return f"'{after.stance.value}' and nobody will be asked about burning"
    return ""


def only_silence_brings_the_call_forward(seen: Seen) -> str:
    """13: called for want of an answer only where nobody gave any sign since the question."""
    after = seen.after
    if after.call is None or after.call.cause != "nobody" or seen.before.call is not None:
        return ""
    asked = next((a for a in seen.before.asides if a.kind == "burn"), None)
    if asked is not None and seen.before.sign > asked.since:
        return f"somebody was there at {seen.before.sign}, after the question at {asked.since}"
    return ""


# -- 14, 15 ------------------------------------------------------------------------------


def words_of_the_call_do_nothing(seen: Seen) -> str:
    """14: "rinse now" while the call sounds changes nothing."""
    event, mid, after = seen.event, seen.mid, seen.after
    if not isinstance(event, Heard) or event.phrase != "rinse_now" or mid.stance is not Stance.RINSE_CALL:
        return ""
    if any(aside.kind == "doubt" for aside in mid.asides):
        return ""
    return "" if (mid.stance, mid.call, mid.timers) == (after.stance, after.call, after.timers) else "it did"


def no_alarm_fatigue(seen: Seen) -> str:
    """15: of itself the tool gives the same caution at most once a minute."""
    if not isinstance(seen.event, Ticked) or seen.event.t - seen.before.t > 60:
        return ""
    for prompt in seen.says:
        if prompt.priority is Priority.CAUTION:
            last = seen.past.by_itself.get((prompt.name, prompt.slots))
            if last is not None and seen.event.t - last < 59.0:
                return f"'{prompt.name}' again after {seen.event.t - last:.0f} s"
    return ""


# -- ways out ------------------------------------------------------------------------------


def there_is_a_way_out(seen: Seen) -> str:
    """From every state something that can be said, pressed or waited for leads on."""
    after = seen.after
    if after.stance in (Stance.CLOSED, Stance.READY):
        return ""
    return "" if live_names(seen.program, after) else f"nothing is live in '{after.stance.value}'"


CLAIMS: tuple[Callable[[Seen], str], ...] = (
    armed_while_cream_is_on,
    own_timer_and_alarm_first,
    clock_never_starts_later,
    a_touch_is_never_forgotten,
    zone_at_hand_counts,
    limit_only_comes_down,
    deadline_only_comes_nearer,
    deadline_leaves_time_to_walk,
    every_stop_phrase_is_live,
    a_stop_phrase_is_obeyed_at_once,
    stop_phrases_would_be_obeyed,
    first_aid_is_not_cut_short,
    the_call_repeats,
    the_call_grows,
    only_water_ends_the_call,
    nothing_leads_back_to_cream,
    a_call_is_taken_back_by_key_and_word,
    doubt_changes_nothing,
    cautions_come_first,
    what_is_said_can_be_said_again,
    what_is_asked_is_heard,
    a_lost_device_is_said,
    burning_is_asked_about,
    only_silence_brings_the_call_forward,
    words_of_the_call_do_nothing,
    no_alarm_fatigue,
    there_is_a_way_out,
)


class Watch:
    """Holds one run to all claims. Hand it every event with the states on both sides."""

    def __init__(self, program: Program) -> None:
        self.program = program
        self.past = Past()

    def look(
        self, before: State, event: Event, actions: Sequence[Action], after: State
    ) -> tuple[Breach, ...]:
        """Breaches by this event. Remembers it for the next."""
        mid = before
        due = bool(before.timers) and before.timers[0][0] <= event.t
        if due and not isinstance(event, Ticked | Resumed):  # what fell into a time away means something else
            mid, _ = advance(self.program, before, Ticked(event.t))
        seen = Seen(self.program, before, mid, event, actions, after, self.past)
        self._learn_first(seen)
        found = tuple(Breach(c.__name__, after.t, what) for c in CLAIMS if (what := c(seen)))
        self._learn(seen)
        return found

    def _learn_first(self, seen: Seen) -> None:
        """What claims about this very event need: deadlines, harms reported, calls."""
        past, event, mid = self.past, seen.event, seen.mid
        hurt = isinstance(event, Heard) and event.phrase in HURT and mid.cream is not Cream.SHUT
        if hurt and isinstance(event, Heard) and mid.stance is not Stance.CLOSED:
            if event.phrase not in past.harms:  # said once more it is the same harm, and its time runs
                past.water_until = max(past.water_until, event.t + WATER_S.get(event.phrase, 0.0))
            past.harms.add(event.phrase)
        if taken_back(seen) or seen.after.stance not in {*AT_THE_WATER, Stance.CARE}:
            past.harms.clear()
        if taken_back(seen):
            past.water_until = 0.0
        if mid.call is not None and not mid.call.by_voice and mid.cream is Cream.HEAD:
            past.called_by_clock = True
        if mid.cream is Cream.RINSED:
            past.rinsed = True

    def _learn(self, seen: Seen) -> None:
        past, event = self.past, seen.event
        past.armed += [a.due for a in seen.actions if isinstance(a, Arm)]
        past.said |= {p.name for p in seen.says}
        if isinstance(event, Resumed):
            past.by_itself.clear()  # nobody knows what was heard of it
        if isinstance(event, Ticked):
            for prompt in seen.says:
                past.by_itself[prompt.name, prompt.slots] = event.t
        if seen.after.step > seen.before.step:
            past.passed.add(seen.program.steps[seen.before.step].id)
        past.keys += _pressed(seen)
        past.words_back += _false_alarm(seen)
        calls = [p.level for p in seen.says if p.about == "call" and p.asks == "water"]
        if seen.after.call is None:
            past.call_since, past.level = None, 0.0
        else:
            past.call_since = seen.after.call.since
            past.level = calls[-1] if calls else past.level
