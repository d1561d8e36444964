"""The people of a rehearsal: they hear prompts, work with their hands, answer, and slip.

They know what they heard and did, never what the session thinks: in come the
prompts that were understood at their ears and when the tool was audible; out
go speech, keys and deeds, written into the truth as they happen. How sound
travels is `room.acoustics`, what counts as understood is decided in `room.room`.

Each thing somebody does is a script: a generator that yields the second to
wake at or something to say, and is sent the second it goes on at. Times are
exact and do not depend on the length of a block.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Generator, Mapping, Sequence
from dataclasses import dataclass
from typing import NamedTuple, Protocol

import numpy as np

from assistant.core.actions import Say
from assistant.core.asks import ASKS
from assistant.core.hearing import LivePhrase, Risk
from assistant.room.clips import plain
from assistant.room.home import Home, OffScript, Who
from assistant.room.truth import KeyPress, Truth, Utterance

TURN_GAP_S = 0.4
"""The tool has finished speaking when it was silent this long: longer than a pause between its sentences."""

BETWEEN_PEOPLE_S = 0.25
"""The gap between two people's turns (turn taking leaves about 200 ms; from a secondary source)."""

TALKED_OVER_S = 8.0
"""Whoever waits this long for the tool to be silent speaks anyway (our choice)."""

REPEAT_AFTER_S = 10.0
REPEATS = 2
"""An answer that is met with silence is said again, so often (our choice)."""

LOOK_BACK_S = 25.0
"""How long ago something was said that "Did you say ...?" can mean (our choice)."""

HANDS_ON = frozenset({"cover", "smooth_zone", "let_work"})
"""Work at the chair."""

ASIDES = frozenset({"any_burning", "wiped", "doubt"})
"""Questions that are answered beside the work, which goes on."""

BOTH_ARE_YES = frozenset({"confirm", "both"})
"""Questions whose second answer is a yes too."""

ASKED_AGAIN_BY_NAME = frozenset({"confirm", "yes_no", "let_work"})
"""Questions that are told apart by the prompt that asks them; of the others several prompts ask the same."""

TAKEN_IN = frozenset({"water", "flush", "carry_on", "confirm", "doubt"})
"""What a tool that took a stop phrase in asks for; until then whoever is hurt says it again."""
INSISTS = 5
"""How often (our choice)."""


_PERSON_SAYS = frozenset({
    "next_step", "have_it", "missing", "person_ready", "timer_says", "all_is_well", "it_burns",
    "water_running", "runs_clear", "yes", "no", "carry_on",
})  # fmt: skip
_HANDS_SAY = frozenset({
    "next_step", "smooth", "lumpy", "strand_straight", "strand_not_yet", "strand_bad", "done_with",
    "wiped_off", "help_says_stop", "no_colour", "still_colour", "yes", "no",
})  # fmt: skip


def says(who: Who, *, alone: bool) -> frozenset[str]:
    """Names of the phrases that somebody may say when asked; what is off-script stands in the home file."""
    if who == "helper":
        return _HANDS_SAY | {"helper_ready"}
    return _PERSON_SAYS | _HANDS_SAY if alone else _PERSON_SAYS


class Mouths(Protocol):
    """What makes people's speech heard in the room."""

    def speak(self, who: Who, text: str, begin: float) -> tuple[float, float]:
        """`who` says `text` from `begin`; when the speech itself begins and ends."""

    def talk(self, who: Who, clip: str, begin: float) -> tuple[str, float, float]:
        """`who` says a clip of everyday talk; its text, and when it begins and ends."""


class Speak(NamedTuple):
    """A wish to say a phrase, as soon as nobody else speaks."""

    who: Who
    name: str
    slot: str = ""


Script = Generator["float | Speak", float, float]


@dataclass(slots=True)
class Running:
    """A script under way: when it goes on, and what it waits to say."""

    script: Script
    wake: float
    waiting: Speak | None = None
    begun: bool = False


