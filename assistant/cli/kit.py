"""`combside kit`: kit sheets, copied from the leaflet by answering questions."""

from __future__ import annotations

import argparse
import json
from collections.abc import Callable
from importlib import import_module
from typing import Any

from pydantic import ValidationError

from assistant.app import load
from assistant.cli import status
from assistant.cli.asking import Back, Stopped, Terminal, number
from assistant.cli.device_options import add_devices
from assistant.cli.glance_options import add_glance
from assistant.cli.today import add_today
from assistant.core.kit_doubts import USUAL, Doubt, doubts
from assistant.core.kit_sheet import KitSheet, LimitMeans
from assistant.files import household_file
from assistant.files.complaint import BadFile, Complaint
from assistant.screens.harmless import harmless

CLASSES = {
    "hydroxide": "one jar, ready for use: sodium, potassium or lithium hydroxide (lye, no-lye)",
    "hydroxide to mix": "a cream and a liquid that are mixed: calcium hydroxide and guanidine",
    "thio": "thioglycolate, ammonium or ethanolamine",
    "bisulfite": "ammonium bisulfite",
    "formaldehyde": "a heat or keratin smoothing kit that releases formaldehyde",
}
MEANS = {
    LimitMeans.FIRST_TOUCH.value: "the clock of the leaflet starts with the first cream and ends with the "
    "water",
    LimitMeans.BY_SECTION.value: "each section has its own clock, and the leaflet says so",
    LimitMeans.UNTIL_CLEAR.value: "the leaflet's time includes the rinsing",
}


def add_to(commands: argparse._SubParsersAction[argparse.ArgumentParser]) -> None:
    command = commands.add_parser(
        "kit",
        help="write, show and check kit sheets",
        description="A kit sheet holds what the leaflet of your kit says. Without one of your own nothing "
        "runs.",
        epilog="examples: combside kit new;  combside kit;  combside kit show my-kit;  combside kit check "
        "my-kit;  combside kit strand;  combside kit strand --outcome straight --minutes 14",
    )
    command.add_argument(
        "action", nargs="?", choices=("list", "new", "show", "check", "strand"), default="list",
        help="strand: the test on one strand, walked through by voice and keys; its time can only lower the limit",
    )  # fmt: skip
    command.add_argument("name", nargs="?", help="a kit sheet by name or file")
    test = command.add_argument_group("for strand")
    test.add_argument(
        "--routine", default=load.DEFAULT_ROUTINE, help="whose words for the strand (default: %(default)s)"
    )
    test.add_argument(
        "--outcome",
        choices=("straight", "not straight", "broke", "gummed", "changed colour"),
        help="keep a test that was made without combside, by the leaflet",
    )
    test.add_argument("--minutes", type=float, help="with --outcome: how long the cream was on the strand")
    add_devices(command)
    add_glance(command)
    add_today(command)
    command.add_argument("--json", action="store_true", help="print as JSON")
    command.set_defaults(carry_out=carry_out)


def carry_out(chosen: argparse.Namespace) -> int:
    actions: dict[str, Callable[[argparse.Namespace], int]] = {
        "list": list_kits,
        "new": new,
        "show": show,
        "check": check,
        "strand": strand,
    }
    return actions[chosen.action](chosen)


def strand(chosen: argparse.Namespace) -> int:
    done: int = import_module("assistant.cli.strand").carry_out(chosen)
    return done


def list_kits(chosen: argparse.Namespace) -> int:
    kits = [(path, household_file.load_kit(path)) for path in household_file.kit_paths()]
    if chosen.json:
        print(
            json.dumps(
                [{"name": k.name, "file": str(p), "product_class": k.product_class} for p, k in kits],
                indent=2,
                ensure_ascii=False,
            )
        )
    elif not kits:
        print("no kit sheet yet: combside kit new asks what the leaflet says")
    for path, kit in () if chosen.json else kits:
        print(f"{path.stem}: {harmless(kit.name)}, {kit.product_class}   {path}")
    return status.DONE


