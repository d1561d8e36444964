"""`combside consult`: may this hair be relaxed with this kit, and from when."""

from __future__ import annotations

import argparse
import contextlib
import json
import sys
from datetime import date, datetime, timezone
from functools import partial
from importlib import import_module
from pathlib import Path
from types import ModuleType

from assistant.app import consult as app
from assistant.cli import status
from assistant.cli.asking import Back, Stopped, Terminal
from assistant.cli.device_options import add_devices
from assistant.cli.today import a_day, add_today, today_of
from assistant.core import calendar_plan
from assistant.core.answers import Question, in_words, shown
from assistant.core.consultation import Finding, Result, Verdict
from assistant.core.interview import Interview, read_allowed
from assistant.files import calendar_file, diary_file, household_file
from assistant.files.complaint import BadFile, Complaint
from assistant.screens.harmless import harmless

HEADLINES = {
    Verdict.GO: "GO",
    Verdict.WAIT: "NOT YET",
    Verdict.ASK: "ASK A PROFESSIONAL FIRST",
    Verdict.NO: "NO",
}

STYLES = {
    Verdict.GO: "bold green",
    Verdict.WAIT: "bold yellow",
    Verdict.ASK: "bold yellow",
    Verdict.NO: "bold red",
}
"""Beside the words, never instead of them."""


def add_to(commands: argparse._SubParsersAction[argparse.ArgumentParser]) -> None:
    command = commands.add_parser(
        "consult",
        help="may this hair be relaxed with this kit, and from when",
        description="Asks what has to be known before a jar is opened and answers go, not before a day, ask "
        "a "
        "professional first, or no, with every reason. Exit status: 0 go, 1 not (yet), 2 wrong input.",
        epilog="examples: combside consult;  combside consult --voice;  combside consult Ada --kit my-kit;  "
        "combside consult --template > answers.yaml;  combside consult --answers answers.yaml --json;  "
        "combside consult --calendar days.ics",
    )
    command.add_argument("person", nargs="?", help="whose hair (default: the household file's person)")
    command.add_argument("--kit", help="a kit sheet by name or file (default: your only one)")
    command.add_argument(
        "--answers", type=Path, metavar="FILE", help="answers in a file instead of questions"
    )
    command.add_argument(
        "--voice", action="store_true", help="ask aloud and hear the answers; what is typed counts beside it"
    )
    command.add_argument("--template", action="store_true", help="print an answers file to fill in")
    command.add_argument(
        "--calendar",
        type=Path,
        metavar="FILE.ics",
        help="write the run-up and what follows as calendar entries",
    )
    command.add_argument("--on", type=a_day, metavar="DAY", help="the day that is planned, for the calendar")
    command.add_argument("--no-save", action="store_true", help="keep nothing of it")
    command.add_argument("--json", action="store_true", help="print the result as JSON")
    add_devices(command)
    add_today(command)
    command.set_defaults(carry_out=carry_out)


def carry_out(chosen: argparse.Namespace) -> int:
    today = today_of(chosen)
    kit = household_file.load_kit(household_file.find_kit(chosen.kit))
    if chosen.template:
        interview = app.begin(kit, chosen.person, today)
        print(app.template(interview.form, kit, interview.person), end="")
        return status.DONE
    if chosen.answers is not None:
        interview = app.from_file(chosen.answers, kit, chosen.person, today)
    else:
        interview = app.begin(kit, chosen.person, today)
        terminal = Terminal(out=sys.stderr if chosen.json else None)
        try:
            if not chosen.voice or not by_voice(interview, terminal, chosen):
                ask_all(interview, terminal, save=not chosen.no_save)
        except Stopped:
            stopped(interview, save=not chosen.no_save)
            return status.WRONG_INPUT
    result = interview.result()
    saved = None if chosen.no_save else str(app.keep(interview))
    written = write_calendar(chosen, interview, result) if chosen.calendar is not None else ""
    if chosen.json:
        print(json.dumps(as_json(interview, result, saved, written), indent=2, ensure_ascii=False))
    else:
        show(Terminal(), interview, result, written)
    return status.DONE if result.verdict is Verdict.GO else status.NO


# -- asking ------------------------------------------------------------------------------


