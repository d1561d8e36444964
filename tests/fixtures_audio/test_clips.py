"""The clips are complete, small, and what their script makes."""

from __future__ import annotations

import csv
import importlib.util
from pathlib import Path
from types import ModuleType

import numpy as np
import pytest
import soundfile

from assistant.files.places import audio_fixtures_folder
from assistant.room.clips import plain, slug

FIXTURES = audio_fixtures_folder()
MOST_BYTES = 28_000_000


@pytest.fixture(scope="module")
def script() -> ModuleType:
    """The script that made the clips."""
    spec = importlib.util.spec_from_file_location("make_clips", FIXTURES / "make.py")
    assert spec is not None
    assert spec.loader is not None
    module = importlib.util.module_from_spec(spec)
    spec.loader.exec_module(module)
    return module


def rows(folder: str) -> list[dict[str, str]]:
    with (FIXTURES / folder / "index.csv").open(encoding="utf-8", newline="") as lines:
        return list(csv.DictReader(lines))


def test_every_phrase_has_a_clip_in_every_voice(script: ModuleType) -> None:
    """Nobody in a rehearsal lacks a phrase of the book."""
    wanted = {plain(text) for text, _, _ in script.phrases()}
    for voice in {row["voice"] for row in rows("clips")}:
        assert {plain(row["text"]) for row in rows("clips") if row["voice"] == voice} == wanted


@pytest.mark.parametrize("folder", ["clips", "talk"])
def test_index_and_files_agree(folder: str) -> None:
    """Each line has its file, each file its line, named by its text, mono and 16 kHz."""
    listed = {row["file"] for row in rows(folder)}
    there = {path.relative_to(FIXTURES / folder).as_posix() for path in (FIXTURES / folder).rglob("*.flac")}
    assert listed == there
    for row in rows(folder):
        assert Path(row["file"]).stem == slug(row["text"])
        about = soundfile.info(str(FIXTURES / folder / row["file"]))
        assert (about.samplerate, about.channels, about.subtype) == (16_000, 1, "PCM_16")
        assert about.duration == pytest.approx(float(row["seconds"]), abs=0.006)


def test_no_talk_is_a_phrase(script: ModuleType) -> None:
    """Everyday talk never says a whole phrase of the book, so that obeying it is a mistake."""
    phrases = {plain(text) for text, _, _ in script.phrases()}
    assert not phrases & {plain(text) for text in script.TALK}


def test_all_of_it_stays_small() -> None:
    assert sum(path.stat().st_size for path in FIXTURES.rglob("*") if path.is_file()) < MOST_BYTES


@pytest.mark.parametrize("voice", ["flite_slt", "flite_rms", "flite_awb", "festival_cmu_us_slt_arctic_hts"])
def test_the_script_makes_the_same_samples_again(script: ModuleType, voice: str, tmp_path: Path) -> None:
    """A few clips of each voice, made anew, are those that ship, sample by sample (to 8 of 32768 steps)."""
    texts = ["done with back left", "the timer says thirteen minutes", "it burns"]
    synthesiser, _, name = voice.partition("_")
    made = {"flite": script.by_flite, "festival": script.by_festival}[synthesiser](name, texts, tmp_path)
    for text, path in made:
        again = tmp_path / "again.flac"
        soundfile.write(again, script.trimmed(path), script.RATE, subtype="PCM_16")
        shipped = soundfile.read(FIXTURES / "clips" / voice / f"{slug(text)}.flac", dtype="int16")[0]
        # The same tools give the same samples; another processor may round a step otherwise.
        np.testing.assert_allclose(soundfile.read(again, dtype="int16")[0], shipped, rtol=0, atol=8)
