"""A file's bytes to a tree of YAML nodes that know their place, and on to plain values.

Here what is refused whatever the file is about: too large, not UTF-8, not YAML,
tags, endless aliases, duplicate keys, control characters. Only true and false are
booleans and only plain decimal numbers are numbers, so yes, no, on, off, 12:30,
0x1F and dates stay the text they look like. What a file must contain is not known
here; `yaml_file` puts the two together.
"""

from __future__ import annotations

import difflib
import math
import re
import stat
from collections.abc import Sequence
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

import yaml

from assistant.files.complaint import BadFile, Complaint, Place
from assistant.files.syntax_words import in_plain_words

MAX_BYTES = 1 << 20
MAX_DEPTH = 40
MAX_NODES = 20_000
"""Scalars, lists and mappings, aliases written out: ten times the largest file that ships."""
MAX_DIGITS = 15
"""A whole number with more is no quantity of this trade, and a double would not hold it exactly."""

Plain = str | int | float | bool | list[Any] | dict[str, Any] | None

_BREAK = re.compile("\r\n|[\n\r\x85\u2028\u2029]")
_NOT_ALLOWED = re.compile("[^\t\n\r\x20-\x7e\x85\xa0-\ud7ff\ue000-\ufffd\U00010000-\U0010ffff]")
_CONTROL = re.compile("[\x00-\x08\x0b-\x1f\x7f-\x9f\ud800-\udfff]")


@dataclass(frozen=True, slots=True)
class Text:
    """A file's text and the name it goes by in complaints."""

    name: str
    text: str
    lines: tuple[str, ...] = field(repr=False)

    def complaint(self, place: Place, message: str, hint: str = "") -> Complaint:
        line = min(place.line, len(self.lines))
        excerpt = self.lines[line - 1]
        column = place.column if line == place.line else len(excerpt) + 1
        width = max(1, min(place.width, len(excerpt) + 1 - column))
        return Complaint(self.name, line, column, message, hint, excerpt, width)

    def place_at(self, offset: int) -> Place:
        """The place of the character at `offset`."""
        breaks = [m.end() for m in _BREAK.finditer(self.text, 0, offset)]
        return Place(len(breaks) + 1, offset - (breaks[-1] if breaks else 0) + 1)


class _Refused(Exception):
    """Stops the reading at once, at a node's place."""

    def __init__(self, mark: yaml.Mark, message: str, hint: str = "") -> None:
        super().__init__(message)
        self.place, self.message, self.hint = Place(mark.line + 1, mark.column + 1), message, hint


class _Loader(yaml.SafeLoader):
    """PyYAML's safe loader with fewer surprises and with ends. It only composes, and never constructs."""

    def __init__(self, text: str) -> None:
        super().__init__(text)
        self.depth = 0
        self.nodes = 0

    def compose_node(self, parent: Any, index: Any) -> Any:
        event: Any = self.peek_event()  # type: ignore[no-untyped-call]
        if getattr(event, "tag", None) is not None:
            tag = str(event.tag).replace("tag:yaml.org,2002:", "!!")
            raise _Refused(event.start_mark, f"the tag '{tag}' is not read here", "write the plain value")
        self.nodes += 1
        if self.nodes > MAX_NODES:
            raise _Refused(event.start_mark, f"this file has more than {MAX_NODES} entries")
        self.depth += 1
        if self.depth > MAX_DEPTH:
            raise _Refused(event.start_mark, f"this is nested more than {MAX_DEPTH} deep")
        try:
            return super().compose_node(parent, index)
        finally:
            self.depth -= 1


_NULL, _BOOL, _INT, _FLOAT = (f"tag:yaml.org,2002:{kind}" for kind in ("null", "bool", "int", "float"))
NO_TEXT: tuple[tuple[str, re.Pattern[str], list[str]], ...] = (
    (_NULL, re.compile(r"^(?:~|null|Null|NULL|)$"), ["~", "n", "N", ""]),
    (_BOOL, re.compile(r"^(?:true|True|TRUE|false|False|FALSE)$"), list("tTfF")),
    (_INT, re.compile(r"^[-+]?(?:0|[1-9][0-9]*)$"), list("-+0123456789")),
    (
        _FLOAT,
        re.compile(r"^[-+]?(?:\.[0-9]+|[0-9]+\.[0-9]*)(?:[eE][-+]?[0-9]+)?$|^[-+]?[0-9]+[eE][-+]?[0-9]+$"),
        list("-+.0123456789"),
    ),
)
"""What is no text unless it is quoted: its tag, its form, and what it may begin with."""
_Loader.yaml_implicit_resolvers = {}  # none of PyYAML's own
for _tag, _form, _begins in NO_TEXT:
    _Loader.add_implicit_resolver(_tag, _form, _begins)


