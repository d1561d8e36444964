"""PyYAML's syntax errors in a person's words. Called by `yaml_tree` only."""

from __future__ import annotations

import re
from collections.abc import Callable, Sequence
from typing import Any

import yaml

_Said = str | Callable[[str], str]
_PLAIN_WORDS: tuple[tuple[str, _Said, str], ...] = (
    # part of PyYAML's words, ours, the hint; the first that fits counts
    (r"found character '\\t'", "a tab where only spaces may stand", "use spaces"),
    (
        r"found character '(.)' that cannot start",
        lambda c: f"text cannot begin with '{c}'",
        "put the text in quotes",
    ),
    (
        r"mapping values are not allowed",
        "a colon where no key can stand",
        "text with a colon in it goes in quotes",
    ),
    (r"could not find expected ':'", "this line has no colon after its key", "write 'key: value'"),
    (
        r"while scanning a quoted scalar.*unexpected end",
        "this quote is never closed",
        "close it in the same line",
    ),
    (
        r"while scanning a quoted scalar.*document sep",
        "this quote is never closed",
        "close it in the same line",
    ),
    (r"unknown escape character '(.*)'", lambda c: f"'\\{c}' means nothing", "use single quotes"),
    (r"expected ',' or '[\]}]'", "a comma or a closing bracket is missing after this bracket", ""),
    (
        r"expected alphabetic or numeric",
        "a name has to follow this sign",
        "text that begins with &, * or % goes in quotes",
    ),
    (
        r"sequence entries are not allowed",
        "a list's entry cannot stand here",
        "begin the list on the next line",
    ),
    (
        r"while parsing a block",
        "this line does not line up with the lines above it",
        "check the spaces before it",
    ),
    (
        r"found undefined alias '?(.*?)'?$",
        lambda name: f"'*{name}' stands for nothing",
        "text that begins with * goes in quotes",
    ),
    (
        r"expected a single document",
        "a second document begins here",
        "one file holds one thing; take out the line '---'",
    ),
    (r"expected '<document start>'", "this does not belong to what stands above it", ""),
    (
        r"inconsistent|expected <block end>",
        "this line does not line up with the lines above it",
        "check the spaces before it",
    ),
)


def in_plain_words(error: yaml.MarkedYAMLError, lines: Sequence[str]) -> tuple[str, str, Any]:
    """PyYAML's error as message, hint ("" for none) and mark (None for none); `lines` are the file's."""
    problem, mark = error.problem or "", error.problem_mark
    told = f"{error.context or ''} {problem}".strip()
    before, char = "", ""
    if mark is not None and mark.line < len(lines):
        before, char = lines[mark.line][: mark.column], lines[mark.line][mark.column : mark.column + 1]
    if "mapping values" in told and ":" not in before:
        hint = "check its indentation, and that the line above has its colon"
        return "this line does not fit the line above it", hint, mark
    if "while parsing a block" in told and char and char in "}],:":
        return f"'{char}' cannot stand here", "put text in quotes", mark
    if "while parsing a block" in told and before.strip(" -"):
        return "this does not belong behind what stands before it", "put the whole text in quotes", mark
    for pattern, words, hint in _PLAIN_WORDS:
        found = re.search(pattern, told)
        if found:
            message = words if isinstance(words, str) else words(found.group(1))
            began = re.search("never closed|bracket|no colon", message)
            return message, hint, (error.context_mark if began else None) or mark
    return f"this is not YAML: {problem or error.context}", "", mark or error.context_mark
