"""Where an utterance begins and ends in a stream that runs for hours.

A frame is speech when it stands out of the noise in some bands and webrtcvad
agrees. The noise floor is the quietest of the last second and a half in each
band, so a tap that is turned on is noise by then, while speech, which dips
between syllables, never is. Where others talk on and on, that talk is speech too
and no silence comes; there a frame must also be louder than their talk, so that
what is said near the microphone stands out of it. Here no recogniser and no echo;
what our own voice may leave behind is handed in. Called by `ears.listening`.
"""

from __future__ import annotations

from bisect import bisect_left, insort
from collections import deque
from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np
import webrtcvad
from numpy.typing import NDArray

from assistant.ears.bands import BANDS, FRAME, Levels, band_levels
from assistant.ports import RATE, Samples

AGGRESSIVENESS = 2
"""webrtcvad's own scale of 0 to 3."""
FLOOR_FRAMES = 75
"""1.5 s: how long the quietest moment is remembered."""
LIFT_DB = 3.0
"""The quietest of 75 smoothed frames of steady noise lies about this far below its mean."""
STANDS_OUT_DB = 7.0
"""The three loudest bands of speech lie, on average, this far above the noise. With 6 a fluttering tap gave up to 9
utterances a minute, with 7 up to 3; all 36 phrases were found at 10 and 5 dB with either."""
LOUDEST_BANDS = 3
ONSET, OF = 4, 6
"""Speech begins when so many of so many frames are speech (common practice, no source)."""
LOOK_FRAMES = (6, 15)
"""After 120 and after 300 ms of silence the utterance is handed out as it stands: it may be complete."""
SILENCE_FRAMES = 25
"""500 ms of silence end an utterance: with a tap 10 dB below, the hissing middle of "next step" is silence for 400."""
SETTLED_FRAMES = 15
"""One that was settled before its end is over after 300 ms."""
PAUSE_FRAMES = 7
"""140 ms of silence within one part its clauses."""
BEFORE_FRAMES = 20
"""0.4 s kept before the first speech; the silence that was waited for is kept behind."""
LEAST_FRAMES = 6
"""120 ms of speech: less is a click or a knock."""
LONGEST_PHRASE_FRAMES = 150
"""What goes on for longer than 3 s is talk."""
LONGEST_FRAMES = 250
TALK_FRAMES, TALK_LEAST_FRAMES = 200, 50
"""The talk of others is what was heard in the 4 s before an utterance, once there is 1 s of it."""
TALK_SPREAD_DB = 3.0
"""It is talk when their softest twentieth is so far below their lower quartile: 0.5 dB in quiet, up to 2.1 beside a
tap, 4.4 to 10.9 in the conversation of six..."""
UNBROKEN_FRAMES, BREAK_FRAMES = 150, 35
"""...or when there was no break of 0.7 s for 3 s: six who read without a pause are as even as a fluttering tap."""
OVER_TALK_DB = 10.0
"""Over talk a frame of speech is so far above that quartile. Six people 10 dB below: a quarter of the phrases missed
instead of 95 %; with 8 or 12 dB somewhat more, with 3 or 6 s of levels about the same."""
RISES_DB = 2.0
"""What is said to us rises above that talk: the upper quartile of its frames lies so far above the loudest tenth of
those 4 s. Six people 10 dB below: 46 of 55 stop phrases did, every "stop" by 3 dB and more; two of the pieces of a
talker or a meeting that were taken for a stop phrase did not."""
STOPPED_FRAMES, STOPPED_DB = 20, 6.0
"""What was so much louder than all of the last 0.4 s is over: a tap turned off, a talker who has finished."""
CLOSE_S = 0.2
"""Sound kept around speech over talk: with 0.45 s of talk around it 43 of 204 phrases were missed, with 0.3 s 39,
with 0.2 s 35 (ends known)."""
OVERLAP_FRAMES = 75
"""Speech that goes on is cut every 5 s, the cuts sharing 1.5 s so that no phrase is halved twice."""