@dataclass(frozen=True, slots=True)
class Tree:
    """A text as nodes, its plain value, and what was found wrong on the way."""

    text: Text
    root: yaml.Node
    value: Plain
    flaws: tuple[Complaint, ...]

    def node_at(self, loc: Sequence[str | int]) -> tuple[yaml.Node | None, yaml.Node]:
        """Key (None for a list's entry and the whole) and value at `loc`.

        Parts of `loc` that lead nowhere are passed over.
        """
        key: yaml.Node | None = None
        node = self.root
        for part in loc:
            if isinstance(node, yaml.MappingNode):
                for k, v in node.value:
                    if isinstance(k, yaml.ScalarNode) and k.value == str(part):
                        key, node = k, v
                        break
            elif isinstance(node, yaml.SequenceNode) and part in range(len(node.value)):
                key, node = None, node.value[int(part)]
        return key, node

    def place_of(self, loc: Sequence[str | int]) -> Place:
        """The value at `loc`, or its key where the value is empty or begins on a later line."""
        key, node = self.node_at(loc)
        empty = isinstance(node, yaml.ScalarNode) and node.value == "" and node.style is None
        if key is not None and (empty or node.start_mark.line != key.start_mark.line):
            return _place(key)
        return _place(node)

    def key_named_in(self, loc: Sequence[str | int], words: str) -> str | None:
        """Of the mapping at `loc`: the key that `words` speak of first, by its name or else by its value."""
        _, node = self.node_at(loc)
        if not isinstance(node, yaml.MappingNode):
            return None
        pairs = [(k.value, v) for k, v in node.value if isinstance(k, yaml.ScalarNode)]
        named = [(key, key) for key, _ in pairs]
        valued = [(key, v.value) for key, v in pairs if isinstance(v, yaml.ScalarNode) and len(v.value) > 2]
        for candidates in (named, valued):
            found = [(m.start(), key) for key, word in candidates if (m := _word(word).search(words))]
            if found:
                return str(min(found)[1])
        return None

    def place_of_key(self, loc: Sequence[str | int]) -> Place:
        """The key at `loc`."""
        key, node = self.node_at(loc)
        return _place(node if key is None else key)


def _word(word: str) -> re.Pattern[str]:
    return re.compile(rf"(?<!\w){re.escape(word)}(?!\w)")


def _place(node: yaml.Node) -> Place:
    start, end = node.start_mark, node.end_mark
    width = end.column - start.column if end.line == start.line else 1 << 16
    if not isinstance(node, yaml.ScalarNode) and end.line != start.line:
        width = 1  # a whole block: its beginning is enough
    return Place(start.line + 1, start.column + 1, max(1, width))


def read_text(path: Path) -> Text:
    """The file's text. Raises BadFile."""
    name = str(path)

    def whole(message: str, hint: str = "") -> BadFile:
        return BadFile([Complaint(name, 0, 0, message, hint)])

    try:
        kind = path.stat().st_mode
        if stat.S_ISDIR(kind):
            raise whole("this is a folder, not a file")
        if not stat.S_ISREG(kind):
            raise whole("this is not an ordinary file")
        with path.open("rb") as file:
            raw = file.read(MAX_BYTES + 1)
    except FileNotFoundError:
        raise whole("there is no such file", _nearest_file(path)) from None
    except PermissionError:
        raise whole("this file may not be read", "its owner can allow that") from None
    except (OSError, ValueError) as error:  # ValueError: a NUL in the path
        reason = getattr(error, "strerror", None) or str(error)
        raise whole(f"this file cannot be read: {reason.lower()}") from None
    if len(raw) > MAX_BYTES:
        raise whole(f"this file is larger than {MAX_BYTES // 1024} KiB")
    return decode(raw, name)


def _nearest_file(path: Path) -> str:
    try:
        names = [p.name for p in path.parent.iterdir() if p.is_file()]
    except (OSError, ValueError):
        return ""
    near = difflib.get_close_matches(path.name, names, n=1, cutoff=0.6)
    return f"did you mean '{path.parent / near[0]}'?" if near else ""


