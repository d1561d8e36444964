"""The tokeniser of the carried English model: text in, token ids out.

Byte-pair merging by lowest id over the model's own `tokenizer.bin`. Called by
`ears.moonshine` alone.
"""

from __future__ import annotations

from itertools import pairwise
from pathlib import Path

UNKNOWN, BEGIN, END = 0, 1, 2
FIRST_BYTE_ID = 3  # ids 3 to 258 stand for single bytes


class Tokens:
    """The vocabulary of one `tokenizer.bin`."""

    def __init__(self, path: Path) -> None:
        """Raises ValueError when the file is not such a vocabulary."""
        self.pieces = _records(path.read_bytes())
        if len(self.pieces) < FIRST_BYTE_ID + 256:
            raise ValueError(f"{path} holds {len(self.pieces)} pieces; a vocabulary has thousands")
        self._ids = {piece: i for i, piece in enumerate(self.pieces)}  # the last occurrence wins

    def __len__(self) -> int:
        return len(self.pieces)

    def id_of(self, piece: str) -> int | None:
        """The id of one whole piece of text, or None."""
        return self._ids.get(piece.encode())

    def encode(self, text: str) -> tuple[int, ...]:
        """Ids of `text` as the model would write it at the start of an utterance."""
        parts = [c.encode() for c in ("\u2581" + text.replace(" ", "\u2581"))]
        while True:
            joined = [(self._ids.get(a + b), i) for i, (a, b) in enumerate(pairwise(parts))]
            known = [(token, i) for token, i in joined if token is not None]
            if not known:
                break
            _, i = min(known)
            parts[i : i + 2] = [parts[i] + parts[i + 1]]
        ids: list[int] = []
        for part in parts:
            whole = self._ids.get(part)
            ids += [whole] if whole is not None else [FIRST_BYTE_ID + byte for byte in part]
        return tuple(ids)

    def text(self, ids: tuple[int, ...]) -> str:
        """What `ids` say; marks of begin, end and unknown are left out."""
        raw = b"".join(
            bytes([i - FIRST_BYTE_ID]) if FIRST_BYTE_ID <= i < FIRST_BYTE_ID + 256 else self.pieces[i]
            for i in ids
            if i > END
        )
        return raw.decode("utf-8", "replace").replace("\u2581", " ").strip()


def _records(raw: bytes) -> list[bytes]:
    """Length-prefixed pieces in id order: one length byte, two when the first is 128 or more."""
    pieces: list[bytes] = []
    at = 0
    while at < len(raw):
        n = raw[at]
        at += 1
        if n >= 128:
            n += 128 * raw[at] - 128
            at += 1
        pieces.append(raw[at : at + n])
        at += n
    return pieces