@dataclass(slots=True)
class Task:
    """A question that was heard: what to do about it and what to say then."""

    key: tuple[str, ...]
    prompt: Say
    do: Callable[[Task, float], Script]
    says: Callable[[Task, float], tuple[Speak, ...]]
    redo: bool = False
    state: str = "working"
    key_offered: bool = False
    running: Running | None = None


class People:
    """The household, driven block by block."""

    def __init__(
        self,
        home: Home,
        zones: Sequence[str],
        phrases: Sequence[LivePhrase],
        mouths: Mouths,
        truth: Truth,
        *,
        talk: Sequence[str] = (),
        notice: Callable[[str, float], None] = lambda event, t: None,
    ) -> None:
        """`phrases` is every way of saying every phrase; `talk` names the clips of everyday talk.

        `notice` is told of every event that a moment of the home file can name.
        """
        self._home = home
        self._zones = tuple(zones)
        self._mouths = mouths
        self._truth = truth
        self._talk = tuple(talk)
        self._ways: dict[tuple[str, str], list[str]] = {}
        self._meaning: dict[str, LivePhrase] = {}
        for phrase in phrases:
            self._ways.setdefault((phrase.name, phrase.slot), []).append(phrase.text)
            self._meaning.setdefault(plain(phrase.text), phrase)
        self._pace_draws = np.random.default_rng([home.seed, 1])
        self._word_draws = np.random.default_rng([home.seed, 2])
        self._slip_draws = np.random.default_rng([home.seed, 3])
        self._talk_draws = np.random.default_rng([home.seed, 4])

        helper: Who = "helper"
        self._hands: Who = helper if helper in home.everyone() else "person"
        self._main: Task | None = None
        self._aside: Task | None = None
        self._sink: Running | None = None
        self._deeds: list[Running] = []
        self._awaited: list[OffScript] = list(home.off_script)
        self._happened: set[str] = set()
        self._keys: list[str] = []
        self._now = 0.0
        self._tool_audible = -math.inf
        self._mouth_free = -math.inf
        self._last_said: list[Utterance] = []
        self._heard_asks_at: dict[str, float] = {}
        self._hands_free = -math.inf
        self._mixed_at: float | None = None
        self._work_began = 0.0
        self._strand_since: float | None = None
        self._tap_at: float | None = None
        self._clear_at: float | None = None
        self._first_to_rinse: tuple[str, ...] = ()
        self._flush_since: float | None = None
        self._missing: dict[str, bool] = {}
        self._lumpy = self._slips(home.mistakes.lumpy_first)
        self._colour_left = home.hair.colour_left
        self._noes = set(home.says_no_to)
        self._hurt = ""
        self._notice = notice
        self.tap_on = False
        if home.mistakes.talk_per_min and self._talk:
            self._deeds.append(Running(self._chat(0.0), 0.0))
        self.happens("start", 0.0)

    # -- what the room tells them, and what they give ---------------------------------

    def pressed(self) -> list[str]:
        """Keys since the last call."""
        keys, self._keys = self._keys, []
        return keys

    def tool_is_audible(self, t: float) -> None:
        """The tool's voice or tone could be heard until `t`."""
        self._tool_audible = t

    def hear(self, prompt: Say, t: float) -> None:
        """`prompt` was understood; it ended at `t`."""
        self._now = t
        self._heard_asks_at[prompt.asks] = t
        if prompt.name.startswith("step:"):
            self.happens(":".join(prompt.name.split(":")[:2]), t)
        if prompt.asks:
            self.happens(f"asked:{prompt.asks}", t)
        if prompt.name == "call.order":
            slots = dict(prompt.slots)
            self._first_to_rinse = tuple(slots[name] for name in ("zone", "next_zone") if name in slots)
        if prompt.asks == "key":
            self._key_is_offered(self._main, t)
        elif prompt.asks in ASIDES:
            self._aside = self._asked(self._aside, prompt, t)
        elif prompt.asks in ASKS:
            self._main = self._asked(self._main, prompt, t)

    def live_until(self, t: float) -> None:
        """Everything they do up to `t`."""
        self._now = t
        for deed in self._deeds[:]:
            if self._run(deed, t):
                self._deeds.remove(deed)
        if self._sink is not None and self._run(self._sink, t):
            self._sink = None
        for task in (self._aside, self._main):
            if task is not None and task.running is not None and self._run(task.running, t):
                task.running = None

    def wakes_at(self) -> float:
        """The earliest second at which somebody goes on of themselves; inf while all wait to be spoken to."""
        tasks = [task.running for task in (self._aside, self._main) if task is not None]
        running = [r for r in (*self._deeds, self._sink, *tasks) if r is not None]
        return min(
            (r.wake if r.waiting is None else self._may_speak_from(r.wake) for r in running), default=math.inf
        )

    def happens(self, event: str, t: float) -> None:
        """`event` takes place at `t`, for whatever was to be said or to fail then."""
        if event in self._happened:
            return
        self._happened.add(event)
        self._notice(event, t)
        for deed in [d for d in self._awaited if d.at.event == event]:
            self._awaited.remove(deed)
            self._deeds.append(Running(self._off_script(deed), t + deed.at.seconds))

    # -- scripts ----------------------------------------------------------------------

    def _run(self, running: Running, until: float) -> bool:
        """Let a script go on up to `until`; True when it is finished."""
        while True:
            if running.waiting is not None:
                begin = self._may_speak_from(running.wake)
                if begin > until:
                    return False
                wish, running.waiting = running.waiting, None
                running.wake = self._say(wish, begin)
            if running.wake > until:
                return False
            try:
                wish_or_wake = running.script.send(running.wake) if running.begun else next(running.script)
            except StopIteration:
                return True
            running.begun = True
            if isinstance(wish_or_wake, Speak):
                running.waiting = wish_or_wake
            else:
                running.wake = max(running.wake, wish_or_wake)

    def _may_speak_from(self, since: float) -> float:
        """When somebody who wants to speak since `since` finds the room quiet."""
        after_tool = min(max(since, self._tool_audible + TURN_GAP_S), since + TALKED_OVER_S)
        return max(after_tool, self._mouth_free + BETWEEN_PEOPLE_S)

    def _say(self, wish: Speak, begin: float) -> float:
        return self._utter(wish.who, self._words(wish.name, wish.slot), begin, wish.name, wish.slot)

    def _utter(self, who: Who, text: str, begin: float, name: str, slot: str) -> float:
        begins, ends = self._mouths.speak(who, text, begin)
        self._note(Utterance(who, begins, ends, text, name, slot))
        return ends

    def _note(self, utterance: Utterance) -> None:
        self._truth.utterances.append(utterance)
        self._last_said = [u for u in self._last_said if u.end > utterance.begin - LOOK_BACK_S] + [utterance]
        self._mouth_free = max(self._mouth_free, utterance.end)

    def _words(self, name: str, slot: str) -> str:
        """The way a phrase is said this time."""
        ways = self._ways[name, slot]
        fixed = self._home.wording.fixed.get(name)
        if fixed is not None:
            return fixed.replace("{zone}", slot)
        if len(ways) > 1 and self._word_draws.random() < self._home.wording.other_ways:
            return ways[1 + int(self._word_draws.integers(len(ways) - 1))]
        return ways[0]

    # -- being asked ------------------------------------------------------------------

    def _asked(self, known: Task | None, prompt: Say, t: float) -> Task:
        """The task a question sets, or the one it repeats."""
        slots = dict(prompt.slots)
        key = (
            prompt.asks,
            slots.get("next_zone", slots.get("zone", "")) if prompt.asks in ("cover", "smooth_zone") else "",
            slots.get("item", ""),
            f"{prompt.about}/{prompt.name}" if prompt.asks in ASKED_AGAIN_BY_NAME else "",
        )
        again = known is not None and known.key == key and prompt.asks != "doubt"
        if again and prompt.asks == "water" and not self._at_the_sink():
            again = False
        if known is not None and again:
            known.prompt = prompt
            if known.state == "answered":
                self._drop(known, t)
                script = self._carry_out(known, t) if known.redo else self._answer(known, t)
                known.running = Running(script, t)
        else:
            if known is not None:
                self._drop(known, t)
            do, says, redo = self._plans_for[prompt.asks]
            known = Task(key, prompt, do.__get__(self), says.__get__(self), redo)
            if prompt.asks in HANDS_ON:
                self._turn_back()
            known.running = Running(self._carry_out(known, t), t)
        if ".key" in prompt.name:
            self._key_is_offered(known, t)
        return known

    def _drop(self, task: Task, t: float) -> None:
        """Stop what was being done for a task; hands come off the hair."""
        self._now = t
        if task.running is not None:
            task.running.script.close()
            task.running = None

    def _carry_out(self, task: Task, t: float) -> Script:
        task.state = "working"
        t = yield from task.do(task, t)
        task.state = "answering"
        if self._slips(self._home.mistakes.silent):
            task.state = "answered"
            return t
        return (yield from self._answer(task, t))

    def _answer(self, task: Task, t: float) -> Script:
        task.state = "answering"
        t = yield t + self._reaction()
        wishes = task.says(task, t)
        pressed = task.key_offered and self._press_answer(task, wishes, t)
        wishes = tuple(
            wish for wish in wishes if (wish.name, wish.slot) in self._ways
        )  # no words: by key only
        if not pressed:
            for place, wish in enumerate(wishes):
                if place:
                    t = yield t + self._reaction()
                t = yield wish
        task.state = "answered"
        if task is self._main:
            self._work_began = t
        if pressed:
            return t
        for _ in range(REPEATS):
            answered = t
            t = yield t + REPEAT_AFTER_S
            if self._tool_audible > answered:
                break
            for wish in wishes[-1:]:
                t = yield wish
        return t

    def _key_is_offered(self, task: Task | None, t: float) -> None:
        """A key instead of the voice: at once when the answer is due, else when the work is done."""
        if task is None:
            return
        task.key_offered = True
        if task.state != "working":
            self._drop(task, t)
            task.running = Running(self._answer(task, t), t)

    def _press_answer(self, task: Task, wishes: tuple[Speak, ...], t: float) -> bool:
        choices = ASKS[task.prompt.asks]
        if any(wish.name not in choices[:2] for wish in wishes):
            return False
        for wish in wishes:
            yes = wish.name == choices[0] or task.prompt.asks in BOTH_ARE_YES
            self._press(wish.who, "yes" if yes else "no", t)
        return True

    def _press(self, who: Who, key: str, t: float) -> None:
        self._keys.append(key)
        self._truth.keys.append(KeyPress(t, who, key))

    # -- what is done and said for each question ---------------------------------------

    def _do_nothing(self, task: Task, t: float) -> Script:
        return (yield t)

    def _do_step(self, task: Task, t: float) -> Script:
        t = yield t + self._draw(self._home.pace.confirm_s)
        if "lather" in task.prompt.name:
            self._turn_tap(True, t)
            try:
                t = yield t + self._draw(self._home.pace.rinse_out_s)
            finally:
                self._turn_tap(False, t)
        return t

    def _say_next(self, task: Task, t: float) -> tuple[Speak, ...]:
        return (Speak("person", "next_step"),)

    def _do_look_for_item(self, task: Task, t: float) -> Script:
        item = dict(task.prompt.slots).get("item", "")
        if item not in self._missing:
            self._missing[item] = self._slips(self._home.mistakes.missing_item)
            return (yield t + self._draw(self._home.pace.tick_s))
        if self._missing[item]:
            self._missing[item] = False
            return (yield t + self._draw(self._home.pace.fetch_s))
        return (yield t)

    def _say_item(self, task: Task, t: float) -> tuple[Speak, ...]:
        item = dict(task.prompt.slots).get("item", "")
        return (Speak("person", "missing" if self._missing[item] else "have_it"),)

    def _say_both(self, task: Task, t: float) -> tuple[Speak, ...]:
        wishes = [Speak("person", "person_ready")]
        if self._hands == "helper":
            wishes.append(Speak("helper", "helper_ready"))
        if task.prompt.name.endswith(".helper"):
            return tuple(wishes[1:])
        return tuple(wishes[:1] if task.prompt.name.endswith(".person") else wishes)

    def _say_timer(self, task: Task, t: float) -> tuple[Speak, ...]:
        return (Speak("person", "timer_says", dict(task.prompt.slots).get("minutes", "")),)

    def _do_mix(self, task: Task, t: float) -> Script:
        if self._mixed_at is None:
            self._mixed_at = self._work_began + self._draw(self._home.pace.mixing_s)
        return (yield max(t, self._mixed_at))

    def _say_mixed(self, task: Task, t: float) -> tuple[Speak, ...]:
        lumpy, self._lumpy = self._lumpy, False
        return (Speak(self._hands, "lumpy" if lumpy else "smooth"),)

    def _say_strand(self, task: Task, t: float) -> tuple[Speak, ...]:
        if self._strand_since is None:
            self._strand_since = self._work_began
        if t - self._strand_since < self._home.hair.straight_after_min * 60:
            return (Speak(self._hands, "strand_not_yet"),)
        return (Speak(self._hands, "strand_bad" if self._home.hair.strand_goes_bad else "strand_straight"),)

    def _do_cover(self, task: Task, t: float) -> Script:
        zone, pace = task.key[1], self._home.pace
        first = max(t - pace.early_start_s, min(t, self._hands_free))
        if self._truth.cream_on() is None:
            self.happens("cream on", first)
        self._truth.touch(zone, first)
        self.happens(f"cover:{zone}", first)
        done = max(t, first + 60 * self._draw(pace.zone_min.get(zone, pace.zone_min["default"])))
        try:
            t = yield done
        finally:
            self._hands_free = min(done, max(first, self._now))
            self._truth.touch(zone, self._hands_free)
        return (yield t + pace.late_report_s)

    def _do_smooth(self, task: Task, t: float) -> Script:
        zone, pace = task.key[1], self._home.pace
        self.happens(f"smooth:{zone}", t)
        return (yield t + self._draw(pace.smoothing_s.get(zone, pace.smoothing_s["default"])))

    def _say_done(self, task: Task, t: float) -> tuple[Speak, ...]:
        zone = task.key[1]
        others = [z for z in self._zones if z != zone]
        if others and self._slips(self._home.mistakes.wrong_zone):
            zone = others[int(self._slip_draws.integers(len(others)))]
        return (Speak(self._hands, "done_with", zone),)

    def _do_let_work(self, task: Task, t: float) -> Script:
        if task.prompt.name == "least_over":
            return (yield t)
        began = self._truth.cream_on()
        if began is None or self._tap_at is not None:
            return (yield math.inf)  # it stands until the tool says that it stood long enough
        return (yield max(t, began + 60 * self._home.hair.straight_after_min))

    def _say_let_work(self, task: Task, t: float) -> tuple[Speak, ...]:
        return (Speak(self._hands, "next_step"),)

    def _say_burning(self, task: Task, t: float) -> tuple[Speak, ...]:
        return (Speak("person", self._hurt or "all_is_well"),)

    def _do_wipe(self, task: Task, t: float) -> Script:
        return (yield t + self._draw(self._home.pace.wipe_s))

    def _say_wiped(self, task: Task, t: float) -> tuple[Speak, ...]:
        return (Speak(self._hands, "wiped_off"),)

    def _do_go_to_water(self, task: Task, t: float) -> Script:
        self.happens("rinse", t)
        if not self._at_the_sink():
            self._go_to_the_sink(t)
        assert self._tap_at is not None
        return (yield max(t, self._tap_at))

    def _say_water(self, task: Task, t: float) -> tuple[Speak, ...]:
        return (Speak("person", "water_running"),)

    def _do_rinse(self, task: Task, t: float) -> Script:
        if self._tap_at is None:
            self._go_to_the_sink(t)
        assert self._clear_at is not None
        return (yield max(t, self._clear_at))

    def _say_clear(self, task: Task, t: float) -> tuple[Speak, ...]:
        return (Speak("person", "runs_clear"),)

    def _do_flush(self, task: Task, t: float) -> Script:
        if self._flush_since is None:
            self._flush_since = t
        until = self._flush_since + 60 * self._home.pace.flush_min
        if self._sink is not None and self._clear_at is not None:
            t = yield max(t, self._clear_at)
        if t < until:
            self._turn_tap(True, t)
            try:
                t = yield until
            finally:
                self._turn_tap(False, t)
        return t

    def _say_help(self, task: Task, t: float) -> tuple[Speak, ...]:
        return (Speak(self._hands, "help_says_stop"),)

    def _say_foam(self, task: Task, t: float) -> tuple[Speak, ...]:
        if self._colour_left > 0:
            self._colour_left -= 1
            return (Speak(self._hands, "still_colour"),)
        return (Speak(self._hands, "no_colour"),)

    def _say_yes(self, task: Task, t: float) -> tuple[Speak, ...]:
        """Yes, or no where the home file says so and it was not put right since."""
        no = task.prompt.name.removeprefix("step:") in self._noes
        return (Speak("person", "no" if no else "yes"),)

    def _say_what_was_said(self, task: Task, t: float) -> tuple[Speak, ...]:
        """The truth about "Did you say ...?"; after a no, what was really said, again."""
        asked = plain(dict(task.prompt.slots).get("phrase", ""))
        lately = [u for u in self._last_said if u.end > t - LOOK_BACK_S]
        for said in reversed(lately):
            if said.name and asked in (plain(said.text), plain(self._ways[said.name, said.slot][0])):
                return (Speak(_who(said.who), "yes"),)
        speaker = _who(lately[-1].who) if lately else "person"
        wishes: tuple[Speak, ...] = (Speak(speaker, "no"),)
        if self._main is not None and self._main.state == "answered":
            wishes += self._main.says(self._main, t)
        return wishes

    def _do_put_right(self, task: Task, t: float) -> Script:
        t = yield t + self._draw(self._home.pace.hold_s)
        self._noes.clear()
        return t

    def _say_carry_on(self, task: Task, t: float) -> tuple[Speak, ...]:
        return (Speak("person", "carry_on"),)

    _plans_for: Mapping[str, tuple[Callable[..., Script], Callable[..., tuple[Speak, ...]], bool]] = {
        # question: (what is done, what is said, done anew when asked again)
        "confirm": (_do_step, _say_next, False),
        "tick": (_do_look_for_item, _say_item, True),
        "both": (_do_step, _say_both, False),
        "read_back": (_do_step, _say_timer, False),
        "mixed": (_do_mix, _say_mixed, True),
        "strand": (_do_nothing, _say_strand, True),
        "cover": (_do_cover, _say_done, False),
        "smooth_zone": (_do_smooth, _say_done, False),
        "let_work": (_do_let_work, _say_let_work, False),
        "any_burning": (_do_nothing, _say_burning, False),
        "wiped": (_do_wipe, _say_wiped, False),
        "water": (_do_go_to_water, _say_water, False),
        "clear": (_do_rinse, _say_clear, False),
        "flush": (_do_flush, _say_help, False),
        "colour": (_do_nothing, _say_foam, False),
        "yes_no": (_do_nothing, _say_yes, False),
        "doubt": (_do_nothing, _say_what_was_said, False),
        "carry_on": (_do_put_right, _say_carry_on, False),
    }

    # -- at the water -------------------------------------------------------------------

    def _at_the_sink(self) -> bool:
        return self._sink is not None or self.tap_on

    def _go_to_the_sink(self, t: float) -> None:
        """Leave everything, walk, wet every zone, then clear every zone, then turn the tap off."""
        pace, zones = self._home.pace, tuple(self._truth.zones)
        wetting = {z: self._draw(pace.wetting_s.get(z, pace.wetting_s["default"])) for z in zones}
        clearing = {z: self._draw(pace.clearing_s.get(z, pace.clearing_s["default"])) for z in zones}
        self._tap_at = t + self._reaction() + self._draw(pace.walk_s)
        self._clear_at = self._tap_at + sum(wetting.values()) + sum(clearing.values())
        self._sink = Running(self._rinse(wetting, clearing), self._tap_at)

    def _rinse(self, wetting: Mapping[str, float], clearing: Mapping[str, float]) -> Script:
        assert self._tap_at is not None
        t = yield self._tap_at
        self._turn_tap(True, t)
        self.happens("water", t)
        called = [z for z in self._first_to_rinse if z in wetting]
        touched = sorted(wetting, key=lambda z: self._truth.zones[z].first)
        order = called + [z for z in touched if z not in called]
        for zone in order:
            self._truth.water(zone, t)
            t = yield t + wetting[zone]
        for zone in order:
            t = yield t + clearing[zone]
            self._truth.clear(zone, t)
        self._turn_tap(False, t)
        self.happens("clear", t)
        return t

    def _turn_back(self) -> None:
        """The call was taken back before the water ran."""
        if self._sink is not None and not self.tap_on:
            self._sink.script.close()
            self._sink = self._tap_at = self._clear_at = None

    def _turn_tap(self, on: bool, t: float) -> None:
        self.tap_on = on

    # -- off-script ---------------------------------------------------------------------

    def _off_script(self, deed: OffScript) -> Script:
        """Done at once, into whatever else is being said."""
        t = yield -math.inf
        if deed.press is not None:
            self._press(deed.who, deed.press, t)
            return t
        if deed.talk is not None:
            return self._tell(deed.who, deed.talk, t)
        assert deed.say is not None
        phrase = self._meaning.get(plain(deed.say))
        name, slot = (phrase.name, phrase.slot) if phrase else ("", "")
        if name == "it_burns":
            self._hurt = name
        began = t
        t = self._utter(deed.who, deed.say, self._free_to_burst_out(deed.who, t), name, slot)
        if phrase is not None and phrase.risk is Risk.STOP:
            for _ in range(INSISTS):
                t = yield t + REPEAT_AFTER_S
                if any(self._heard_asks_at.get(asks, -math.inf) > began for asks in TAKEN_IN):
                    break
                if self._tool_audible > t - REPEAT_AFTER_S:
                    continue
                t = self._utter(deed.who, deed.say, self._free_to_burst_out(deed.who, t), name, slot)
        return t

    def _chat(self, t: float) -> Script:
        """Sentences of everyday talk by one or the other, whoever else is speaking."""
        everyone = list(self._home.everyone())
        while True:
            t = yield t + float(self._talk_draws.exponential(60 / self._home.mistakes.talk_per_min))
            who = everyone[int(self._talk_draws.integers(len(everyone)))]
            self._tell(who, self._talk[int(self._talk_draws.integers(len(self._talk)))], t)

    def _tell(self, who: Who, clip: str, t: float) -> float:
        text, begins, ends = self._mouths.talk(who, clip, self._free_to_burst_out(who, t))
        self._note(Utterance(who, begins, ends, text))
        return ends

    def _free_to_burst_out(self, who: Who, t: float) -> float:
        """Nobody says two things at once."""
        own = max((u.end for u in self._last_said if u.who == who), default=-math.inf)
        return max(t, own + BETWEEN_PEOPLE_S)

    # -- chance ---------------------------------------------------------------------------

    def _draw(self, seconds: float) -> float:
        """A duration around its median, log-normal."""
        return seconds * math.exp(self._home.pace.spread * float(self._pace_draws.standard_normal()))

    def _reaction(self) -> float:
        pace = self._home.pace
        return pace.reaction_s * math.exp(pace.reaction_spread * float(self._pace_draws.standard_normal()))

    def _slips(self, chance: float) -> bool:
        return chance > 0 and float(self._slip_draws.random()) < chance


def _who(who: str) -> Who:
    return "helper" if who == "helper" else "person"
