"""`combside diary`: what was done, what is allowed next, and forgetting it."""

from __future__ import annotations

import argparse
import json
import sys
from collections.abc import Callable
from datetime import date
from pathlib import Path

from assistant.app.consult import load_form
from assistant.app.keep import keep_missed
from assistant.app.report import keep_report, kit_of
from assistant.cli import status
from assistant.cli.asking import Back, Stopped, Terminal
from assistant.cli.consult import save_calendar
from assistant.cli.styled import print_styled
from assistant.cli.today import add_today, today_of
from assistant.core import calendar_plan
from assistant.core.answers import in_words
from assistant.core.diary import (
    NextDay,
    RunRecord,
    incident_sheet,
    last_relaxed,
    next_days,
    pace_trend,
    seconds_in_words,
    trend_words,
    wall,
)
from assistant.files import consultation_file, diary_file, household_file, private, strand_file
from assistant.files.complaint import BadFile, Complaint
from assistant.screens.harmless import harmless


def add_to(commands: argparse._SubParsersAction[argparse.ArgumentParser]) -> None:
    command = commands.add_parser(
        "diary",
        help="runs so far, what is allowed next, a page for a doctor",
        description="Lists the runs, shows one, tells the next allowed days and the trend of the pace, "
        "exports, writes a report or an incident sheet, forgets.",
        epilog="examples: combside diary;  combside diary last;  combside diary next;  combside diary "
        "incident last > page.txt;  combside diary report last --out report.html;  "
        "combside diary export --csv runs.csv;  combside diary forget 2024-03-14-1830;  combside diary "
        "forget --person Bo",
    )
    command.add_argument(
        "action",
        nargs="?",
        default="list",
        metavar="ACTION",
        help="list, show, next, trend, report, incident, export, forget, or a run to show (its id, the beginning of "
        "it, or last)",
    )
    command.add_argument("run", nargs="?", help="for show, report, incident and forget: a run")
    command.add_argument("--person", help="only this person's; for forget: everything about them")
    command.add_argument("--csv", type=Path, metavar="FILE", help="for export: a table, one line a run")
    command.add_argument(
        "--calendar", type=Path, metavar="FILE.ics", help="for next: write the days as calendar entries"
    )
    command.add_argument(
        "--out", type=Path, metavar="R.html", help="for report: where to write it (default: beside the diary)"
    )
    command.add_argument("--yes", action="store_true", help="for forget: do not ask")
    command.add_argument("--json", action="store_true", help="print as JSON")
    add_today(command)
    command.set_defaults(carry_out=carry_out)


def carry_out(chosen: argparse.Namespace) -> int:
    actions: dict[str, Callable[[argparse.Namespace], int]] = {
        "list": list_runs,
        "show": show,
        "next": coming,
        "trend": trend,
        "report": report,
        "incident": incident,
        "export": export,
        "forget": forget,
    }
    if chosen.action not in actions:
        chosen.run, chosen.action = chosen.action, "show"
    for record in keep_missed():
        print(f"entered now: {record.id}, {record.kind} {record.outcome}", file=sys.stderr)
    return actions[chosen.action](chosen)


def runs_of(chosen: argparse.Namespace) -> tuple[RunRecord, ...]:
    return tuple(r for r in diary_file.load_runs() if chosen.person in (None, r.person))


def the_run(chosen: argparse.Namespace) -> RunRecord:
    """Raises BadFile."""
    if chosen.run is None:
        raise BadFile(
            [
                Complaint(
                    "combside diary", 0, 0, f"which run is meant to {chosen.action}?", "give its id, or last"
                )
            ]
        )
    return diary_file.load_run(chosen.run)


def list_runs(chosen: argparse.Namespace) -> int:
    runs = runs_of(chosen)
    if chosen.json:
        print(diary_file.as_json(runs), end="")
        return status.DONE
    if not runs:
        print("nothing in the diary yet; finished, stopped and practice runs come here by themselves")
    for r in runs:
        told = [f"{len(r.over_limit())} zones over the limit"] if r.kind == "run" and r.over_limit() else []
        told += [f"{len(r.incidents)} incident{'s' * (len(r.incidents) != 1)}"] if r.incidents else []
        more = f" ({', '.join(told)})" if told else ""
        print(
            f"{r.id}  {in_words(r.day)}  {harmless(r.person)}  {r.kind} {r.outcome}, "
            f"{harmless(r.routine)}{more}"
        )
    return status.DONE