def decode(raw: bytes, name: str) -> Text:
    """UTF-8 bytes to text. Raises BadFile."""
    try:
        text = raw.decode("utf-8-sig")
    except UnicodeDecodeError as error:
        skipped = raw[: error.start].decode("utf-8-sig", "replace")
        so_far = Text(name, skipped, _lines(raw.decode("utf-8-sig", "replace")))
        place = so_far.place_at(len(skipped))
        raise BadFile([so_far.complaint(place, "this is not UTF-8 text", "save the file as UTF-8")]) from None
    whole = Text(name, text, _lines(text))
    bad = _NOT_ALLOWED.search(text)
    if bad:
        message = f"a control character (U+{ord(bad.group()):04X}) has no place in this file"
        raise BadFile([whole.complaint(whole.place_at(bad.start()), message, "take it out")])
    return whole


def _lines(text: str) -> tuple[str, ...]:
    return tuple(_BREAK.split(text))


def compose(text: Text) -> Tree:
    """The tree and its plain value. Raises BadFile for what cannot be read as YAML at all."""
    try:
        loader = _Loader(text.text)
        try:
            root = loader.get_single_node()
        except (ValueError, OverflowError):  # PyYAML stumbles: an escape beyond Unicode, an endless version
            raise _Refused(loader.get_mark(), "this is not YAML: a number here is too large") from None
        if root is None:
            raise BadFile([Complaint(text.name, 0, 0, "this file is empty")])
        walk = _Walk(text)
        value = walk.plain(root)
    except yaml.MarkedYAMLError as error:
        message, hint, mark = in_plain_words(error, text.lines)
        place = Place(mark.line + 1, mark.column + 1) if mark is not None else Place(1, 1)
        raise BadFile([text.complaint(place, message, hint)]) from None
    except yaml.YAMLError as error:
        raise BadFile([text.complaint(Place(1, 1), f"this is not YAML: {error}")]) from None
    except _Refused as refused:
        raise BadFile([text.complaint(refused.place, refused.message, refused.hint)]) from None
    return Tree(text, root, value, tuple(walk.flaws))


class _Walk:
    """Nodes to plain values, noting what is wrong with single ones."""

    def __init__(self, text: Text) -> None:
        self.text = text
        self.flaws: list[Complaint] = []
        self.count = 0
        self.open: set[int] = set()

    def flaw(self, node: yaml.Node, message: str, hint: str = "") -> None:
        self.flaws.append(self.text.complaint(_place(node), message, hint))

    def plain(self, node: yaml.Node) -> Plain:
        self.count += 1
        if self.count > MAX_NODES:
            raise _Refused(
                node.start_mark, f"aliases make this more than {MAX_NODES} entries", "write it out"
            )
        if isinstance(node, yaml.ScalarNode):
            return self.scalar(node)
        if id(node) in self.open:
            raise _Refused(node.start_mark, "this contains itself", "take the alias out")
        if len(self.open) > MAX_DEPTH:
            raise _Refused(node.start_mark, f"this is nested more than {MAX_DEPTH} deep")
        self.open.add(id(node))
        try:
            if isinstance(node, yaml.SequenceNode):
                return [self.plain(entry) for entry in node.value]
            return self.mapping(node.value)
        finally:
            self.open.discard(id(node))

    def mapping(self, pairs: list[tuple[yaml.Node, yaml.Node]]) -> dict[str, Plain]:
        found: dict[str, Plain] = {}
        first: dict[str, yaml.Node] = {}
        for key, value in pairs:
            if not isinstance(key, yaml.ScalarNode):
                self.flaw(key, "a key has to be a word", "was '{' or '[' meant as text? put it in quotes")
            elif key.value == "<<" and key.style is None:
                self.flaw(key, "merging with '<<' is not read here", "write the keys out")
            elif key.value in found:
                line = first[key.value].start_mark.line + 1
                self.flaw(key, f"'{key.value}' is there twice", f"the first is in line {line}")
            else:
                self.scalar(key)
                first[key.value] = key
                found[key.value] = self.plain(value)
        return found

    def scalar(self, node: yaml.ScalarNode) -> Plain:
        text: str = node.value
        if _CONTROL.search(text):
            self.flaw(node, "this holds a control character", "take it out")
            return _CONTROL.sub("\N{REPLACEMENT CHARACTER}", text)
        if node.tag == _NULL:
            return None
        if node.tag == _BOOL:
            return text[0] in "tT"
        if node.tag not in (_INT, _FLOAT):
            return text
        if math.isinf(float(text)) or (node.tag == _INT and len(text.lstrip("+-")) > MAX_DIGITS):
            self.flaw(node, "this number is too large", "quote it if it is text")
            return 0
        return int(text) if node.tag == _INT else float(text)
