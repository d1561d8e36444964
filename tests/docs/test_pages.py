"""The user's pages say what is true: their commands are understood and run, their example is accepted, their links lead somewhere."""

from __future__ import annotations

import json
import re
import shlex
import xml.etree.ElementTree as ElementTree
from pathlib import Path

import pytest

from assistant.cli.examples import examples_of
from assistant.cli.main import parser
from tests.cli.household_home import ANSWERS, HOUSEHOLD, KIT, Home, home
from tests.docs.fences import DOCS, Line, fences, lines, pages
from tests.docs.kept_run import RUN
from tests.docs.reference import commands, renewed

__all__ = ["home"]

NEEDS_MORE = (
    r"consult( \w+)?( --(voice|calendar|kit) ?\S*)*$",  # a person at the keyboard
    r"(kit|household) new",
    r"kit strand$",
    r"run\b",  # devices
    r"practice\b",
    r"soundcheck(?! --ears)",
    r"rehearse\b",  # half a minute; tests/rehearsals walks it
)


def documented() -> list[Line]:
    """Every combside line of a shell block of the pages, and every example of the commands' help."""
    shown = [line for page in pages() for f in fences(page) if f.label.startswith("sh") for line in lines(f)]
    helped = [
        Line(f"combside {name} --help", *_parts(example))
        for name, command in commands().items()
        for example in examples_of(command)
    ]
    return [*shown, *helped]


def _parts(example: str) -> tuple[tuple[str, ...], str, int]:
    words = shlex.split(example)
    assert words[0] == "combside", example
    cut = words.index(">") if ">" in words else len(words)
    return tuple(words[1:cut]), (words[-1] if cut < len(words) else ""), 0


def test_every_command_on_a_page_is_understood(capsys: pytest.CaptureFixture[str]) -> None:
    """No page and no help shows a command, an option or a word that the parsers refuse."""
    top = parser()
    shown = documented()
    assert len(shown) > 60
    for line in shown:
        if line.words[:1] in (("test",), ("python",)):
            continue  # of the launcher itself
        try:
            top.parse_args(line.words)
        except SystemExit as left:
            said = capsys.readouterr().err
            assert left.code == 0, f"{line.place}: combside {' '.join(line.words)}\n{said}"


def test_what_can_be_run_here_runs(home: Home, tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """Blocks labelled "sh run", and every example of the help that needs neither devices nor a person nor long."""
    home.settled()
    home.put(f"data/diary/{RUN['id']}.json", json.dumps(RUN))
    here = tmp_path / "here"
    here.mkdir()
    monkeypatch.chdir(here)
    for name, text in (("answers.yaml", ANSWERS), ("my_kit.yaml", KIT), ("us.yaml", HOUSEHOLD)):
        (here / name).write_text(text, "utf-8")
    to_run: dict[tuple[str, ...], Line] = {}
    for page in pages():
        for fence in fences(page):
            if fence.label == "sh run":
                for line in lines(fence):
                    to_run[line.words] = line
    for line in documented():
        if line.place.endswith("--help") and not any(re.match(p, " ".join(line.words)) for p in NEEDS_MORE):
            to_run.setdefault(line.words, line)
    assert len(to_run) > 20
    for line in sorted(to_run.values(), key=lambda one: "forget" in one.words):
        try:
            done = home.run(*line.words)
        except SystemExit as left:
            assert left.code == 0, line.place
            continue
        allowed = (0, 1) if line.place.endswith("--help") else (line.status,)
        assert done.status in allowed, (
            f"{line.place}: combside {' '.join(line.words)}: {done.status}\n{done.err}"
        )
        assert done.out or done.err
        for asked in (w for w in line.words if w.endswith((".svg", ".csv", ".html"))):
            assert (here / asked).stat().st_size > 100, line.place


def test_the_page_of_commands_is_as_the_parsers_are() -> None:
    """Synopsis, options and examples are made from the parsers; nothing else is written of an option."""
    page = (DOCS / "commands.md").read_text("utf-8")
    assert page == renewed(page), "an option changed: python -m tests.docs writes the page anew"
    for name in commands():
        section = page.split(f"## combside {name}\n")[1].split("\n## ")[0]
        for heading in ("What it does", "Synopsis", "Options", "Examples", "Exit status", "Files"):
            assert f"### {heading}\n" in section, (name, heading)


def test_the_worked_example_is_accepted(home: Home, tmp_path: Path) -> None:
    """The routine on the page passes `combside check`, and without its rinse it does not: the check is a real one."""
    (fence,) = [f for f in fences(DOCS / "writing_a_routine.md") if f.label == "yaml check routine"]
    path = tmp_path / "back_only.yaml"
    path.write_text(fence.text, "utf-8")
    done = home.run("check", path)
    assert (done.status, done.err) == (0, "")
    head, _, rest = fence.text.partition("  - id: rinse\n")
    path.write_text(f"{head}  - id: lather_one\n{rest.partition('  - id: lather_one' + chr(10))[2]}", "utf-8")
    done = home.run("check", path)
    assert done.status == 2
    assert "no rinse follows" in done.err


def anchors(page: Path) -> set[str]:
    """What a heading is called in a link: small letters, blanks as hyphens, other signs left out."""
    found = re.findall(r"^#+ (.*)$", page.read_text("utf-8"), re.M)
    return {re.sub(r"[^\w\- ]", "", heading.lower()).replace(" ", "-") for heading in found}


@pytest.mark.parametrize("page", pages(), ids=lambda page: page.name)
def test_links_lead_somewhere_and_pictures_have_words(page: Path) -> None:
    """Every link between pages has its page and its heading; every picture its file and its text."""
    text = page.read_text("utf-8")
    for mark, words, target in re.findall(r"(!?)\[([^\]]*)\]\(([^)]+)\)", text):
        if target.startswith("https://"):
            continue
        name, _, anchor = target.partition("#")
        there = (page.parent / name).resolve() if name else page
        assert there.is_file(), f"{page.name}: {target}"
        if anchor:
            assert anchor in anchors(there), f"{page.name}: {target}"
        if mark:
            assert len(words) > 20, f"{page.name}: the picture {target} has no words"
    for fence in fences(page):
        assert fence.label, f"{fence.place} has no label"


def test_every_page_is_in_the_index() -> None:
    """A page that nobody finds is not there."""
    index = (DOCS / "index.md").read_text("utf-8")
    assert [p.name for p in pages() if p.name != "index.md" and f"({p.name})" not in index] == []


def test_pictures_are_small_and_need_nothing() -> None:
    """Each is an SVG of under 40 kB with title and description, and refers to nothing outside itself."""
    pictures = sorted((DOCS / "pictures").glob("*"))
    assert len(pictures) >= 4
    for picture in pictures:
        text = picture.read_text("utf-8")
        root = ElementTree.fromstring(text)
        tags = [element.tag.rpartition("}")[2] for element in root.iter()]
        assert {"title", "desc"} <= set(tags), picture.name
        assert len(text) < 40_000
        assert not re.search(r"https?://(?!www\.w3\.org/2000/svg)|<script|<image", text), picture.name
