"""The carried English model: how likely it holds a text, given a sound.

The model (tiny English, MIT, inside the wheel of moonshine-voice 0.1.0) is run
by onnxruntime; the wheel's native library is never imported. Its encoder runs
once over an utterance, its decoder scores token sequences along a prefix tree,
all nodes of one depth as one batch. Here log probabilities only; which phrase
they speak for is found in `ears.moonshine`. Called by it and by `ears.priors`.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, field
from importlib.util import find_spec
from pathlib import Path

import numpy as np
import onnxruntime
from numpy.typing import NDArray

from assistant.ears.tokens import BEGIN, END, Tokens
from assistant.ears.written_forms import written_forms
from assistant.ports import RATE, Samples

LAYERS, HEADS, WIDTH = 6, 8, 36
"""Shape of the tiny English model's decoder memory."""
ENDINGS = (".", "?", "!", ",", "...")
LONGEST_FREE_DECODE = 24
"""Tokens; an allowed phrase has under twelve, so a longer free text is something else."""
PRIOR_SHARE = 0.75
"""How much of the prior is taken off a score; 0.6 to 1.0 did alike on synthetic phrases."""
LOWEST_AHEAD, FARTHEST_BEHIND = -6.0, 7.5
"""What is followed along the tree: the right phrase was never lower than -4.9, nor more than 6.8 behind the
best (104 phrases, two voices, quiet and tap noise at 10 and 5 dB), so this costs nothing and saves two
thirds of the time."""
LONGEST_S = 8.0
"""Only so much is looked at: no phrase is longer, and beyond 9 s this export of the decoder fails."""
SHORTEST_S = 0.5
"""Utterances are filled up to this with silence: the encoder needs some context."""

Floats = NDArray[np.float32]
Ids = tuple[int, ...]
NAMES = tuple((layer, kind) for layer in range(LAYERS) for kind in ("key", "value"))


def model_folder() -> Path:
    """Where the carried model lies. Raises FileNotFoundError when it is not installed."""
    spec = find_spec("moonshine_voice")
    for root in (spec.submodule_search_locations or ()) if spec else ():
        folder = Path(root) / "assets" / "tiny-en"
        if (folder / "tokenizer.bin").is_file():
            return folder
    raise FileNotFoundError("the English model of the package moonshine-voice 0.1.0 is not installed")


@dataclass(slots=True)
class Node:
    """One token of the prefix tree; `ends` lists the rows that are complete here."""

    token: int
    children: dict[int, Node] = field(default_factory=dict)
    ends: list[int] = field(default_factory=list)
    prior: float = np.inf  # the mean sum this far on mere noise
    need: float = np.inf  # a lower sum than this can lead to no score worth having


@dataclass(frozen=True, slots=True)
class Encoded:
    """An utterance as the decoder sees it."""

    hidden: Floats  # (1, T, 288)
    memory: Mapping[str, Floats]  # the encoder's keys and values, 12 of (1, 8, T, 36)
    first: Floats  # log P of the first token, (vocabulary,)
    past: tuple[Floats, ...]  # the decoder's own memory after the begin token


