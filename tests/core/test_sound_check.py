"""What a kept sound check means on the day: doubts, keys in place of the voice, how far prompts may follow the noise."""

from __future__ import annotations

from datetime import date, timedelta

import pytest

from assistant.core.sound_check import (
    MOST_PROMPT_GAIN_DB,
    OLD_DAYS,
    Device,
    Finding,
    SoundCheck,
    Weight,
    answer_by_key,
    doubts,
    judge,
    louder,
    prompt_gain_db,
    with_tap_db,
)

DAY = date(2024, 3, 1)
HERE = Device(microphone="the lid's", speaker="the shelf's")


def made(**figures: object) -> SoundCheck:
    """A good check with some figures changed, and judged."""
    usual: dict[str, object] = {
        "schema": 1,
        "checked_on": DAY,
        "device": HERE,
        "alarm_over_noise_db": 18.0,
        "alarm_over_threshold_db": 14.0,
        "alarm_octave_hz": 1000,
        "sii": 0.6,
        "sii_range": (0.58, 0.6),
        "sii_tap_off": 0.97,
        "phrases_said": 3,
        "phrases_heard": 3,
        "phrases_heard_tap_on": 2,
        "delay_ms": 95.0,
        "echo_lag_ms": 95.0,
        "noise_off_db": -70.0,
        "noise_on_db": -40.0,
        "prompt_headroom_db": 5.0,
    }
    check = SoundCheck.model_validate({**usual, **figures})
    return check.model_copy(update={"findings": judge(check)})


def words(
    check: SoundCheck | None, noise: float | None = None, day: date = DAY, device: Device | None = None
) -> list[str]:
    return [reason.words for reason in doubts(check, day, noise, device=device)]


def test_a_good_check_raises_no_doubt() -> None:
    assert made().verdict == "good"
    assert words(made(), -60.0, DAY + timedelta(days=OLD_DAYS), HERE) == []
    assert made().mends == ()


def test_no_check_is_a_doubt() -> None:
    assert words(None) == ["Nobody knows yet whether the alarm is heard in this room: combside soundcheck."]


@pytest.mark.parametrize(("days", "told"), [(OLD_DAYS, False), (OLD_DAYS + 1, True), (-1, True), (0, False)])
def test_an_old_check_is_a_doubt(days: int, told: bool) -> None:
    """So is one that is dated in days to come."""
    assert bool(words(made(), day=DAY + timedelta(days=days))) is told


def test_a_failed_check_is_a_doubt_with_its_reason() -> None:
    (told,) = words(made(alarm_over_noise_db=9.0, alarm_over_threshold_db=4.0))
    assert told.startswith(
        "The sound check failed. With the tap on the alarm does not stand out: it is 9 dB over"
    )


@pytest.mark.parametrize(
    ("noise", "told"),
    [
        (-37.0, []),  # 3 dB are the usual ups and downs
        (
            -36.5,
            [
                "With the tap on it is 4 dB louder here than at the sound check. The alarm would still stand out."
            ],
        ),
        (
            -36.0,
            [
                "With the tap on it is 4 dB louder here than at the sound check. The alarm would not stand out now."
            ],
        ),
        (-70.0, []),
        (None, []),
    ],
)
def test_a_noise_that_has_risen_is_a_doubt(noise: float | None, told: list[str]) -> None:
    """The alarm was 4 dB over what is needed in its best octave, 3 in A-weighted level: 4 more and neither holds."""
    assert [r.words for r in doubts(made(), DAY, noise, tap_on=True)] == told


def test_a_dryer_in_the_next_room_adds_to_the_tap() -> None:
    """As loud as the tap it makes 3.0 dB together, twice as loud 4.8; a little quieter is the usual ups and downs."""
    assert with_tap_db(-40.0, made()) == pytest.approx(-37.0, abs=0.02)
    assert with_tap_db(-37.0, made()) == pytest.approx(-35.2, abs=0.05)
    assert with_tap_db(-75.0, made()) == -40.0
    assert words(made(), -40.5) == []
    assert len(words(made(), -39.5)) == 1