def ask_all(interview: Interview, terminal: Terminal, *, save: bool) -> None:
    """Every open question, then what a professional may have allowed. Raises Stopped; answers are kept."""
    terminal.say(f"Consultation for {interview.person} with {interview.kit.name}.")
    if interview.kit.example:
        terminal.say("THIS IS THE INVENTED EXAMPLE KIT. It clears nobody for a kit of their own.")
    terminal.say(
        "Answer with a word or its number. ? explains again, back goes back one, stop keeps what was "
        "answered."
    )
    draft = app.draft_of(interview)
    if draft is not None and (kept := app.take_up(interview, draft)):
        terminal.say(f"Going on from {in_words(draft.asked_on)}: {kept} answers were kept.")
    confirm_known(interview, terminal)
    ask_open(interview, terminal, save=save)


def ask_open(interview: Interview, terminal: Terminal, *, save: bool) -> None:
    """What is still open. Raises Stopped."""
    while True:
        question = interview.question()
        if question is None:
            try:
                ask_allowed(interview, terminal)
                return
            except Back:
                went_back(interview, terminal)
                continue
        number, of = interview.place()
        terminal.say()
        words = f"[{number} of {of}] {app.worded(question.ask, interview.person)}"
        try:
            terminal.ask(words, interview.answer, partial(explain, question, interview, terminal))
        except Back:
            went_back(interview, terminal)
        if save:
            app.keep(interview, draft=True)


def by_voice(interview: Interview, terminal: Terminal, chosen: argparse.Namespace) -> bool:
    """Ask aloud. False where a device is not there, or went away: then the rest is asked by keys. Raises Stopped."""
    voice: ModuleType = import_module("assistant.cli.consult_by_voice")  # the recognisers take seconds
    done: bool = voice.asked(interview, terminal, chosen)
    return done


def explain(question: Question, interview: Interview, terminal: Terminal) -> None:
    terminal.say(app.worded(question.why, interview.person), "  ")
    terminal.choices(question.values, question.unknown)
    if question.kind == "date":
        day = "'in 3 weeks'" if question.past is False else "'yesterday', '6 weeks ago'"
        terminal.say(f"or a day: 2024-02-29, 'today', {day}", "      ")
    elif question.kind == "number":
        terminal.say(f"a whole number from {question.least} to {question.greatest}", "      ")
    elif question.kind == "words":
        terminal.say("or in your own words", "      ")


def went_back(interview: Interview, terminal: Terminal) -> None:
    taken = interview.back()
    terminal.say(
        "There is nothing before this one."
        if taken is None
        else f"Taken back: {app.worded(taken.ask, interview.person)}"
    )


def confirm_known(interview: Interview, terminal: Terminal) -> None:
    """What the household file and the diary tell is shown, not asked; what is no longer right is asked."""
    names = interview.to_confirm()
    interview.confirmed = True
    if not names:
        return
    terminal.say()
    terminal.say("Known from the household file and the diary:")
    for name in names:
        terminal.say(f"{name}: {shown(interview.known[name])}", "      ")

    def read(text: str) -> list[str]:
        if text.casefold() in ("y", "yes", "ok", "right"):
            return []
        wrong = [part.strip().casefold().replace(" ", "_") for part in text.split(",") if part.strip()]
        strange = [part for part in wrong if part not in names]
        if strange or not wrong:
            raise ValueError(
                f"Answer yes, or name what is to be asked again, with commas between: {', '.join(names)}."
            )
        return wrong

    while True:
        try:
            interview.ask_again(terminal.ask("Is all of this right? Answer yes, or name what is not.", read))
            return
        except Back:
            terminal.say("There is nothing before this one.")


def ask_allowed(interview: Interview, terminal: Terminal) -> None:
    """What says ask may have been asked already: by whom it was allowed is kept with it."""
    while (finding := interview.to_clear()) is not None:
        terminal.say()
        terminal.say(finding.words)
        terminal.say(f"What would change it: {finding.change}.", "  ")

        said = terminal.ask(
            "Has a professional said yes to this? Who and when, or no.", read_allowed, default="no"
        )
        if said:
            interview.allowed[finding.rule] = said
        else:
            interview.refused.add(finding.rule)


