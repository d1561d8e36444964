"""What the carried model says of a phrase when it hears mere noise.

A score means little by itself: short and common phrases are always likelier.
So each phrase's mean score over a fixed set of noise clips is taken off. Here
those means: the ones of the shipped phrase book lie beside this file, others
are computed when first asked for and kept in the user's cache folder.
Called by
`ears.moonshine`. `python -m assistant.ears.priors FILE...` writes the shipped
ones anew from lists of phrases, one a line; with `--answers` first those of the
consultation, whose list `python -m assistant.app.interview_by_voice DAY` prints.
"""

from __future__ import annotations

import json
import os
import sys
import tempfile
from collections import defaultdict
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from pathlib import Path

import numpy as np
from numpy.typing import NDArray
from platformdirs import user_cache_dir

from assistant.ears.moonshine_model import Moonshine, Node, phrase_rows, prefix_tree
from assistant.ears.written_forms import written_forms
from assistant.ports import RATE, Samples

MODEL = "moonshine-voice 0.1.0 tiny-en"
CLIPS = 24
CLIP_S = (1.2, 2.2)
CLIP_RMS = 0.025
SEED = 20
AT_ONCE = 48
"""Phrases scored together; about as many as are live at one time."""
SHIPPED = Path(__file__).with_name("priors_en.json")
SHIPPED_ANSWERS = Path(__file__).with_name("priors_answers_en.json")
"""Those of what may be answered in a consultation by voice; without them its first time waits two minutes."""


def noise_clips(count: int = CLIPS, seconds: tuple[float, float] = CLIP_S) -> list[Samples]:
    """White and pink noise by turns, its length rising over `seconds`, the same every time."""
    rng = np.random.default_rng(SEED)
    clips = []
    for number, length in enumerate(np.linspace(*seconds, count)):
        noise = rng.standard_normal(int(length * RATE))
        if number % 2:
            spectrum = np.fft.rfft(noise)
            noise = np.fft.irfft(spectrum / np.sqrt(np.arange(len(spectrum)) + 1.0), len(noise))
        clips.append((noise * CLIP_RMS / np.sqrt(np.mean(noise**2))).astype(np.float32))
    return clips


def phrase_scores(scores: NDArray[np.float64], owner: Sequence[int], phrases: int) -> NDArray[np.float64]:
    """Scores of rows summed (as probabilities) over each phrase's written forms."""
    summed = np.full(phrases, -np.inf)
    np.logaddexp.at(summed, np.asarray(owner), scores)
    return summed


@dataclass(frozen=True, slots=True)
class Prior:
    """`whole` is a phrase's mean score on noise; `along` the mean sum after each token of each written
    form."""

    whole: float
    along: tuple[tuple[float, ...], ...]


def measure(model: Moonshine, phrases: Sequence[str]) -> list[Prior]:
    """The prior of each of `phrases`. Some 60 ms a phrase."""
    found: list[Prior] = []
    heard = [model.encode(clip) for clip in noise_clips()]
    for start in range(0, len(phrases), AT_ONCE):
        part = phrases[start : start + AT_ONCE]
        rows, owner = phrase_rows(model.tokens, part)
        tree = prefix_tree(rows)
        wholes = np.zeros(len(part))
        sums: defaultdict[int, float] = defaultdict(float)
        for clip in heard:
            scores = np.full(len(rows), -np.inf)
            for node, so_far, ending in model.walk(clip, tree):
                sums[id(node)] += so_far
                scores[node.ends] = so_far + ending
            wholes += phrase_scores(scores, owner, len(part))
        along: list[list[tuple[float, ...]]] = [[] for _ in part]
        for row, phrase in zip(rows, owner, strict=True):
            along[phrase].append(tuple(round(sums[id(n)] / len(heard), 2) for n in _path(tree, row)))
        found += [
            Prior(round(float(w) / len(heard), 2), tuple(a)) for w, a in zip(wholes, along, strict=True)
        ]
    return found


def _path(tree: Node, row: Sequence[int]) -> list[Node]:
    nodes = [tree]
    for token in row:
        nodes.append(nodes[-1].children[token])
    return nodes[1:]


class Priors:
    """Priors by phrase, from the shipped file, the cache folder or the model itself."""

    def __init__(self, model: Moonshine, cache: Path | None = None, shipped: Path | None = SHIPPED) -> None:
        """`cache` is a folder (default: the user's own); a file that cannot be read or written is done
        without."""
        self._model = model
        self._file = (cache or Path(user_cache_dir("combside"))) / "priors_en.json"
        self._own = _read(self._file)
        known = _read(SHIPPED_ANSWERS) | _read(shipped) if shipped else {}
        self._known = known | self._own

    def of(self, phrases: Sequence[str]) -> list[Prior]:
        """The prior of each of `phrases`; those never met before are measured and kept."""
        missing = [p for p in dict.fromkeys(phrases) if _key(p) not in self._known]
        if missing:
            new = dict(zip(map(_key, missing), measure(self._model, missing), strict=True))
            self._known |= new
            self._own |= new
            _write(self._file, self._own)
        return [self._known[_key(p)] for p in phrases]


def _key(phrase: str) -> str:
    """A phrase's written forms: should they change, the prior is measured again."""
    return " / ".join(written_forms(phrase))


def _read(path: Path) -> dict[str, Prior]:
    try:
        kept = json.loads(path.read_text("utf-8"))
        if kept["model"] != MODEL:
            return {}
        return {
            str(key): Prior(float(whole), tuple(tuple(map(float, row)) for row in along))
            for key, (whole, along) in kept["priors"].items()
        }
    except (OSError, ValueError, KeyError, TypeError, AttributeError):
        return {}


def _write(path: Path, priors: dict[str, Prior]) -> None:
    """Replace `path` as a whole, so that a reader never sees half of it."""
    lines = ",\n".join(
        f"{json.dumps(key, ensure_ascii=False)}: {json.dumps([p.whole, p.along])}"
        for key, p in sorted(priors.items())
    )
    try:
        path.parent.mkdir(parents=True, exist_ok=True)
        handle, half = tempfile.mkstemp(dir=path.parent, suffix=".part")
        with os.fdopen(handle, "w", encoding="utf-8") as out:
            out.write(f'{{"model": {json.dumps(MODEL)}, "priors": {{\n{lines}\n}}}}\n')
        Path(half).chmod(0o644 if path in (SHIPPED, SHIPPED_ANSWERS) else 0o600)
        Path(half).replace(path)
    except OSError:
        return  # only a cache: the next start measures again


def write_shipped(phrases: Iterable[str], path: Path = SHIPPED) -> int:
    """Measure `phrases` and write them to `path`; returns how many."""
    wanted = sorted(set(phrases))
    _write(path, dict(zip(map(_key, wanted), measure(Moonshine(), wanted), strict=True)))
    return len(wanted)


if __name__ == "__main__":
    answers = sys.argv[1:2] == ["--answers"]
    texts = (Path(name).read_text("utf-8") for name in sys.argv[2 if answers else 1 :])
    lines = (line.strip() for text in texts for line in text.splitlines() if line.strip())
    print(write_shipped(lines, SHIPPED_ANSWERS if answers else SHIPPED))
