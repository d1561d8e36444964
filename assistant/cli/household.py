"""`combside household`: who is there, their hair, who helps whom, the way to the tap, numbers to call."""

from __future__ import annotations

import argparse
import json
from collections.abc import Callable
from datetime import date
from typing import Any

from pydantic import ValidationError

from assistant.cli import status
from assistant.cli.asking import Back, Stopped, Terminal, number
from assistant.cli.today import add_today, today_of
from assistant.core.company import is_adult
from assistant.core.household import Household
from assistant.files import household_file
from assistant.files.complaint import BadFile, Complaint
from assistant.screens.harmless import harmless

HAIR = {
    "fine": "thin strands, hardly felt between two fingers",
    "medium": "neither thin nor thick",
    "coarse": "thick strands, felt clearly between two fingers",
    "not known": "asked in the consultation",
}
HEARING = {
    "well": "hears speech beside a running tap, hearing aids out",
    "badly": "does not, or not surely",
    "not known": "asked in the consultation",
}


def add_to(commands: argparse._SubParsersAction[argparse.ArgumentParser]) -> None:
    command = commands.add_parser(
        "household",
        help="who is there, who helps whom, the way to the tap",
        description="Shows the household's file, or asks for it. It lies in your data folder, for you "
        "alone, and may be edited by hand.",
        epilog="examples: combside household;  combside household new;  combside household today Bo",
    )
    command.add_argument(
        "action",
        nargs="?",
        choices=("show", "new", "today"),
        default="show",
        help="show it, ask for it, or say whose hair it is from now on (default: %(default)s)",
    )
    command.add_argument("name", nargs="?", help="for today: whose hair it is")
    command.add_argument("--json", action="store_true", help="print as JSON")
    add_today(command)
    command.set_defaults(carry_out=carry_out)


def carry_out(chosen: argparse.Namespace) -> int:
    actions: dict[str, Callable[[argparse.Namespace], int]] = {"show": show, "new": new, "today": whose_day}
    return actions[chosen.action](chosen)


def show(chosen: argparse.Namespace) -> int:
    path = household_file.household_path()
    if not path.exists() and not chosen.json:
        print(f"no household file yet: combside household new asks for it\n(it will lie in {path})")
        return status.NO
    household = household_file.load_household()
    if chosen.json:
        print(json.dumps(household.model_dump(mode="json", by_alias=True), indent=2, ensure_ascii=False))
        return status.DONE
    print(path)
    for person in household.people:
        told = [person.hair and f"{person.hair} hair", None if person.adult else "a child"]
        told += [
            person.hearing and f"hears {person.hearing}",
            person.helped_by and f"helped by {person.helped_by}",
            person.phone,
        ]
        marks = {household.person: "today's hair", household.helper: "today's helper"}
        print(
            f"  {harmless(person.name)}: "
            f"{harmless(', '.join(str(t) for t in (marks.get(person.name), *told) if t) or 'nothing more')}"
        )
    print(f"  way to the water: {household.water.walk_seconds:g} s")
    for who, voice in household.voices.model_dump().items():
        if voice:
            print(f"  voice for the {who}: {harmless(voice)}")
    if household.language != "en":
        print(f"  language: {household.language}")
    for contact in household.contacts:
        print(f"  call {harmless(contact.name)}: {contact.phone}")
    print(f"  call for help: {harmless(household.call_for_help) or 'the local emergency number'}")
    return status.DONE


def whose_day(chosen: argparse.Namespace) -> int:
    """Whose hair it is from now on; their own helper helps."""
    household = household_file.load_household()
    if chosen.name is None:
        print(
            f"today it is {harmless(household.person)}, with {harmless(household.helper or 'nobody')} helping"
        )
        return status.DONE
    try:
        moved = household.on_the_day_of(chosen.name)
    except KeyError:
        known = ", ".join(p.name for p in household.people)
        raise BadFile(
            [Complaint(chosen.name, 0, 0, f"'{chosen.name}' is not of this household", f"there are: {known}")]
        ) from None
    save(moved)
    print(f"{harmless(moved.person)}'s hair, with {harmless(moved.helper or 'nobody')} helping")
    return status.DONE


def new(chosen: argparse.Namespace) -> int:
    terminal = Terminal()
    path = household_file.household_path()
    try:
        if path.exists():
            terminal.say(f"There is a household file already: {path}")
            if not _plain_yes(
                terminal,
                "Ask everything again and write over it? The old one is kept as household.yaml.before.",
            ):
                return status.NO
        terminal.say("A new household. ? explains again, stop ends without a file, back begins again.")
        while True:
            try:
                household = asked(terminal, today_of(chosen))
                break
            except Back:
                terminal.say("From the beginning.")
    except Stopped:
        terminal.say("stopped; nothing was written")
        return status.WRONG_INPUT
    if path.exists():
        household_file.keep_before(path)
    save(household)
    terminal.say(f"Written: {path}")
    terminal.say("Next: combside kit new")
    return status.DONE


