"""What a run asks once more on its day (the scalp): from the command line, or asked here."""

from __future__ import annotations

import sys
from collections.abc import Sequence
from datetime import date

from assistant.app.consult import load_form, worded
from assistant.cli.asking import Back, Terminal
from assistant.core.answers import Question, WrongAnswer, read
from assistant.files.complaint import BadFile, Complaint


def todays_answers(
    given: Sequence[str], person: str, today: date, terminal: Terminal | None = None
) -> dict[str, str]:
    """Today's answers in words, by the question's name. `given`: NAME=WORD, as on the command line.

    What is not given is asked where somebody is there to answer; where nobody is, it is left
    out, and `app.consult.may_run` says so. Raises BadFile for a wrong word, and Stopped.
    """
    questions = {q.id: q for q in load_form().questions if q.again}
    answers: dict[str, str] = {}
    for pair in given:
        name, is_pair, text = pair.partition("=")
        if not is_pair or name not in questions:
            hint = f"write it as {next(iter(questions))}=WORD"
            raise BadFile(
                [Complaint("--answer", 0, 0, f"'{pair}' answers nothing that is asked today", hint)]
            )
        answers[name] = checked(questions[name], text, today)
    asks = terminal or (Terminal() if sys.stdin.isatty() else None)
    for name, question in questions.items():
        if name not in answers and asks is not None:
            answers[name] = asked(question, person, today, asks)
    return answers


def checked(question: Question, text: str, today: date) -> str:
    """Raises BadFile for what is no answer."""
    try:
        read(question, text, today)
    except WrongAnswer as error:
        raise BadFile([Complaint("--answer", 0, 0, str(error))]) from None
    return text


def asked(question: Question, person: str, today: date, terminal: Terminal) -> str:
    """Raises Stopped."""

    def answer(text: str) -> str:
        read(question, text, today)
        return text

    def explain() -> None:
        terminal.say(worded(question.why, person), "  ")
        terminal.choices(question.values, question.unknown)

    while True:
        try:
            return terminal.ask(f"Asked again today: {worded(question.ask, person)}", answer, explain)
        except Back:
            terminal.say("There is nothing before this one.")