def show(chosen: argparse.Namespace) -> int:
    r = the_run(chosen)
    if chosen.json:
        print(json.dumps(r.model_dump(mode="json", by_alias=True), indent=2, ensure_ascii=False))
        return status.DONE
    print(f"{r.id}: {r.kind}, {r.outcome}")
    print(f"  {harmless(r.person)} with {harmless(r.helper or 'nobody')}, {wall(r.started)}")
    print(f"  {harmless(r.routine)} with {harmless(r.kit)} ({r.product_class}), {r.hair} hair")
    print(f"  limit {seconds_in_words(r.limit_s)}, {r.limit_means.value}: {harmless(r.limit_reason)}")
    over = r.over_limit()
    if r.zones:
        print(
            f"\n  {'zone':<16}{'begun' if r.kind == 'practice' else 'cream on':>14}{'to water':>14}{'to clear':>14}{'limit counts':>16}"
        )
    for z in r.zones:
        wet = None if z.wet_s is None else z.wet_s - z.first_s
        clear = None if z.clear_s is None else z.clear_s - z.first_s
        cells = (seconds_in_words(z.first_s), seconds_in_words(wet), seconds_in_words(clear))
        counted = seconds_in_words(r.exposure_s(z))
        line = f"  {harmless(z.zone):<16}{cells[0]:>14}{cells[1]:>14}{cells[2]:>14}{counted:>16}"
        if z.zone in over:
            print_styled(f"{line}  OVER THE LIMIT", "bold red")
        else:
            print(line)
    for c in r.calls:
        due = "" if c.due_s is None else f", due {seconds_in_words(c.due_s)}"
        back = ", taken back" if c.withdrawn else ""
        heard = (
            "nobody answered" if c.acknowledged_s is None else f"water {seconds_in_words(c.acknowledged_s)}"
        )
        print(
            f"  rinse call ({harmless(c.cause)}): sounded {seconds_in_words(c.sounded_s)}{due}, {heard}{back}"
        )
    for i in r.incidents:
        print_styled(f"  incident: {harmless(i.what)}, {harmless(i.where)}, {wall(i.at)}", "bold red")
    if r.incidents:
        print(f"  a page for a doctor: combside diary incident {r.id}")
    print(f"  a page with pictures: combside diary report {r.id}")
    if r.aftercare:
        print("\n  aftercare:")
    for line in r.aftercare:
        print(f"  - {harmless(line)}")
    return status.DONE


def coming(chosen: argparse.Namespace) -> int:
    """The next allowed days, with reasons. Status 1 while the next relaxer is not allowed yet."""
    today, runs = today_of(chosen), runs_of(chosen)
    people = list(dict.fromkeys(r.person for r in runs if r.cream_was_on))
    days = {person: next_days(runs, person, kit_of(runs, person)) for person in people}
    if chosen.json:
        print(
            json.dumps(
                {p: [_day(d, today) for d in found] for p, found in days.items()},
                indent=2,
                ensure_ascii=False,
            )
        )
    elif not people:
        print("nobody had a relaxer with combside yet; combside consult says from when one is possible")
    for person, found in () if chosen.json else days.items():
        print(harmless(person))
        for d in found:
            allowed = d.day <= today
            when = f"  {d.what}: {'allowed since' if allowed else 'not before'} {in_words(d.day)}"
            why = f" ({harmless(d.words)}) [{d.mark}]"
            print_styled(when, "green" if allowed else "yellow", rest=why)
    if chosen.calendar is not None and people:
        person = chosen.person or people[-1]
        last = last_relaxed(runs, person)
        kit = kit_of(runs, person)
        if last is None or kit is None:
            raise BadFile(
                [
                    Complaint(
                        "--calendar",
                        0,
                        0,
                        f"the kit sheet of {person}'s last run is not there any more",
                        "combside kit",
                    )
                ]
            )
        nth = sum(1 for r in runs if r.person == person and r.cream_was_on)
        entries = tuple(e for e in calendar_plan.aftermath(load_form(), kit, last.day) if e.day >= today)
        save_calendar(chosen.calendar, entries, person, nth)
        print(
            f"{len(entries)} days are in {harmless(str(chosen.calendar))}",
            file=sys.stderr if chosen.json else sys.stdout,
        )
    waiting = any(d.day > today for found in days.values() for d in found if d.what == "relaxer")
    return status.NO if waiting else status.DONE


