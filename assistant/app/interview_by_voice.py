"""A consultation by voice: each question spoken, each answer heard by its own small grammar and said back.

Nothing counts before somebody said or typed that it was heard right. What is
typed counts beside what is said, at every moment. The interview, the rules and
what is kept are the same as by keys; so is the result. Time is the count of
samples heard, so that a room made of samples is asked faster than real time.
Called by `combside consult --voice`.
"""

from __future__ import annotations

import sys
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from datetime import date
from typing import Protocol

import numpy as np

from assistant.app.consult import load_form, worded
from assistant.app.sound_room import Room
from assistant.core.actions import Sentence
from assistant.core.answers import Question, Value, WrongAnswer, read
from assistant.core.consultation import Finding, Form
from assistant.core.hearing import Hypothesis, LivePhrase, Risk, Verdict, decide
from assistant.core.interview import Interview, read_allowed
from assistant.core.spoken_answers import ANSWER, BY_KEY, TYPE_IT, hearable, phrases, said_back, years
from assistant.ports import RATE, Ears, Samples, Voice

OWN_TAIL_S = 0.2
"""What begins so soon after our own last word is its end."""
GAP_S = 0.35
"""Silence after a sentence."""
PATIENCE_S = 15.0
"""Silence after which a question is asked again (our choice)."""
TIMES_ASKED = 3
"""A question that meets silence is asked so often; then it waits for a word or a line without speaking."""
TRIES = 2
"""Speech that is no answer, so often in a row, and typing is offered (our choice)."""

SAID = {
    "again": ("say it again", "say that again"),
    "why": ("explain that please", "explain that"),
    "back": ("go back one", "go back"),
    "stop": ("let us stop here", "stop here"),
}
"""What may be said to every question."""
JUDGED = {
    "right": ("that is right", "yes that is right", "yes it is right"),
    "wrong": ("that is wrong", "no that is wrong", "that is not right"),
    "year": ("another year please", "it is another year"),
}
"""What may be said to an answer that was said back; another year only of a day."""
NOBODY = ("nobody has", "no nobody has", "not yet nobody")

RISKS = {"right": Risk.ADVANCE, "stop": Risk.ADVANCE, "back": Risk.ADVANCE}
"""What moves the interview on is heard strictly; the rest is said back anyway."""


TO_JUDGE = "Say: that is right, or: that is wrong."
TIMES_TAUGHT = 2
UNHEARD = "I did not understand that."
TYPE_TOO = "You can type it as well."
NO_ANSWER = "That is no answer here. Look at the screen."


class Stopped(Exception):
    """Whoever answers wants to stop; what was answered is kept."""


class Keyboard(Protocol):
    """Lines typed beside the voice, and the screen."""

    def line(self) -> str | None:
        """A whole line typed since the last call, None where there is none. Raises Stopped at the end of the input."""

    def show(self, text: str) -> None:
        """One paragraph."""

    def explain(self, question: Question) -> None:
        """What may be answered, each explained."""


@dataclass(frozen=True, slots=True)
class Got:
    """What came: a phrase that was heard, or a line that was typed, or neither in the time."""

    name: str = ""
    slot: str = ""
    typed: str | None = None