def show(chosen: argparse.Namespace) -> int:
    path = household_file.find_kit(chosen.name)
    kit = household_file.load_kit(path)
    if chosen.json:
        print(json.dumps(kit.model_dump(mode="json", by_alias=True), indent=2, ensure_ascii=False))
    else:
        print(f"{path}\n")
        print("\n".join(harmless(line) for line in household_file.kit_text(kit).splitlines()))
    return status.DONE


def check(chosen: argparse.Namespace) -> int:
    """Status 0 where nothing is worth reading again, 1 where something is."""
    path = household_file.find_kit(chosen.name)
    kit = household_file.load_kit(path)
    found = doubts(kit)
    if chosen.json:
        told = [{"where": ".".join(map(str, d.loc)), "words": d.words} for d in found]
        print(
            json.dumps({"file": str(path), "kit": kit.name, "read_again": told}, indent=2, ensure_ascii=False)
        )
    else:
        print(f"{path}: no contradiction")
        for doubt in found:
            print(f"  read again: {_place(doubt)}{harmless(doubt.words)}")
    return status.NO if found else status.DONE


def _place(doubt: Doubt) -> str:
    return f"{'.'.join(map(str, doubt.loc))}: " if doubt.loc else ""


# -- a new sheet -------------------------------------------------------------------------


def new(chosen: argparse.Namespace) -> int:
    terminal = Terminal()
    terminal.say("A new kit sheet. Have the leaflet in your hand; copy what it says, not what you remember.")
    terminal.say(
        "? explains again, back goes back one, stop ends without a sheet. An empty line means: the "
        "leaflet says nothing of it."
    )
    try:
        kit = asked(terminal)
        if kit is None:
            return status.NO
        found = doubts(kit)
        if found:
            terminal.say()
            terminal.say("Before it is written, read these again in the leaflet:")
        for doubt in found:
            terminal.say(f"- {_place(doubt)}{doubt.words}", "  ")
        terminal.say()
        for line in household_file.kit_text(kit).splitlines():
            print(harmless(line), file=terminal.out)
        terminal.say()
        while True:
            try:
                keep = terminal.yes(
                    "Is this what the leaflet says, word for word? Yes writes it, no writes nothing."
                )
                break
            except Back:
                terminal.say("To change something say no and begin again, or say yes and edit the file.")
    except Stopped:
        terminal.say("stopped; no sheet was written")
        return status.WRONG_INPUT
    if not keep:
        terminal.say("Nothing was written. combside kit new asks again.")
        return status.NO
    try:
        path = household_file.save_kit(kit)
    except OSError as error:
        raise BadFile(
            [
                Complaint(
                    str(household_file.kits_folder()), 0, 0, f"the sheet can not be written: {error.strerror}"
                )
            ]
        ) from None
    terminal.say(f"Written: {path}")
    terminal.say("Next: combside consult")
    return status.DONE


Told = dict[str, Any]
Asker = Callable[[Terminal, Told], None]


def asked(terminal: Terminal) -> KitSheet | None:
    """The sheet as it was told, or None for a kit that combside does not serve. Raises Stopped."""
    told: Told = {}
    steps, at = STEPS, 0
    while at < len(steps):
        terminal.say()
        try:
            steps[at](terminal, told)
        except Back:
            at = max(0, at - 1)
            while at > 0 and steps[at] is _mixing and told.get("product_class") != "hydroxide to mix":
                at -= 1
            continue
        if told.get("product_class") == "formaldehyde":
            terminal.say(
                "Heat kits that release formaldehyde are another class of product, and formaldehyde "
                "causes cancer. Not with combside, and no sheet is written."
            )
            return None
        if told.get("product_class") in ("thio", "bisulfite") and steps[at] is _class:
            terminal.say(
                "combside has no routine for this class: it is neutralised in another way. A sheet can "
                "be written; nothing will be cleared with it."
            )
        at += 1
    sheet = {"schema": 1, **told}
    sheet["waits"] = {k: v for k, v in told.get("waits", {}).items() if v is not None}
    sheet["strand_test"] = {k: v for k, v in told.get("strand_test", {}).items() if v is not None}
    try:
        return KitSheet.model_validate_json(
            json.dumps({k: v for k, v in sheet.items() if v is not None}), strict=True
        )
    except ValidationError as error:
        raise BadFile([Complaint("kit sheet", 0, 0, e["msg"]) for e in error.errors()]) from None


