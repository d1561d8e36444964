"""The mixer, sample by sample: who plays when, no clicks, never beyond full scale, the same whoever pulls."""

from __future__ import annotations

import itertools
import threading

import numpy as np
import pytest
from numpy.typing import NDArray

from assistant.alarm import tone
from assistant.alarm.find import find_alarms
from assistant.alarm.limit import KNEE, limited
from assistant.core.actions import Priority, Say, Sentence
from assistant.core.session import CALL_LEVELS
from assistant.guard import duty
from assistant.mouth import mixer as mixing
from assistant.mouth.mixer import PROMPT_GAP_S, SENTENCE_GAP_S, PromptMixer
from assistant.ports import Mixer, Samples

RATE = 16_000
PROMPT_GAP = round(PROMPT_GAP_S * RATE)
SENTENCE_GAP = round(SENTENCE_GAP_S * RATE)
FADE = round(mixing.FADE_S * RATE)


class Tones:
    """A voice of steady tones: the text is "<Hz> <milliseconds>", the helper's are softer."""

    def prepare(self, sentences: object) -> None:
        """Nothing to make."""

    def clip(self, sentence: Sentence) -> Samples:
        hz, ms = map(float, sentence.text.split())
        samples = np.sin(2 * np.pi * hz * np.arange(round(ms * RATE / 1000)) / RATE)
        return (samples * (0.2 if sentence.voice == "person" else 0.1)).astype(np.float32)


def prompt(
    text: str = "400 500", priority: Priority = Priority.INSTRUCTION, about: str = "x", **more: object
) -> Say:
    return Say(f"{priority.name} {text}", (Sentence(text),), priority, about, **more)  # type: ignore[arg-type]


def clip(text: str) -> Samples:
    return Tones().clip(Sentence(text))


def marks(mixer: Mixer) -> list[tuple[str, str, int]]:
    return [(mark.prompt.name, mark.what, mark.at) for mark in mixer.marks()]


def drain(mixer: Mixer, block: int = 320) -> Samples:
    """Everything until it is idle, and one block more."""
    parts = []
    while not mixer.idle():
        parts.append(mixer.pull(block))
        assert len(parts) < 10_000
    return np.concatenate([*parts, mixer.pull(block)])


def steps(sound: NDArray[np.float32]) -> float:
    """The largest step from one sample to the next."""
    return float(np.abs(np.diff(sound, prepend=0, append=0)).max())


def test_silence_is_zeros_and_counts() -> None:
    mixer: Mixer = PromptMixer(Tones())
    assert mixer.idle()
    assert not mixer.pull(1000).any()
    assert len(mixer.pull(0)) == 0
    assert mixer.marks() == []
    mixer.say(prompt())
    mixer.pull(10)
    assert marks(mixer) == [("INSTRUCTION 400 500", "begun", 1000)]


def test_a_prompt_sample_for_sample() -> None:
    """Begins at the sample at which it was said; sentences have a small gap; marks are exact."""
    mixer = PromptMixer(Tones())
    mixer.pull(123)
    two = Say("two", (Sentence("400 500"), Sentence("500 250", "helper")))
    mixer.say(two)
    gap = np.zeros(SENTENCE_GAP, np.float32)
    expected = np.concatenate([clip("400 500"), gap, Tones().clip(Sentence("500 250", "helper"))])
    sound = drain(mixer)
    np.testing.assert_array_equal(sound[: len(expected)], expected)
    assert not sound[len(expected) :].any()
    assert marks(mixer) == [("two", "begun", 123), ("two", "ended", 123 + len(expected))]


def test_the_next_follows_after_a_gap() -> None:
    mixer = PromptMixer(Tones())
    mixer.say(prompt("400 500"))
    mixer.say(prompt("500 500"))
    drain(mixer)
    assert marks(mixer) == [
        ("INSTRUCTION 400 500", "begun", 0),
        ("INSTRUCTION 400 500", "ended", 8000),
        ("INSTRUCTION 500 500", "begun", 8000 + PROMPT_GAP),
        ("INSTRUCTION 500 500", "ended", 16_000 + PROMPT_GAP),
    ]


@pytest.mark.parametrize("block", [1, 7, 160, 320, 1024, 50_000])
def test_blocks_do_not_matter(block: int) -> None:
    """Whoever pulls, by whatever blocks, gets the same samples and marks."""

    def walked(size: int) -> tuple[Samples, list[tuple[str, str, int]]]:
        mixer = PromptMixer(Tones())
        mixer.say(prompt("400 90"))
        parts = [mixer.pull(500)]
        mixer.say(prompt("500 70", Priority.CAUTION))
        mixer.say(prompt("600 80", alarm=True, level=0.5))
        parts += [mixer.pull(min(size, 100_000 - begin)) for begin in range(0, 100_000, size)]
        return np.concatenate(parts), marks(mixer)

    sound, found = walked(block)
    expected, expected_marks = walked(100_000)
    np.testing.assert_array_equal(sound, expected)
    assert found == expected_marks
    assert len(found) == 8, "three prompts and one of them begun twice"