class VoiceInterview:
    """Asks one interview to its end: `run`."""

    def __init__(
        self,
        interview: Interview,
        room: Room,
        ears: Ears,
        voice: Voice,
        keyboard: Keyboard,
        *,
        keep: Callable[[], None] = lambda: None,
    ) -> None:
        """`keep` is called after every answer."""
        self._interview, self._room, self._ears, self._voice = interview, room, ears, voice
        self._keyboard, self._keep = keyboard, keep
        self._count = 0
        self._from = 0.0
        self._judged = 0

    def run(self) -> None:
        """Every open question, then what a professional may have allowed. Raises Stopped and DeviceGone."""
        self._say(
            f"Consultation for {self._interview.person}. Answer when I have finished, or type your answer.",
            "You can say: say it again, explain that please, go back one, let us stop here.",
        )
        self._confirm_known()
        while True:
            question = self._interview.question()
            if question is not None:
                self._ask(question)
                self._keep()
                continue
            finding = self._interview.to_clear()
            if finding is None:
                self._say("That was the last question. The result is on the screen.")
                return
            self._clear(finding)

    # -- one question --------------------------------------------------------------------

    def _ask(self, question: Question) -> None:
        """Until it is answered, or taken back to the one before."""
        number, of = self._interview.place()
        words = worded(question.ask, self._interview.person)
        self._keyboard.show(f"[{number} of {of}]")
        self._keyboard.explain(question)
        grammar = self._grammar(question)
        spoken = (words, how_to_answer(question))
        while True:
            got = self._answer_to(spoken, grammar)
            if got.name == "why":
                self._say(worded(question.why, self._interview.person), question.unknown)
            elif got.name == "back":
                self._back()
                return
            elif got.name == BY_KEY:
                self._say("Type it, and press enter.")
                if self._take(question, self._typed()):
                    return
            elif got.typed is not None:
                if self._take(question, got.typed):
                    return
            elif got.name == ANSWER and self._said_back(question, got.slot):
                return

    def _take(self, question: Question, typed: str) -> bool:
        """A typed line as the answer; whether it was one."""
        if typed == "?":
            self._keyboard.explain(question)
            return False
        try:
            self._interview.answer(typed)
        except WrongAnswer as error:
            self._keyboard.show(f"! {error}")
            self._say(NO_ANSWER)
            return False
        return True

    def _said_back(self, question: Question, slot: str) -> bool:
        """Say the answer back; take it when somebody says that it is right. Whether it was taken."""
        value = read(question, slot, self._interview.today)
        while True:
            names = ("right", "wrong") + (("year",) if isinstance(value, date) else ())
            live = judged(names) + spoken(SAID)
            echo = f"I heard: {said_back(question, value)}."
            got = self._answer_to((echo, self._judge()), live)
            if got.name == "year":
                value = self._year(question, value)
                continue
            if got.typed is not None and yes_or_no(got.typed) is None:
                return self._take(question, got.typed)
            if got.name == "right" or (got.typed is not None and yes_or_no(got.typed)):
                self._interview.answer(as_text(value))
                return True
            return False

    def _judge(self) -> str:
        """How to judge what was said back; taught twice, then only asked."""
        self._judged += 1
        return TO_JUDGE if self._judged <= TIMES_TAUGHT else "Is that right?"

    def _year(self, question: Question, value: Value) -> Value:
        """The same day of another year."""
        assert isinstance(value, date)
        live = self._hearable(years(question, value, self._interview.today)) + spoken(SAID)
        got = self._answer_to(("Which year?",), live)
        if got.name == ANSWER:
            return read(question, got.slot, self._interview.today)
        return value

    def _back(self) -> None:
        taken = self._interview.back()
        if taken is None:
            self._say("There is nothing before this one.")
        else:
            self._say("Taken back.")

    # -- what is known, and what was allowed -----------------------------------------------

    def _confirm_known(self) -> None:
        """What the household and the diary tell is said and not asked; what is no longer right is asked."""
        interview = self._interview
        known = interview.to_confirm()
        interview.confirmed = True
        if not known:
            return
        told = [
            f"{n.replace('_', ' ')}: {said_back(interview.form.get(n), interview.known[n])}" for n in known
        ]
        if self._yes("This is known already. " + ", ".join(told) + ". Is all of it right?"):
            return
        wrong = [n for n, words in zip(known, told, strict=True) if not self._yes(f"{words}. Is that right?")]
        interview.ask_again(wrong)

    def _yes(self, words: str) -> bool:
        """That is right, or that is wrong."""
        while True:
            got = self._answer_to((words, self._judge()), judged(("right", "wrong")) + spoken(SAID))
            if got.name in ("right", "wrong"):
                return got.name == "right"
            answered = None if got.typed is None else yes_or_no(got.typed)
            if answered is not None:
                return answered

    def _clear(self, finding: Finding) -> None:
        """What says ask may have been asked already: who said yes, and when, is typed."""
        words = "Has a professional said yes to this? Say: nobody has, or type who it was and when."
        while True:
            got = self._answer_to((finding.words, words), nobody_or_typed() + spoken(SAID))
            if got.name == "back":
                self._back()
                return
            if got.name == "why":
                self._say(f"What would change it: {finding.change}.")
                continue
            typed = "no" if got.name == "nobody" else self._typed() if got.name == BY_KEY else got.typed
            if typed is None:
                continue
            try:
                said = read_allowed(typed)
            except ValueError as error:
                self._keyboard.show(f"! {error}")
                continue
            if said:
                self._interview.allowed[finding.rule] = said
            else:
                self._interview.refused.add(finding.rule)
            return

    # -- speaking and hearing ----------------------------------------------------------------

    def _answer_to(self, words: tuple[str, ...], live: tuple[LivePhrase, ...]) -> Got:
        """Speak, and what comes back. Said again on demand and after silence. Raises Stopped."""
        unheard = asked = 0
        while True:
            if asked < TIMES_ASKED:
                self._say(*words)
            asked += 1
            while True:
                got = self._listen(live)
                if got.name != "unheard":
                    break
                unheard += 1
                self._say(UNHEARD if unheard % TRIES else TYPE_TOO)
            if got.typed is not None and got.typed.casefold() in ("stop", "quit", "exit"):
                raise Stopped
            if got.typed is not None and got.typed.casefold() == "back":
                return Got("back")
            if got.name == "stop":
                raise Stopped
            if got.name == "again":
                asked = 0
            elif got.name or got.typed is not None:
                return got

    def _listen(self, live: Sequence[LivePhrase]) -> Got:
        """The next phrase or line; nothing after `PATIENCE_S` of silence."""
        self._ears.allow(live)
        until = self._now + PATIENCE_S
        while self._now < until:
            typed = self._keyboard.line()
            if typed is not None:
                return Got(typed=typed.strip())
            for heard in self._turn():
                if heard.t_begin < self._from:
                    continue  # our own voice, or talk over it
                verdict = decide(heard)
                doubtful_move = heard.best is not None and heard.best.risk is Risk.ADVANCE
                if verdict is Verdict.BELIEVE or (verdict is Verdict.ASK and not doubtful_move):
                    assert heard.best is not None
                    self._keyboard.show(f'heard: "{heard.best.text}"')
                    return Got(heard.best.name, heard.best.slot)
                if verdict in (Verdict.SOMEBODY, Verdict.ASK):
                    return Got("unheard")
        return Got()

    def _typed(self) -> str:
        """The next line; whatever is said meanwhile is not listened to."""
        while True:
            typed = self._keyboard.line()
            if typed is not None:
                if typed.strip().casefold() in ("stop", "quit", "exit"):
                    raise Stopped
                return typed.strip()
            self._turn()

    def _say(self, *words: str) -> None:
        """Speak and show; back when it was all played."""
        sentences = [Sentence(text) for text in words if text]
        self._voice.prepare(sentences)
        for sentence in sentences:
            self._keyboard.show(sentence.text)
            self._room.play(np.concatenate([self._voice.clip(sentence), silence(GAP_S)]))
        while not self._room.silent():
            self._turn()
        self._from = self._now + OWN_TAIL_S

    def _turn(self) -> list[Hypothesis]:
        heard, played = self._room.read()
        self._count += len(heard)
        return self._ears.feed(heard, played, self._now)

    @property
    def _now(self) -> float:
        return self._count / RATE

    def _grammar(self, question: Question) -> tuple[LivePhrase, ...]:
        """What may be said to this question; where an answer can not be heard here, it is typed."""
        return self._hearable(phrases(question, self._interview.today)) + spoken(SAID)

    def _hearable(self, said: tuple[LivePhrase, ...]) -> tuple[LivePhrase, ...]:
        try:
            return hearable(said, self._ears.unknown_words)
        except ValueError:
            self._keyboard.show("Some of the answers can not be heard here; type those.")
            lost = set(self._ears.unknown_words({word for p in said for word in p.text.split()}))
            return tuple(p for p in said if not lost & set(p.text.split()))


