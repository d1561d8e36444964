"""The room of a rehearsal: what the speaker plays goes in, what the microphone hears comes out.

The clock is the count of samples. Here everything comes together: the people,
the echo, the noise, devices that fail, the mixdown. What people do is
`room.people`, what really happened is kept in `room.truth`. `app.rehearse`
drives it, block by block.
"""

from __future__ import annotations

import math
from collections import deque
from collections.abc import Iterable, Mapping, Sequence
from pathlib import Path
from types import MappingProxyType

import numpy as np

from assistant.core.actions import Say
from assistant.core.events import DeviceBack, DeviceLost
from assistant.core.hearing import Hypothesis, LivePhrase, Verdict
from assistant.ports import RATE, Mark, Samples
from assistant.room.acoustics import (
    TALK_DB,
    Echo,
    NoiseLoop,
    active,
    at_level,
    gain,
    gain_db,
    power_db,
    read_sound,
    response,
    speech_edges,
    tap_noise,
    through,
)
from assistant.room.clips import Clip, shipped
from assistant.room.home import Fault, Home, Who
from assistant.room.mixdown import Mixdown
from assistant.room.people import People, says
from assistant.room.truth import Outcome, Played, Truth
from assistant.room.voices import Speaker

AUDIBLE = 1e-4
"""A sample of the speaker above this (-80 dB of full scale) is sound, not silence."""

QUIETEST_DB = -40.0
"""A prompt this far below a person talking 1 m away is not heard even in silence (our choice)."""

WRONG_RATE = 3
"""A device that gives 48 kHz for 16: a third of each block, three times as slow, and the rest is dropped."""

KEYS = ("yes", "no", "again", "stop")
KEYS_A_BLOCK = 0.1
"""A storm of keys: about five a second (a cat on the keyboard, a wet pedal; our choice)."""

KEPT_S = 120.0
"""How long levels are kept for judging a prompt; no prompt is longer."""


