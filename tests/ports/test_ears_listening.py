"""The ears as the loop knows them: sound in, hypotheses out, our own voice taken out."""

from __future__ import annotations

from collections.abc import Sequence
from itertools import cycle
from pathlib import Path

import numpy as np
import pytest

from assistant.alarm import tone
from assistant.core.hearing import Hypothesis, Risk, Verdict, decide
from assistant.ears import echo
from assistant.ears.bands import BANDS, FRAME
from assistant.ears.choose import open_ears
from assistant.ears.listening import Listening
from assistant.ports import RATE, Samples
from assistant.room import acoustics
from assistant.room.home import Walls
from tests.ports import ears_sound as sound


@pytest.fixture
def ears() -> Listening:
    made = Listening(sound.engine())
    made.allow(sound.covering())
    return made


def listen(
    ears: Listening,
    heard: Samples,
    played: Samples | None = None,
    blocks: Sequence[int] = (1600,),
    t0: float = 0.0,
) -> list[Hypothesis]:
    """Feed in blocks of these sizes by turns, the first sample at `t0`."""
    found: list[Hypothesis] = []
    ours = np.zeros_like(heard) if played is None else played
    at = 0
    for size in cycle(blocks):
        if at >= len(heard):
            return found
        block = heard[at : at + size]
        found += ears.feed(block, ours[at : at + size], t0 + (at + len(block)) / RATE)
        at += size
    return found


def stream(*parts: Samples, gap_s: float = 1.2) -> Samples:
    row = [sound.silence(gap_s)]
    for part in parts:
        row += [part, sound.silence(gap_s)]
    return sound.hiss(np.concatenate(row))


def test_hypothesis_says_what_when_and_how_loud(ears: Listening) -> None:
    spoken = sound.clip("flite_slt", "done with back left")
    begin, end = acoustics.speech_edges(spoken)
    (found,) = listen(ears, stream(spoken), t0=100.0)
    assert found.best == sound.phrase("done with back left", sound.covering())
    assert found.t_begin == pytest.approx(101.2 + begin / RATE, abs=0.2)
    assert found.t_end == pytest.approx(101.2 + end / RATE, abs=0.25)
    assert found.level_db == pytest.approx(sound.PERSON_DB, abs=4)
    assert not found.over_prompt
    assert decide(found) is Verdict.BELIEVE


@pytest.mark.parametrize("blocks", [(320,), (333, 7, 1024), (16_000,), (10_000_000,)])
def test_blocks_of_any_length_give_the_same(ears: Listening, blocks: tuple[int, ...]) -> None:
    heard = stream(sound.clip("flite_rms", "next step"), sound.talk(4), sound.clip("flite_awb", "it burns"))
    first = listen(fresh(), heard)
    again = listen(ears, heard, blocks=blocks)
    assert [f.best for f in again] == [f.best for f in first]
    for one, other in zip(first, again, strict=True):
        assert (one.score, one.free_gap) == (other.score, other.free_gap)
        assert (one.t_begin, one.t_end) == pytest.approx((other.t_begin, other.t_end), abs=1e-6)


def fresh() -> Listening:
    """Fresh ears with the same engine and phrases."""
    made = Listening(sound.engine())
    made.allow(sound.covering())
    return made


def test_unequal_lengths_are_refused(ears: Listening) -> None:
    with pytest.raises(ValueError, match="320 samples heard, 160 played"):
        ears.feed(sound.silence(0.02), sound.silence(0.01), 0.02)


@pytest.mark.parametrize("voice", sound.VOICES)
def test_short_phrases_are_obeyed_in_quiet(ears: Listening, voice: str) -> None:
    texts = ("next", "rinse now", "it burns", "stop now", "done with crown", "say it again")
    found = listen(ears, stream(*(sound.clip(voice, t) for t in texts)))
    wanted = [sound.phrase(t, sound.covering()) for t in texts]
    assert [decide(f) for f in found] == [Verdict.BELIEVE] * len(texts)
    assert [(f.best.name, f.best.slot) for f in found if f.best] == [(w.name, w.slot) for w in wanted]


