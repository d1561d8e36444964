"""From the two streams of sound to hypotheses: echo, endpoint and engine put together.

What the microphone gave is freed of our own voice, cut into utterances and
handed to the engine. Meets `ports.Ears`; the same samples in give the same
hypotheses out. Made by `ears.choose`, fed by `app.loop` and by the room.
"""

from __future__ import annotations

from collections import deque
from collections.abc import Iterable, Iterator, Sequence
from dataclasses import replace

import numpy as np

from assistant.core.hearing import (
    SHORT_SILENCE_S,
    Hypothesis,
    LivePhrase,
    Risk,
    Verdict,
    decide,
    settled,
)
from assistant.ears.bands import FRAME, band_levels
from assistant.ears.echo import CHANCE_S, TAIL_S, Canceller, Leak, is_ours
from assistant.ears.endpoint import Endpoint, Utterance
from assistant.ears.engine import Engine, Guess
from assistant.ports import RATE, Samples

AROUND_CLAUSE_S = 0.25
"""Sound kept on both sides of a clause; less than this misses more (0.06 s: three times as many)."""
CLAUSE_S = (0.2, 2.6)
"""A clause outside this is no stop phrase."""
LONGEST_LOOKED_AT_S = 2.4
"""Speech longer than this is talk or nearly so: it is not looked at before it is over, which keeps the cost of
talk low."""
LONG_TALK_S = 4.6
"""More speech than this without a pause is no phrase; only its clauses are looked at."""
REMEMBER_S = 8.0
"""How long what was played is remembered, to be compared with what was heard."""
TAIL_FRAMES = int(TAIL_S * RATE) // FRAME


