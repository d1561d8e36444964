"""Makes every clip of this folder: phrases of the phrase book and everyday talk, in named synthetic voices.

    python audio_fixtures/make.py [FOLDER]

The same tools give the same bytes. 16 kHz mono 16-bit FLAC. Clips that are no
longer wanted are removed. Needs flite, and festival with the voice
cmu_us_slt_arctic_hts. Provenance is written down in PROVENANCE.md beside this.
"""

from __future__ import annotations

import csv
import subprocess
import sys
import tempfile
from collections.abc import Iterator, Sequence
from pathlib import Path

import numpy as np
import soundfile
import soxr
import yaml

ROOT = Path(__file__).resolve().parent.parent
sys.path.insert(0, str(ROOT))

from assistant.core.phrases import PhraseBook  # noqa: E402
from assistant.files.yaml_file import load  # noqa: E402
from assistant.room.clips import slug  # noqa: E402

RATE = 16_000
KEEP_S = 0.05
FLITE = ("slt", "rms", "awb")
FESTIVAL = ("cmu_us_slt_arctic_hts",)
TALK_VOICES = ("slt", "rms")
TALK = (
    "did you feed the cat this morning", "the bus was late again today", "my sister called about the party",
    "I am done with work for today", "next week we drive to the sea", "the burning question is what to cook",
    "we should water the plants later", "that film was much too long", "have you seen my blue jacket",
    "the neighbours painted their door", "stop by the shop on your way home", "it rained the whole afternoon",
    "she started a new job in the city", "I left the keys on the table", "the soup needs a little salt",
    "we ran out of coffee yesterday", "the train to the coast leaves early", "my shoes are still wet",
    "that was a clear answer to a long question", "the dog next door barks at night",
    "I like the colour of your curtains", "turn the radio down a little", "what time does the market open",
    "he said the eye doctor was friendly", "the children are at their friends",
    "we waited for an hour at the station", "the cake was gone in ten minutes",
    "do you remember the song we heard", "my phone battery is nearly empty", "the window in the kitchen is open",
    "I would love a cup of tea now", "the garden looks lovely this year", "she is back from her holiday",
    "please bring the towels from downstairs", "the lift is broken again", "we walked along the river",
    "how was your day at school", "the bread is still warm", "there is a letter for you",
    "I need to iron my shirt for tomorrow",
)  # fmt: skip


def zones() -> tuple[str, ...]:
    """Every zone of every shipped routine, in alphabetical order."""
    found: set[str] = set()
    for path in sorted((ROOT / "routines").glob("*.yaml")):
        found |= {zone["name"] for zone in yaml.safe_load(path.read_text("utf-8"))["zones"]}
    return tuple(sorted(found))


def phrases() -> list[tuple[str, str, str]]:
    """(text, name, slot) of everything that may be heard; numbers in the taught way only."""
    book = load(ROOT / "routines" / "phrases" / "en.yaml", PhraseBook)
    live = book.live(book.heard, zones())
    taught = {
        name: entry.ways[0].split("{")[0] for name, entry in book.heard.items() if entry.slot() == "minutes"
    }
    return [
        (p.text, p.name, p.slot) for p in live if p.name not in taught or p.text.startswith(taught[p.name])
    ]


def by_flite(voice: str, texts: Sequence[str], folder: Path) -> Iterator[tuple[str, Path]]:
    for k, text in enumerate(texts):
        path = folder / f"{voice}_{k}.wav"
        subprocess.run(
            ["flite", "-voice", voice, "-t", text, "-o", str(path)], check=True, capture_output=True
        )
        yield text, path


def by_festival(voice: str, texts: Sequence[str], folder: Path) -> Iterator[tuple[str, Path]]:
    """All in one process: festival takes longer to start than to speak."""
    paths = [folder / f"{voice}_{k}.wav" for k in range(len(texts))]
    lines = [f"(voice_{voice})"]
    lines += [
        f'(utt.save.wave (utt.synth (Utterance Text "{text}")) "{path}" \'riff)'
        for text, path in zip(texts, paths, strict=True)
    ]
    script = folder / "say.scm"
    script.write_text("\n".join(lines), "utf-8")
    subprocess.run(["festival", "-b", str(script)], check=True, capture_output=True)
    yield from zip(texts, paths, strict=True)


def trimmed(path: Path) -> np.ndarray:
    """The clip at RATE without the silence around it, peak 0.5."""
    samples, rate = soundfile.read(str(path), dtype="float32")
    sound = samples if rate == RATE else soxr.resample(samples, rate, RATE)
    loud = np.flatnonzero(np.abs(sound) > 0.01 * np.abs(sound).max())
    keep = round(KEEP_S * RATE)
    kept = sound[max(0, loud[0] - keep) : loud[-1] + 1 + keep]
    return np.asarray(0.5 * kept / np.abs(kept).max(), dtype=np.float32)


def make(folder: Path) -> int:
    """Write clips/ and talk/ into `folder`; how many files there are now."""
    said = phrases()
    texts = list(dict.fromkeys(text for text, _, _ in said))
    meaning = {text: (name, slot) for text, name, slot in said}
    count = 0
    with tempfile.TemporaryDirectory() as scratch:
        work = Path(scratch)
        voices = [(f"flite_{v}", by_flite(v, texts, work)) for v in FLITE]
        voices += [(f"festival_{v}", by_festival(v, texts, work)) for v in FESTIVAL]
        count += write(folder / "clips", voices, meaning)
        talk = [(f"flite_{v}", by_flite(v, TALK, work)) for v in TALK_VOICES]
        count += write(folder / "talk", talk, {})
    return count


def write(
    folder: Path,
    voices: Sequence[tuple[str, Iterator[tuple[str, Path]]]],
    meaning: dict[str, tuple[str, str]],
) -> int:
    """One folder of clips with its index."""
    folder.mkdir(parents=True, exist_ok=True)
    rows, wanted = [], set()
    for voice, made in voices:
        (folder / voice).mkdir(exist_ok=True)
        for text, path in made:
            clip = folder / voice / f"{slug(text)}.flac"
            sound = trimmed(path)
            soundfile.write(clip, sound, RATE, subtype="PCM_16")
            wanted.add(clip)
            name, slot = meaning.get(text, ("", ""))
            rows.append([f"{voice}/{clip.name}", voice, text, name, slot, f"{len(sound) / RATE:.2f}"])
    for old in folder.rglob("*.flac"):
        if old not in wanted:
            old.unlink()
    with (folder / "index.csv").open("w", encoding="utf-8", newline="") as out:
        writer = csv.writer(out, lineterminator="\n")
        writer.writerow(["file", "voice", "text", "name", "slot", "seconds"])
        writer.writerows(rows)
    return len(rows)


if __name__ == "__main__":
    print(make(Path(sys.argv[1]) if len(sys.argv) > 1 else ROOT / "audio_fixtures"), "clips")
