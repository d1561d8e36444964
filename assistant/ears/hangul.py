"""How Korean words sound, from their spelling: Hangul writes sounds, so no dictionary is needed.

A syllable is taken apart into its letters (Unicode's canonical decomposition).
Of the standard pronunciation three rules are kept, those that change which sounds
there are: a silent initial is no sound, a final before it is spoken as the next
syllable's initial, and any other final is one of seven. Sounds that grow tense or
nasal beside each other are left as they are written. Called by `ears.pronunciations`.
"""

from __future__ import annotations

import unicodedata

SILENT_INITIAL = "\u110b"
NG_FINAL = "\u11bc"
FINALS = {
    "k": "\u11a8\u11a9\u11bf\u11aa\u11b0",
    "n": "\u11ab\u11ac\u11ad",
    "t": "\u11ae\u11c0\u11ba\u11bb\u11bd\u11be\u11c2",
    "l": "\u11af\u11b2\u11b3\u11b4\u11b6",
    "m": "\u11b7\u11b1",
    "p": "\u11b8\u11c1\u11b9\u11b5",
    "ng": NG_FINAL,
}
"""The seven sounds a syllable may end in and the letters that give them."""
_SOUND_OF_FINAL = {letter: sound for sound, letters in FINALS.items() for letter in letters}
_INITIAL_OF_FINAL = {
    "\u11a8": "\u1100", "\u11a9": "\u1101", "\u11ab": "\u1102", "\u11ae": "\u1103", "\u11af": "\u1105", "\u11b7": "\u1106",
    "\u11b8": "\u1107", "\u11ba": "\u1109", "\u11bb": "\u110a", "\u11bd": "\u110c", "\u11be": "\u110e", "\u11bf": "\u110f",
    "\u11c0": "\u1110", "\u11c1": "\u1111",
}  # fmt: skip
"""The same sound written at a syllable's beginning."""


def sounds(word: str) -> tuple[str, ...] | None:
    """The sounds of a word of Hangul syllables: letters for initials and vowels, "k" and the like for finals.

    None where anything else stands in it.
    """
    if not word or not all("\uac00" <= syllable <= "\ud7a3" for syllable in word):
        return None
    parts = [unicodedata.normalize("NFD", syllable) for syllable in word]
    found: list[str] = []
    carried = ""
    for i, letters in enumerate(parts):
        initial, vowel, final = letters[0], letters[1], letters[2:]
        silent = initial == SILENT_INITIAL
        if carried or not silent:
            found.append(carried or initial)
        found.append(vowel)
        carried = ""
        if final:
            before_silent = i + 1 < len(parts) and parts[i + 1][0] == SILENT_INITIAL
            if before_silent and final in _INITIAL_OF_FINAL:
                carried = _INITIAL_OF_FINAL[final]
            else:
                found.append(_SOUND_OF_FINAL[final])
    return tuple(found)
