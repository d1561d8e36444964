"""What a screen is told of a state: true, and nothing that would not be heard."""

from __future__ import annotations

import pytest

from assistant.core.session import STOPS, Cream, Stance, live_names, view
from tests.programs import ROUTINES, kinds, program
from tests.walker import Walk


@pytest.mark.parametrize("name", ROUTINES)
def test_what_is_shown_as_an_answer_would_be_heard(name: str) -> None:
    """In every kind of state: each phrase on the screen is live there, the stop phrase among them."""
    made, shown = program(name), set()
    for reached in kinds(name):
        state = reached.state
        live = {p.text for p in made.book.live(live_names(made, state), made.zones)}
        told = view(made, state)
        for words in (*told.answers, *filter(None, [told.stop])):
            number = words.partition("...")
            assert words in live or any(text.startswith(number[0]) for text in live if number[1]), (
                state.stance,
                words,
            )
            shown.add(words)
        if state.cream is Cream.HEAD and state.call is None:
            assert told.stop == made.book.taught(STOPS[0])
    assert {"water is running", "it runs clear", "next step", "the timer says ..."} <= shown


def test_each_of_the_two_is_asked_for_their_own_answer() -> None:
    """Once one is ready only the other's phrase is shown; alone, nobody waits for a helper's."""
    walk = Walk(program()).to(Stance.BOTH)
    told = view(walk.program, walk.state)
    assert (told.asks, told.answers) == ("both", ("i am ready", "helper is ready"))
    walk.hear("person_ready")
    assert view(walk.program, walk.state).answers == ("helper is ready",)


def test_the_clocks_of_a_rinse_call() -> None:
    """Before it what is left; from it on how long it has sounded; the cream's own clock until it is out."""
    walk = Walk(program()).to(Stance.COVERING)
    before = view(walk.program, walk.state)
    assert before.call_in_s is not None and before.called_s is None
    walk.hear("it_burns")
    walk.hear("say_again", after=4.0)
    called = view(walk.program, walk.state)
    assert (called.call_in_s, called.called_s, called.stop, called.chance) == (None, 4.0, "", None)
    assert called.cream_on_s is not None
    walk.go(lambda state: state.cream is Cream.RINSED)
    assert view(walk.program, walk.state).cream_on_s is None