def test_phrases_are_mostly_obeyed_beside_a_tap() -> None:
    ears = Listening(sound.engine(second=True))
    ears.allow(sound.covering())
    texts = ("next step", "my skin burns", "stop right now", "done with the crown", "say it again")
    said = [(v, t) for v in sound.VOICES for t in texts]
    heard = stream(*(sound.clip(v, t) for v, t in said))
    found = listen(ears, heard + sound.tap(len(heard), sound.PERSON_DB - 10))
    obeyed = [f.best.name for f in found if f.best and decide(f) is Verdict.BELIEVE]
    wanted = {sound.phrase(t, sound.covering()).name for t in texts}
    assert len(obeyed) >= 0.7 * len(said)
    assert set(obeyed) <= wanted


def test_stop_is_heard_while_six_people_talk(ears: Listening) -> None:
    """They talk without a pause, 10 dB below; with the floor alone no utterance ended and none was heard."""
    texts = ("stop right now", "my skin burns", "rinse it out now", "stop now")
    said = [sound.clip("flite_slt", t) for t in texts] + [sound.clip("flite_rms", t) for t in texts]
    heard = np.concatenate([sound.silence(4), stream(*said, gap_s=1.5)])
    for n in range(6):
        begin, end = acoustics.speech_edges(sound.talk(n))
        one = acoustics.at_level(np.resize(sound.talk(n)[begin:end], len(heard)), sound.PERSON_DB)
        heard = heard + one * np.float32(acoustics.gain(-10) / np.sqrt(6))
    believed = [f.best for f in listen(ears, heard) if f.best and decide(f) is Verdict.BELIEVE]
    assert sum(b.risk is Risk.STOP for b in believed) >= 0.6 * len(said)
    assert all(b.risk is Risk.STOP for b in believed)


def in_one_breath(one: Samples, other: Samples) -> Samples:
    """Two clips with 0.2 s between the end of one's speech and the begin of the other's."""
    (begin, end), (start, stop) = acoustics.speech_edges(one), acoustics.speech_edges(other)
    return np.concatenate([one[begin:end], sound.silence(0.2), other[start:stop]])


def test_stop_at_the_end_of_talk_is_heard(ears: Listening) -> None:
    """A shout after a short pause, in one breath with other words."""
    shout = in_one_breath(sound.talk(6), sound.clip("flite_slt", "stop right now"))
    believed = [f.best.name for f in listen(ears, stream(shout)) if f.best and decide(f) is Verdict.BELIEVE]
    assert believed == ["stop_now"]


def test_stop_right_after_a_phrase_that_was_decided_is_heard(ears: Listening) -> None:
    """ "Done with back left ... stop right now", 0.2 s between them: the first is decided before the second begins."""
    breath = in_one_breath(
        sound.clip("flite_rms", "done with back left"), sound.clip("flite_slt", "stop right now")
    )
    believed = [f for f in listen(ears, stream(breath)) if f.best and decide(f) is Verdict.BELIEVE]
    assert [f.best.name for f in believed if f.best] == ["done_with", "stop_now"]


def test_step_at_the_end_of_talk_is_not_obeyed(ears: Listening) -> None:
    """ "We are not ... done with crown" must not advance."""
    found = listen(ears, stream(in_one_breath(sound.talk(6), sound.clip("flite_slt", "done with crown"))))
    assert found
    assert all(decide(f) is not Verdict.BELIEVE for f in found)


def test_phrase_that_noise_parts_in_two_is_put_together(ears: Listening) -> None:
    spoken = sound.clip("flite_slt", "done with the crown")
    middle = len(spoken) // 2
    parted = np.concatenate([spoken[:middle], sound.silence(0.05), spoken[middle:]])
    (found,) = listen(ears, stream(parted))
    assert found.best is not None
    assert found.best.slot == "crown"


def echo_of(played: Samples, db: float) -> Samples:
    """`played` at the microphone after the room, `db` against what was played."""
    impulse = acoustics.response(Walls(rt60_s=0.35), 0.6, 0.4)
    level = acoustics.gain(db - acoustics.gain_db(impulse))
    arrived: Samples = (acoustics.through(played, impulse)[: len(played)] * level).astype(np.float32)
    return arrived


