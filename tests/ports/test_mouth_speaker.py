"""The loudspeaker: on a stand-in for sounddevice that can fail in every way, and on a real sound server."""

from __future__ import annotations

import json
import subprocess
import sys
from collections.abc import Callable
from pathlib import Path
from types import SimpleNamespace

import numpy as np
import pytest

from assistant.alarm.find import find_alarms
from assistant.core.actions import Say, Sentence
from assistant.core.events import DeviceBack, DeviceLost
from assistant.mouth.mixer import PromptMixer
from assistant.mouth.speaker import LATENCY_S, STALLED_S, Speaker
from assistant.ports import RATE, Samples
from tests.sound_server import recorded, samples_of, sound_server


class Beep:
    """A voice that beeps for a second, whatever the words."""

    def prepare(self, sentences: object) -> None:
        """Nothing to make."""

    def clip(self, sentence: Sentence) -> Samples:
        return (0.3 * np.sin(2 * np.pi * 440 * np.arange(RATE) / RATE)).astype(np.float32)


class Library:
    """Stands in for sounddevice: one device, with a rate of its own, that can be unplugged."""

    class PortAudioError(Exception):
        pass

    def __init__(self, rates: tuple[int, ...] = (RATE,)) -> None:
        self.rates = rates
        self.plugged = True
        self.streams: list[Library.Stream] = []

    def query_devices(self, device: object, kind: str) -> dict[str, float]:
        assert kind == "output"
        return {"default_samplerate": float(self.rates[0])}

    def OutputStream(self, **settings: object) -> Library.Stream:
        if not self.plugged or settings["samplerate"] not in self.rates:
            raise self.PortAudioError("no such device or rate")
        self.streams.append(Library.Stream(settings))
        return self.streams[-1]

    class Stream:
        latency = 0.02

        def __init__(self, settings: dict[str, object]) -> None:
            self.settings = settings
            self.started = self.closed = False

        def start(self) -> None:
            self.started = True

        def close(self) -> None:
            self.closed = True
            self.finish()

        def take(self, frames: int, *, underflow: bool = False) -> Samples:
            out = np.full((frames, 1), np.nan, dtype=np.float32)
            callback = self.settings["callback"]
            assert callable(callback)
            callback(out, frames, None, SimpleNamespace(output_underflow=underflow))
            return out[:, 0]

        def finish(self) -> None:
            finished = self.settings["finished_callback"]
            assert callable(finished)
            finished()


def opened(library: Library) -> tuple[Speaker, PromptMixer]:
    mixer = PromptMixer(Beep())
    speaker = Speaker(mixer, library=library)
    speaker.open()
    return speaker, mixer


def test_the_device_gets_the_mixers_samples_and_so_do_the_ears() -> None:
    library = Library()
    speaker, mixer = opened(library)
    mixer.say(Say("x", (Sentence("beep"),)))
    (stream,) = library.streams
    assert stream.started
    assert stream.settings["latency"] == LATENCY_S
    sound = np.concatenate([stream.take(n) for n in (100, 320, 1, 5000)])
    np.testing.assert_array_equal(sound, Beep().clip(Sentence(""))[: len(sound)])
    np.testing.assert_array_equal(speaker.played(421), sound[:421])
    np.testing.assert_array_equal(speaker.played(6000), np.append(sound[421:], np.zeros(1000, np.float32)))
    assert speaker.latency_s == 0.02


def test_sound_nobody_asked_for_is_forgotten() -> None:
    """The ears may be away; what they get then is not old."""
    library = Library()
    speaker, mixer = opened(library)
    for _ in range(500):
        library.streams[0].take(320)
    mixer.say(Say("x", (Sentence("beep"),)))
    newest = np.concatenate([library.streams[0].take(320) for _ in range(10)])
    left = speaker.played(10 * RATE)
    assert np.flatnonzero(left)[-1] < 2 * RATE
    assert left[: 2 * RATE][np.flatnonzero(left)[0] - 1 :][:3200] == pytest.approx(newest)