@dataclass(frozen=True, slots=True)
class Span:
    """Samples `begin` to `end`, counted from the start of the stream; the part between the silences."""

    begin: int
    end: int


@dataclass(frozen=True, slots=True)
class Utterance:
    """Speech with silence around it.

    `sound` starts at sample `begin` of the stream; `speech` is where the speech
    lies, `clauses` its parts between short pauses. `over_prompt`: our own voice
    was playing. `cut`: it was too long and goes on. `number` counts utterances from 1.
    `silence_s`: how long nothing was said since; `over`: no more of it will come.
    `settled`: the sample up to which it was decided before, 0 for nowhere. `in_talk`: a
    part of longer talk. `over_talk`: others talk all the time; `among_talk`: and were as loud.
    """

    sound: Samples
    begin: int
    speech: Span
    clauses: tuple[Span, ...]
    over_prompt: bool = False
    cut: bool = False
    number: int = 0
    silence_s: float = 0.0
    over: bool = True
    settled: int = 0
    in_talk: bool = False
    over_talk: bool = False
    among_talk: bool = False

    def near(self) -> Samples:
        """The sound to be judged: over the talk of others little of it around the speech."""
        return self.part(self.speech, CLOSE_S) if self.over_talk else self.sound

    def part(self, span: Span, around_s: float) -> Samples:
        """The sound of one clause and `around_s` on both sides, as far as there is any."""
        pad = int(around_s * RATE)
        return self.sound[max(0, span.begin - pad - self.begin) : span.end + pad - self.begin]

    def later(self) -> tuple[Span, ...]:
        """What was said after the part that was decided before."""
        return tuple(Span(max(c.begin, self.settled), c.end) for c in self.clauses if c.end > self.settled)

    def after(self, earlier: Utterance) -> Utterance | None:
        """`earlier` and this one as one utterance, or None when there is sound missing between them.

        In noise the hissing middle of a phrase ("next step") may pass for silence.
        """
        overlap = earlier.begin + len(earlier.sound) - self.begin
        if overlap < 0 or earlier.begin > self.begin:
            return None
        return Utterance(
            np.concatenate([earlier.sound, self.sound[overlap:]]),
            earlier.begin,
            Span(earlier.speech.begin, self.speech.end),
            earlier.clauses + self.clauses,
            earlier.over_prompt or self.over_prompt,
            over_talk=earlier.over_talk and self.over_talk,
            among_talk=earlier.among_talk and self.among_talk,
        )


class Recent:
    """The last `most` values, kept in order too: one enters and one leaves with every frame (three quantiles of 200
    then take 2 us instead of numpy's 47, fifty times a second)."""

    def __init__(self, most: int) -> None:
        self._most = most
        self._row: deque[float] = deque()
        self._sorted: list[float] = []

    def __len__(self) -> int:
        return len(self._row)

    def add(self, value: float) -> None:
        if len(self._row) == self._most:
            del self._sorted[bisect_left(self._sorted, self._row.popleft())]
        self._row.append(value)
        insort(self._sorted, value)

    def clear(self) -> None:
        self._row.clear()
        self._sorted.clear()

    def quantile(self, share: float) -> float:
        """Between neighbours in proportion, as numpy does it."""
        at = share * (len(self._sorted) - 1)
        low = int(at)
        high = min(low + 1, len(self._sorted) - 1)
        return self._sorted[low] + (at - low) * (self._sorted[high] - self._sorted[low])


