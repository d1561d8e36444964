"""Clips from the real pyttsx3 and espeak-ng, and what happens when their process hangs, crashes or lies."""

from __future__ import annotations

import sys
from collections.abc import Iterator
from pathlib import Path

import numpy as np
import pytest
import soundfile

from assistant.mouth import synthesiser
from assistant.mouth.levels import PROMPT_DB, active_db
from assistant.mouth.prompts import VOICES
from assistant.mouth.synthesiser import Synthesiser, VoiceError, Voicing, engine_version, looked_at

RATE = 16_000
PERSON = VOICES["person"]
SENTENCES = [
    "Crown done. Back left next.",
    "11 minutes left.",
    "Rinse now. Go to the sink.",
    "Good.",
    "Warning. Eye under the water, lids open.",
    "Helper: bring them to the water now.",
]

CHILD = """
import json, os, sys, wave
for line in sys.stdin:
    wish = json.loads(line)
    error = ""
    kind, tries = wish["text"].split()[0], {tries!r}
    with open(tries, "a") as file:
        file.write(kind + "\\n")
    first = open(tries).read().split().count(kind) == 1
    if kind == "Hang" or (kind == "Hesitate" and first):
        while True:
            sys.stdin.readline() or os.read(os.pipe()[0], 1)
    if kind == "Crash":
        os.abort()
    if kind == "Refuse":
        error = "no"
    elif kind == "Babble":
        print("not JSON", flush=True)
        continue
    elif kind == "Nothing":
        pass
    else:
        seconds = {{"Short": 0.05, "Long": 60.0}}.get(kind, 2.0)
        loud = 0 if kind == "Silent" else 9000
        with wave.open(wish["path"], "wb") as out:
            out.setparams((1, 2, 4000 if kind == "Slow" else 22050, 0, "NONE", ""))
            period = loud.to_bytes(2, "little") + (-loud).to_bytes(2, "little", signed=True)
            out.writeframes(period * int(11025 * seconds))
    print(json.dumps({{"error": error, "last": kind == "Once"}}), flush=True)
"""


def other_child(folder: Path) -> list[str]:
    """A process that answers like ours, but as the first word of the text tells it to."""
    script = folder / "other_child.py"
    script.write_text(CHILD.format(tries=str(folder / "tries")))
    return [sys.executable, str(script)]


@pytest.fixture(scope="module")
def real() -> Iterator[Synthesiser]:
    with Synthesiser() as opened:
        yield opened