def prompts() -> Samples:
    """Our own voice for half a minute: clips at the level of a prompt, live phrases among them."""
    texts = (
        "say it again",
        "done with back left",
        "next step",
        "carry on now",
        "how long",
        "done with crown",
    )
    row = [np.concatenate([sound.clip("flite_awb", t), sound.silence(0.4)]) for t in texts]
    row += [np.concatenate([sound.talk(n), sound.silence(0.8)]) for n in range(4)]
    louder = np.float32(acoustics.gain(6.0))
    ours: Samples = np.concatenate([sound.silence(1.0), *row, sound.silence(1.0)]) * louder
    return ours


@pytest.mark.parametrize("db", [-6, -12, -20])
def test_our_own_voice_triggers_nothing(ears: Listening, db: float) -> None:
    played = prompts()
    found = listen(ears, sound.hiss(echo_of(played, db)), played)
    assert [f.best for f in found if decide(f) in (Verdict.BELIEVE, Verdict.ASK, Verdict.SOMEBODY)] == []


@pytest.mark.parametrize("db", [-12, -20])
def test_stop_over_a_prompt_is_heard(ears: Listening, db: float) -> None:
    """After the canceller has heard us once: stop phrases spoken into our talk."""
    ours = prompts()
    over = np.concatenate([ours, ours])
    heard = echo_of(over, db)
    said = [(v, t) for v in sound.VOICES for t in ("stop now", "it burns")]
    for number, (voice, text) in enumerate(said):
        spoken = sound.clip(voice, text)
        at = len(ours) + (number + 1) * (len(ours) - 2 * RATE) // (len(said) + 1)
        heard[at : at + len(spoken)] += spoken
    found = listen(ears, sound.hiss(heard), over)
    believed = [f for f in found if decide(f) is Verdict.BELIEVE]
    assert all(f.best is not None and f.best.risk is Risk.STOP for f in believed)
    assert sum(f.over_prompt for f in believed) >= 3


def test_stop_over_the_alarm_is_heard(ears: Listening) -> None:
    """Also after 20 s of alarm, which has no sound in some bands: nothing of ours is learnt there, and nothing lost."""
    burst = np.concatenate([tone.alarm(), sound.silence(0.4)])
    ours = np.concatenate([prompts(), *[burst] * 14])
    heard = echo_of(ours, 0)
    at = len(prompts()) + 9 * len(burst)
    for number, text in enumerate(("stop right now", "in my eye", "it is burning")):
        spoken = sound.clip(sound.VOICES[number], text)
        begin = at + number * len(burst)
        heard[begin : begin + len(spoken)] += spoken
    found = listen(ears, sound.hiss(heard), ours)
    believed = [f.best.name for f in found if f.best is not None and decide(f) is Verdict.BELIEVE]
    assert believed == ["stop_now", "in_my_eye", "it_burns"]