def save(household: Household) -> None:
    """Raises BadFile."""
    try:
        household_file.save_household(household)
    except OSError as error:
        raise BadFile(
            [Complaint(str(household_file.household_path()), 0, 0, f"can not be written: {error.strerror}")]
        ) from None


def asked(terminal: Terminal, today: date) -> Household:
    """The household as it was told. Raises Stopped and Back."""
    people = [_person(terminal, "Whose hair is to be relaxed? Their name:", [], today, hair=True)]
    helper = None
    if terminal.yes("Is there somebody who helps?"):
        people.append(_person(terminal, "The helper's name:", people, today, hair=False))
        helper = people[1]["name"]
        people[0]["helped_by"] = helper
    while terminal.yes("Is there anybody else whose hair may be done, or who may help?", default="no"):
        person = _person(terminal, "Their name:", people, today, hair=True)
        helped = terminal.one_of("Who helps them?", {**{p["name"]: "" for p in people}, "nobody": ""})
        if helped != "nobody":
            person["helped_by"] = helped
        people.append(person)
    walk = terminal.ask(
        "How many seconds from where the cream goes on to running warm water? Walk it once and count.",
        lambda text: number(text, 0, 600, "seconds"),
    )
    call = terminal.ask(
        "Which number is called in an emergency here?",
        _phone,
        lambda: terminal.say("It is shown and spoken when something goes wrong.", "  "),
    )
    contacts = []
    if poison := terminal.ask("The number of the poison centre? Empty: not known.", _phone_or_nothing):
        contacts.append({"name": "poison centre", "phone": poison})
    told = {
        "schema": 1, "people": people, "person": people[0]["name"], "water": {"walk_seconds": walk},
        "call_for_help": call, "contacts": contacts,
    }  # fmt: skip
    if helper is not None:
        told["helper"] = helper
    try:
        return Household.model_validate_json(json.dumps(told), strict=True)
    except ValidationError as error:
        raise BadFile([Complaint("household", 0, 0, e["msg"]) for e in error.errors()]) from None


def _person(
    terminal: Terminal, question: str, others: list[dict[str, Any]], today: date, *, hair: bool
) -> dict[str, Any]:
    def read(text: str) -> str:
        if not 1 <= len(text) <= 40 or not any(c.isalnum() for c in text):
            raise ValueError("A name of 1 to 40 characters, with letters in it.")
        if text.casefold() in [p["name"].casefold() for p in others] or text.casefold() == "nobody":
            raise ValueError(f"'{text}' is taken. Two people need two names.")
        return text

    name = terminal.ask(question, read)
    born = terminal.ask(
        f"When was {name} born? A day such as 1990-05-17. Empty: not told.", lambda text: _born(text, today)
    )
    person: dict[str, Any] = {"name": name}
    if born is not None:
        person |= {"born": born.isoformat(), "adult": is_adult(True, born, today)}
    else:
        person["adult"] = terminal.yes(f"Is {name} 18 or older?")
    if hair and (kind := terminal.one_of(f"What is {name}'s hair like?", HAIR)) != "not known":
        person["hair"] = kind
    if (hears := terminal.one_of(f"How well does {name} hear?", HEARING)) != "not known":
        person["hearing"] = hears
    return person


def _born(text: str, today: date) -> date | None:
    if not text:
        return None
    try:
        day = date.fromisoformat(text)
    except ValueError:
        raise ValueError(f"'{text[:40]}' is no day. Write it as 1990-05-17, or leave it empty.") from None
    if not today.year - 120 <= day.year or day > today:
        raise ValueError(f"Nobody here was born on {day}. Write the day as 1990-05-17, or leave it empty.")
    return day


def _phone(text: str) -> str:
    if (
        not 2 <= len(text) <= 40
        or not any(c.isdigit() for c in text)
        or any(c not in "0123456789+*#() ./-" for c in text)
    ):
        raise ValueError(f"'{text[:40]}' is no telephone number. Digits, blanks, + and - are.")
    return text


def _phone_or_nothing(text: str) -> str:
    return _phone(text) if text else ""


def _plain_yes(terminal: Terminal, question: str) -> bool:
    try:
        return terminal.yes(question)
    except Back:
        return False
