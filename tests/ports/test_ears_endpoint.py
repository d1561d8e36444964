"""Where utterances begin and end: speech, steady noise, a tap turned on, talk that does not stop."""

from __future__ import annotations

from itertools import pairwise

import numpy as np
import pytest

from assistant.ears.bands import BANDS, FRAME, band_levels
from assistant.ears.endpoint import LONGEST_FRAMES, OVERLAP_FRAMES, Endpoint, Utterance
from assistant.ports import RATE, Samples
from assistant.room import acoustics
from tests.ports import ears_sound as sound


def handed_out(stream: Samples) -> list[Utterance]:
    """Also what may not be over yet."""
    frames = stream[: len(stream) // FRAME * FRAME].reshape(-1, FRAME)
    return list(Endpoint().feed(frames, band_levels(frames)))


def cut(stream: Samples) -> list[Utterance]:
    return [u for u in handed_out(stream) if u.over]


def said(*parts: Samples, gap_s: float = 1.5) -> Samples:
    """The parts with silence before, between and behind."""
    row = [sound.silence(gap_s)]
    for part in parts:
        row += [part, sound.silence(gap_s)]
    return np.concatenate(row)


@pytest.mark.parametrize("under_db", [None, 20, 10])
def test_every_phrase_is_one_utterance(under_db: int | None) -> None:
    phrases = [
        sound.clip(voice, text)
        for voice in sound.VOICES
        for text in ("next", "stop now", "it burns", "done with back left", "my skin burns", "say it again")
    ]
    stream = sound.hiss(said(*phrases))
    if under_db is not None:
        stream = stream + sound.tap(len(stream), sound.PERSON_DB - under_db)
    found = cut(stream)
    assert len(found) == len(phrases)
    at = int(1.5 * RATE)
    for utterance, phrase in zip(found, phrases, strict=True):
        begin, end = acoustics.speech_edges(phrase)
        assert utterance.speech.begin / RATE == pytest.approx((at + begin) / RATE, abs=0.3)
        assert utterance.speech.end / RATE == pytest.approx((at + end) / RATE, abs=0.35)
        before = utterance.speech.begin - utterance.begin
        behind = utterance.begin + len(utterance.sound) - utterance.speech.end
        assert 0.25 <= before / RATE <= 0.55
        assert 0.45 <= behind / RATE <= 0.6
        assert np.array_equal(utterance.sound, stream[utterance.begin :][: len(utterance.sound)])
        at += len(phrase) + int(1.5 * RATE)


@pytest.mark.parametrize("level_db", [-70, -45, -25])
def test_steady_noise_is_no_utterance(level_db: float) -> None:
    rng = np.random.default_rng(2)
    white = (rng.standard_normal(30 * RATE) * acoustics.gain(level_db)).astype(np.float32)
    assert cut(white) == []
    assert len(cut(sound.tap(30 * RATE, level_db))) <= 2  # it flutters


def test_tap_turned_on_is_noise_within_three_seconds() -> None:
    quiet = sound.hiss(sound.silence(5))
    stream = np.concatenate([quiet, sound.tap(20 * RATE, -35), quiet])
    first, *later = cut(stream)
    assert first.speech.begin >= 5 * RATE
    assert first.speech.end < 8 * RATE
    assert sum(u.speech.end - u.speech.begin for u in later) < 0.5 * RATE  # of 17 s of a fluttering tap


def test_speech_right_after_a_loud_tap_is_heard() -> None:
    stream = np.concatenate(
        [sound.tap(5 * RATE, -30), sound.hiss(said(sound.clip("flite_slt", "stop now"), gap_s=0.7))]
    )
    assert any(u.speech.begin > 5 * RATE for u in cut(stream))


def test_knock_is_no_utterance() -> None:
    knock = np.zeros(RATE, np.float32)
    knock[:480] = np.exp(-np.arange(480) / 80) * np.sin(np.arange(480) * 0.3)
    assert cut(sound.hiss(said(knock, knock, gap_s=1.0))) == []


def over_talk(*phrases: Samples, under_db: float) -> tuple[Samples, list[tuple[int, int]]]:
    """The phrases with 1.5 s between while six talk without a pause; and where each begins and ends."""
    said_alone = np.concatenate(
        [sound.silence(5), *(p for one in phrases for p in (one, sound.silence(1.5)))]
    )
    stream = sound.hiss(said_alone)
    for n in range(6):
        begin, end = acoustics.speech_edges(sound.talk(n))
        loud = acoustics.at_level(np.resize(sound.talk(n)[begin:end], len(stream)), sound.PERSON_DB)
        stream = stream + loud * np.float32(acoustics.gain(-under_db) / np.sqrt(6))
    at, places = 5 * RATE, []
    for one in phrases:
        begin, end = acoustics.speech_edges(one)
        places.append((at + begin, at + end))
        at += len(one) + int(1.5 * RATE)
    return stream, places


@pytest.mark.parametrize("under_db", [20, 10])
def test_phrase_over_the_talk_of_others_is_an_utterance(under_db: float) -> None:
    """With the floor alone it is none: their talk is speech and no silence ends it."""
    texts = ("stop right now", "my skin burns", "done with back left", "say it again")
    phrases = [sound.clip(voice, text) for voice in sound.VOICES for text in texts]
    stream, places = over_talk(*phrases, under_db=under_db)
    found = [u for u in cut(stream) if u.over_talk]
    whole = [
        any(
            abs(u.speech.begin - begin) <= 0.3 * RATE and abs(u.speech.end - end) <= 0.35 * RATE
            for u in found
        )
        for begin, end in places
    ]
    assert sum(whole) >= 0.8 * len(places)
    assert all(len(u.near()) <= u.speech.end - u.speech.begin + 0.4 * RATE for u in found)


def test_phrase_rises_above_the_talk_of_others_and_a_talker_does_not() -> None:
    """Six people 10 dB below: most phrases do. One who talks on at one level, even with a phrase in it: never."""
    phrases = [sound.clip(v, t) for v in sound.VOICES for t in ("stop right now", "my skin burns")]
    stream, places = over_talk(*phrases, under_db=10)
    among = [u.among_talk for u in cut(stream) for b, e in places if u.speech.begin < e and u.speech.end > b]
    assert len(among) >= len(phrases) - 1
    assert sum(among) <= len(among) // 3
    talker = [sound.talk(n) for n in range(6)]
    alone = cut(sound.hiss(np.concatenate([*talker, sound.clip("flite_slt", "stop now"), *talker])))
    assert [u for u in alone if u.over_talk]
    assert all(u.among_talk for u in alone if u.over_talk)


def test_in_quiet_and_beside_a_tap_nobody_talks_all_the_time() -> None:
    phrases = [sound.clip(voice, text) for voice in sound.VOICES for text in ("next", "done with back left")]
    stream = sound.hiss(said(*phrases, gap_s=0.7))
    for noise in (np.zeros_like(stream), sound.tap(len(stream), sound.PERSON_DB - 10)):
        found = handed_out(stream + noise)
        assert len(found) >= len(phrases)
        assert not any(u.over_talk for u in found)
        assert all(u.near() is u.sound for u in found)


def test_talk_that_stopped_hides_nothing() -> None:
    """0.4 s after six people fell silent, a softer voice is heard as in quiet."""
    talk, _ = over_talk(under_db=0)
    soft = sound.clip("flite_slt", "stop now") * np.float32(acoustics.gain(-10))
    begin, end = acoustics.speech_edges(soft)
    at = len(talk) + int(0.6 * RATE)
    stream = np.concatenate(
        [talk, sound.hiss(np.concatenate([sound.silence(0.6), soft[begin:], sound.silence(1)]))]
    )
    *_, last = cut(stream)
    assert last.speech.begin == pytest.approx(at, abs=0.15 * RATE)
    assert last.speech.end == pytest.approx(at + end - begin, abs=0.3 * RATE)
    assert not last.over_talk


def test_long_talk_is_cut_with_overlap_and_nothing_is_lost() -> None:
    talk = np.concatenate([sound.talk(n) for n in range(5)])  # clips without silence around them
    begin, end = acoustics.speech_edges(talk)
    stream = sound.hiss(said(talk[begin:end]))
    found = cut(stream)
    assert max(len(u.sound) for u in found) <= (LONGEST_FRAMES + 1) * FRAME
    for one, following in pairwise(found):
        if one.cut:
            assert one.begin + len(one.sound) - following.begin == OVERLAP_FRAMES * FRAME
            assert following.number == one.number
    covered = np.zeros(len(stream), bool)
    for u in found:
        covered[u.begin : u.begin + len(u.sound)] = True
    assert covered[int(1.5 * RATE) :][: end - begin].mean() > 0.97
    assert any(u.cut for u in found)


def test_pauses_part_an_utterance_into_clauses() -> None:
    pause = sound.silence(0.2)
    stream = sound.hiss(said(np.concatenate([sound.talk(1), pause, sound.clip("flite_rms", "stop now")])))
    (found,) = cut(stream)
    assert len(found.clauses) >= 2
    last = found.part(found.clauses[-1], 0.0)
    assert 0.3 <= len(last) / RATE <= 1.0
    assert found.speech.begin == found.clauses[0].begin


def test_two_utterances_close_together_can_be_joined() -> None:
    stream = sound.hiss(
        said(np.concatenate([sound.clip("flite_slt", "next"), sound.silence(0.5), sound.talk(2)]))
    )
    first, second = cut(stream)[:2]
    joined = second.after(first)
    assert joined is not None
    assert np.array_equal(joined.sound, stream[first.begin : second.begin + len(second.sound)])
    far = cut(sound.hiss(said(sound.clip("flite_slt", "next"), sound.clip("flite_slt", "next"))))
    assert far[1].after(far[0]) is None


def test_what_our_own_voice_may_leave_is_not_speech() -> None:
    stream = sound.hiss(said(sound.clip("flite_slt", "stop now")))
    frames = stream[: len(stream) // FRAME * FRAME].reshape(-1, FRAME)
    levels = band_levels(frames)
    explained = Endpoint().feed(frames, levels, levels, playing=True)
    assert list(explained) == []
    found = [u for u in Endpoint().feed(frames, levels, levels - 20, playing=True) if u.over]
    assert [u.over_prompt for u in found] == [True]


def test_utterance_is_looked_at_before_it_is_over() -> None:
    """After 120 and 300 ms of silence, with all that was said so far; it ends after 500."""
    found = handed_out(sound.hiss(said(sound.clip("flite_slt", "stop now"))))
    assert [(u.silence_s, u.over) for u in found[-3:]] == [(0.12, False), (0.3, False), (0.5, True)]
    assert len({(u.number, u.speech) for u in found[-3:]}) == 1


def test_settled_utterance_is_handed_out_again_only_when_more_is_said() -> None:
    one, other = sound.clip("flite_slt", "stop now"), sound.clip("flite_rms", "it burns")
    (_, stop), (start, _) = acoustics.speech_edges(one), acoustics.speech_edges(other)

    def after_settling(gap_s: float) -> list[Utterance]:
        breath = np.concatenate([one[:stop], sound.silence(gap_s), other[start:]])
        stream = sound.hiss(said(breath))
        frames = stream[: len(stream) // FRAME * FRAME].reshape(-1, FRAME)
        endpoint, found = Endpoint(), []
        for utterance in endpoint.feed(frames, band_levels(frames)):
            found.append(utterance)
            if len(found) == 1:
                endpoint.settle()
        return [u for u in found[1:] if u.over]

    (same,) = after_settling(0.2)
    assert same.number == 1
    assert 0 < same.settled < same.speech.end
    (later,) = same.later()
    assert same.settled <= later.begin < later.end == same.speech.end
    (new,) = after_settling(0.6)
    assert (new.number, new.settled) == (2, 0)


def test_levels_of_a_tone_lie_in_its_band() -> None:
    """A sine of amplitude 0.1 has -23 dB; 1200 Hz lies in the fourth band, its window spread over three."""
    tone = (0.1 * np.sin(2 * np.pi * 1200 * np.arange(FRAME) / RATE)).astype(np.float32)
    levels = band_levels(tone[None])[0]
    assert levels.shape == (BANDS,)
    assert levels[3] == pytest.approx(-23, abs=0.5)
    assert max(np.delete(levels, 3)) < -50