def test_without_the_canceller_our_voice_still_triggers_nothing(
    ears: Listening, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Where there is no pyaec: less of a person is heard over us, but we do not hear ourselves."""
    monkeypatch.setattr(echo, "_pyaec", lambda: None)
    played = prompts()
    found = listen(fresh(), sound.hiss(echo_of(played, -12)), played)
    assert all(decide(f) not in (Verdict.BELIEVE, Verdict.ASK) for f in found)


@pytest.mark.parametrize("tap", [False, True])
def test_our_own_voice_that_nothing_took_out_is_told_by_its_sound(
    monkeypatch: pytest.MonkeyPatch, tap: bool
) -> None:
    """After a microphone has failed the filter fits no longer: our own "rinse it out" came as loud as a person. Here
    the filter and what it learnt are gone; only the sound tells, and a person is heard all the same."""
    monkeypatch.setattr(echo, "_pyaec", lambda: None)
    monkeypatch.setattr(echo.Leak, "most", lambda self, played: np.full(BANDS, -90, np.float32))
    texts = ("rinse it out now", "it is burning", "stop right now", "my skin burns")
    ours = np.concatenate([np.concatenate([sound.silence(1.2), sound.clip("flite_awb", t)]) for t in texts])
    ours = np.concatenate([ours, sound.silence(1.0)])
    heard = echo_of(ours, 0)
    noise = sound.tap(len(ours), sound.PERSON_DB - 10) if tap else np.zeros_like(ours)
    found = listen(fresh(), sound.hiss(heard + noise), ours)
    assert [f.best.text for f in found if f.best is not None and decide(f) is Verdict.BELIEVE] == []
    person = sound.clip("flite_slt", "stop right now")
    over = np.zeros_like(ours)
    over[RATE : RATE + len(person)] = person
    found = listen(fresh(), sound.hiss(echo_of(ours, -20) + over + noise), ours)
    assert [f.best.name for f in found[:1] if f.best is not None and decide(f) is Verdict.BELIEVE] == [
        "stop_now"
    ]


def test_likeness_is_that_of_the_definition() -> None:
    """Against numpy's own correlation, and 1 for a sound that is only later and softer."""
    rng = np.random.default_rng(4)
    played = rng.standard_normal(3000).astype(np.float32)
    assert echo.likeness(0.1 * played[700:2700], played).argmax() == 700
    assert echo.likeness(0.1 * played[700:2700], played).max() == pytest.approx(1.0, abs=1e-3)
    other = rng.standard_normal(2000).astype(np.float32)
    x, y = (np.asarray(s[1:] - echo.WHITER * s[:-1], np.float64) for s in (other, played))
    along = np.abs(np.correlate(y, x, "valid"))
    under = np.array([np.sum(y[k : k + len(x)] ** 2) for k in range(len(along))])
    assert echo.likeness(other, played) == pytest.approx(along / np.sqrt(under * np.sum(x**2)), rel=1e-4)
    assert not echo.likeness(other, np.zeros(3000, np.float32)).any()


def test_word_taken_for_our_own_does_not_hide_the_next_ones() -> None:
    """0.6 s of a person 25 dB over what is left of us raises what counts as ours by 1 dB, no more."""
    leak, quiet = echo.Leak(), np.full(BANDS, -80, np.float32)
    ours = np.full(BANDS, -30, np.float32)
    for _ in range(600):
        leak.most(ours)
        leak.learn(ours - 30, quiet)
    before = leak.most(ours)
    assert before == pytest.approx(ours - 30, abs=0.1)
    for _ in range(30):
        leak.most(ours)
        leak.learn(ours - 5, quiet)
    for _ in range(70):
        leak.most(ours)
        leak.learn(ours - 30, quiet)
    assert float((leak.most(ours) - before).max()) <= 1.0


def test_canceller_takes_most_of_the_echo_out() -> None:
    """At least 10 dB once it has heard some seconds (simulated room; pyaec measured 14 to 20)."""
    played = prompts()
    heard = echo_of(played, -6)
    canceller = echo.Canceller()
    rows = [
        canceller.clean(heard[i : i + FRAME], played[i : i + FRAME])
        for i in range(0, len(heard) - FRAME, FRAME)
    ]
    clean = np.concatenate(rows)
    half = slice(len(clean) // 2, len(clean))
    assert np.mean(clean[half] ** 2) < 0.1 * np.mean(heard[half] ** 2)


def test_loudspeaker_that_falls_silent_does_not_put_our_voice_into_the_microphone() -> None:
    """The filter foresees an echo that does not come: without a check it gave our own voice, 30 dB over the hiss."""
    played = prompts()
    half = len(played) // 2 // FRAME * FRAME
    heard = sound.hiss(np.where(np.arange(len(played)) < half, echo_of(played, 0), 0.0).astype(np.float32))
    canceller = echo.Canceller()
    rows = [
        canceller.clean(heard[i : i + FRAME], played[i : i + FRAME])
        for i in range(0, len(heard) - FRAME, FRAME)
    ]
    after = np.concatenate(rows[half // FRAME + 10 :])
    before = heard[half + 10 * FRAME :][: len(after)]
    assert np.mean(after**2) < 2 * np.mean(before**2)


def test_open_ears_hear(tmp_path: Path) -> None:
    ears = open_ears(environment={}, cache=tmp_path)
    ears.allow(sound.covering())
    (found,) = listen(ears, stream(sound.clip("flite_slt", "stop now")))
    assert found.engine == ears.name == "moonshine tiny-en, allowed phrases scored"
    assert decide(found) is Verdict.BELIEVE