def measured(
    terminal: Terminal,
    question: str,
    usual: str,
    least: float,
    greatest: float,
    unit: str,
    *,
    must: bool = False,
    why: str = "",
) -> float | None:
    """A number of the leaflet. What is unlike any leaflet is asked for once more; the same again counts."""
    doubted: list[float] = []

    def read(text: str) -> float | None:
        if not text:
            if must:
                raise ValueError(f"There has to be a number here. Look for it in the leaflet{_else(usual)}.")
            return None
        value = number(text.removesuffix(unit).strip() or text, least, greatest, unit)
        words = USUAL[usual].doubt(value) if usual else ""
        if words and value not in doubted:
            doubted.append(value)
            raise ValueError(f"{words} Then type it again, the same or another.")
        return value

    return terminal.ask(question, read, (lambda: terminal.say(why, "  ")) if why else None)


def _else(usual: str) -> str:
    """What people do where a leaflet says nothing; nobody is left without a way on."""
    found = USUAL.get(usual)
    return (
        ""
        if found is None
        else f"; where it says nothing, usual is {found.least:g} to {found.greatest:g} {found.unit} "
        f"({found.source})"
    )


def _name(terminal: Terminal, told: Told) -> None:
    def read(text: str) -> str:
        if not text or len(text) > 80 or not any(c.isalnum() for c in text):
            raise ValueError("A name of 1 to 80 characters, with letters in it.")
        taken = [household_file.load_kit(path).name for path in household_file.kit_paths()]
        if household_file.file_name(text) in [household_file.file_name(n) for n in taken]:
            raise ValueError(
                f"There is a sheet '{text}' already. Give this one another name, such as the year beside it."
            )
        return text

    told["name"] = terminal.ask("What is the kit called on the box?", read)


def _class(terminal: Terminal, told: Told) -> None:
    told["product_class"] = terminal.one_of(
        "What kind of relaxer is it? The list of ingredients says so.", CLASSES
    )


def _chart(terminal: Terminal, told: Told) -> None:
    rows: list[Told] = []
    while not rows:
        terminal.say(
            "The timing chart: the GREATEST time for each kind of hair. An empty line where the "
            "leaflet has no such row."
        )
        for hair in ("fine", "medium", "coarse"):
            most = measured(terminal, f"Greatest minutes for {hair} hair:", "chart", 0.5, 240, "minutes")
            if most is None:
                continue
            least = measured(
                terminal,
                f"Least minutes for {hair} hair, where the leaflet has one:",
                "",
                0.5,
                most,
                "minutes",
            )
            rows.append(
                {
                    "hair": hair,
                    "greatest_minutes": most,
                    **({} if least is None else {"least_minutes": least}),
                }
            )
        if not rows:
            terminal.say(
                "! A sheet without any row has no limit, and nothing runs without a limit. Look for "
                "the times in the leaflet."
            )
    told["chart"] = rows


def _means(terminal: Terminal, told: Told) -> None:
    told["limit_means"] = terminal.one_of(
        "What does that greatest time run from and to?",
        MEANS,
        why="Where the leaflet does not say it, choose 1, the stricter of the first two.",
    )