@pytest.mark.parametrize("text", SENTENCES)
@pytest.mark.parametrize("voicing", list(VOICES.values()), ids=list(VOICES))
def test_a_clip_is_trimmed_levelled_and_mono(real: Synthesiser, text: str, voicing: Voicing) -> None:
    clip = real.make(text, voicing)
    assert clip.dtype == np.float32
    assert clip.ndim == 1
    assert active_db(clip) == pytest.approx(PROMPT_DB, abs=0.5)
    assert np.abs(clip).max() <= 1.0
    edge = RATE // 25
    loudest = np.square(clip[: len(clip) // edge * edge]).reshape(-1, edge).mean(axis=1).max()
    for end in (clip[:edge], clip[-edge:]):
        assert np.square(end).mean() > loudest / 1e5, "no silence is left around the speech"
    assert real.made_by["espeak-ng"] == 0, "pyttsx3 made it"


def test_the_same_words_are_the_same_samples_whatever_was_said_before(real: Synthesiser) -> None:
    """Rehearsals are the same every time; a synthesiser that goes on in one process is not."""
    first = real.make(SENTENCES[0], PERSON)
    real.make(SENTENCES[2], VOICES["helper"])
    np.testing.assert_array_equal(real.make(SENTENCES[0], PERSON), first)


def test_the_rate_is_always_the_one_asked_for(real: Synthesiser) -> None:
    """pyttsx3 lost it for 3 of 100 prompts, which then came a third faster."""
    lengths = {len(real.make("Good.", Voicing("en-us", 100))) for _ in range(80)}
    assert len(lengths) == 1
    assert lengths != {len(real.make("Good.", Voicing("en-us", 200)))}


def test_espeak_itself_says_it_the_same_way(real: Synthesiser, tmp_path: Path) -> None:
    """Falling back does not change the voice: same length, same sound."""
    with Synthesiser(other_child(tmp_path)) as other:
        fallen_back = other.make("Refuse", PERSON)
        assert other.made_by == {"pyttsx3": 0, "espeak-ng": 1}
    np.testing.assert_allclose(fallen_back, real.make("Refuse", PERSON), atol=1e-4)


def test_the_two_voices_differ(real: Synthesiser) -> None:
    """Told apart by pitch: the person's voice is higher by a quarter at least."""
    pitches = []
    for voicing in VOICES.values():
        clip = real.make("Eleven minutes are left until the water.", voicing)
        frames = clip[: len(clip) // 640 * 640].reshape(-1, 640)
        loud = frames[np.square(frames).mean(axis=1) > np.square(frames).mean()]
        found = []
        for frame in loud:
            alike = np.correlate(frame, frame, "full")[639:]
            found.append(RATE / (40 + int(np.argmax(alike[40:230]))))
        pitches.append(float(np.median(found)))
    assert max(pitches) / min(pitches) > 1.25


@pytest.mark.parametrize(
    "text", ["-v is no option", 'a "quoted" <name> & [[more]]', "Zoë und Jürgen", "a\nb\tc\0d e"]
)
def test_odd_text_is_only_text(real: Synthesiser, text: str) -> None:
    assert len(real.make(text, PERSON)) > RATE // 5


@pytest.mark.parametrize("text", ["", " ", "...", "\0"])
def test_text_without_a_word_is_refused(real: Synthesiser, text: str) -> None:
    with pytest.raises(VoiceError, match="no voice for"):
        real.make(text, PERSON)


def test_an_unknown_voice_is_not_taken_for_the_old_one() -> None:
    """pyttsx3 would go on in the old voice and say nothing; espeak-ng itself then speaks in its plain one."""
    with Synthesiser() as fresh:
        good = fresh.make("Good.", PERSON)
        other = fresh.make("Good.", Voicing("no-such-voice", 140))
        assert fresh.made_by == {"pyttsx3": 1, "espeak-ng": 1}
        assert not np.array_equal(good, other)
        np.testing.assert_array_equal(fresh.make("Good.", PERSON), good)


@pytest.mark.parametrize(
    ("word", "problem"),
    [
        ("Hang", "took more than 0.5 s"),
        ("Crash", "its process died"),
        ("Babble", "its process died"),
        ("Refuse", "pyttsx3: no"),
        ("Nothing", "no readable file"),
        ("Silent", "silence"),
        ("Short", "s for 10 letters"),
        ("Long", "s for 9 letters"),
        ("Slow", "4000 samples a second"),
    ],
)
def test_what_goes_wrong_costs_one_prompt(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, word: str, problem: str
) -> None:
    """Tried twice, then made by espeak-ng itself; the next prompt is made by the process again."""
    with Synthesiser(other_child(tmp_path), limit_s=0.5) as other:
        assert len(other.make(f"{word} today", PERSON)) > 0
        assert other.made_by == {"pyttsx3": 0, "espeak-ng": 1}
        assert len(other.make("All is well", PERSON)) > 0
        assert other.made_by == {"pyttsx3": 1, "espeak-ng": 1}
        assert (tmp_path / "tries").read_text().split() == [word, word, "All"]
        monkeypatch.setenv("PATH", str(tmp_path))  # now espeak-ng is gone too
        with pytest.raises(VoiceError, match=problem):
            other.make(f"{word} today", PERSON)


def test_a_hang_once_is_made_again(tmp_path: Path) -> None:
    with Synthesiser(other_child(tmp_path), limit_s=0.5) as other:
        other.make("Hesitate today", PERSON)
        assert other.made_by == {"pyttsx3": 1, "espeak-ng": 0}


def test_a_process_that_answers_only_once_is_replaced(tmp_path: Path) -> None:
    """As where there is no fork."""
    with Synthesiser(other_child(tmp_path)) as other:
        other.make("Once today", PERSON)
        other.make("Once again", PERSON)
        assert other.made_by == {"pyttsx3": 2, "espeak-ng": 0}


def test_nothing_is_left_behind(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(synthesiser.tempfile, "tempdir", str(tmp_path))
    with Synthesiser() as opened:
        opened.make("Good.", PERSON)
        child = opened._child
        assert child is not None
    assert child.poll() is not None
    assert list(tmp_path.iterdir()) == []


def test_a_file_at_another_rate_is_resampled(tmp_path: Path) -> None:
    tone = 0.3 * np.sin(2 * np.pi * 440 * np.arange(44_100) / 44_100)
    soundfile.write(tmp_path / "a.wav", np.stack([tone, tone], axis=1), 44_100)
    clip, problem = looked_at(tmp_path / "a.wav", "two words")
    assert problem == ""
    assert len(clip) == pytest.approx(RATE, abs=RATE // 40)
    spectrum = np.abs(np.fft.rfft(clip))
    assert np.argmax(spectrum) * RATE / len(clip) == pytest.approx(440, abs=2)


def test_the_engine_has_a_version(monkeypatch: pytest.MonkeyPatch, tmp_path: Path) -> None:
    """Other versions are other voices, so it is part of what a clip is kept under."""
    found = engine_version()
    assert found.startswith("pyttsx3 ")
    assert "eSpeak NG" in found
    monkeypatch.setenv("PATH", str(tmp_path))
    assert engine_version() != found
