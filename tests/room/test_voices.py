"""Where people's sounds come from: shipped clips, a user's folder, a synthesiser, or an error."""

from __future__ import annotations

import numpy as np
import pytest
import soundfile

from assistant.ports import RATE
from assistant.room.acoustics import read_sound
from assistant.room.clips import slug
from assistant.room.home import VoiceSource
from assistant.room.voices import MissingSound, Speaker, synthesise
from tests.room.stage import speechlike


@pytest.fixture
def fixtures(tmp_path):
    folder = tmp_path / "clips" / "flite_slt"
    folder.mkdir(parents=True)
    soundfile.write(folder / "a.flac", speechlike(1, 1.0), RATE)
    index = "file,voice,text,name,slot,seconds\nflite_slt/a.flac,flite_slt,next step,next_step,,1.0\n"
    (tmp_path / "clips" / "index.csv").write_text(index)
    return tmp_path


@pytest.mark.parametrize(
    ("text", "name"),
    [
        ("Done with back left", "done_with_back_left"),
        ("i can't breathe", "i_cant_breathe"),
        ("the timer says twenty two minutes", "the_timer_says_twenty_two_minutes"),
        (" Yes, please. ", "yes_please"),
    ],
)
def test_file_names_of_texts(text, name):
    assert slug(text) == name


def test_a_clip_is_found_by_its_text(fixtures):
    speaker = Speaker(VoiceSource(clips="flite_slt"), fixtures=fixtures, beside=fixtures)
    sound = speaker.sound("Next step.")
    assert len(sound) / RATE == pytest.approx(1.0, abs=0.1)
    assert sound is speaker.sound("Next step.")


def test_an_unknown_voice_names_those_there_are(fixtures):
    with pytest.raises(ValueError, match="no clips of 'slt'; there are flite_slt"):
        Speaker(VoiceSource(clips="slt"), fixtures=fixtures, beside=fixtures)


def test_without_clips_the_index_is_named(tmp_path):
    with pytest.raises(ValueError, match=r"index\.csv is no list of clips"):
        Speaker(VoiceSource(clips="slt"), fixtures=tmp_path, beside=tmp_path)


def test_a_folder_beside_the_home_file_at_any_rate(tmp_path):
    (tmp_path / "me").mkdir()
    stereo = np.repeat(speechlike(2, 1.0)[:, None], 2, axis=1)
    soundfile.write(tmp_path / "me" / "Next_Step.WAV", stereo, 22_050)
    speaker = Speaker(VoiceSource(folder="me"), fixtures=tmp_path, beside=tmp_path)
    assert len(speaker.sound("next step")) / RATE == pytest.approx(RATE / 22_050, abs=0.1)


@pytest.mark.parametrize("folder", ["nothing", "."])
def test_a_folder_without_sounds_is_refused(tmp_path, folder):
    with pytest.raises(ValueError, match=r"is no folder|holds no WAV or FLAC file"):
        Speaker(VoiceSource(folder=folder), fixtures=tmp_path, beside=tmp_path)


def test_a_silent_clip_is_refused(tmp_path):
    soundfile.write(tmp_path / "next_step.wav", np.zeros(RATE), RATE)
    speaker = Speaker(VoiceSource(folder="."), fixtures=tmp_path, beside=tmp_path)
    with pytest.raises(MissingSound, match="'next step' is silent"):
        speaker.sound("next step")


def test_a_file_that_is_no_sound_is_named(tmp_path):
    (tmp_path / "broken.wav").write_bytes(b"RIFFnothing")
    with pytest.raises(ValueError, match=r"broken\.wav can not be read as sound"):
        read_sound(tmp_path / "broken.wav")


def test_a_synthesiser_speaks_and_is_kept_on_disk(tmp_path, monkeypatch):
    first = Speaker(VoiceSource(espeak="en-us"), fixtures=tmp_path, beside=tmp_path, cache=tmp_path / "cache")
    sound = first.sound("done with back left")
    assert 0.7 < len(sound) / RATE < 2.5
    made = len(list((tmp_path / "cache").glob("*.wav")))
    assert made == 2

    def refuse(*words):
        raise AssertionError("not from the disk")

    monkeypatch.setattr("assistant.room.voices.synthesise", refuse)
    again = Speaker(VoiceSource(espeak="en-us"), fixtures=tmp_path, beside=tmp_path, cache=tmp_path / "cache")
    assert np.array_equal(again.sound("done with back left"), sound)


def test_a_synthesiser_that_is_not_there_is_told_before_the_rehearsal(tmp_path, monkeypatch):
    monkeypatch.setenv("PATH", str(tmp_path))
    with pytest.raises(MissingSound, match="flite is not installed, so the voice 'slt' can not speak"):
        Speaker(VoiceSource(flite="slt"), fixtures=tmp_path, beside=tmp_path)


def test_a_voice_the_synthesiser_lacks_is_told():
    with pytest.raises(MissingSound, match="espeak-ng can not speak 'hello' as 'nobody'"):
        synthesise("espeak", "nobody", "hello")


def test_flite_never_speaks_with_another_voice_than_asked(monkeypatch):
    """flite itself takes its default voice for an unknown one and says nothing of it."""
    monkeypatch.setattr("assistant.room.voices.installed", lambda synthesiser: True)
    monkeypatch.setattr("assistant.room.voices._flite_voices", lambda: ("rms", "slt"))
    with pytest.raises(MissingSound, match="flite has no voice 'nobody'; it has rms, slt"):
        synthesise("flite", "nobody", "hello")
