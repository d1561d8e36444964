"""The soak's homes can be rehearsed, and its figures put each over-limit zone and each late call where it belongs."""

from __future__ import annotations

from typing import Any, get_args

from assistant.room.home import What
from tests.soak.__main__ import counted, judged
from tests.soak.homes import LASTS_S, drawn, home_of

SUMMARY: dict[str, Any] = {
    "outcome": "finished", "finished": True, "virtual_s": 2000.0, "journal_whole": True, "restarts": 0,
    "rinse_calls": [{"due": 1000.0, "sounded": 1000.05, "late": False}], "over_limit_zones": ["crown"],
    "call_causes": ["clock"], "phrases": {"spoken": 40, "obeyed": 39}, "false_accepts": 0, "self_triggers": 0,
    "faults": {"injected": [], "survived": True},
}  # fmt: skip
LATE = {"rinse_calls": [{"due": 1000.0, "sounded": 1060.0, "late": True}]}


def fault(what: str, begin: float, end: float) -> dict[str, Any]:
    spans = [{"t": begin, "what": what, "begins": True}, {"t": end, "what": what, "begins": False}]
    return {"faults": {"injected": spans, "survived": True}}


def test_every_fault_of_a_home_can_be_drawn_and_is_valid() -> None:
    assert set(LASTS_S) == set(get_args(What))
    for seed in range(40):
        _, content = drawn(seed)
        assert len(home_of(content).faults) == len(content["faults"]) > 0
    assert drawn(3) == drawn(3)


def test_causes_are_told_apart() -> None:
    assert judged(SUMMARY)["over_limit"] == {"people: went late, were slow, or began early": 1}
    assert judged(SUMMARY | LATE)["over_limit"] == {"late call": 1}
    asleep = judged(SUMMARY | LATE | fault("sleep", 900.0, 1059.0))
    assert (asleep["late"], asleep["due_while_machine_off"]) == (0, 1)
    assert asleep["over_limit"] == {"machine off at the due time": 1}
    assert judged(SUMMARY | LATE | fault("sleep", 100.0, 200.0))["late"] == 1
    muted = judged(SUMMARY | fault("speaker_muted", 900.0, 1100.0))
    assert muted["over_limit"] == {"people: nobody could hear the call": 1}


def test_failing_seeds_are_named() -> None:
    good = judged(SUMMARY) | {"seed": 1}
    late = judged(SUMMARY | LATE) | {"seed": 2}
    lost = judged(SUMMARY | {"journal_whole": False}) | {"seed": 3}
    figures = counted([good, late, lost, {"seed": 4, "error": "KeyError"}])
    assert figures["failing_seeds"] == [2, 3, 4]
    assert (figures["runs"], figures["late"], figures["lost"], figures["errors"]) == (4, 1, 1, 1)