class Moonshine:
    """The model, loaded once (0.3 s, some 200 MB)."""

    def __init__(self, folder: Path | None = None, threads: int = 1) -> None:
        """`threads` of 1 keeps the result the same on every machine with this processor type."""
        folder = folder or model_folder()
        options = onnxruntime.SessionOptions()
        options.intra_op_num_threads = threads
        options.inter_op_num_threads = 1
        options.log_severity_level = 3
        made = [
            onnxruntime.InferenceSession(str(folder / name), options, providers=["CPUExecutionProvider"])
            for name in ("encoder_model.ort", "decoder_model_merged.ort")
        ]
        self._encoder, self._decoder = made
        self.tokens = Tokens(folder / "tokenizer.bin")
        self._endings = np.array([END, *(i for i in map(self.tokens.id_of, ENDINGS) if i is not None)])
        self._outputs = [o.name for o in self._decoder.get_outputs()]

    def encode(self, sound: Samples) -> Encoded:
        """Run the encoder and the decoder's first step over one utterance."""
        sound = sound[: int(LONGEST_S * RATE)]
        short = int(SHORTEST_S * RATE) - len(sound)
        if short > 0:
            sound = np.concatenate([sound, np.zeros(short, np.float32)])
        values = np.ascontiguousarray(sound, np.float32)[None]
        (hidden,) = self._encoder.run(
            None, {"input_values": values, "attention_mask": np.ones(values.shape, np.int64)}
        )
        nothing = np.zeros((1, HEADS, 0, WIDTH), np.float32)
        feed: dict[str, np.ndarray] = {
            "input_ids": np.array([[BEGIN]], np.int64),
            "encoder_hidden_states": hidden,
            "encoder_attention_mask": np.ones((1, hidden.shape[1]), np.int64),
            "use_cache_branch": np.array([False]),
        }
        for layer, kind in NAMES:
            feed[f"past_key_values.{layer}.decoder.{kind}"] = nothing
            feed[f"past_key_values.{layer}.encoder.{kind}"] = nothing
        out = dict(zip(self._outputs, self._decoder.run(None, feed), strict=True))
        memory = {
            f"past_key_values.{layer}.encoder.{kind}": out[f"present.{layer}.encoder.{kind}"]
            for layer, kind in NAMES
        }
        past = tuple(out[f"present.{layer}.decoder.{kind}"] for layer, kind in NAMES)
        return Encoded(hidden, memory, _log_softmax(out["logits"][:, -1])[0], past)

    def walk(self, heard: Encoded, tree: Node) -> Iterator[tuple[Node, float, float]]:
        """Each node of `tree` worth visiting, the log probability of its tokens, and that of an ending
        here."""
        level = _worth_going_on([(child, float(heard.first[t]), 0) for t, child in tree.children.items()])
        past = heard.past
        while level:
            past = tuple(p[[parent for _, _, parent in level]] for p in past)
            logp, past = self._step(heard, [node.token for node, _, _ in level], past)
            endings = np.logaddexp.reduce(logp[:, self._endings], axis=1)
            below: list[tuple[Node, float, int]] = []
            for i, (node, so_far, _) in enumerate(level):
                yield node, so_far, float(endings[i])
                below += [(child, so_far + float(logp[i, t]), i) for t, child in node.children.items()]
            level = _worth_going_on(below)

    def score_rows(self, heard: Encoded, tree: Node, rows: int) -> NDArray[np.float64]:
        """Log probability of each of `rows` token sequences with an ending, -inf where it was not worth
        finishing."""
        scores = np.full(rows, -np.inf)
        for node, so_far, ending in self.walk(heard, tree):
            scores[node.ends] = so_far + ending
        return scores

    def score_one(self, heard: Sequence[Encoded], row: Ids) -> float:
        """The mean log probability of one token sequence, with an ending, over several utterances of equal
        length."""
        together = Encoded(
            np.concatenate([h.hidden for h in heard]),
            {name: np.concatenate([h.memory[name] for h in heard]) for name in heard[0].memory},
            np.stack([h.first for h in heard]),
            tuple(np.concatenate(parts) for parts in zip(*(h.past for h in heard), strict=True)),
        )
        logp, past = together.first, together.past
        total = np.zeros(len(heard))
        for token in row:
            total += logp[:, token]
            logp, past = self._step(together, [token] * len(heard), past)
        return float(np.mean(total + np.logaddexp.reduce(logp[:, self._endings], axis=1)))

    def free_decode(self, heard: Encoded) -> tuple[Ids, float]:
        """What the model would write by itself, and the log probability of that with its ending."""
        logp, past = heard.first, heard.past
        said: list[int] = []
        total = 0.0
        while True:
            best = int(np.argmax(logp))
            ending = float(np.logaddexp.reduce(logp[self._endings]))
            if best in self._endings or len(said) >= LONGEST_FREE_DECODE:
                return tuple(said), total + ending
            said.append(best)
            total += float(logp[best])
            rows, past = self._step(heard, [best], past)
            logp = rows[0]

    def _step(
        self, heard: Encoded, tokens: list[int], past: tuple[Floats, ...]
    ) -> tuple[Floats, tuple[Floats, ...]]:
        """One token for each of a batch: log P of what follows (batch, vocabulary), and the memory grown by
        one."""
        feed: dict[str, np.ndarray] = {
            "input_ids": np.array(tokens, np.int64)[:, None],
            "encoder_hidden_states": heard.hidden,
            "encoder_attention_mask": np.ones((len(tokens), heard.hidden.shape[1]), np.int64),
            "use_cache_branch": np.array([True]),
            **heard.memory,
        }
        for (layer, kind), own in zip(NAMES, past, strict=True):
            feed[f"past_key_values.{layer}.decoder.{kind}"] = own
        out = dict(zip(self._outputs, self._decoder.run(None, feed), strict=True))
        grown = tuple(out[f"present.{layer}.decoder.{kind}"] for layer, kind in NAMES)
        return _log_softmax(out["logits"][:, -1]), grown


def _log_softmax(logits: Floats) -> Floats:
    shifted = logits - logits.max(axis=-1, keepdims=True)
    result: Floats = shifted - np.log(np.exp(shifted).sum(axis=-1, keepdims=True))
    return result


def _worth_going_on(level: list[tuple[Node, float, int]]) -> list[tuple[Node, float, int]]:
    """Without the nodes that can lead to nothing, or are far behind when compared by what noise would give
    them."""
    if not level:
        return level
    ahead = [
        total - PRIOR_SHARE * node.prior if np.isfinite(node.prior) else np.inf for node, total, _ in level
    ]
    least = max(LOWEST_AHEAD, max(ahead) - FARTHEST_BEHIND)
    return [entry for entry, a in zip(level, ahead, strict=True) if a >= least and entry[1] >= entry[0].need]


def prefix_tree(
    rows: Sequence[Ids], needs: Sequence[float] | None = None, along: Sequence[Sequence[float]] | None = None
) -> Node:
    """The tree of all `rows`.

    `needs` gives for each row the lowest log probability still worth having,
    `along` its mean sum on noise after each token; without them nothing is pruned.
    """
    root = Node(BEGIN)
    for number, row in enumerate(rows):
        need = -np.inf if needs is None else needs[number]
        node = root
        for depth, token in enumerate(row):
            node = node.children.setdefault(token, Node(token))
            node.need = min(node.need, need)
            if along is not None:
                node.prior = min(node.prior, along[number][depth])
        node.ends.append(number)
    return root


def phrase_rows(tokens: Tokens, phrases: Sequence[str]) -> tuple[list[Ids], list[int]]:
    """Token rows of every written form, and for each row the number of its phrase."""
    rows: list[Ids] = []
    owner: list[int] = []
    for number, phrase in enumerate(phrases):
        for form in written_forms(phrase):
            rows.append(tokens.encode(form))
            owner.append(number)
    return rows, owner