class Room:
    """One simulated home. The same home, routine and prompts give the same samples."""

    def __init__(
        self,
        home: Home,
        *,
        zones: Sequence[str],
        phrases: Sequence[LivePhrase],
        fixtures: Path,
        beside: Path,
        prompt_db: float = TALK_DB,
        cache: Path | None = None,
        mixdown: Mixdown | None = None,
    ) -> None:
        """`zones` of the routine in order of application; `phrases` every way of saying every phrase.

        `fixtures` is the folder that holds clips/ and talk/; `beside` the home
        file's folder, for the relative paths in it. `prompt_db` is the active
        level of prompts as the mixer plays them. Raises ValueError (MissingSound
        among them) for whatever would go wrong later: sounds, voices, zones.
        """
        self.truth = Truth()
        self._home = home
        self._mixdown = mixdown
        self._at = 0
        self._t_end = 0.0
        self._check_zones(zones)
        self._speakers = {
            who: Speaker(person.voice, fixtures=fixtures, beside=beside, cache=cache)
            for who, person in home.everyone().items()
        }
        self._check_sounds(phrases)
        self._talk = self._clips_of_talk(fixtures)
        self._ways = {
            who: response(home.room, person.distance_m, 0.35 if who == "person" else 0.65)
            for who, person in home.everyone().items()
        }
        self._levels = {
            who: TALK_DB + person.level_db - 20 * math.log10(person.distance_m)
            for who, person in home.everyone().items()
        }
        self._arrived: dict[tuple[Who, str], tuple[Samples, int, int]] = {}
        self._speaking: list[tuple[int, Samples]] = []

        speaker_way = response(home.room, 0.25, 0.5)
        wanted = TALK_DB + home.room.echo_db - prompt_db
        self._echo = Echo(speaker_way * np.float32(gain(wanted - gain_db(speaker_way))))
        self._ear_gain_db = TALK_DB + home.room.ear_db - prompt_db
        self._noise = self._make_noise(beside)
        self._floor: NoiseLoop | None = None
        if home.room.floor_db is not None:
            hiss = np.random.default_rng([home.seed, 5]).standard_normal(5 * RATE).astype(np.float32)
            self._floor = NoiseLoop(hiss, home.room.floor_db)

        self._failing: dict[str, float] = {}
        self.failing: Mapping[str, float] = MappingProxyType(self._failing)
        """What fails now, and until when; for what fails in the machine."""
        self._frozen: Samples | None = None
        self._may_freeze = any(fault.what == "microphone_frozen" for fault in home.faults)
        self._storm = np.random.default_rng([home.seed, 6])
        self._to_fail: list[tuple[float, Fault]] = []
        self._device_news: list[DeviceLost | DeviceBack] = []
        self._powers: deque[tuple[int, int, float, float]] = deque()
        self._begun: tuple[Say, int] | None = None
        self._silent_since = -RATE
        self._people = People(
            home, zones, phrases, self, self.truth, talk=sorted(self._talk), notice=self._something_happens
        )

    # -- driven by the loop -------------------------------------------------------------

    def turn(self, t_end: float, played: Samples, marks: Iterable[Mark]) -> Samples:
        """One block: `played` is what the speaker gives up to `t_end`; what the microphone hears.

        `marks` are those of the mixer since the last turn. Blocks may have any
        length. The answer has the same length and is the caller's to keep.
        """
        count = len(played)
        self._t_end = t_end
        self._at = round(t_end * RATE) - count
        failing = self._fail_until(t_end)
        sounding = bool(played.any()) and "speaker_lost" not in failing and "speaker_muted" not in failing
        noise = self._noise.block(self._at, count, self._noise_is_on()) if self._noise is not None else None
        if sounding:
            self._follow_speaker(played, noise)
        for mark in marks:
            self._take_mark(mark)
        self._people.live_until(t_end)

        sound = self._echo.block(played if sounding else None, count)
        if noise is not None:
            sound = noise.copy() if sound is None else sound + noise
        if self._speaking:
            sound = self._add_people(np.zeros(count, dtype=np.float32) if sound is None else sound)
        if self._mixdown is not None:
            self._mixdown.add(sound, count)
        self._at += count
        if "microphone_lost" in failing or "microphone_silent" in failing:
            return np.zeros(count, dtype=np.float32)
        if "microphone_frozen" in failing and self._frozen is not None:
            return np.resize(self._frozen, count)
        if self._floor is not None:
            floor = self._floor.block(self._at - count, count, True)
            assert floor is not None
            sound = floor.copy() if sound is None else sound + floor
        if sound is None:
            return np.zeros(count, dtype=np.float32)
        if "microphone_wrong_rate" in failing:
            sound = np.interp(np.arange(count) / WRONG_RATE, np.arange(count), sound).astype(np.float32)
        heard = np.clip(sound, -1, 1, out=sound)
        self._frozen = heard if self._may_freeze else None
        return heard

    def pressed(self) -> list[str]:
        """Keys pressed since the last call, as `core.events.Pressed` names them."""
        keys = self._people.pressed()
        if "key_storm" in self._failing and self._storm.random() < KEYS_A_BLOCK:
            keys.append(KEYS[int(self._storm.integers(len(KEYS)))])
        return keys

    def devices(self) -> list[DeviceLost | DeviceBack]:
        """What the system says of microphone, speaker and recogniser since the last call, at the last turn's end."""
        news, self._device_news = self._device_news, []
        return news

    def note_hearing(self, hypothesis: Hypothesis, verdict: Verdict) -> None:
        """What was made of the sound so far; for the books, nobody in the room learns it."""
        self.truth.outcomes.append(Outcome(self._at / RATE, hypothesis, verdict))

    # -- the people's mouths --------------------------------------------------------------

    def speak(self, who: Who, text: str, begin: float) -> tuple[float, float]:
        """`who` says `text` from `begin`; when the speech itself begins and ends."""
        if (who, text) not in self._arrived:
            self._arrived[who, text] = self._arriving(who, self._speakers[who].sound(text))
        return self._emit(who, text, self._arrived[who, text], begin)

    def talk(self, who: Who, clip: str, begin: float) -> tuple[str, float, float]:
        """`who` says a clip of everyday talk; its text, and when it begins and ends."""
        text = self._talk[clip].text or clip
        key = (who, f"talk/{clip}")
        if key not in self._arrived:
            self._arrived[key] = self._arriving(who, read_sound(self._talk[clip].path))
        return text, *self._emit(who, text, self._arrived[key], begin)

    def _arriving(self, who: Who, sound: Samples) -> tuple[Samples, int, int]:
        """A sound as it reaches the microphone, at this person's level, and the edges of its speech."""
        arrived = at_level(through(sound, self._ways[who]), self._levels[who])
        return arrived, *speech_edges(sound)

    def _emit(
        self, who: Who, text: str, arrived: tuple[Samples, int, int], begin: float
    ) -> tuple[float, float]:
        sound, first, last = arrived
        start = max(round(begin * RATE), self._at)
        self._speaking.append((start, sound))
        begins, ends = (start + first) / RATE, (start + last) / RATE
        if self._mixdown is not None:
            self._mixdown.line(begins, who, text)
        return begins, ends

    def _add_people(self, sound: Samples) -> Samples:
        begin, end = self._at, self._at + len(sound)
        for start, speech in self._speaking:
            first, last = max(begin, start), min(end, start + len(speech))
            if last > first:
                sound[first - begin : last - begin] += speech[first - start : last - start]
        self._speaking = [(start, speech) for start, speech in self._speaking if start + len(speech) > end]
        return sound

    # -- what reaches the people's ears -----------------------------------------------------

    def _follow_speaker(self, played: Samples, noise: Samples | None) -> None:
        """Keep the levels of this block, and where the speaker's sound begins and ends."""
        begin, count = self._at, len(played)
        loud = np.flatnonzero(np.abs(played) > AUDIBLE)
        if len(loud) == 0:
            return
        first, last = begin + int(loud[0]), begin + int(loud[-1]) + 1
        spans = self.truth.speaker_sound
        if first - self._silent_since > RATE // 10 or not spans:
            spans.append((first / RATE, last / RATE))
        else:
            spans[-1] = (spans[-1][0], last / RATE)
        self._silent_since = last
        power = float(np.dot(played, played)) / count
        if self._ear_db(power) > TALK_DB + QUIETEST_DB:
            self._people.tool_is_audible(last / RATE)
        disturbing = float(np.dot(noise, noise)) / count if noise is not None else 0.0
        self._powers.append((begin, begin + count, power, disturbing))
        while self._powers[0][1] < begin - KEPT_S * RATE:
            self._powers.popleft()

    def _ear_db(self, power: float) -> float:
        return power_db(power) + self._ear_gain_db

    def _take_mark(self, mark: Mark) -> None:
        if mark.what == "begun":
            self._begun = (mark.prompt, mark.at)
            if self._mixdown is not None:
                words = " ".join(sentence.text for sentence in mark.prompt.sentences)
                self._mixdown.line(mark.at / RATE, "tool" + (" (tone)" if mark.prompt.alarm else ""), words)
            return
        begin = self._begun[1] if self._begun is not None and self._begun[0] == mark.prompt else mark.at
        self._begun = None
        over = self._over_noise_db(begin, mark.at)
        understood = mark.what == "ended" and over >= self._home.room.heard_at_db
        self.truth.played.append(
            Played(mark.prompt, begin / RATE, mark.at / RATE, mark.what == "cut", understood, over)
        )
        if understood:
            self._people.hear(mark.prompt, mark.at / RATE)

    def _over_noise_db(self, begin: int, end: int) -> float:
        """A prompt's level at the people's ears over the noise there, from what was really played.

        Its active level against the noise at the same time, which is as loud at the
        ears as at the microphone. -inf when nothing audible was played.
        """
        blocks = [(last - first, p, n) for first, last, p, n in self._powers if last > begin and first < end]
        if not blocks:
            return -math.inf
        lengths, powers, noises = np.array(blocks).T
        speech = active(powers, float(lengths[0]) / RATE)
        ear = self._ear_db(float(powers[speech].mean()))
        if ear < TALK_DB + QUIETEST_DB:
            return -math.inf
        quietest = 10 ** ((TALK_DB + QUIETEST_DB) / 10)
        return ear - power_db(max(float(noises[speech].mean()), quietest))

    # -- noise and faults ---------------------------------------------------------------------

    def _noise_is_on(self) -> bool:
        when = self._home.noise.when
        if when == "always":
            return True
        if when == "tap on":
            return self._people.tap_on
        now = self._at / RATE
        return any(begin <= now < end for begin, end in when)

    def _make_noise(self, beside: Path) -> NoiseLoop | None:
        noise = self._home.noise
        if noise.source == "none":
            return None
        samples = tap_noise(self._home.seed) if noise.source == "tap" else read_sound(beside / noise.source)
        return NoiseLoop(samples, self._levels["person"] - noise.snr_db)

    def _something_happens(self, event: str, t: float) -> None:
        for fault in self._home.faults:
            if fault.at.event == event:
                self._to_fail.append((t + fault.at.seconds, fault))

    def _fail_until(self, t_end: float) -> dict[str, float]:
        """Faults that begin or end by `t_end`; what fails now, and until when."""
        if not self._to_fail and not self._failing:
            return self._failing
        for due, fault in [entry for entry in self._to_fail if entry[0] <= t_end]:
            self._to_fail.remove((due, fault))
            self._failing[fault.what] = due + (fault.for_s if fault.for_s is not None else math.inf)
            self._report_fault(fault.what, due, begins=True)
        for what in [name for name, until in self._failing.items() if until <= t_end]:
            self._report_fault(what, self._failing.pop(what), begins=False)
        return self._failing

    def _report_fault(self, what: str, t: float, *, begins: bool) -> None:
        self.truth.faults.append((t, what, begins))
        device, _, how = what.partition("_")
        if how in ("lost", "crashed"):
            gone = DeviceLost(self._t_end, device, "unplugged") if begins else DeviceBack(self._t_end, device)
            self._device_news.append(gone)

    # -- checked before anything is heard ---------------------------------------------------------

    def _check_zones(self, zones: Sequence[str]) -> None:
        moments = [deed.at for deed in self._home.off_script] + [fault.at for fault in self._home.faults]
        for event, _ in moments:
            kind, _, zone = event.partition(":")
            if kind in ("cover", "smooth") and zone not in zones:
                raise ValueError(f"there is no zone '{zone}' in this routine; there are {', '.join(zones)}")

    def _check_sounds(self, phrases: Sequence[LivePhrase]) -> None:
        """Every sound somebody may need is there, or can be made."""
        home = self._home
        names = {phrase.name for phrase in phrases}
        for name in home.wording.fixed:
            if name not in names:
                raise ValueError(f"wording.fixed: there is no phrase '{name}' in the phrase book")
        for who, speaker in self._speakers.items():
            asked = says(who, alone=len(self._speakers) == 1)
            speaker.check(text for name, text in self._sayings(phrases) if name in asked)
            speaker.check(deed.say for deed in home.off_script if deed.who == who and deed.say is not None)

    def _sayings(self, phrases: Sequence[LivePhrase]) -> list[tuple[str, str]]:
        """Names and texts of the phrases in the wording of this home."""
        wording, seen, found = self._home.wording, set[tuple[str, str]](), []
        for phrase in phrases:
            meaning = (phrase.name, phrase.slot)
            text = wording.fixed.get(phrase.name, phrase.text).replace("{zone}", phrase.slot)
            if "{" in text:
                raise ValueError(f"wording.fixed: '{text}' can hold {{zone}} and no other placeholder")
            if meaning not in seen or wording.other_ways:
                found.append((phrase.name, text))
            seen.add(meaning)
        return found

    def _clips_of_talk(self, fixtures: Path) -> dict[str, Clip]:
        """The clips of everyday talk by name, where some are wanted."""
        home = self._home
        wanted = [deed.talk for deed in home.off_script if deed.talk is not None]
        if not wanted and not home.mistakes.talk_per_min:
            return {}
        clips = {clip.path.stem: clip for clip in shipped(fixtures / "talk")}
        for name in wanted:
            if name not in clips:
                raise ValueError(f"there is no talk clip '{name}'; there are {', '.join(sorted(clips))}")
        return clips
