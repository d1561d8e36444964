"""Finished calls on disk: the tone, then the words, in a file any player takes."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest
import soundfile

from assistant.alarm import tone
from assistant.alarm.calls import GAP_S, call, write_calls
from assistant.alarm.find import find_alarms

WORDS = (0.3 * np.sin(2 * np.pi * 300 * np.arange(16_000) / 16_000)).astype(np.float32)


def test_tone_then_words(tmp_path: Path) -> None:
    folder = tmp_path / "new" / "calls"
    files = write_calls(folder, {"call": WORDS, "call.it_burns": WORDS[:4000]})
    assert files == {"call": folder / "call.wav", "call.it_burns": folder / "call.it_burns.wav"}
    sound, rate = soundfile.read(files["call"], dtype="float32")
    begin = len(tone.alarm()) + round(GAP_S * 16_000)
    assert (rate, len(sound)) == (16_000, begin + len(WORDS))
    np.testing.assert_allclose(sound[begin:], WORDS, atol=1e-4)
    assert find_alarms(sound) == [0.0]
    assert sorted(folder.iterdir()) == sorted(files.values())


def test_for_the_owner_alone(tmp_path: Path) -> None:
    (path,) = write_calls(tmp_path / "calls", {"call": WORDS}).values()
    assert path.stat().st_mode & 0o777 == 0o600
    assert path.parent.stat().st_mode & 0o777 == 0o700


def test_written_again_is_the_newer(tmp_path: Path) -> None:
    write_calls(tmp_path, {"call": WORDS})
    (path,) = write_calls(tmp_path, {"call": WORDS[:100]}).values()
    assert soundfile.info(path).frames == len(call(WORDS[:100]))


def test_without_words_the_tone_alone() -> None:
    """A voice that could not be made does not silence the call."""
    np.testing.assert_array_equal(call(np.zeros(0, np.float32)), tone.alarm())


@pytest.mark.parametrize("name", ["../call", "", ".", "a/b", "a\\b", "Call", "a\0"])
def test_a_name_that_leads_elsewhere_is_refused(tmp_path: Path, name: str) -> None:
    with pytest.raises(ValueError, match="can not be the name"):
        write_calls(tmp_path / "calls", {name: WORDS})
    assert list(tmp_path.iterdir()) == []