def _mixing(terminal: Terminal, told: Told) -> None:
    told.pop("mixing_least_minutes", None)
    if told["product_class"] == "hydroxide to mix":
        told["mixing_least_minutes"] = measured(
            terminal, "How many minutes is it mixed, at "
                "least?", "mixing_least_minutes", 0.1, 60, "minutes", must=True,
            why="At least one minute counts, whatever is written.",
        )  # fmt: skip


def _strand(terminal: Terminal, told: Told) -> None:
    every = measured(
        terminal,
        "Strand test: look at the strand every how many minutes?",
        "",
        0.5,
        60,
        "minutes",
        why="Empty: every 3 minutes.",
    )
    most = measured(
        terminal,
        "Strand test: after how many minutes does it end, where the leaflet says so?",
        "",
        0.5,
        240,
        "minutes",
    )
    told["strand_test"] = {"check_every_minutes": every, "greatest_minutes": most}


def _span(key: str, what: str) -> Asker:
    def ask(terminal: Terminal, told: Told) -> None:
        least = measured(terminal, f"{what}: how many minutes at least?", key, 0.1, 240, "minutes", must=True)
        assert least is not None
        most = measured(
            terminal, f"{what}: how many minutes at most? Empty: the same.", key, least, 240, "minutes"
        )
        told[key] = {"least": least, "greatest": most if most is not None else least}

    return ask


def _indicator(terminal: Terminal, told: Told) -> None:
    told["colour_indicator"] = terminal.yes(
        "Does the neutralising shampoo change its colour while there is cream left?"
    )


def _waits(terminal: Terminal, told: Told) -> None:
    told["waits"] = {
        name: measured(terminal, words, name, 0, 104 if unit == "weeks" else 60, unit)
        for name, words, unit in (
            ("relaxer_weeks", "Weeks between two relaxers:", "weeks"),
            ("colour_weeks", "Weeks between permanent colour and this kit:", "weeks"),
            ("braids_weeks", "Weeks after braids or extensions come out:", "weeks"),
            ("dandruff_weeks", "Weeks around anti-dandruff shampoo:", "weeks"),
            ("wash_days", "Days without washing before this kit:", "days"),
        )
    }


def _patch(terminal: Terminal, told: Told) -> None:
    told["patch_test_hours"] = measured(
        terminal,
        "Hours that a patch test on the skin takes, where the leaflet asks for one:",
        "patch_test_hours",
        1,
        336,
        "hours",
    )


def _age(terminal: Terminal, told: Told) -> None:
    doubted: list[str] = []

    def read(text: str) -> int | None:
        if not text:
            return None
        age = number(text, 0, 120, "years")
        if age != int(age):
            raise ValueError(
                f"'{text[:40]}' is no whole number of years. Round nothing; type the age as the "
                f"leaflet has it."
            )
        words = USUAL["least_age"].doubt(age)
        if words and text not in doubted:
            doubted.append(text)
            raise ValueError(f"{words} Then type it again, the same or another.")
        return int(age)

    why = "Empty: the leaflet gives none; then nobody under 18 is cleared."
    told["least_age"] = terminal.ask("Not below which age?", read, lambda: terminal.say(why, "  "))


def _emergency(terminal: Terminal, told: Told) -> None:
    def read(text: str) -> str:
        if len(text) > 400:
            raise ValueError(
                f"That is {len(text)} characters; the sheet takes 400. Copy what matters most for eyes "
                f"and skin."
            )
        return text

    told["emergency"] = terminal.ask(
        "What does the leaflet say for an emergency, eyes and skin? One line, its own words.", read
    )


STEPS: tuple[Asker, ...] = (
    _name, _class, _chart, _means, _mixing, _strand,
    _span("second_lather_minutes", "Second lather of the neutralising shampoo, left on"),
    _span("conditioner_heat_minutes", "Conditioner under heat"),
    _span("conditioner_minutes", "Conditioner without heat"),
    _indicator, _waits, _patch, _age, _emergency,
)  # fmt: skip