def stopped(interview: Interview, *, save: bool) -> None:
    left = interview.place()[1] - interview.place()[0] + 1 if interview.question() else 0
    if save and interview.answers:
        with contextlib.suppress(OSError):
            app.keep(interview, draft=True)
        print(f"stopped with {left} questions open; combside consult goes on from here", file=sys.stderr)
    else:
        print("stopped; nothing was answered or kept", file=sys.stderr)


# -- the result --------------------------------------------------------------------------


def show(terminal: Terminal, interview: Interview, result: Result, written: str) -> None:
    headline = HEADLINES[result.verdict]
    if result.not_before is not None:
        headline += f": not before {in_words(result.not_before)}"
    terminal.say()
    terminal.say(f"{headline}   ({interview.person}, {interview.kit.name})", style=STYLES[result.verdict])
    for finding in result.findings:
        terminal.say(f"- {finding.words} [{finding.mark}]", "  ")
        terminal.say(f"what would change it: {finding.change}", "      ")
    if result.notes:
        terminal.say()
        terminal.say("To keep in mind:")
    for note in result.notes:
        terminal.say(f"- {note.words} [{note.mark}]", "  ")
    terminal.say()
    for caution in interview.form.cautions:
        terminal.say(caution)
    terminal.say()
    terminal.say(NEXT[result.verdict])
    if written:
        terminal.say(written)


NEXT = {
    Verdict.GO: "Next: combside plan says whether it fits the time; combside practice walks through it with "
    "conditioner; the strand test comes first in combside run.",
    Verdict.WAIT: "Next: combside consult --calendar days.ics writes the days into a calendar.",
    Verdict.ASK: "Next: ask, and then combside consult again. Nobody has to relax at home; a licensed "
    "hairdresser can "
    "be asked as well.",
    Verdict.NO: "Next: what would change it stands beside each reason. A dermatologist or a licensed "
    "hairdresser can "
    "be asked at any time.",
}


def as_json(interview: Interview, result: Result, saved: str | None, written: str) -> dict[str, object]:
    """The contract for machines."""
    day = result.not_before
    return {
        "verdict": result.verdict.value,
        "not_before": None if day is None else day.isoformat(),
        "reasons": [_finding(f) for f in result.findings],
        "notes": [_finding(f) for f in result.notes],
        "person": interview.person,
        "kit": interview.kit.name,
        "example_kit": interview.kit.example,
        "today": interview.today.isoformat(),
        "asked_on": (interview.asked_on or interview.today).isoformat(),
        "cautions": list(interview.form.cautions),
        "saved": saved,
        "calendar": written or None,
    }


def _finding(f: Finding) -> dict[str, object]:
    return {
        "rule": f.rule,
        "words": f.words,
        "mark": f.mark,
        "until": None if f.until is None else f.until.isoformat(),
        "verdict": f.verdict.value,
        "change": f.change,
        "source": f.source,
    }


# -- the calendar ------------------------------------------------------------------------


def write_calendar(chosen: argparse.Namespace, interview: Interview, result: Result) -> str:
    """Write the days; what was written, in words. Raises BadFile for a day that can not be."""
    if result.verdict in (Verdict.NO, Verdict.ASK):
        return "No calendar was written: there is no day yet."
    earliest: date = result.not_before or interview.today
    day: date = chosen.on or earliest
    path: Path = chosen.calendar
    if day < earliest:
        raise BadFile(
            [
                Complaint(
                    "--on",
                    0,
                    0,
                    f"{in_words(day)} is before {in_words(earliest)}",
                    "choose that day or a later one",
                )
            ]
        )
    person = interview.person
    nth = 1 + sum(1 for r in diary_file.load_runs() if r.person == person and r.cream_was_on)
    entries = (
        *calendar_plan.run_up(interview.form, interview.kit, day, interview.today, interview.everything()),
        *calendar_plan.aftermath(interview.form, interview.kit, day),
    )
    save_calendar(path, entries, person, nth)
    return f"{len(entries)} days around {in_words(day)} are in {harmless(str(path))}."


def save_calendar(path: Path, entries: tuple[calendar_plan.Entry, ...], person: str, nth: int) -> None:
    """Raises BadFile."""
    try:
        calendar_file.write_calendar(path, entries, person, datetime.now(timezone.utc), nth)
    except OSError as error:
        raise BadFile(
            [Complaint(str(path), 0, 0, f"the calendar can not be written: {error.strerror}")]
        ) from None
