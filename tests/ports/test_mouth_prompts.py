"""Prompts are made ahead, kept on disk, and served from memory alone."""

from __future__ import annotations

import dataclasses
from pathlib import Path

import numpy as np
import pytest

from assistant.core.actions import Sentence
from assistant.mouth import prompts
from assistant.mouth.prompts import VOICES, Prompts
from assistant.mouth.synthesiser import Synthesiser, VoiceError, Voicing
from assistant.ports import Samples, Voice

SENTENCES = [Sentence("Crown done."), Sentence("Crown done.", "helper"), Sentence("11 minutes left.")]


class Counted(Synthesiser):
    """The real one, and what it was asked for."""

    asked: list[str]

    def __init__(self, asked: list[str]) -> None:
        super().__init__()
        self.asked = asked

    def make(self, text: str, voicing: Voicing) -> Samples:
        self.asked.append(f"{text} {voicing.voice}")
        if text.startswith("Unsayable"):
            raise VoiceError(f"no voice for '{text}'")
        return super().make(text, voicing)


def prompts_in(folder: Path, asked: list[str], **more: object) -> Prompts:
    return Prompts(folder, make=lambda: Counted(asked), **more)  # type: ignore[arg-type]


def test_made_once_and_the_same_when_read_back(tmp_path: Path) -> None:
    asked: list[str] = []
    first = prompts_in(tmp_path, asked)
    voice: Voice = first
    voice.prepare([*SENTENCES, SENTENCES[0]])
    assert len(asked) == len(SENTENCES)
    second = prompts_in(tmp_path, asked)
    second.prepare(SENTENCES)
    assert len(asked) == len(SENTENCES)
    for sentence in SENTENCES:
        np.testing.assert_array_equal(first.clip(sentence), second.clip(sentence))
    assert not np.array_equal(first.clip(SENTENCES[0]), first.clip(SENTENCES[1]))


def test_progress_is_told(tmp_path: Path) -> None:
    told: list[tuple[int, int]] = []
    made = prompts_in(tmp_path, [], tell=lambda done, of: told.append((done, of)))
    made.prepare(SENTENCES)
    assert told == [(0, 3), (1, 3), (2, 3), (3, 3)]
    made.prepare(SENTENCES)
    assert len(told) == 4


@pytest.mark.parametrize("change", ["text", "voice", "rate", "engine"])
def test_kept_by_text_voice_rate_and_engine(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, change: str
) -> None:
    asked: list[str] = []
    prompts_in(tmp_path, asked).prepare([Sentence("Good.")])
    voices = dict(VOICES)
    if change == "voice":
        voices["person"] = dataclasses.replace(VOICES["person"], voice="en-us")
    if change == "rate":
        voices["person"] = dataclasses.replace(VOICES["person"], rate=150)
    if change == "engine":
        monkeypatch.setattr(prompts, "engine_version", lambda: "another")
    text = "Good day." if change == "text" else "Good."
    prompts_in(tmp_path, asked, voices=voices).prepare([Sentence(text)])
    assert len(asked) == 2


@pytest.mark.parametrize("damage", [b"", b"RIFF", b"no sound at all" * 100])
def test_a_damaged_file_is_made_again(tmp_path: Path, damage: bytes) -> None:
    asked: list[str] = []
    first = prompts_in(tmp_path, asked)
    first.prepare([Sentence("Good.")])
    (kept,) = tmp_path.iterdir()
    kept.write_bytes(damage)
    second = prompts_in(tmp_path, asked)
    second.prepare([Sentence("Good.")])
    assert len(asked) == 2
    np.testing.assert_array_equal(first.clip(Sentence("Good.")), second.clip(Sentence("Good.")))


def test_files_are_their_owners_alone(tmp_path: Path) -> None:
    folder = tmp_path / "cache" / "prompts"
    prompts_in(folder, []).prepare(SENTENCES)
    assert folder.stat().st_mode & 0o777 == 0o700
    assert [path.stat().st_mode & 0o777 for path in folder.iterdir()] == [0o600] * 3
    assert {path.suffix for path in folder.iterdir()} == {".wav"}


def test_clip_never_makes_anything(tmp_path: Path) -> None:
    asked: list[str] = []
    made = prompts_in(tmp_path, asked)
    with pytest.raises(VoiceError, match=r"'Good\.' was not prepared for the voice 'person'"):
        made.clip(Sentence("Good."))
    assert asked == []


def test_one_failure_is_told_and_what_was_made_stays(tmp_path: Path) -> None:
    made = prompts_in(tmp_path, [])
    with pytest.raises(VoiceError, match="Unsayable"):
        made.prepare([Sentence("Good."), Sentence("Unsayable")])
    assert len(made.clip(Sentence("Good."))) > 0


def test_an_unknown_voice_is_told_before_anything_is_made(tmp_path: Path) -> None:
    asked: list[str] = []
    with pytest.raises(VoiceError, match="no voice 'aunt'; there are person, helper"):
        prompts_in(tmp_path, asked).prepare([Sentence("Good."), Sentence("Good.", "aunt")])
    assert asked == []


def test_a_folder_that_cannot_be_is_an_os_error(tmp_path: Path) -> None:
    (tmp_path / "file").write_text("")
    with pytest.raises(OSError, match="file"):
        prompts_in(tmp_path / "file" / "prompts", []).prepare([Sentence("Good.")])


def test_the_usual_folder(monkeypatch: pytest.MonkeyPatch, tmp_path: Path) -> None:
    monkeypatch.setattr(prompts.platformdirs, "user_cache_path", lambda name, appauthor: tmp_path / name)
    made = Prompts()
    made.prepare([Sentence("Good.")])
    assert len(list((tmp_path / "combside" / "prompts").iterdir())) == 1
