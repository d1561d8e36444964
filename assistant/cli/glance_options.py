"""The options of the glance screen, and the screens a walk is shown on by them. Used by `run` and `rehearse`."""

from __future__ import annotations

import argparse
import contextlib
import math
import sys
from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from assistant.ports import Keys, Screen
    from assistant.screens.glance.screen import GlanceScreen

PAGE, TERMINAL = "page", "terminal"
DIAGONAL_IN, DISTANCE_M = 14.0, 2.0
"""As in `screens.glance.legible`, which is not imported for a help text."""


def add_glance(command: argparse.ArgumentParser) -> None:
    command.add_argument(
        "--glance",
        action="store_true",
        help="very big type to be read from across the room: a page that opens in the browser, or the whole terminal where "
        "there is none",
    )
    command.add_argument(
        "--glance-on",
        choices=(PAGE, TERMINAL),
        help="the same, on this: 'page' opens nothing and prints the page's address, 'terminal' wants no browser",
    )
    command.add_argument(
        "--glance-inches",
        type=_above_zero,
        default=DIAGONAL_IN,
        metavar="INCHES",
        help="the screen's diagonal, from which the page's letters get their height (default: %(default)g, a usual laptop)",
    )
    command.add_argument(
        "--glance-metres",
        type=_above_zero,
        default=DISTANCE_M,
        metavar="METRES",
        help="how far away the page is read (default: %(default)g)",
    )


def _above_zero(text: str) -> float:
    try:
        value = float(text)
    except ValueError:
        value = math.nan
    if not 0 < value < math.inf:
        raise argparse.ArgumentTypeError(f"'{text}' is not a number above zero")
    return value


@dataclass(frozen=True)
class Shown:
    """`screen` shows the walk; `address` is the glance page's ("" without one)."""

    screen: Screen
    address: str = ""
    page: GlanceScreen | None = None

    def with_page(self, keys: Keys) -> Keys:
        """`keys` and those typed at the page."""
        from assistant.app.glance import PageKeys

        return keys if self.page is None else PageKeys(keys, self.page)


@contextlib.contextmanager
def shown_on(
    chosen: argparse.Namespace,
    *,
    people: Mapping[str, str],
    rehearsal: bool = False,
    what: str = "cream",
    quiet: contextlib.AbstractContextManager[Screen] | None = None,
) -> Iterator[Shown]:
    """The terminal's screen and, where asked for, the glance screen beside it or in its place.

    `what` is on the head. `quiet` stands in for the terminal's screen where the walk itself is not to be shown there.
    What cannot be had is left out, with a word about it.
    """
    from assistant.app.glance import open_browser
    from assistant.screens.terminal import TerminalScreen

    with contextlib.ExitStack() as stack:
        page = None
        terminal_is_free = quiet is None and sys.stdout.isatty()
        on_terminal = chosen.glance_on == TERMINAL
        if chosen.glance_on == PAGE or (chosen.glance and not on_terminal):
            page = _page(chosen, stack, rehearsal, what)
            opened = page is not None and chosen.glance_on != PAGE and open_browser(page.open())
            if chosen.glance_on != PAGE and not opened and terminal_is_free:
                if page is not None:
                    page.close()
                page, on_terminal = None, True
            elif page is not None:
                told = f"The glance page, for a browser on this machine (F11: whole screen): {page.open()}"
                print(told, file=sys.stderr, flush=True)
        if on_terminal and terminal_is_free:
            from assistant.screens.big_type import BigTypeScreen

            yield Shown(stack.enter_context(BigTypeScreen(sys.stdout, rehearsal=rehearsal, what=what)))
            return
        if on_terminal:
            print("The big screen needs a terminal to itself; it is left out.", file=sys.stderr)
        lines = quiet or TerminalScreen(sys.stdout, people=people, rehearsal=rehearsal, what=what)
        terminal: Screen = stack.enter_context(lines)
        if page is None:
            yield Shown(terminal)
            return
        from assistant.screens.several import SeveralScreens

        yield Shown(SeveralScreens(terminal, page), page.open(), page)


def _page(
    chosen: argparse.Namespace, stack: contextlib.ExitStack, rehearsal: bool, what: str
) -> GlanceScreen | None:
    """The page, served; None where it cannot be: a run, above all one with cream on, does not wait for a picture of it."""
    from assistant.screens.glance.screen import GlanceScreen

    page = GlanceScreen(
        diagonal_in=chosen.glance_inches, distance_m=chosen.glance_metres, rehearsal=rehearsal, what=what
    )
    try:
        return stack.enter_context(page)
    except OSError as error:
        print(f"The glance page cannot be shown: {error}. All else goes on without it.", file=sys.stderr)
        return None
