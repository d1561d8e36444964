"""Text from a file or a microphone, made safe to put on a terminal.

A name may hold an escape sequence that clears the screen, or a mark that turns
the reading direction round. Here it becomes visible text instead.
"""

from __future__ import annotations

_JOINERS = "\u200c\u200d"
"""Invisible, and needed: Persian and Indic spelling, emoji made of several."""


def harmless(text: str) -> str:
    r"""`text` on one line: a tab is a space, all else that does not print is \x1b, \u202e or \U000e0001."""
    if text.isprintable():
        return text
    return "".join(char if char.isprintable() or char in _JOINERS else _visible(char) for char in text)


def _visible(char: str) -> str:
    if char == "\t":
        return " "
    code = ord(char)
    return f"\\x{code:02x}" if code < 0x100 else f"\\u{code:04x}" if code < 0x10000 else f"\\U{code:08x}"
