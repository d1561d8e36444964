"""A rehearsal in which the machine fails, with the real recogniser, the real synthesiser and real audio."""

from __future__ import annotations

from pathlib import Path

import pytest
import yaml

from assistant.app import load
from assistant.app.rehearse import Rehearsal, rehearse
from assistant.app.speech import open_speech
from assistant.core.household import Household
from assistant.core.session import Cream
from assistant.files.places import routines_folder
from assistant.files.yaml_file import BadFile, parse, read
from assistant.journal.journal import read as read_journal
from assistant.room.home import Home
from assistant.screens.none import NoScreen

HERE = Path(__file__).parent
FAULTS = [
    {"at": 12, "what": "recogniser_crashed", "for_s": 6},
    {"at": 40, "what": "disk_full", "for_s": 15},
    {"at": "5 s after cream on", "what": "killed", "for_s": 10},
    {"at": "20 s after cream on", "what": "clock_back", "for_s": 60},
    {"at": "25 s after cream on", "what": "sleep", "for_s": 25},
    {"at": "60 s after cream on", "what": "guard_killed", "for_s": 3},
    {"at": "60 s after cream on", "what": "starved", "for_s": 15},
    {"at": "5 s after water", "what": "microphone_frozen", "for_s": 6},
]
HOME = {"pace": {"zone_min": {"default": 0.6}}, "faults": FAULTS}


def test_a_rehearsal_survives_what_fails_in_it(tmp_path: Path) -> None:
    """Rinsed in time through a crash, a kill, a sleep, a full disk and a stepped clock; everything is in the journal."""
    household = read(routines_folder() / load.EXAMPLE_HOUSEHOLD).into(Household)
    program = load.load_program(HERE / "small.yaml", routines_folder() / load.EXAMPLE_KIT, household)
    speech = open_speech(program)
    home = parse(yaml.safe_dump(HOME), "home.yaml").into(Home)
    result = rehearse(
        Rehearsal(
            program, home, tmp_path, speech.ears, speech.voice, NoScreen(), speech.prompt_db,
            journal=tmp_path / "j.jsonl", until=lambda state: state.cream is Cream.RINSED,
        )
    )  # fmt: skip
    faults = result["faults"]
    assert isinstance(faults, dict)
    begun = {fault["what"] for fault in faults["injected"] if fault["begins"]}
    assert begun == {fault["what"] for fault in FAULTS}
    assert (result["restarts"], result["late_calls"], result["over_limit_zones"]) == (1, 0, [])
    assert isinstance(result["exposure"], dict)
    assert set(result["exposure"]) == {"crown", "back"}
    events = [r["event"] for r in read_journal(tmp_path / "j.jsonl").records if "event" in r]
    assert events.count("Resumed") == 2  # after the kill and after the sleep
    assert {"DeviceLost", "DeviceBack"} <= set(events)
    assert result["journal_whole"] is True


@pytest.mark.parametrize("what", ["sleep", "killed"])
def test_what_must_end_needs_its_seconds(what: str) -> None:
    with pytest.raises(BadFile, match="needs for_s"):
        parse(yaml.safe_dump({"faults": [{"at": 1, "what": what}]}), "home.yaml").into(Home)