def test_other_devices_are_a_doubt_and_their_levels_are_not_compared() -> None:
    other = Device(microphone="a headset", speaker="the shelf's")
    assert words(made(), -10.0, device=other) == [
        "The sound check was made with other devices; now: microphone a headset (it was the lid's)."
    ]


@pytest.mark.parametrize(
    ("off", "on", "verdict", "keys"),
    [
        (3, 3, "good", False),
        (3, 2, "good", False),
        (3, 1, "with keys", True),
        (2, 3, "with keys", True),
        (None, None, "good", False),
    ],
)
def test_a_voice_that_is_not_heard_means_keys(
    off: int | None, on: int | None, verdict: str, keys: bool
) -> None:
    """Said before the run, in words that say what to do."""
    check = made(phrases_heard=off, phrases_heard_tap_on=on)
    assert check.verdict == verdict
    reason = answer_by_key(check)
    assert (reason is not None) is keys
    if reason is not None:
        assert reason.words.endswith("Answer by any key or the pedal.")


def test_without_a_check_nobody_is_sent_to_the_keys() -> None:
    assert answer_by_key(None) is None


@pytest.mark.parametrize(
    ("a_db", "octave_db", "stands_out"),
    [(15.1, 0.0, True), (15.0, 10.0, False), (0.0, 10.1, True), (14.9, 9.9, False)],
)
def test_either_criterion_of_the_alarm_is_enough(a_db: float, octave_db: float, stands_out: bool) -> None:
    """ISO 7731: more than 15 dB in A-weighted level (from memory), or more than 10 over the masked threshold (secondary)."""
    check = made(alarm_over_noise_db=a_db, alarm_over_threshold_db=octave_db)
    assert (check.verdict == "good") is stands_out


def test_a_tap_that_made_no_difference_stops() -> None:
    check = made(noise_off_db=-41.0)
    assert check.verdict == "no"
    assert check.mends == ("Turn the tap on full when you are asked to. Then check again.",)


def test_prompts_that_are_poorly_understood_are_noted() -> None:
    """ANSI S3.5: poor under 0.45 (from memory). The clock does not hang on it, so it stops nobody."""
    assert [f.name for f in made(sii=0.44).findings] == ["prompts"]
    assert made(sii=0.44).verdict == "good"
    assert made(sii=0.45).findings == ()


@pytest.mark.parametrize(
    ("short", "told"),
    [
        (
            0.0,
            "Turn the speaker up by about 1 dB, or put it on the shelf, nearer to your heads. Then check again.",
        ),
        (
            5.2,
            "Turn the speaker up by about 6 dB, or put it on the shelf, nearer to your heads. Then check again.",
        ),
        (9.0, "Turn the speaker up by about 10 dB, and put it nearer to your heads. Then check again."),
        (
            20.0,
            "The alarm must be about 21 dB louder, more than most loudspeakers have left: use another one, close to your "
            "heads, or run the tap less hard. Then check again.",
        ),
    ],
)
def test_the_mend_says_how_much(short: float, told: str) -> None:
    """More than what is short, in whole decibels: just as much would be a tie."""
    assert louder(short) == told


def test_prompts_follow_the_noise_upward_only_and_not_far() -> None:
    """From the loudest noise that was checked, within what is left before clipping and what ears can bear."""
    roomy, tight = made(prompt_headroom_db=20.0), made(prompt_headroom_db=2.0)
    assert prompt_gain_db(-80.0, roomy) == 0.0
    assert prompt_gain_db(-40.0, roomy) == 0.0
    assert prompt_gain_db(-37.0, roomy) == pytest.approx(3.0)
    assert prompt_gain_db(0.0, roomy) == MOST_PROMPT_GAIN_DB
    assert prompt_gain_db(0.0, tight) == 2.0
    assert prompt_gain_db(0.0, made(noise_on_db=None)) == 0.0


def test_mends_are_told_once_and_the_gravest_first() -> None:
    findings = (
        Finding(name="a", weight=Weight.NOTE, words="A.", mend="Later."),
        Finding(name="b", weight=Weight.STOPS, words="B.", mend="First."),
        Finding(name="c", weight=Weight.KEYS, words="C.", mend="Later."),
    )
    check = made().model_copy(update={"findings": findings})
    assert check.mends == ("First.", "Later.")
    assert check.verdict == "no"