@pytest.mark.parametrize(("first", "second"), list(itertools.product(Priority, Priority)))
def test_every_pair(first: Priority, second: Priority) -> None:
    """The second interrupts only what matters less; that is said again from its start; nothing clicks."""
    mixer = PromptMixer(Tones())
    a, b = prompt("400 1900", first, "a"), prompt("500 600", second, "b")
    mixer.say(a)
    begun = mixer.pull(8000)
    mixer.say(b)
    rest = drain(mixer)
    found = marks(mixer)
    lead = {rank: len(sound()) + SENTENCE_GAP for rank, sound in mixing.TONES.items()}
    length_a, length_b = 30_400 + lead.get(first, 0), 9_600 + lead.get(second, 0)
    if second < first:
        b_begins = 8000 + FADE + (0 if second is Priority.RINSE_CALL else PROMPT_GAP)
        again = b_begins + length_b + PROMPT_GAP
        assert found == [
            (a.name, "begun", 0),
            (a.name, "cut", 8000),
            (b.name, "begun", b_begins),
            (b.name, "ended", b_begins + length_b),
            (a.name, "begun", again),
            (a.name, "ended", again + length_a),
        ]
        whole = np.concatenate([begun, rest])
        np.testing.assert_array_equal(whole[again : again + 8000], whole[:8000])
    else:
        assert found == [
            (a.name, "begun", 0),
            (a.name, "ended", length_a),
            (b.name, "begun", length_a + PROMPT_GAP),
            (b.name, "ended", length_a + PROMPT_GAP + length_b),
        ]
    pieces = [clip("500 600"), *(mixing.TONES[rank]() for rank in (first, second) if rank in mixing.TONES)]
    assert steps(np.concatenate([begun, rest])) <= max(map(steps, pieces)) * 1.05


def test_dropped_while_playing_fades_and_the_next_begins() -> None:
    mixer = PromptMixer(Tones())
    mixer.say(prompt("400 2000", about="crown"))
    mixer.say(prompt("500 500", about="nape"))
    mixer.pull(5000)
    mixer.drop("crown")
    rest = drain(mixer)
    assert np.abs(rest[:FADE]).max() > 0.05
    assert not rest[FADE : FADE + PROMPT_GAP].any()
    assert marks(mixer)[1:3] == [
        ("INSTRUCTION 400 2000", "cut", 5000),
        ("INSTRUCTION 500 500", "begun", 5000 + FADE + PROMPT_GAP),
    ]
    assert steps(rest) < 0.1


def test_dropped_while_waiting_is_never_heard() -> None:
    mixer = PromptMixer(Tones())
    mixer.say(prompt("400 500", about="crown"))
    mixer.say(prompt("500 500", about="nape"))
    mixer.pull(100)
    mixer.drop("nape")
    drain(mixer)
    assert [what for _, what, _ in marks(mixer)] == ["begun", "ended"]


