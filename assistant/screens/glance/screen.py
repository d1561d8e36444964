"""What the page shows, kept newest for whoever reads it. Meets `ports.Screen`.

The loop only ever puts values on a board; browsers take them from there in
threads of their own. Called by the app like any other screen.
"""

from __future__ import annotations

import time
from collections import deque
from collections.abc import Callable
from dataclasses import dataclass
from itertools import groupby
from types import TracebackType

from assistant.core.actions import Priority, Say
from assistant.core.session import View
from assistant.screens.glance.board import Board
from assistant.screens.glance.legible import DIAGONAL_IN, DISTANCE_M, styles
from assistant.screens.glance.server import PageServer
from assistant.screens.harmless import harmless
from assistant.screens.words import BECAME, STANDS, as_written, forecast_words

BEAT_S = 1.0
"""The clocks are sent this often; between two of them the page counts by itself."""
SOONEST_S = 0.1
"""Clocks that jump are sent no more often than this: a rehearsal's run fifty times as fast as the page counts."""
JUMP_S = 0.25
"""A clock this far from where the page has it by now has jumped."""
ALERT_STANDS_S = 20.0
"""A caution or warning stays this long beside the words that come after it, or until it is answered or the step
changes (our choice; 14 CFR 25.1322 takes an alert away when its cause ends)."""
KEYS_KEPT = 64


@dataclass(frozen=True, slots=True)
class _Alert:
    """A caution or warning: since when on the run clock, in which step, what it asks, and how it is shown."""

    since: float
    number: int
    asks: str
    shown: dict[str, object]


class GlanceScreen:
    """Meets `ports.Screen`. Use it in a `with` block, or `open` and `close` it.

    `diagonal_in` is the screen's diagonal in inches and `distance_m` how far away
    it is read. `rehearsal`: the page says that it is one. `what` is on the head. `now` is a clock in seconds.
    """

    def __init__(
        self,
        *,
        diagonal_in: float = DIAGONAL_IN,
        distance_m: float = DISTANCE_M,
        rehearsal: bool = False,
        what: str = "cream",
        now: Callable[[], float] = time.monotonic,
    ) -> None:
        """Raises ValueError for a size or distance that is not above zero."""
        self._styles = styles(diagonal_in, distance_m)
        self._now = now
        self.board = Board(now)
        self._server: PageServer | None = None
        self._keys: deque[str] = deque(maxlen=KEYS_KEPT)
        self._sent = float("-inf")
        self._clocks: tuple[float | None, float | None] = (None, None)
        self._said: dict[str, object] = {}
        self._alert: _Alert | None = None
        self._number, self._asks = 0, ""
        self._called: float | None = None
        self.board.put(
            rehearsal=rehearsal, what=what, stand="ready", cream_on_s=None, call_in_s=None, called_s=None,
            title="", number=0, steps=0, zone="", answers=[], stop="", forecast="",
            said=None, alert=None, heard=None,
        )  # fmt: skip

    # -- the loop's side ---------------------------------------------------------------

    def said(self, t: float, prompt: Say) -> None:
        shown: dict[str, object] = {
            "level": prompt.priority.name.lower().replace("_", " "),
            "lines": [
                harmless(" ".join(s.text for s in some))
                for _, some in groupby(prompt.sentences, key=lambda s: s.voice)
            ],
        }
        if prompt.priority in (Priority.WARNING, Priority.CAUTION):
            self._alert = _Alert(t, self._number, prompt.asks, shown)
        elif prompt.priority is Priority.RINSE_CALL:
            self._alert = None  # nothing beside it
        self._said = shown
        self.board.put(said=shown, alert=self._standing_alert(t))

    def heard(self, t: float, words: str, verdict: str) -> None:
        self.board.put(
            heard={
                "words": harmless(as_written(words)),
                "became": BECAME.get(verdict, harmless(str(verdict))),
            }
        )

    def stands(self, t: float, view: View) -> None:
        self._number, self._asks = view.number, view.asks
        self._called = None if view.called_s is None else t - view.called_s
        title = view.where.partition(": ")[2]
        self.board.put_clocks(
            stand=STANDS.get(view.stance, "work"),
            cream_on_s=view.cream_on_s,
            call_in_s=view.call_in_s,
            called_s=view.called_s,
            title=harmless(title),
            number=view.number,
            steps=view.steps,
            zone=harmless(view.zone),
            answers=[harmless(as_written(answer)) for answer in view.answers],
            stop=harmless(view.stop),
            forecast=forecast_words(view.chance, view.will_not_fit),
            alert=self._standing_alert(t),
        )
        self._clocks_are(view.cream_on_s, view.call_in_s)

    def clock(self, t: float, cream_on_s: float | None, due_in_s: float | None, where: str) -> None:
        now = self._now()
        quiet_s = now - self._sent
        if quiet_s < SOONEST_S or (quiet_s < BEAT_S and not self._jumped(now, cream_on_s, due_in_s)):
            return
        called_s = None if self._called is None else t - self._called
        self.board.put_clocks(
            cream_on_s=cream_on_s, call_in_s=due_in_s, called_s=called_s, alert=self._standing_alert(t)
        )
        self._clocks_are(cream_on_s, due_in_s)

    def _clocks_are(self, cream_on_s: float | None, due_in_s: float | None) -> None:
        self._sent = self._now()
        self._clocks = (cream_on_s, due_in_s)

    def _jumped(self, now: float, cream_on_s: float | None, due_in_s: float | None) -> bool:
        """Whether a page that counts on from the last values would be wrong."""
        passed = now - self._sent
        for was, now_is, way in zip(self._clocks, (cream_on_s, due_in_s), (1, -1), strict=True):
            if (was is None) != (now_is is None):
                return True
            if was is not None and now_is is not None and abs(was + way * passed - now_is) > JUMP_S:
                return True
        return False

    def _standing_alert(self, t: float) -> dict[str, object] | None:
        """The last caution or warning while it stands beside what was said after it."""
        alert = self._alert
        if alert is None or alert.shown is self._said:
            return None
        answered = alert.asks not in ("", self._asks)
        if answered or alert.number != self._number or t - alert.since > ALERT_STANDS_S:
            self._alert = None
            return None
        return alert.shown

    # -- the browser's side ------------------------------------------------------------

    def open(self) -> str:
        """Begin to serve the page; its address, with a secret word in it. Raises OSError without a free port."""
        if self._server is None:
            self._server = PageServer(self.board, self._styles, self._keys.append)
        return self._server.url

    def typed(self) -> list[str]:
        """Names of the keys typed at the page since the last call, as browsers name them (UI Events, `key`)."""
        found = []
        while self._keys:
            found.append(self._keys.popleft())
        return found

    def close(self) -> None:
        """Stop serving the page; without cream on, it says that the run is over. A second time does nothing."""
        server, self._server = self._server, None
        if server is not None:
            if self._clocks[0] is None:  # with cream on, the page counts on and says that it is old
                self.board.put(stand="ended")
            server.close()

    def __enter__(self) -> GlanceScreen:
        self.open()
        return self

    def __exit__(
        self, kind: type[BaseException] | None, error: BaseException | None, trace: TracebackType | None
    ) -> None:
        self.close()
