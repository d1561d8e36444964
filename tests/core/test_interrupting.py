"""Who may interrupt whom, over every pair of priorities and in random walks.

Order of the alert levels: 14 CFR 25.1322. That a warning interrupts what is less urgent, and that the
interrupted may repeat, is from memory.
"""

from __future__ import annotations

import itertools

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from assistant.core.actions import Priority, Say, Sentence
from assistant.core.interrupting import Change, Queue, drop, ended, say


def prompt(
    priority: Priority, name: str = "", about: str = "", *, alarm: bool = False, level: float = 1.0
) -> Say:
    words = name or priority.name.lower()
    return Say(words, (Sentence(words),), priority, about or words, level, alarm)


def queue_of(*prompts: Say) -> Queue:
    queue = Queue()
    for each in prompts:
        queue = say(queue, each).queue
    return queue


PAIRS = list(itertools.product(Priority, Priority))


@pytest.mark.parametrize(("first", "second"), PAIRS)
def test_pair(first: Priority, second: Priority) -> None:
    """The second cuts the first only when it matters more; both are said in the end."""
    a, b = prompt(first, "a"), prompt(second, "b")
    change = say(queue_of(a), b)
    if second < first:
        assert change == Change(Queue(b, (a,)), cut=a, begins=b)
    else:
        assert change == Change(Queue(a, (b,)))
    after = ended(change.queue)
    left = a if second < first else b
    assert after == Change(Queue(left), begins=left)


@pytest.mark.parametrize(("first", "second", "third"), list(itertools.product(Priority, repeat=3)))
def test_waiting_play_by_priority_then_by_turn(first: Priority, second: Priority, third: Priority) -> None:
    """Behind something that plays, what waits is ordered by what matters, equals in the order of arrival."""
    top = prompt(Priority.RINSE_CALL, "top")
    arrivals = [prompt(p, name) for p, name in zip((first, second, third), "abc", strict=True)]
    assert queue_of(top, *arrivals).waiting == tuple(sorted(arrivals, key=lambda p: p.priority))


@pytest.mark.parametrize(("first", "second"), [(a, b) for a, b in PAIRS if b < a])
def test_interrupted_is_said_again_before_its_equals(first: Priority, second: Priority) -> None:
    a, equal, more = prompt(first, "a"), prompt(first, "equal"), prompt(second, "more")
    queue = say(queue_of(a, equal), more).queue
    assert queue.waiting == (a, equal)
    assert ended(queue).begins == a


@pytest.mark.parametrize(("first", "second"), [(a, b) for a, b in PAIRS if b < a])
def test_interrupted_is_not_said_again_when_it_holds_no_longer(first: Priority, second: Priority) -> None:
    queue = say(queue_of(prompt(first, "a", "crown")), prompt(second, "b")).queue
    after = drop(queue, "crown")
    assert after == Change(Queue(prompt(second, "b")))
    assert ended(after.queue) == Change(Queue())


@pytest.mark.parametrize("priority", list(Priority))
def test_dropped_while_playing_is_cut_and_the_next_begins(priority: Priority) -> None:
    a, b = prompt(priority, "a", "crown"), prompt(priority, "b", "nape")
    assert drop(queue_of(a, b), "crown") == Change(Queue(b), cut=a, begins=b)
    assert drop(queue_of(a), "crown") == Change(Queue(), cut=a)
    assert drop(queue_of(a, b), "nape") == Change(Queue(a))
    assert drop(queue_of(a, b), "else") == Change(Queue(a, (b,)))


def test_three_deep_interruption_unwinds() -> None:
    a, b, c = prompt(Priority.INFORMATION), prompt(Priority.CAUTION), prompt(Priority.RINSE_CALL)
    queue = queue_of(a, b, c)
    assert queue == Queue(c, (b, a))
    queue = ended(queue).queue
    assert queue == Queue(b, (a,))
    assert ended(queue).queue == Queue(a)


@pytest.mark.parametrize("priority", list(Priority))
def test_identical_does_not_wait_twice(priority: Priority) -> None:
    playing, twice = prompt(Priority.RINSE_CALL, "playing"), prompt(priority, "twice")
    assert say(queue_of(playing, twice), twice) == Change(queue_of(playing, twice))