class Listening:
    """Meets `ports.Ears`."""

    def __init__(self, engine: Engine) -> None:
        self.name = engine.name
        self._engine = engine
        self._endpoint = Endpoint()
        self._canceller = Canceller()
        self._leak = Leak()
        self._heard = np.zeros(0, np.float32)  # not yet a whole frame
        self._played = np.zeros(0, np.float32)
        self._taken = 0  # samples given to the endpoint
        self._tail = 0  # frames for which our voice may still be heard
        self._memory: deque[Samples] = deque(
            maxlen=int(REMEMBER_S * RATE) // FRAME
        )  # frames of what was played
        self._before: Utterance | None = None  # the last one, when it was no phrase
        self._beginnings: set[str] = set()  # phrases that may go on and mean something else
        self._begun = 0  # the number of the utterance the engine was last told of
        self._decided = 0  # the number of the last one that was decided before its end

    def fresh(self) -> Listening:
        """Ears that have heard nothing yet, with the same engine."""
        return Listening(self._engine)

    def allow(self, phrases: Sequence[LivePhrase]) -> None:
        self._engine.allow(phrases)
        self._beginnings = {
            short.text
            for short in phrases
            if any(p.text.startswith(short.text + " ") and _meaning(p) != _meaning(short) for p in phrases)
        }

    def unknown_words(self, words: Iterable[str]) -> tuple[str, ...]:
        return self._engine.unknown_words(words)

    def feed(self, heard: Samples, played: Samples, t_end: float) -> list[Hypothesis]:
        if len(heard) != len(played):
            raise ValueError(f"{len(heard)} samples heard, {len(played)} played in the same time")
        self._heard = np.concatenate([self._heard, np.asarray(heard, np.float32)])
        self._played = np.concatenate([self._played, np.asarray(played, np.float32)])
        whole = len(self._heard) // FRAME * FRAME
        frames, self._heard = self._heard[:whole].reshape(-1, FRAME), self._heard[whole:]
        ours, self._played = self._played[:whole].reshape(-1, FRAME), self._played[whole:]
        since = (self._taken + whole + len(self._heard)) / RATE  # seconds since the stream's first sample
        start = t_end - since
        found: list[Hypothesis] = []
        for utterance, guess in self._utterances(frames, ours):
            if guess is None:
                found += self._judged(utterance, start)
            else:
                found.append(_hypothesis(self.name, guess, utterance, start))
        return found

    def _utterances(self, frames: Samples, ours: Samples) -> Iterator[tuple[Utterance, Guess | None]]:
        """Utterances as they end; with a Guess where the engine was sure before the end."""
        sounding = np.any(ours != 0, axis=1)
        at = 0
        while at < len(frames):
            if sounding[at]:
                self._tail = TAIL_FRAMES
            if self._tail == 0:  # nothing of ours in the room: all the frames up to our next word at once
                ahead = np.flatnonzero(sounding[at:])
                stop = at + int(ahead[0]) if len(ahead) else len(frames)
                found = self._endpoint.feed(frames[at:stop], band_levels(frames[at:stop]))
            else:
                stop = at + 1
                self._tail -= 1
                found = self._over_prompt(frames[at], ours[at])
            self._memory.extend(ours[at:stop])
            self._taken += (stop - at) * FRAME
            at = stop
            for utterance in found:
                if utterance.number != self._decided and (utterance.over or self._engine.early):
                    yield utterance, None
            if self._endpoint.inside:
                yield from self._going_on()

    def _going_on(self) -> Iterator[tuple[Utterance, Guess]]:
        """The utterance that is not over yet, when the engine is already sure of it."""
        if self._begun != self._endpoint.begun:
            self._begun = self._endpoint.begun
            self._engine.begin()
        if self._decided == self._begun:
            return
        guess = self._engine.more(self._endpoint.new_sound())
        going_on = self._endpoint.so_far() if guess is not None else None
        if guess is not None and going_on is not None:
            self._decided = self._begun
            yield going_on, guess

    def _over_prompt(self, frame: Samples, ours: Samples) -> Iterator[Utterance]:
        clean = self._canceller.clean(frame, ours)[None]
        both = band_levels(np.concatenate([clean, ours[None]]))
        most = self._leak.most(both[1])
        yield from self._endpoint.feed(clean, both[:1], most[None], playing=True)
        if not self._endpoint.inside:
            self._leak.learn(both[0], self._endpoint.floor())

    def _judged(self, utterance: Utterance, start: float) -> list[Hypothesis]:
        if not utterance.over:
            return self._looked_at(utterance, start)
        if utterance.settled:
            stop = self._stop_within(replace(utterance, clauses=utterance.later()))
            if stop is None or self._is_our_own(*stop):
                return []
            return [_hypothesis(self.name, stop[1], stop[0], start)]
        earlier, self._before = self._before, None
        guess = Guess(None, float("-inf"), 0.0)
        if _seconds(utterance) <= LONG_TALK_S and not utterance.cut:
            guess = self._engine.judge(utterance.near())
            both = utterance.after(earlier) if earlier is not None else None
            if not _accepted(guess) and both is not None and _seconds(both) <= LONG_TALK_S:
                joined = self._engine.judge(both.near())
                if _accepted(joined):
                    utterance, guess = both, joined
            if not _accepted(guess):
                self._before = utterance
        if not _accepted(guess) and (len(utterance.clauses) > 1 or utterance.cut):
            stop = self._stop_within(utterance)
            if stop is not None:
                utterance, guess = stop
        if self._is_our_own(utterance, guess):
            return []
        return [_hypothesis(self.name, guess, utterance, start)]

    def _looked_at(self, utterance: Utterance, start: float) -> list[Hypothesis]:
        """An utterance that may not be over: decided when it is sure enough for so short a silence."""
        if utterance.cut or utterance.settled or _seconds(utterance) > LONGEST_LOOKED_AT_S:
            return []
        guess = self._engine.judge(utterance.near(), quick=utterance.silence_s < SHORT_SILENCE_S)
        if not _accepted(guess) or guess.best is None:
            return []
        hypothesis = _hypothesis(self.name, guess, utterance, start)
        grows = guess.best.text in self._beginnings
        if not settled(hypothesis, utterance.silence_s, grows=grows):
            return []
        if self._is_our_own(utterance, guess):
            return []
        self._endpoint.settle()
        self._before = None
        return [hypothesis]

    def _stop_within(self, utterance: Utterance) -> tuple[Utterance, Guess] | None:
        """The first clause that is a stop phrase by itself, with its guess."""
        for span in utterance.clauses:
            if not CLAUSE_S[0] <= (span.end - span.begin) / RATE <= CLAUSE_S[1]:
                continue
            guess = self._engine.judge(utterance.part(span, AROUND_CLAUSE_S))
            if guess.best is None or guess.best.risk is not Risk.STOP or not _accepted(guess):
                continue
            part = replace(utterance, speech=span, clauses=(span,), in_talk=True)
            if decide(_hypothesis(self.name, guess, part, 0.0)) is Verdict.BELIEVE:
                return part, guess
        return None

    def _is_our_own(self, utterance: Utterance, guess: Guess) -> bool:
        """It sounds like what we played at that time, or the same is heard in that. The latter, which goes by words,
        is never asked of a stop phrase."""
        if not utterance.over_prompt or guess.best is None or not _accepted(guess):
            return False
        ours = self._ours_within(utterance.begin, utterance.begin + len(utterance.sound))
        if not ours.any():
            return False
        speech = utterance.speech
        played = self._ours_within(speech.begin - int(CHANCE_S[1] * RATE), speech.end)
        if is_ours(utterance.part(speech, 0.0), played):
            return True
        if guess.best.risk is Risk.STOP:
            return False
        said = self._engine.judge(ours)
        return _accepted(said) and said.best is not None and _meaning(said.best) == _meaning(guess.best)

    def _ours_within(self, begin: int, end: int) -> Samples:
        """What we played from sample `begin` of the stream to `end`, as far back as it is remembered."""
        first = (self._taken - begin) // FRAME
        frames = list(self._memory)[-first:]
        kept = np.concatenate(frames) if frames else np.zeros(0, np.float32)
        return kept[: len(kept) - max(0, self._taken - end)]


def _seconds(utterance: Utterance) -> float:
    return (utterance.speech.end - utterance.speech.begin) / RATE


def _meaning(phrase: LivePhrase) -> tuple[str, str]:
    return phrase.name, phrase.slot


def _accepted(guess: Guess) -> bool:
    return guess.best is not None and guess.score >= guess.accept_at


def _hypothesis(name: str, guess: Guess, utterance: Utterance, start: float) -> Hypothesis:
    spoken = utterance.part(utterance.speech, 0.0)
    power = float(np.mean(spoken.astype(np.float64) ** 2)) if len(spoken) else 0.0
    return Hypothesis(
        t_begin=start + utterance.speech.begin / RATE,
        t_end=start + utterance.speech.end / RATE,
        best=guess.best,
        score=guess.score,
        accept_at=guess.accept_at,
        free_gap=guess.free_gap,
        agreed=guess.agreed,
        runner_up=guess.runner_up,
        runner_up_gap=guess.runner_up_gap,
        over_prompt=utterance.over_prompt,
        in_talk=utterance.in_talk,
        among_talk=utterance.among_talk,
        level_db=float(10 * np.log10(power + 1e-12)),
        engine=name,
    )
