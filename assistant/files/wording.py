"""A validation error in a person's words, with the likely mend.

Takes pydantic's errors one at a time and the model's own JSON Schema, which says
what could have stood at that place. Knows nothing of lines; `yaml_file` adds them.
"""

from __future__ import annotations

import difflib
import re
from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from typing import Any

Schema = Mapping[str, Any]

_NEEDS = {
    "int": "a whole number",
    "float": "a number",
    "decimal": "a number",
    "finite_number": "a number",
    "bool": "true or false",
    "string": "text",
    "list": "a list",
    "tuple": "a list",
    "set": "a list",
    "frozen_set": "a list",
    "iterable": "a list",
    "dict": "keys with values",
    "mapping": "keys with values",
    "model": "keys with values",
    "model_attributes": "keys with values",
    "dataclass": "keys with values",
    "date": "a date such as 2025-03-09",
    "time": "a time of day such as 18:30",
    "datetime": "a date and time such as 2025-03-09T18:30:00+01:00",
    "timezone_aware": "a date and time such as 2025-03-09T18:30:00+01:00",
    "time_delta": "a length of time such as PT1H30M",
    "none_required": "nothing",
}
"""What is wanted, by the beginning of pydantic's error type."""

_UNITS = ("seconds", "minutes", "hours", "days", "weeks", "months", "years", "metres", "percent")
_BOUNDS = {
    "greater_than": ("gt", "has to be more than"),
    "greater_than_equal": ("ge", "has to be at least"),
    "less_than": ("lt", "has to be less than"),
    "less_than_equal": ("le", "may be at most"),
}
_MANY = 12
"""More choices than this are not listed."""


@dataclass(frozen=True, slots=True)
class Worded:
    """One error in words.

    `loc` leads through the file (a union's own labels taken out); `at_key` marks
    the key instead of the value. `needs` is set where the whole message is
    "`name` needs `needs`, `instead`", so that the errors of a union's members can
    be told as one. `missing` is the key that is missing, `likely` the key that an
    unknown one was meant to be, `whole` that a whole mapping is wrong in itself.
    """

    loc: tuple[str | int, ...]
    message: str
    hint: str = ""
    at_key: bool = False
    name: str = ""
    needs: str = ""
    instead: str = ""
    missing: str = ""
    likely: str = ""
    whole: bool = False


def worded(error: Mapping[str, Any], schema: Schema, value: object) -> Worded:
    """`error` is one of pydantic's `ValidationError.errors()`, `schema` the model's JSON Schema or {},
    `value` the whole that was validated."""
    kind: str = error["type"]
    loc, here = follow(schema, error["loc"], value)
    given, ctx = error.get("input"), error.get("ctx") or {}
    name, unit = name_of(loc), _unit(loc)

    if kind == "missing":
        message = f"'{loc[-1]}' is missing in {name_of(loc[:-1])}"
        if isinstance(loc[-1], int):
            message = f"{name} is missing"
        return Worded(loc[:-1], message, _description(here), at_key=True, missing=str(loc[-1]))
    if kind in ("extra_forbidden", "unexpected_keyword_argument"):
        parent_loc, parent_here = follow(schema, error["loc"][:-1], value)
        keys = list(dict.fromkeys(key for s in parent_here for key in s.get("properties", {})))
        message = f"unknown key '{loc[-1]}' in {name_of(parent_loc)}"
        likely = _nearest(str(loc[-1]), keys)
        return Worded(loc, message, _meant(likely) or _known(keys), at_key=True, likely=likely)
    if kind == "union_tag_not_found":
        tag = str(ctx["discriminator"]).strip("'")
        near = _nearest(tag, list(given) if isinstance(given, Mapping) else [])
        if near:
            return Worded(
                (*loc, near), f"unknown key '{near}' in {name}", _meant(tag), at_key=True, likely=tag
            )
        return Worded(loc, f"'{tag}' is missing in {name}", at_key=True, missing=tag)
    if kind == "union_tag_invalid":
        tag = str(ctx["discriminator"]).strip("'")
        choices = [c.strip("'") for c in str(ctx["expected_tags"]).split(", ")]
        return _choice((*loc, tag), choices, ctx["tag"])
    if kind in ("literal_error", "enum"):
        choices = [c if isinstance(c, str) else shown(c) for s in here for c in _choices(s)]
        return _choice(loc, choices or [str(ctx.get("expected", "something else"))], given)
    if kind in _BOUNDS:
        key, words = _BOUNDS[kind]
        message = f"{name} {words} {_number(ctx[key])}{f' {unit}' if unit else ''}, not {shown(given)}"
        return Worded(loc, message, _description(here))
    if kind in ("too_short", "too_long"):
        wanted = ctx["min_length"] if kind == "too_short" else ctx["max_length"]
        words = "needs at least" if kind == "too_short" else "may have at most"
        noun = "entry" if wanted == 1 else "entries"
        message = f"{name} {words} {wanted} {noun}, and has {ctx['actual_length'] or 'none'}"
        return Worded(loc, message, _description(here))
    if kind == "string_too_short":
        message = f"{name} needs at least {ctx['min_length']} characters, not {shown(given)}"
        if not given:
            message = f"{name} may not be empty"
        return Worded(loc, message, _description(here))
    if kind == "string_too_long":
        message = f"{name} may have at most {ctx['max_length']} characters, and has {len(str(given))}"
        return Worded(loc, message, _description(here))
    if kind == "string_pattern_mismatch":
        hint = _pattern_hint(str(given), str(ctx["pattern"]), here)
        return Worded(loc, f"{name} cannot be {shown(given)}", hint)
    for begins, needs in _NEEDS.items():
        if kind == begins or re.fullmatch(rf"{begins}_(type|parsing|from_\w+|inexact|past|future)", kind):
            return _need(
                loc, name, needs + (f" of {unit}" if unit and "number" in needs else ""), given, here
            )
    message = re.sub(r"^(Value error|Assertion failed), ", "", str(error["msg"]))
    message = re.sub(r"^Input should be", lambda _: f"{name} has to be", message)
    return Worded(loc, message or f"{name} is not right", whole=isinstance(given, Mapping))


