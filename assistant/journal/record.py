"""Events and actions as the journal's records, and back.

A record is what JSON can hold: {"t": 12.5, "event": "Heard", "phrase": ...} or
{"t": 12.5, "action": "Say", ...}. Generic over every class of `core.events.Event`
and `core.actions.Action`: a new one needs nothing here.
"""

from __future__ import annotations

import json
import math
from collections.abc import Mapping
from dataclasses import fields
from typing import Any, get_args

from pydantic import TypeAdapter, ValidationError

from assistant.core.actions import Action
from assistant.core.events import Event

EVENTS: dict[str, type[Any]] = {kind.__name__: kind for kind in get_args(Event)}
ACTIONS: dict[str, type[Any]] = {kind.__name__: kind for kind in get_args(Action)}
_ADAPTERS = {name: TypeAdapter(kind) for name, kind in (EVENTS | ACTIONS).items()}
_OURS = frozenset(("event", "action", "at"))
"""Keys of a record that are no field of its event or action."""


class UnknownRecord(ValueError):
    """A record that is no event or action of this version."""


def of_event(event: Event) -> dict[str, object]:
    """`event` as a record. Raises ValueError when a number in it is not finite."""
    plain = _plain(event)
    return {"t": plain.pop("t"), "event": type(event).__name__, **plain}


def of_action(action: Action, t: float) -> dict[str, object]:
    """`action`, ordered at `t` on the run clock, as a record. Raises ValueError when no finite number."""
    if not math.isfinite(t):
        raise ValueError("t is not finite")
    return {"t": t, "action": type(action).__name__, **_plain(action)}


def event_of(record: Mapping[str, object]) -> Event:
    """The event that `of_event` was given. Raises UnknownRecord."""
    made: Event = _made(record, "event", EVENTS, keep_t=True)
    return made


def action_of(record: Mapping[str, object]) -> Action:
    """The action that `of_action` was given. Raises UnknownRecord."""
    made: Action = _made(record, "action", ACTIONS, keep_t=False)
    return made


def _plain(value: Event | Action) -> dict[str, Any]:
    for field in fields(value):
        number = getattr(value, field.name)
        if isinstance(number, float) and not math.isfinite(number):
            raise ValueError(f"{field.name} is not finite")
    plain: dict[str, Any] = _ADAPTERS[type(value).__name__].dump_python(value, mode="json")
    return plain


def _made(record: Mapping[str, object], role: str, kinds: Mapping[str, type[Any]], *, keep_t: bool) -> Any:
    name = record.get(role)
    kind = kinds.get(name) if isinstance(name, str) else None
    if kind is None:
        raise UnknownRecord(f"no {role} of this version: {name!r}")
    given = {k: v for k, v in record.items() if k not in _OURS and (keep_t or k != "t")}
    surplus = sorted(given.keys() - {field.name for field in fields(kind)})
    if surplus:
        raise UnknownRecord(f"{role} {name} has no {', '.join(surplus)}")
    try:
        return _ADAPTERS[kind.__name__].validate_json(json.dumps(given), strict=True)
    except ValidationError as error:
        first = error.errors(include_url=False)[0]
        place = ".".join(str(part) for part in first["loc"])
        raise UnknownRecord(f"{role} {name}: {place}: {first['msg']}") from None
