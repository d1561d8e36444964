"""The sound check, from the first word to the result: two noises, two tracks, a few phrases said by the people.

The order and the waiting are here; what the takes mean is `app.sound_figures` and
`core.sound_check`. Time is the count of samples heard, so that a room made of
samples is checked faster than real time. Called by `combside soundcheck`.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from datetime import date
from typing import Literal, Protocol

import numpy as np

from assistant.app.sound_figures import LATEST_S, Take, Takes, Track, result
from assistant.app.sound_room import DeviceGone, Room
from assistant.core.actions import Sentence
from assistant.core.hearing import Hypothesis, Verdict, decide
from assistant.core.phrases import PhraseBook
from assistant.core.session import TABLE, Stance
from assistant.core.sound_check import AGAIN, Device, Finding, PhraseHeard, SoundCheck, Weight
from assistant.ports import RATE, Ears, Samples, Voice

PHRASES = ("next_step", "rinse_now", "all_is_well")
"""What is to be said: one that moves on, one that stops, one that answers."""
GO_ON = ("next_step", "yes", "water_running", "person_ready")
"""Any of these said means that the tap is as asked for."""
LIVE_IN = Stance.SMOOTHING
"""The phrases are heard among those that are live with cream on the whole head."""
WARM_UP_S = 0.5
"""Given by both devices before anything counts: a stream's first moments are no measure."""
SETTLE_S = 0.5
"""From the last word, or the key, to where a noise is measured."""

OWN_TAIL_S = 0.2
"""What begins so soon after our own last word is its end."""

Tap = Literal["off", "on"]


class Guide(Protocol):
    """Whoever stands at the screen and the keys during a check."""

    def tell(self, name: str, words: str) -> None:
        """Show what is going on; `name` is the prompt's name in the phrase book, or that of a take."""

    def pressed(self) -> bool:
        """A key that means go on was pressed since the last call."""


@dataclass(frozen=True, slots=True)
class Pace:
    """Seconds: a noise is listened to, a phrase is waited for, and at most for the tap. `phrases`: whether any are asked for."""

    noise_s: float = 4.0
    answer_s: float = 6.0
    ready_s: float = 30.0
    phrases: bool = True


@dataclass(frozen=True, slots=True)
class Places:
    """Metres from the loudspeaker; None where nobody said."""

    microphone_m: float | None = None
    heads_m: float | None = None


def sentences(book: PhraseBook) -> tuple[Sentence, ...]:
    """All that a check may say."""
    names = [name for name in book.said if name.startswith("check.")]
    return tuple(s for name in names for s in book.sentences(name, {}, with_helper=True))


def check(
    room: Room,
    ears: Ears,
    voice: Voice,
    book: PhraseBook,
    zones: tuple[str, ...],
    guide: Guide,
    today: date,
    *,
    pace: Pace | None = None,
    places: Places | None = None,
) -> SoundCheck:
    """Check this room. `voice` has prepared `sentences(book)`; a device that goes away ends it with that as the result."""
    try:
        return _Check(room, ears, voice, book, zones, guide, pace or Pace()).run(today, places or Places())
    except DeviceGone as gone:
        return without_device(gone, room, today)


def without_device(gone: DeviceGone, room: Room | None, today: date) -> SoundCheck:
    """The result where a device is not there."""
    name = "loudspeaker" if gone.device == "speaker" else "microphone"
    finding = Finding(
        name=f"no {name}",
        weight=Weight.STOPS,
        words=f"The {name} does not work: {gone.why}.",
        mend=f"Plug the {name} in and let combside use it, or choose another with --{gone.device}. {AGAIN}",
    )
    device = Device() if room is None else room.device
    return SoundCheck(schema=1, checked_on=today, device=device, findings=(finding,))