def only_follows(error: Mapping[str, Any]) -> bool:
    """The error is there because of others: wrong entries do not count towards a list's length."""
    given = error.get("input")
    if error["type"] != "too_short" or not isinstance(given, list):
        return False
    return len(given) >= int(error["ctx"]["min_length"])


def without_echoes(several: Sequence[Worded]) -> list[Worded]:
    """Leave out that a key is missing where it is there, misspelt."""
    misspelt = {(w.loc[:-1], w.likely) for w in several if w.likely}
    return [w for w in several if not (w.missing and (w.loc, w.missing) in misspelt)]


def told_as_one(several: Sequence[Worded]) -> Worded:
    """The errors of a union's members at one place as one: "needs a number or text, not a list"."""
    first = several[0]
    if len(several) == 1 or not all(w.needs for w in several):
        return first
    needs = " or ".join(dict.fromkeys(w.needs for w in several))
    hint = next((w.hint for w in several if w.hint), "")
    return Worded(first.loc, f"{first.name} needs {needs}, {first.instead}", hint)


def name_of(loc: Sequence[str | int]) -> str:
    """How the thing at `loc` is called: "'water'", "entry 2 of 'chart'", "this file"."""
    if not loc:
        return "this file"
    last = loc[-1]
    if isinstance(last, int):
        return f"entry {last + 1} of {name_of(loc[:-1])}" if len(loc) > 1 else f"entry {last + 1}"
    return f"'{last}'"


def shown(value: object) -> str:
    """A value as it is talked about."""
    if value is None:
        return "nothing"
    if isinstance(value, bool):
        return "true" if value else "false"
    if isinstance(value, Mapping):
        return "keys with values"
    if isinstance(value, (list, tuple)):
        return "a list"
    if isinstance(value, (int, float)):
        return _number(value)
    text = str(value).replace("\n", " ")
    return f"'{text}'" if len(text) <= 40 else f"'{text[:39]}…'"


def follow(
    schema: Schema, loc: Sequence[str | int], value: object
) -> tuple[tuple[str | int, ...], list[Schema]]:
    """Walk `loc` through a JSON Schema and the value beside it.

    Gives `loc` without the labels that pydantic puts in for the members of a
    union, and every schema that could hold at its end.
    """
    here: list[Schema] = list(_openings(schema, schema)) if schema else []
    kept: list[str | int] = []
    for part in loc:
        labels = [s.get("discriminator", {}).get("mapping", {}) for s in here]
        tagged = [refs[part] for refs in labels if part in refs]
        if tagged:
            here = [o for ref in tagged for o in _openings({"$ref": ref}, schema)]
            continue
        inner = [o for s in here for found in _inside(s, part) for o in _openings(found, schema)]
        there = isinstance(value, Mapping) and part in value
        if isinstance(part, str) and not inner and not there:
            continue  # the label of a union's member, such as "int"
        kept.append(part)
        here = inner
        entry = isinstance(value, list) and part in range(len(value))
        value = value[part] if there or entry else None  # type: ignore[index]
    return tuple(kept), here


def _openings(schema: Schema, root: Schema, seen: frozenset[str] = frozenset()) -> Iterator[Schema]:
    """`schema` and everything it refers to or is a choice of."""
    yield schema
    ref = schema.get("$ref")
    if isinstance(ref, str) and ref not in seen:
        yield from _openings(root["$defs"][ref.rsplit("/", 1)[-1]], root, seen | {ref})
    for word in ("anyOf", "oneOf", "allOf"):
        for inner in schema.get(word, ()):
            yield from _openings(inner, root, seen)