def test_cut_before_its_first_sample_leaves_no_mark() -> None:
    """In the gap before it nothing of it was heard."""
    mixer = PromptMixer(Tones())
    mixer.say(prompt("400 500"))
    mixer.say(prompt("500 500", about="nape"))
    mixer.pull(8000 + PROMPT_GAP // 2)
    mixer.drop("nape")
    assert mixer.idle()
    assert [what for _, what, _ in marks(mixer)] == ["begun", "ended"]


@pytest.mark.parametrize("level", CALL_LEVELS)
def test_the_alarm_goes_before_the_words_of_a_call(level: float) -> None:
    mixer = PromptMixer(Tones())
    mixer.pull(RATE)
    mixer.say(prompt("400 500", Priority.RINSE_CALL, alarm=True, level=level))
    sound = np.concatenate([np.zeros(RATE, np.float32), drain(mixer)])
    assert find_alarms(sound) == pytest.approx([1.0], abs=0.011)
    burst = sound[RATE : RATE + len(tone.alarm())]
    np.testing.assert_allclose(burst, limited(tone.alarm() * np.float32(level)), atol=1e-6)
    words = RATE + len(tone.alarm()) + SENTENCE_GAP
    np.testing.assert_allclose(
        sound[words : words + 8000], limited(clip("400 500") * np.float32(level)), atol=1e-6
    )


def test_the_first_call_is_as_loud_as_the_alarm_that_was_checked_and_each_one_louder() -> None:
    """The sound check plays `tone.alarm()` as it is. Hearing tells 1 dB apart (common practice, no source)."""

    def tone_db(level: float) -> float:
        mixer = PromptMixer(Tones())
        mixer.say(prompt("400 500", Priority.RINSE_CALL, alarm=True, level=level))
        return float(10 * np.log10(np.mean(np.square(drain(mixer)[: len(tone.alarm())]))))

    checked = float(10 * np.log10(np.mean(np.square(tone.alarm()))))
    first, second, third = (tone_db(level) for level in CALL_LEVELS)
    assert first == pytest.approx(checked, abs=0.2)
    assert second > first + 1.0 and third > second + 1.0
    assert duty.LEVELS == CALL_LEVELS, "the second process calls as loudly"


@pytest.mark.parametrize("priority", list(Priority))
def test_alerts_have_their_own_sound(priority: Priority) -> None:
    """A warning and a caution are heralded, what is not urgent is not, and none of them by the alarm."""
    mixer = PromptMixer(Tones())
    mixer.say(prompt("400 500", priority))
    sound = drain(mixer)
    heralds = {Priority.WARNING: tone.warning(), Priority.CAUTION: tone.caution()}
    first = heralds.get(priority, clip("400 500"))
    np.testing.assert_allclose(sound[: len(first)], first, atol=1e-6)
    assert find_alarms(sound) == []


def test_a_tick_over_what_plays() -> None:
    mixer = PromptMixer(Tones())
    mixer.say(prompt("400 500"))
    mixer.pull(1000)
    mixer.acknowledge()
    sound = drain(mixer)
    expected = clip("400 500")[1000:].copy()
    expected[: len(tone.tick())] += tone.tick()
    np.testing.assert_allclose(sound[: len(expected)], expected, atol=1e-6)
    mixer.acknowledge()
    np.testing.assert_allclose(mixer.pull(2000)[: len(tone.tick())], tone.tick(), atol=1e-6)
    assert not mixer.pull(2000).any()
    assert len(mixer.marks()) == 2


@pytest.mark.parametrize(
    ("priority", "raised"),
    [
        (Priority.RINSE_CALL, False),
        (Priority.WARNING, False),
        (Priority.CAUTION, True),
        (Priority.INSTRUCTION, True),
    ],
)
def test_prompts_follow_the_room_up_and_the_alarm_keeps_its_level(priority: Priority, raised: bool) -> None:
    """3.01 dB is twice the power: 1.414 times the amplitude."""
    plain, louder = PromptMixer(Tones()), PromptMixer(Tones())
    louder.raise_prompts(3.0103)
    for mixer in (plain, louder):
        mixer.say(prompt("400 500", priority))
    ratio = np.abs(louder.pull(2 * RATE)).max() / np.abs(plain.pull(2 * RATE)).max()
    assert ratio == pytest.approx(2**0.5 if raised else 1.0, rel=0.01)


def test_never_beyond_full_scale() -> None:
    """What adds up to too much is bent, not broken; what is below the knee is untouched."""

    class Loud(Tones):
        def clip(self, sentence: Sentence) -> Samples:
            return (super().clip(sentence) * 12).astype(np.float32)

    mixer = PromptMixer(Loud())
    mixer.say(prompt("400 500"))
    sound = drain(mixer)[:8000]
    assert 0.95 < np.abs(sound).max() <= 1.0
    original = clip("400 500") * 12
    small = np.abs(original) <= KNEE
    np.testing.assert_allclose(sound[small], original[small], rtol=1e-6)


def test_a_missing_clip_leaves_the_tone_and_the_rest() -> None:
    """A lost voice is told, the call still sounds."""

    class Partly(Tones):
        def clip(self, sentence: Sentence) -> Samples:
            if sentence.text.startswith("500"):
                raise KeyError(sentence.text)
            return super().clip(sentence)

    mixer = PromptMixer(Partly())
    gone, there = Sentence("500 500"), Sentence("400 500")
    mixer.say(Say("call", (gone, there), Priority.RINSE_CALL, alarm=True))
    sound = drain(mixer)
    words = len(tone.alarm()) + SENTENCE_GAP
    np.testing.assert_allclose(sound[words : words + 8000], clip("400 500"), atol=1e-6)
    assert mixer.missing() == [gone]
    assert mixer.missing() == []
    mixer.say(Say("nothing", (gone,)))
    drain(mixer)
    both = [what for _, what, _ in marks(mixer)]
    assert both == ["begun", "ended"] * 2, "even without a sound it comes to its end"


def test_said_and_pulled_from_two_threads() -> None:
    """Every prompt that was said is marked begun and ended once, none cut, in order."""
    mixer = PromptMixer(Tones())
    texts = [f"{300 + k} 20" for k in range(100)]

    def talk() -> None:
        for text in texts:
            mixer.say(prompt(text))

    talker = threading.Thread(target=talk)
    talker.start()
    while talker.is_alive():
        mixer.pull(160)
    talker.join()
    drain(mixer)
    found = marks(mixer)
    assert [name for name, what, _ in found if what == "begun"] == [f"INSTRUCTION {text}" for text in texts]
    assert [what for _, what, _ in found] == ["begun", "ended"] * 100
    assert [at for _, _, at in found] == sorted(at for _, _, at in found)
