"""The loop: journal first but never in the way of the rinse, doubtful words, and replay."""

from __future__ import annotations

import numpy as np

from assistant.app.loop import Loop
from assistant.core.actions import Priority, Say, Sentence
from assistant.core.events import Begun, Event, Heard, Noticed, Ticked
from assistant.core.hearing import Hypothesis, LivePhrase, Risk
from assistant.core.session import Cream, Stance, State, advance
from assistant.journal.record import event_of
from assistant.ports import RATE, Mark
from assistant.room.home import Walls
from assistant.screens.none import NoScreen
from tests.knocking import BODIES, knocks
from tests.programs import program
from tests.walker import Walk

NONE = np.zeros(0, dtype=np.float32)


class Order:
    """Journal, mixer and guard in one, noting in which order they were used."""

    def __init__(self, fails: bool = False) -> None:
        self.fails = fails
        self.voiceless = False
        self.notes: list[tuple[str, object]] = []

    def write(self, record: dict[str, object]) -> None:
        if self.fails:
            raise OSError("disk full")
        self.notes.append(("written", record))

    def close(self) -> None:
        """Nothing to close."""

    def say(self, prompt: Say) -> None:
        self.notes.append(("said", prompt))

    def drop(self, about: str) -> None:
        self.notes.append(("dropped", about))

    def idle(self) -> bool:
        return True

    def acknowledge(self) -> None:
        self.notes.append(("ticked", None))

    def marks(self) -> list[Mark]:
        return []

    def missing(self) -> list[Sentence]:
        return [Sentence("Nobody made this.")] if self.voiceless else []

    def pull(self, count: int) -> np.ndarray:
        return np.zeros(count, dtype=np.float32)

    problem = ""

    def arm(self, due: float, since: float) -> None:
        self.notes.append(("armed", due))

    def called(self) -> None:
        self.notes.append(("called", None))

    def beat(self, place: str) -> None:
        """Felt."""

    def disarm(self) -> None:
        self.notes.append(("disarmed", None))


class Ears:
    """Hears what it is told to have heard."""

    name = "told"

    def __init__(self) -> None:
        self.next: list[Hypothesis] = []
        self.allowed: tuple[LivePhrase, ...] = ()

    def allow(self, phrases: tuple[LivePhrase, ...]) -> None:
        self.allowed = tuple(phrases)

    def feed(self, heard: np.ndarray, played: np.ndarray, t_end: float) -> list[Hypothesis]:
        found, self.next = self.next, []
        return found

    def unknown_words(self, words: object) -> tuple[str, ...]:
        return ()


def loop(order: Order) -> tuple[Loop, Ears]:
    ears = Ears()
    made = Loop(program(), ears, order, order, order, NoScreen())  # type: ignore[arg-type]
    made.begin(0.0)
    return made, ears


def test_9_an_event_is_written_before_its_prompt() -> None:
    order = Order()
    made, _ = loop(order)
    order.notes.clear()
    made.happen(Heard(5.0, "next_step"))
    kinds = [kind for kind, _ in order.notes]
    assert kinds.index("written") < kinds.index("said")


def test_9_the_rinse_call_goes_out_before_the_disk_and_without_it() -> None:
    for fails in (False, True):
        order = Order(fails)
        made, _ = loop(order)
        made.state = Walk(program()).to(Stance.COVERING).state
        order.notes.clear()
        made.happen(Heard(made.state.t + 1, "rinse_now"))
        kinds = [kind for kind, _ in order.notes]
        said = [what for kind, what in order.notes if kind == "said" and isinstance(what, Say)]
        assert said[0].priority is Priority.RINSE_CALL
        if fails:
            assert "written" not in kinds
            assert "lost.journal" in [s.name for s in said]
        else:
            assert kinds.index("said") < kinds.index("written")


def test_9_what_the_disk_would_not_take_is_written_later() -> None:
    order = Order(fails=True)
    made, _ = loop(order)
    made.happen(Heard(5.0, "next_step"))
    order.fails = False
    made.happen(Heard(6.0, "next_step"))
    events = [
        r["event"] for kind, r in order.notes if kind == "written" and isinstance(r, dict) and "event" in r
    ]
    assert events[:2] == ["Begun", "DeviceLost"]
    assert events.count("Heard") == 2


def test_9_replaying_a_journal_gives_the_same_state() -> None:
    order = Order()
    made, _ = loop(order)
    for k, event in enumerate(Walk(program()).to_end().events[1:]):
        made.happen(event)
        if k % 50 == 0:
            assert replayed(order) == made.state
    assert replayed(order) == made.state


def replayed(order: Order) -> State:
    state = State()
    for kind, record in order.notes:
        if kind == "written" and isinstance(record, dict) and "event" in record:
            event: Event = event_of(record)
            state, _ = advance(program(), state, event)
    return state


def heard(text: str, name: str, risk: Risk, *, over: bool = False) -> Hypothesis:
    phrase = LivePhrase(text, name, "", risk)
    return Hypothesis(1.0, 1.8, phrase, 12.0, 1.0, over_prompt=over, level_db=-30.0, agreed=True)