class Endpoint:
    """Takes frames of 20 ms, gives utterances."""

    def __init__(self) -> None:
        self._vad = webrtcvad.Vad(AGGRESSIVENESS)
        self._recent = np.full((FLOOR_FRAMES, BANDS), np.inf, np.float32)  # a ring
        self._smooth: Levels | None = None
        self._loud = Recent(TALK_FRAMES)  # level of the whole speech band, dB
        self._break = self._unbroken = 0  # frames without speech, and without a break, by the floor alone
        self._last_loud: deque[float] = deque(maxlen=STOPPED_FRAMES)
        self._quarter_db = -np.inf  # the lower quartile of these levels
        self._over_talk_db = -np.inf  # what is softer is the talk of others
        self._loudest_tenth_db = -np.inf  # of these levels
        self._talk = False  # others talk all the time
        self._votes: deque[bool] = deque(maxlen=OF)
        self._kept: deque[tuple[Samples, bool]] = deque(maxlen=BEFORE_FRAMES + OF)
        self._frames = 0  # seen so far
        self._sound: list[Samples] = []  # of the utterance going on
        self._speech: list[bool] = []
        self._playing: list[bool] = []
        self._asked = 0
        self._settled = 0  # the frame up to which the utterance going on is decided
        self.inside = False
        """An utterance is going on."""
        self.begun = 0
        """How many have begun so far."""

    def feed(
        self, frames: Samples, levels: Levels, leak: Levels | None = None, playing: bool = False
    ) -> Iterator[Utterance]:
        """Take (n, 320) samples and their (n, 8) band levels.

        `leak` (n, 8) is the most that our own voice may have left in them.
        """
        for i in range(len(frames)):
            speech = self._is_speech(frames[i], levels[i], None if leak is None else leak[i])
            self._frames += 1
            found = self._next(frames[i], speech, playing)
            if found is not None:
                yield found

    def floor(self) -> Levels:
        """The noise in each band, dB; infinite before the first frame."""
        floor: Levels = self._recent.min(axis=0) + np.float32(LIFT_DB)
        return floor

    def _is_speech(self, frame: Samples, levels: Levels, leak: Levels | None) -> bool:
        smooth = levels if self._smooth is None else 0.5 * self._smooth + 0.5 * levels
        self._smooth = smooth
        self._recent[self._frames % FLOOR_FRAMES] = smooth
        floor = self.floor()
        if leak is not None:
            floor = np.maximum(floor, leak)
        heard = self._vad.is_speech((np.clip(frame, -1.0, 1.0) * 32767).astype("<i2").tobytes(), RATE)
        above = float(np.partition(smooth - floor, -LOUDEST_BANDS)[-LOUDEST_BANDS:].mean())
        loud = float(_whole_band(smooth))
        speech = bool(heard) and above >= STANDS_OUT_DB
        self._break = 0 if speech else self._break + 1
        self._unbroken = 0 if self._break >= BREAK_FRAMES else self._unbroken + 1
        if leak is None:  # what is left of our own voice is not the talk of others
            self._listen_to_talk(loud)
        return speech and loud >= self._over_talk_db

    def _listen_to_talk(self, loud: float) -> None:
        """What an utterance must be louder than; left alone while one goes on that may be a phrase."""
        self._last_loud.append(loud)
        if max(self._last_loud) < self._quarter_db - STOPPED_DB:
            self._loud.clear()
            self._over_talk_db, self._quarter_db, self._talk, self._unbroken = -np.inf, -np.inf, False, 0
        elif len(self._loud) >= TALK_LEAST_FRAMES and not (
            self.inside and len(self._sound) <= LONGEST_PHRASE_FRAMES
        ):
            softest, quarter = self._loud.quantile(0.05), self._loud.quantile(0.25)
            self._quarter_db, self._loudest_tenth_db = quarter, self._loud.quantile(0.9)
            self._talk = quarter - softest >= TALK_SPREAD_DB or self._unbroken >= UNBROKEN_FRAMES
            self._over_talk_db = quarter + OVER_TALK_DB if self._talk else -np.inf
        self._loud.add(loud)

    def _next(self, frame: Samples, speech: bool, playing: bool) -> Utterance | None:
        if not self.inside:
            self._kept.append((frame, playing))
            self._votes.append(speech)
            if sum(self._votes) >= ONSET:
                self.inside = True
                self.begun += 1
                votes = list(self._votes)
                self._sound = [f for f, _ in self._kept]
                self._playing = [p for _, p in self._kept]
                self._speech = [False] * (len(self._sound) - len(votes)) + votes
            return None
        self._sound.append(frame)
        self._speech.append(speech)
        self._playing.append(playing)
        silent = _silent(self._speech)
        begin = self._frames - len(self._sound)
        news = self._settled <= begin or any(self._speech[self._settled - begin :])
        if silent >= (SILENCE_FRAMES if news else SETTLED_FRAMES):
            found = self._utterance(cut=False) if news else None
            self.forget()
            return found
        if silent in LOOK_FRAMES and news:
            return self._utterance(cut=False, over=False)
        if len(self._sound) >= LONGEST_FRAMES:
            found = self._utterance(cut=True)
            for row in (self._sound, self._speech, self._playing):
                del row[:-OVERLAP_FRAMES]
            self._asked = min(self._asked, OVERLAP_FRAMES)
            return found
        return None

    def new_sound(self) -> Samples:
        """What of the utterance that is going on was not asked for before; empty outside one."""
        new = self._sound[self._asked :]
        self._asked = len(self._sound)
        return np.concatenate(new) if new else np.zeros(0, np.float32)

    def so_far(self) -> Utterance | None:
        """The utterance that is going on, as if it ended here; None when there is too little of it."""
        return self._utterance(cut=False) if self.inside else None

    def settle(self) -> None:
        """What was said so far is decided; only what may follow within the same breath is handed out again."""
        self._settled = self._frames

    def forget(self) -> None:
        """Drop the utterance that is going on."""
        tail = list(zip(self._sound, self._playing, strict=True))[-BEFORE_FRAMES:]
        self.inside = False
        self._kept.clear()
        self._kept.extend(tail)
        self._votes.clear()
        self._sound, self._speech, self._playing = [], [], []
        self._asked = 0
        self._settled = 0

    def _utterance(self, *, cut: bool, over: bool = True) -> Utterance | None:
        if sum(self._speech) < LEAST_FRAMES:
            return None
        start = self._frames - len(self._sound)
        runs = _runs(self._speech)
        spans = tuple(Span((start + a) * FRAME, (start + b) * FRAME) for a, b in runs)
        sound = np.concatenate(self._sound)
        return Utterance(
            sound,
            start * FRAME,
            Span(spans[0].begin, spans[-1].end),
            spans,
            any(self._playing[runs[0][0] : runs[-1][1]]),
            cut,
            self.begun,
            _silent(self._speech) * FRAME / RATE,
            over,
            self._settled * FRAME if self._settled > start else 0,
            over_talk=self._talk,
            among_talk=self._talk and not self._rises(sound[runs[0][0] * FRAME : runs[-1][1] * FRAME]),
        )

    def _rises(self, spoken: Samples) -> bool:
        """Louder than the talk that went before."""
        levels = _whole_band(band_levels(spoken.reshape(-1, FRAME)))
        return float(np.percentile(levels, 75)) >= self._loudest_tenth_db + RISES_DB


def _whole_band(levels: Levels) -> NDArray[np.float32]:
    """dB of all bands together, of (n, 8) or (8,) band levels."""
    whole: NDArray[np.float32] = 10.0 * np.log10(np.sum(10.0 ** (levels / 10.0), axis=-1))
    return whole


def _silent(speech: list[bool]) -> int:
    """How many frames since the last speech."""
    for ago, spoken in enumerate(reversed(speech)):
        if spoken:
            return ago
    return len(speech)


def _runs(speech: list[bool]) -> list[tuple[int, int]]:
    """Stretches of speech without a pause of PAUSE_FRAMES, as frame numbers from and to."""
    runs: list[tuple[int, int]] = []
    for i, spoken in enumerate(speech):
        if not spoken:
            continue
        if runs and i - runs[-1][1] < PAUSE_FRAMES:
            runs[-1] = (runs[-1][0], i + 1)
        else:
            runs.append((i, i + 1))
    return runs
