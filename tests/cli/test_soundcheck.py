"""`combside soundcheck` as a person types it: what is printed, what is kept, how it ends."""

from __future__ import annotations

import stat

import pytest

from assistant.app.sound_room import DeviceGone
from assistant.cli import soundcheck
from assistant.files.sound_check_file import load_sound_check
from tests.app.bathroom import Bathroom
from tests.cli.household_home import Home

QUICK = ("soundcheck", "--yes", "--wait", "0", "--noise", "1", "--no-phrases")
TAP_FROM_S = 22.0
"""With nobody to show prompts to, the tap of the made bathroom goes on by the clock: after the first track."""


@pytest.fixture
def bathroom(monkeypatch: pytest.MonkeyPatch) -> None:
    """The system's devices are those of a bathroom made of samples."""
    monkeypatch.setattr(soundcheck, "RealRoom", lambda microphone, speaker: Bathroom(tap_from_s=TAP_FROM_S))


@pytest.mark.usefixtures("bathroom")
def test_the_result_is_printed_and_kept(home: Home) -> None:
    """JSON with every promised key; the file for its owner alone; the same again from --last, and in words."""
    done = home.run(*QUICK, "--json", "--today", "2024-03-01")
    assert done.status == 0
    made = done.json()
    assert {"alarm_over_noise_db", "sii", "phrases_heard", "delay_ms", "verdict", "mends"} <= set(made)
    assert made["verdict"] == "good"
    assert made["checked_on"] == "2024-03-01"
    assert "Turn the tap off" in done.err  # the walk itself does not spoil the JSON
    path = home.data / "sound_check.json"
    assert stat.S_IMODE(path.stat().st_mode) == 0o600
    kept = load_sound_check()
    assert kept is not None
    assert kept.alarm_over_noise_db == made["alarm_over_noise_db"]
    assert home.run("soundcheck", "--last", "--json", "--today", "2024-03-01").json() == made
    later = home.run("soundcheck", "--last", "--today", "2024-05-01")
    assert later.status == 1
    assert "The sound check is 61 days old" in later.err
    words = home.run("soundcheck", "--last", "--today", "2024-03-01")
    assert words.status == 0
    assert words.out.lstrip().startswith("GOOD: the alarm and you are heard here.")
    assert f"{made['alarm_over_noise_db']:.1f} dB over the noise with the tap on" in words.out
    assert "not calibrated" in words.out
    assert not [line for line in words.out.splitlines() if len(line) > 96 or line != line.rstrip()]


def test_without_devices_the_answer_is_no_and_says_what_to_do(
    home: Home, monkeypatch: pytest.MonkeyPatch
) -> None:
    def none(microphone: object, speaker: object) -> Bathroom:
        raise DeviceGone("microphone", "no microphone: there is none")

    monkeypatch.setattr(soundcheck, "RealRoom", none)
    done = home.run(*QUICK)
    assert done.status == 1
    assert "NO: do not start like this." in done.out
    assert "Plug the microphone in" in done.out
    made = home.run(*QUICK, "--json")
    assert made.status == 1
    assert made.json()["alarm_over_noise_db"] is None
    assert load_sound_check() is None  # nothing was checked, so nothing is kept


def test_a_device_that_is_not_there_is_a_wrong_input(home: Home) -> None:
    """By the real library, whatever this machine has."""
    done = home.run(*QUICK, "--microphone", "nobody's microphone")
    assert done.status == 2
    assert "there is no device 'nobody's microphone'" in done.err
    assert "hint: th" in done.err


@pytest.mark.parametrize(
    ("words", "told"),
    [
        (("--microphone-m", "0.3"), "one without the other says nothing"),
        (("--last",), "there is no sound check yet"),
    ],
)
def test_what_can_not_be_done_is_said(home: Home, words: tuple[str, ...], told: str) -> None:
    done = home.run("soundcheck", *words)
    assert done.status == 2
    assert told in done.err


@pytest.mark.parametrize(
    "words", [("--noise", "0"), ("--wait", "-1"), ("--heads-m", "far"), ("--microphone-m", "0")]
)
def test_a_number_that_is_none_is_refused(home: Home, words: tuple[str, str]) -> None:
    with pytest.raises(SystemExit) as ended:
        home.run("soundcheck", *words)
    assert ended.value.code == 2


@pytest.mark.parametrize("text", ["", "{", '{"schema": 2}', '{"schema": 1, "checked_on": "yesterday"}'])
def test_a_kept_check_that_can_not_be_read_is_named_and_left_alone(home: Home, text: str) -> None:
    path = home.put("data/sound_check.json", text)
    done = home.run("soundcheck", "--last")
    assert done.status == 2
    assert "this sound check can not be read" in done.err
    assert path.read_text() == text