def test_what_plays_may_be_said_once_more() -> None:
    """Asked to say it again while it still plays, it is said again."""
    a = prompt(Priority.INSTRUCTION)
    assert say(queue_of(a), a) == Change(Queue(a, (a,)))


def test_said_once_more_and_interrupted_waits_once() -> None:
    a, more = prompt(Priority.INSTRUCTION), prompt(Priority.WARNING)
    assert say(queue_of(a, a), more).queue == Queue(more, (a,))


def test_calls_never_cut_each_other_and_the_newest_waits() -> None:
    soft, louder, loudest = (
        prompt(Priority.RINSE_CALL, "call", "call", alarm=True, level=level) for level in (0.6, 0.8, 1.0)
    )
    change = say(queue_of(soft, louder), loudest)
    assert change == Change(Queue(soft, (loudest,)))
    assert ended(change.queue).begins == loudest


def test_a_newer_call_leaves_words_that_go_with_the_call_and_other_calls() -> None:
    call = prompt(Priority.RINSE_CALL, "call", "call", alarm=True, level=0.6)
    order = prompt(Priority.RINSE_CALL, "order", "call")
    other = prompt(Priority.RINSE_CALL, "harm", "rinse", alarm=True)
    newer = prompt(Priority.RINSE_CALL, "call", "call", alarm=True)
    assert say(queue_of(call, order, other), newer).queue == Queue(call, (order, other, newer))
    assert say(queue_of(prompt(Priority.RINSE_CALL, "x"), call, order), newer).queue.waiting == (newer, order)


@pytest.mark.parametrize("less", [Priority.INSTRUCTION, Priority.INFORMATION])
def test_instructions_and_information_wait_for_a_call(less: Priority) -> None:
    """While a call plays or waits nothing of less weight is heard."""
    first = prompt(Priority.RINSE_CALL, "first", alarm=True)
    second = prompt(Priority.RINSE_CALL, "second", alarm=True)
    queue = say(queue_of(first, second), prompt(less)).queue
    queue = ended(queue).queue
    assert queue.playing == second
    assert ended(queue).begins == prompt(less)


def test_nothing_can_end_when_nothing_plays() -> None:
    assert Queue().idle
    assert not queue_of(prompt(Priority.INSTRUCTION)).idle
    with pytest.raises(ValueError, match="nothing was playing"):
        ended(Queue())


steps = st.lists(
    st.one_of(
        st.tuples(
            st.just("say"),
            st.sampled_from(list(Priority)),
            st.sampled_from("abc"),
            st.sampled_from(["x", "y"]),
            st.booleans(),
        ),
        st.tuples(st.just("drop"), st.sampled_from(["x", "y"])),
        st.tuples(st.just("ended")),
    ),
    max_size=30,
)


@settings(max_examples=300, deadline=None)
@given(steps)
def test_always(walk: list[tuple[object, ...]]) -> None:
    """After every step: what plays matters most, what waits is in order, and nothing got lost."""
    queue = Queue()
    for step in walk:
        before = queue
        if step[0] == "say":
            _, priority, name, about, alarm = step
            assert isinstance(priority, Priority)
            new = prompt(priority, str(name), str(about), alarm=bool(alarm))
            change = say(queue, new)
            after = (change.queue.playing, *change.queue.waiting)
            assert new in after
            replaced = [p for p in before.waiting if p not in after]
            assert all(p.priority is Priority.RINSE_CALL and p.alarm and new.alarm for p in replaced)
            assert len(replaced) <= 1
            if change.cut is not None:
                assert change.cut.priority > new.priority
                assert change.cut in change.queue.waiting
        elif step[0] == "drop":
            change = drop(queue, str(step[1]))
            left = [p for p in (change.queue.playing, *change.queue.waiting) if p is not None]
            held = [p for p in (before.playing, *before.waiting) if p is not None and p.about != step[1]]
            assert left == held
        else:
            if queue.playing is None:
                continue
            change = ended(queue)
            assert change.cut is None
        queue = change.queue
        ranks = [p.priority for p in (queue.playing, *queue.waiting) if p is not None]
        assert ranks == sorted(ranks)
        assert len(set(queue.waiting)) == len(queue.waiting)
        assert queue.playing is not None or not queue.waiting
        assert change.begins in (None, queue.playing)
        assert (change.begins is not None) or queue.playing == before.playing or queue.playing is None
