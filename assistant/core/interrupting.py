"""Who may interrupt whom: rinse call, warning, caution, instruction, information, in this order.

One prompt plays, the others wait. Values in, values out: a `Queue` and what
happens to it give a `Change`: the new queue, what must be cut short and what
begins. Here no sound and no time. Called by `mouth.mixer`.

- What matters more interrupts what matters less; equals wait their turn.
- What was interrupted goes to the head of its equals and is said again from its
  start, unless a `Drop` takes it away meanwhile.
- Rinse calls never cut each other. A newer one (with its tone, about the same)
  takes the place of one that still waits, so that calls that grow do not pile up.
- What waits already, word for word, does not wait twice.
- So while a rinse call plays or waits, instructions and information wait.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

from assistant.core.actions import Priority, Say


@dataclass(frozen=True, slots=True)
class Queue:
    """What plays now, and what waits in the order in which it will play."""

    playing: Say | None = None
    waiting: tuple[Say, ...] = ()

    @property
    def idle(self) -> bool:
        return self.playing is None and not self.waiting


@dataclass(frozen=True, slots=True)
class Change:
    """The queue afterwards; `cut` was playing and stops now; `begins` plays from its start now."""

    queue: Queue
    cut: Say | None = None
    begins: Say | None = None


def say(queue: Queue, prompt: Say) -> Change:
    """A new prompt arrives."""
    if prompt in queue.waiting:
        return Change(queue)
    playing = queue.playing
    if playing is not None and prompt.priority < playing.priority:
        others = tuple(p for p in queue.waiting if p != playing)
        waiting = _insert(others, playing, before_equals=True)
        return Change(Queue(prompt, waiting), cut=playing, begins=prompt)
    for at, old in enumerate(queue.waiting):
        if _is_call(prompt) and _is_call(old) and old.about == prompt.about:
            return Change(replace(queue, waiting=(*queue.waiting[:at], prompt, *queue.waiting[at + 1 :])))
    return _go_on(replace(queue, waiting=_insert(queue.waiting, prompt, before_equals=False)))


def drop(queue: Queue, about: str) -> Change:
    """What is about `about` holds no longer, playing or waiting."""
    waiting = tuple(prompt for prompt in queue.waiting if prompt.about != about)
    playing = queue.playing
    if playing is None or playing.about != about:
        return Change(Queue(playing, waiting))
    return replace(_go_on(Queue(None, waiting)), cut=playing)


def ended(queue: Queue) -> Change:
    """What was playing was said to its end. Raises ValueError when nothing was."""
    if queue.playing is None:
        raise ValueError("nothing was playing")
    return _go_on(Queue(None, queue.waiting))


def _go_on(queue: Queue) -> Change:
    """When nothing plays, the first that waits begins."""
    if queue.playing is not None or not queue.waiting:
        return Change(queue)
    first, *rest = queue.waiting
    return Change(Queue(first, tuple(rest)), begins=first)


def _insert(waiting: tuple[Say, ...], prompt: Say, *, before_equals: bool) -> tuple[Say, ...]:
    last = prompt.priority - 1 if before_equals else prompt.priority
    ahead = sum(p.priority <= last for p in waiting)
    return (*waiting[:ahead], prompt, *waiting[ahead:])


def _is_call(prompt: Say) -> bool:
    """A call proper, with its tone: the words that only go with one (the order of zones) it leaves."""
    return prompt.priority is Priority.RINSE_CALL and prompt.alarm