def grammars(form: Form, today: date) -> list[tuple[LivePhrase, ...]]:
    """Every grammar that may be needed, for a recogniser that has to look at a phrase before it can hear it."""
    dated = next(question for question in form.questions if question.kind == "date" and question.past)
    return [
        *(phrases(question, today) + spoken(SAID) for question in form.questions),
        judged(tuple(JUDGED)) + spoken(SAID),
        years(dated, today, today),
        nobody_or_typed(),
    ]


def nobody_or_typed() -> tuple[LivePhrase, ...]:
    return spoken({"nobody": NOBODY, BY_KEY: TYPE_IT})


def sentences(interview: Interview) -> list[Sentence]:
    """What is spoken whatever is answered, to be made ahead; what is said back is made when it is known."""
    asked = [
        text
        for question in interview.form.questions
        for text in (worded(question.ask, interview.person), how_to_answer(question))
    ]
    return [Sentence(text) for text in (*asked, TO_JUDGE, "Is that right?", UNHEARD, TYPE_TOO, NO_ANSWER)]


def how_to_answer(question: Question) -> str:
    """In one spoken sentence."""
    values = ", ".join(question.values)
    if question.kind in ("one", "several"):
        several = " Two of them may be said together." if question.kind == "several" else ""
        return f"Answer: {values}, or: I don't know.{several}"
    if question.kind == "number":
        return "Say the number, or: I don't know."
    if question.kind == "words":
        return f"Say: {values}, or: let me type it, or: I don't know."
    day = (
        "in three weeks, or: the third of May"
        if question.past is False
        else "six weeks ago, or: the third of May"
    )
    return f"Say a day, such as: {day}. {f'Or say: {values}, ' if values else 'Or say: '}or: I don't know."


def spoken(names: Mapping[str, tuple[str, ...]]) -> tuple[LivePhrase, ...]:
    return tuple(
        LivePhrase(text, name, "", RISKS.get(name, Risk.ANSWER))
        for name, ways in names.items()
        for text in ways
    )


def judged(names: tuple[str, ...]) -> tuple[LivePhrase, ...]:
    return spoken({name: JUDGED[name] for name in names})


def yes_or_no(typed: str) -> bool | None:
    """An empty line is a yes to what was said back."""
    said = typed.casefold()
    if said in ("", "y", "yes", "right", "that is right"):
        return True
    return False if said in ("n", "no", "wrong", "that is wrong") else None


def as_text(value: Value) -> str:
    """A value in the words that an answer is read from."""
    if isinstance(value, date):
        return value.isoformat()
    return ", ".join(value) if isinstance(value, tuple) else str(value)


def silence(seconds: float) -> Samples:
    return np.zeros(round(seconds * RATE), np.float32)


def every_answer(day: date) -> list[str]:
    """All that may be said in a consultation, on this day and in the years around it."""
    form, years_around = load_form(), range(day.year - 10, day.year + 11)
    days = [day.replace(year=year, month=2, day=28) for year in years_around]
    heard = {p.text for d in (day, *days) for grammar in grammars(form, d) for p in grammar}
    return sorted(heard)


if __name__ == "__main__":
    print("\n".join(every_answer(date.fromisoformat(sys.argv[1]))))
