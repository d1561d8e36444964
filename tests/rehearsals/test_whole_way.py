"""A whole rehearsal with the real recogniser, the real synthesiser and real audio, as the README's first command does it."""

from __future__ import annotations

import json
from pathlib import Path

import soundfile

from assistant.cli.main import main


def test_short_hair_is_walked_to_the_end_in_time(tmp_path: Path) -> None:
    """Finished, no late call, no zone over its limit; measured in the room and in the mixdown, and all files are there."""
    summary, journal, mixdown = tmp_path / "s.json", tmp_path / "j.jsonl", tmp_path / "m.wav"
    options = ["--quiet", "--summary", str(summary), "--journal", str(journal), "--mixdown", str(mixdown)]
    assert main(["rehearse", "short_hair", *options]) == 0
    found = json.loads(summary.read_text("utf-8"))
    assert found["finished"] is True
    assert found["late_calls"] == 0
    assert found["over_limit_zones"] == []
    assert len(found["exposure"]) == 6
    assert found["rinse_calls"][0]["sounded"] is not None
    phrases = found["phrases"]
    assert phrases["spoken"] >= 50
    assert phrases["obeyed"] >= 0.85 * phrases["spoken"]  # 58 of 63 was measured on the whole head
    assert found["self_triggers"] == 0
    keys = {
        "finished", "rinse_calls", "late_calls", "over_limit_zones", "exposure", "phrases", "false_accepts",
        "self_triggers", "reply_gap_ms", "stop_gap_ms", "virtual_s", "wall_s", "engine", "faults",
    }  # fmt: skip
    assert keys <= set(found)
    assert soundfile.info(str(mixdown)).duration > 0.95 * found["virtual_s"]
    lines = [json.loads(line) for line in journal.read_text("utf-8").splitlines()]
    assert lines[0]["schema"] == 1
    assert sum("event" in line for line in lines) > 50