def _inside(schema: Schema, part: str | int) -> Iterator[Schema]:
    if isinstance(part, int):
        first = schema.get("prefixItems", ())
        if part < len(first):
            yield first[part]
        elif isinstance(schema.get("items"), Mapping):
            yield schema["items"]
    elif part in schema.get("properties", {}):
        yield schema["properties"][part]
    elif isinstance(schema.get("additionalProperties"), Mapping):
        yield schema["additionalProperties"]


def _choices(schema: Schema) -> list[Any]:
    return list(schema.get("enum", [schema["const"]] if "const" in schema else []))


def _description(here: Iterable[Schema]) -> str:
    """What the model says of the field; not the docstring of the model that stands in it."""
    return next((str(s["description"]) for s in here if "description" in s and "properties" not in s), "")


def _choice(loc: tuple[str | int, ...], choices: Sequence[str], given: object) -> Worded:
    choices = list(dict.fromkeys(c or "''" for c in choices))
    hint = _meant(_nearest(str(given), choices))
    if len(choices) > _MANY and given is not None:
        return Worded(loc, f"{name_of(loc)} cannot be {shown(given)}", hint or _known(choices))
    needs = choices[0] if len(choices) == 1 else f"one of {', '.join(choices[:-1])} or {choices[-1]}"
    return _needing(loc, name_of(loc), needs, given, hint)


def _need(loc: tuple[str | int, ...], name: str, needs: str, given: object, here: Sequence[Schema]) -> Worded:
    hint = ""
    if needs == "text" and isinstance(given, (bool, int, float)):
        hint = f'put it in quotes: "{shown(given)}"'
    elif needs == "true or false" and isinstance(given, str):
        word = given.strip().lower()
        meant = {"yes": "true", "on": "true", "y": "true", "no": "false", "off": "false", "n": "false"}
        hint = f"write {meant.get(word, word)}" if word in (*meant, "true", "false") else ""
    elif "number" in needs and isinstance(given, str):
        hint = _number_hint(given.strip(), needs)
    elif needs == "a list" and given is not None:
        hint = "begin each entry on a line of its own with '- '"
    elif needs == "keys with values":
        keys = [key for s in here for key in s.get("properties", {})]
        hint = _known(keys) if keys else "write 'key: value'"
    return _needing(loc, name, needs, given, hint or _description(here))


def _needing(loc: tuple[str | int, ...], name: str, needs: str, given: object, hint: str) -> Worded:
    instead = "but nothing is written" if given is None else f"not {shown(given)}"
    return Worded(loc, f"{name} needs {needs}, {instead}", hint, name=name, needs=needs, instead=instead)


def _number_hint(text: str, needs: str) -> str:
    clock = re.fullmatch(r"(\d{1,3}):([0-5]\d)", text)
    if clock and "minutes" in needs and "whole" not in needs:
        return f"write {_number(round(int(clock[1]) + int(clock[2]) / 60, 2))}"
    if re.fullmatch(r"[-+]?\d+,\d+", text):
        return f"write {text.replace(',', '.')}"
    if re.fullmatch(r"[-+]?\d+(\.\d+)?", text):
        return f"write {text} without quotes"
    return ""


def _pattern_hint(given: str, pattern: str, here: Iterable[Schema]) -> str:
    lower = given.strip().lower()
    for likely in (lower, *(re.sub(r"[\s_-]+", joint, lower) for joint in (" ", "_", "-", ""))):
        if likely != given and re.search(pattern, likely):
            return f"write '{likely}'"
    return _description(here) or f"it has to match {pattern}"


def _nearest(given: str, known: Iterable[str]) -> str:
    """The likeliest of `known`, or "" where none is near."""
    by_lower = {k.lower().replace("_", " "): k for k in known}
    near = difflib.get_close_matches(given.lower().replace("_", " "), list(by_lower), n=1, cutoff=0.7)
    return by_lower[near[0]] if near else ""


def _meant(likely: str) -> str:
    return f"did you mean '{likely}'?" if likely else ""


def _known(words: Sequence[str]) -> str:
    words = list(dict.fromkeys(words))
    more = ", ..." if len(words) > _MANY else ""
    return f"known here: {', '.join(words[:_MANY])}{more}" if words else ""


def _unit(loc: Sequence[str | int]) -> str:
    """The unit in the last key's own words ("greatest_minutes"), or ""."""
    key = next((part for part in reversed(loc) if isinstance(part, str)), "")
    return next((word for word in key.split("_") if word in _UNITS), "")


def _number(value: Any) -> str:
    return f"{value:g}" if isinstance(value, float) and abs(value) < 1e6 else str(value)