@pytest.mark.parametrize("rate", [44_100, 48_000, 22_050])
def test_a_device_with_another_rate(rate: int) -> None:
    """The same sound at the device's own rate: its length and its pitch."""
    library = Library((rate,))
    speaker, mixer = opened(library)
    assert speaker.rate == rate
    mixer.say(Say("x", (Sentence("beep"),)))
    sound = np.concatenate([library.streams[0].take(512) for _ in range(2 * rate // 512)])
    loud = np.flatnonzero(np.abs(sound) > 0.02)
    assert (loud[-1] - loud[0]) / rate == pytest.approx(1.0, abs=0.01)
    spectrum = np.abs(np.fft.rfft(sound * np.hanning(len(sound))))
    assert np.argmax(spectrum) * rate / len(sound) == pytest.approx(440, abs=1)


def test_under_runs_are_counted() -> None:
    library = Library()
    speaker, _ = opened(library)
    for underflow in (False, True, False, True):
        library.streams[0].take(320, underflow=underflow)
    assert speaker.under_runs == 2
    assert speaker.watch(0.1) == []


def test_no_device_is_an_os_error() -> None:
    library = Library()
    library.plugged = False
    with pytest.raises(OSError, match="no loudspeaker: no such device"):
        Speaker(PromptMixer(Beep()), library=library).open()


def ends(library: Library, speaker: Speaker) -> float:
    library.streams[-1].finish()
    return 10.02


def stalls(library: Library, speaker: Speaker) -> float:
    assert speaker.watch(10 + STALLED_S - 0.1) == []
    return 10 + STALLED_S + 0.1


@pytest.mark.parametrize(
    ("how", "reason"), [(ends, "the stream ended"), (stalls, "it took no sound for 4 s")]
)
def test_lost_and_back(how: Callable[[Library, Speaker], float], reason: str) -> None:
    """Told once; prompts keep their time by the run clock; told once when it takes sound again."""
    library = Library()
    speaker, mixer = opened(library)
    library.streams[0].take(10 * RATE)
    assert speaker.watch(10.0) == []
    mixer.say(Say("x", (Sentence("beep"),)))
    lost = how(library, speaker)
    library.plugged = False
    assert speaker.watch(lost) == [DeviceLost(lost, "speaker", reason)]
    assert not speaker.reopen(lost + 0.1)
    assert speaker.watch(20.0) == []
    marks = [(mark.what, mark.at) for mark in mixer.marks()]
    assert marks == [("begun", 10 * RATE), ("ended", 11 * RATE)]
    mixer.say(Say("y", (Sentence("beep"),)))
    mixer.pull(0)
    library.plugged = True
    assert speaker.reopen(20.0)
    assert speaker.watch(20.02) == [], "started, but it has not taken a sample yet"
    library.streams[-1].take(320)
    assert speaker.watch(20.04) == [DeviceBack(20.04, "speaker")]
    assert speaker.watch(20.06) == []
    (begun,) = mixer.marks()
    assert begun.at == pytest.approx(20 * RATE, abs=2)


def test_a_mixer_that_fails_is_told_and_silent() -> None:
    """An exception in a callback would otherwise be seen by nobody."""

    class Broken(PromptMixer):
        def pull(self, count: int) -> Samples:
            raise RuntimeError("broken")

    library = Library()
    speaker = Speaker(Broken(Beep()), library=library)
    speaker.open()
    assert not library.streams[0].take(320).any()
    (news,) = speaker.watch(1.0)
    assert isinstance(news, DeviceLost)
    assert "broken" in news.reason
    assert speaker.watch(2.0) == []


def test_closed_by_us_is_not_lost_by_itself() -> None:
    library = Library()
    speaker, _ = opened(library)
    speaker.close()
    assert library.streams[0].closed
    assert speaker._problem == ""
    speaker.close()
    assert speaker.latency_s == 0.0


# -- a real sound server, which goes by real time --------------------------------------------------

PLAY = """
import json, time
from assistant.core.actions import Priority, Say, Sentence
from assistant.ears.microphone import Microphone
from assistant.mouth.mixer import PromptMixer
from assistant.mouth.speaker import Speaker
from tests.ports.test_mouth_speaker import Beep

mixer, microphone = PromptMixer(Beep()), Microphone("pulse")
speaker = Speaker(mixer, "pulse")
microphone.open(time.monotonic())
while not len(microphone.read(1.0)):  # its first block may take a while; what is played before is nobody's echo
    pass
speaker.open(time.monotonic())
mixer.say(Say("call", (Sentence("beep"),), Priority.RINSE_CALL, alarm=True))
news, heard, after = [], 0, 0
while after < 16_000:  # the microphone paces: a second of it after the prompt has ended
    came = len(microphone.read(1.0))
    after += came if mixer.idle() else 0
    news += [str(each) for each in speaker.watch(time.monotonic())]
    heard += int((speaker.played(came) != 0).sum())
heard += int((speaker.played(32000) != 0).sum())
speaker.close()
microphone.close()
print(json.dumps({"news": news, "heard": heard, "marks": [m.what for m in mixer.marks()], "under_runs": speaker.under_runs}))
"""


def test_on_a_real_sound_server(tmp_path: Path) -> None:
    """The rinse call, through PortAudio and PulseAudio, is found in what came out of the sink."""
    recording = tmp_path / "out.raw"
    with sound_server(tmp_path) as environment, recorded(environment, recording):
        command = [sys.executable, "-c", PLAY]
        done = subprocess.run(
            command, env=environment, capture_output=True, text=True, timeout=60, check=False
        )
    assert done.returncode == 0, done.stderr[-2000:]
    told = json.loads(done.stdout.splitlines()[-1])
    assert told["news"] == []
    assert told["marks"] == ["begun", "ended"]
    assert told["heard"] > 2 * RATE, "the ears were handed what was played"
    assert len(find_alarms(samples_of(recording))) == 1