def test_14_a_prompts_own_words_are_no_command_while_it_sounds() -> None:
    order = Order()
    made, ears = loop(order)
    prompt = next(
        what
        for kind, what in order.notes
        if kind == "said" and isinstance(what, Say) and what.asks == "confirm"
    )
    ears.next = [heard("next step", "next_step", Risk.ADVANCE)]
    made.turn(1.9, np.zeros(320, np.float32), np.zeros(320, np.float32), [Mark(prompt, "begun", 0)])
    assert made.state.step == 0
    ears.next = [
        Hypothesis(6.0, 6.8, heard("next step", "next_step", Risk.ADVANCE).best, 12.0, 1.0, level_db=-30.0)
    ]
    made.turn(7.0, np.zeros(320, np.float32), np.zeros(320, np.float32), [Mark(prompt, "ended", 16_000 * 5)])
    assert made.state.step == 1


def test_4_a_stop_phrase_over_a_prompt_acts_while_cream_is_out() -> None:
    order = Order()
    made, ears = loop(order)
    made.state = Walk(program()).to(Stance.COVERING).state
    t = made.state.t + 2
    phrase = LivePhrase("stop now", "stop_now", "", Risk.STOP)
    ears.next = [Hypothesis(t - 1, t - 0.2, phrase, 12.0, 3.0, over_prompt=True, level_db=-30.0)]
    made.turn(t, np.zeros(320, np.float32), np.zeros(320, np.float32), [])
    assert made.state.stance is Stance.RINSE_CALL
    assert made.state.cream is Cream.HEAD


def test_the_clock_acts_without_any_sound() -> None:
    """No microphone, no block: the deadline still fires (invariant 5 and 12)."""
    made, _ = loop(Order())
    made.state = Walk(program()).to(Stance.COVERING).state
    assert made.state.due is not None
    made.turn(made.state.due + 0.01, NONE, NONE, [])
    assert made.state.stance is Stance.RINSE_CALL


def test_events_begin_with_begun() -> None:
    order = Order()
    loop(order)
    first = next(record for kind, record in order.notes if kind == "written" and isinstance(record, dict))
    assert event_of(first) == Begun(0.0)
    assert isinstance(Ticked(1.0), Ticked)


def test_12_a_missing_clip_is_said_once() -> None:
    order = Order()
    made, _ = loop(order)
    order.voiceless = True
    for k in range(3):
        made.turn(10.0 + k, NONE, NONE, [])
    assert [what.name for kind, what in order.notes if kind == "said" and isinstance(what, Say)].count(
        "lost.voice"
    ) == 1


def test_who_was_heard_gets_a_sign_when_nothing_is_said() -> None:
    """A phrase that nothing answers, and a knock, tick; what is answered by words, does not."""
    order = Order()
    made, _ = loop(order)
    made.happen(Heard(5.0, "next_step"))
    assert "ticked" not in [kind for kind, _ in order.notes]
    made.happen(Noticed(6.0, "speech"))
    assert "ticked" not in [kind for kind, _ in order.notes]
    made.happen(Noticed(7.0, "knock"))
    assert [kind for kind, _ in order.notes].count("ticked") == 1
    made.state = Walk(program()).to(Stance.MIXING).state
    made.happen(Heard(made.state.t + 1, "lumpy"))
    assert [kind for kind, _ in order.notes].count("ticked") == 2


def test_13_knocks_are_heard_beside_the_recogniser() -> None:
    """Two knocks in the microphone's sound become a sign of somebody, and nothing more."""
    order = Order()
    made, _ = loop(order)
    sound, at = knocks(BODIES["table"], np.random.default_rng(3), walls=Walls(rt60_s=0.3))
    sound = np.concatenate([sound, np.zeros(RATE, np.float32)])
    before = made.state
    for begin in range(0, len(sound) - 319, 320):
        piece = sound[begin : begin + 320]
        made.turn((begin + 320) / RATE, piece, np.zeros_like(piece), [])
    assert [
        r["kind"]
        for k, r in order.notes
        if k == "written" and isinstance(r, dict) and r.get("event") == "Noticed"
    ] == ["knock"]
    assert at < made.state.sign < at + 1.5
    assert (made.state.step, made.state.question) == (before.step, before.question)


def test_13_a_shout_is_told_from_talk_by_what_is_usual_here() -> None:
    """Shouted words that are no phrase, while cream is on: the burn check comes at once."""
    order = Order()
    made, ears = loop(order)
    block = np.zeros(320, np.float32)
    for k in range(1, 7):
        ears.next = [heard("where are we", "where_are_we", Risk.ASK)]
        made.turn(float(k), block, block, [])
    made.state = Walk(program()).to(Stance.COVERING).state
    t = made.state.t + 20.0
    made.t = t - 1  # it did not sleep
    for k, level in enumerate((-30.0, -15.0)):
        order.notes.clear()
        ears.next = [Hypothesis(t - 1, t - 0.2, None, 0.0, 0.0, level_db=level)]
        made.turn(t + k, block, block, [])
        asked = [what.name for kind, what in order.notes if kind == "said" and isinstance(what, Say)]
        assert asked == (["burn_check"] if level > -20 else [])