def _day(d: NextDay, today: date) -> dict[str, object]:
    return {
        "what": d.what,
        "from": d.day.isoformat(),
        "allowed": d.day <= today,
        "words": d.words,
        "mark": d.mark,
    }


def trend(chosen: argparse.Namespace) -> int:
    points = pace_trend(runs_of(chosen))
    if chosen.json:
        told = [
            {
                "run": p.id,
                "day": p.day.isoformat(),
                "zones": p.zones,
                "seconds_a_parting": round(p.seconds_a_parting, 2),
                "factor": round(p.factor, 3),
            }
            for p in points
        ]
        print(json.dumps({"points": told, "words": trend_words(points)}, indent=2, ensure_ascii=False))
        return status.DONE
    for p in points:
        print(
            f"{p.id}  {in_words(p.day)}  {p.seconds_a_parting:.0f} s a parting over {p.zones} zones, "
            f"{p.factor:.2f} times the first guess"
        )
    print(trend_words(points))
    return status.DONE


def report(chosen: argparse.Namespace) -> int:
    """One page with pictures, for the screen and for paper."""
    try:
        path = keep_report(the_run(chosen), chosen.out)
    except OSError as error:
        place = str(chosen.out or "report")
        raise BadFile([Complaint(place, 0, 0, f"can not be written: {error.strerror}")]) from None
    if chosen.json:
        print(json.dumps({"report": str(path)}, ensure_ascii=False))
    else:
        print(f"the report is in {harmless(str(path))}; open it in a browser, print it to keep it as PDF")
    return status.DONE


def incident(chosen: argparse.Namespace) -> int:
    """One printable page."""
    household = household_file.find_household()
    contacts = [] if household is None else [(c.name, c.phone) for c in household.contacts]
    if household is not None and household.call_for_help:
        contacts.insert(0, ("Call for help", household.call_for_help))
    page = incident_sheet(the_run(chosen), contacts)
    print("\n".join(harmless(line) for line in page.splitlines()))
    return status.DONE


def export(chosen: argparse.Namespace) -> int:
    """JSON to standard output, or a table to a file."""
    runs = runs_of(chosen)
    if chosen.csv is None:
        print(diary_file.as_json(runs), end="")
        return status.DONE
    try:
        private.write(chosen.csv, diary_file.as_csv(runs))
    except OSError as error:
        raise BadFile([Complaint(str(chosen.csv), 0, 0, f"can not be written: {error.strerror}")]) from None
    print(f"{len(runs)} runs are in {harmless(str(chosen.csv))}")
    return status.DONE


def forget(chosen: argparse.Namespace) -> int:
    """One run, or one person with everything about them. Asks first."""
    if chosen.person is not None and chosen.run is not None:
        raise BadFile(
            [Complaint("combside diary forget", 0, 0, "a run and a person at once", "forget one of them")]
        )
    if chosen.person is None:
        record = the_run(chosen)
        if not sure(chosen, f"Forget the run {record.id} of {record.person}, its entry and its journal?"):
            return status.NO
        diary_file.forget_run(record)
        strand_file.forget_strand(record.id)
        print(f"forgotten: {record.id}")
        return status.DONE
    person: str = chosen.person
    if not sure(
        chosen,
        f"Forget {person}: runs, journals, consultations, strand tests and the entry in the household's file?",
    ):
        return status.NO
    try:
        removed, changed = diary_file.forget_person(person)
        consultations = consultation_file.forget_person(person)
        strands = strand_file.forget_person(person)
        listed = household_file.forget_person(person)
    except OSError as error:
        raise BadFile(
            [Complaint(str(error.filename or "data folder"), 0, 0, f"can not be removed: {error.strerror}")]
        ) from None
    if not (removed or changed or consultations or strands or listed):
        raise BadFile(
            [
                Complaint(
                    person,
                    0,
                    0,
                    f"nothing is known of '{person}'",
                    "names count as they are written in the household's file",
                )
            ]
        )
    print(
        f"forgotten: {harmless(person)}: {removed} runs, {consultations} consultations, "
        f"{strands} strand tests, {changed} runs "
        f"as a helper" + (", the household's entry" if listed else "")
    )
    return status.DONE


def sure(chosen: argparse.Namespace, question: str) -> bool:
    if chosen.yes:
        return True
    try:
        if Terminal(out=sys.stderr).yes(f"{question} It can not be brought back.", default="no"):
            return True
    except (Stopped, Back):
        pass
    print("nothing was forgotten", file=sys.stderr)
    return False