class _Check:
    """One check as it goes on."""

    def __init__(
        self,
        room: Room,
        ears: Ears,
        voice: Voice,
        book: PhraseBook,
        zones: tuple[str, ...],
        guide: Guide,
        pace: Pace,
    ) -> None:
        self._room, self._ears, self._voice, self._book, self._guide, self._pace = (
            room,
            ears,
            voice,
            book,
            guide,
            pace,
        )
        self._heard_count = 0
        self._zones = zones

    def run(self, today: date, places: Places) -> SoundCheck:
        self._listen(WARM_UP_S)
        stumbles = self._room.stumbles()
        sample = [self._voice.clip(s) for s in self._book.sentences("check.sample", {}, with_helper=True)]
        track = Track(sample[0], sample[1])
        noise_off, track_off = self._with_tap("off", "check.begin", track)
        phrases = self._phrases("off")
        noise_on, track_on = self._with_tap("on", "check.tap_on", track)
        phrases += self._phrases("on")
        self._say("check.done")
        return result(
            Takes(noise_off, track_off, noise_on, track_on, self._room.stumbles() - stumbles),
            track,
            today=today,
            device=self._room.device,
            phrases=tuple(phrases),
            microphone_m=places.microphone_m,
            heads_m=places.heads_m,
        )

    def _with_tap(self, tap: Tap, prompt: str, track: Track) -> tuple[Samples, Take]:
        """Ask for the tap, then the noise and the track with it so."""
        self._say(prompt)
        self._until_ready()
        self._say("check.quiet")
        self._listen(SETTLE_S)
        self._guide.tell("noise", f"Listening to the noise, tap {tap}: {self._pace.noise_s:g} s.")
        noise = self._listen(self._pace.noise_s).heard
        self._guide.tell("track", "Playing my voice and the alarm.")
        self._room.play(track.sound)
        return noise, self._listen(len(track.sound) / RATE + LATEST_S)

    def _phrases(self, tap: Tap) -> list[PhraseHeard]:
        if not self._pace.phrases:
            return []
        self._allow(name for name in self._book.heard if name in TABLE[LIVE_IN])
        return [self._phrase(name, tap) for name in PHRASES]

    def _phrase(self, name: str, tap: Tap) -> PhraseHeard:
        """Ask for one phrase; the best that was made of what came within the time."""
        self._say(f"check.say.{name}")
        asked, best = self._now + OWN_TAIL_S, 0
        verdicts: tuple[Literal["nothing", "another", "asked again", "heard"], ...] = (
            "nothing", "another", "asked again", "heard",
        )  # fmt: skip
        while self._now < asked + self._pace.answer_s and best < 3:
            for hypothesis in self._turn()[2]:
                if hypothesis.t_begin < asked:
                    continue  # our own voice, or talk over it
                best = max(best, _worth(hypothesis, name))
        self._guide.tell(f"heard.{verdicts[best]}", _HEARD[verdicts[best]])
        return PhraseHeard(phrase=self._book.taught(name), tap=tap, verdict=verdicts[best])

    def _until_ready(self) -> None:
        """Until a key, a phrase, or as long as is waited at most."""
        self._allow(GO_ON)
        self._guide.pressed()  # what was pressed before counts for nothing
        begin = self._now
        while self._now < begin + self._pace.ready_s:
            _, _, hypotheses = self._turn()
            if self._guide.pressed():
                return
            for h in hypotheses:
                if (
                    h.best is not None
                    and h.best.name in GO_ON
                    and h.t_begin > begin
                    and decide(h) is Verdict.BELIEVE
                ):
                    return

    def _say(self, prompt: str) -> None:
        """Show and speak a prompt of the book, to its end."""
        spoken = self._book.sentences(prompt, {}, with_helper=False)
        self._guide.tell(prompt, " ".join(sentence.text for sentence in spoken))
        for sentence in spoken:
            self._room.play(self._voice.clip(sentence))
        while not self._room.silent():
            self._turn()

    def _listen(self, seconds: float) -> Take:
        """What came in so many seconds from now, and a little more."""
        heard, played = [np.zeros(0, np.float32)], [np.zeros(0, np.float32)]
        until = self._now + seconds
        while self._now < until:
            one, other, _ = self._turn()
            heard.append(one)
            played.append(other)
        return Take(np.concatenate(heard), np.concatenate(played))

    def _allow(self, names: Iterable[str]) -> None:
        self._ears.allow(self._book.live(names, self._zones))

    def _turn(self) -> tuple[Samples, Samples, list[Hypothesis]]:
        heard, played = self._room.read()
        self._heard_count += len(heard)
        return heard, played, self._ears.feed(heard, played, self._now) if len(heard) else []

    @property
    def _now(self) -> float:
        """Seconds of sound that were heard."""
        return self._heard_count / RATE


_HEARD = {
    "nothing": "I heard nothing that I know.",
    "another": "I heard something else.",
    "asked again": "Not clear: in the run I would ask again.",
    "heard": "Heard.",
}


def _worth(hypothesis: Hypothesis, name: str) -> int:
    """0 nothing, 1 another phrase, 2 the right one but in doubt, 3 the right one."""
    verdict = decide(hypothesis)
    if hypothesis.best is None or verdict not in (Verdict.BELIEVE, Verdict.ASK):
        return 0
    if hypothesis.best.name != name:
        return 1 if verdict is Verdict.BELIEVE else 0
    return 3 if verdict is Verdict.BELIEVE else 2
