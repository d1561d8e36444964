"""What a recogniser can never hear, said at load time and never left as a silent gap.

Here the error and nothing else; every engine raises it from `allow`.
"""

from __future__ import annotations

from collections.abc import Iterable


class VocabularyError(Exception):
    """`engine` lacks `words`: no phrase with one of them could ever be heard."""

    def __init__(self, engine: str, words: Iterable[str]) -> None:
        self.engine = engine
        self.words = tuple(words)
        super().__init__(f"{engine} does not know: {', '.join(self.words)}")
