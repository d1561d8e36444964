"""Whatever lies at a path, reading it ends in a complaint or a document."""

from __future__ import annotations

import os
from pathlib import Path

import pytest

from assistant.files import yaml_tree
from assistant.files.inside import LeavesFolder, inside
from assistant.files.yaml_file import BadFile, Complaint, parse, read


def complaint_of(path: Path | str) -> Complaint:
    with pytest.raises(BadFile) as caught:
        read(path)
    (complaint,) = caught.value.complaints
    return complaint


def written(folder: Path, raw: bytes) -> Path:
    path = folder / "sheet.yaml"
    path.write_bytes(raw)
    return path


def test_a_missing_file_suggests_its_neighbour(tmp_path: Path) -> None:
    (tmp_path / "kit_sheet.yaml").touch()
    complaint = complaint_of(tmp_path / "kitsheet.yaml")
    assert (complaint.line, complaint.message) == (0, "there is no such file")
    assert complaint.hint == f"did you mean '{tmp_path / 'kit_sheet.yaml'}'?"


def test_a_folder_is_no_file(tmp_path: Path) -> None:
    assert complaint_of(tmp_path).message == "this is a folder, not a file"


@pytest.mark.skipif(os.name != "posix", reason="POSIX files")
def test_a_pipe_or_a_device_is_refused_without_reading_it(tmp_path: Path) -> None:
    """Opening a pipe nobody writes to would wait for ever."""
    os.mkfifo(tmp_path / "pipe")
    assert complaint_of(tmp_path / "pipe").message == "this is not an ordinary file"
    assert complaint_of("/dev/zero").message == "this is not an ordinary file"


@pytest.mark.skipif(os.name != "posix", reason="POSIX links")
def test_links_in_a_circle(tmp_path: Path) -> None:
    (tmp_path / "a").symlink_to(tmp_path / "b")
    (tmp_path / "b").symlink_to(tmp_path / "a")
    assert complaint_of(tmp_path / "a").message.startswith("this file cannot be read: ")


@pytest.mark.parametrize("name", ["a\0b", "x" * 5000])
def test_a_name_no_file_can_have(name: str) -> None:
    assert complaint_of(name).message.startswith("this file cannot be read: ")


@pytest.mark.skipif(os.name != "posix", reason="POSIX permissions")
def test_a_file_that_may_not_be_read(tmp_path: Path) -> None:
    """As another user where the tests run as root, whom no permission stops."""
    path = written(tmp_path, b"a: 1\n")
    path.chmod(0)
    child = os.fork()
    if child == 0:
        if os.geteuid() == 0:
            os.setuid(65534)
        try:
            read(path)
        except BadFile as error:
            os._exit(0 if error.complaints[0].message == "this file may not be read" else 1)
        finally:
            os._exit(2)
    assert os.waitstatus_to_exitcode(os.waitpid(child, 0)[1]) == 0


def test_a_file_that_is_too_large_is_not_read_whole(tmp_path: Path) -> None:
    path = written(tmp_path, b"")
    os.truncate(path, 10 << 30)  # ten gigabytes that take no room
    assert complaint_of(path).message == "this file is larger than 1024 KiB"


@pytest.mark.parametrize(
    ("raw", "message", "line", "column"),
    [
        (b"a: 1\nb: caf\xe9\n", "this is not UTF-8 text", 2, 7),
        ("a: 1\n".encode("utf-16"), "this is not UTF-8 text", 1, 1),
        (b"a: 1\nb: \0\n", "a control character (U+0000) has no place in this file", 2, 4),
        (
            "b: \N{REPLACEMENT CHARACTER}\x1b[2J".encode(),
            "a control character (U+001B) has no place in this file",
            1,
            5,
        ),
        (b'a: "\\UFFFFFFFF"\n', "this is not YAML: a number here is too large", 1, 7),
    ],
)
def test_bytes_that_are_no_yaml(tmp_path: Path, raw: bytes, message: str, line: int, column: int) -> None:
    complaint = complaint_of(written(tmp_path, raw))
    assert (complaint.message, complaint.line, complaint.column) == (message, line, column)


def test_a_byte_order_mark_is_passed_over(tmp_path: Path) -> None:
    assert read(written(tmp_path, b"\xef\xbb\xbfa: 1\n")).tree.value == {"a": 1}


@pytest.mark.parametrize(
    ("text", "value"),
    [
        ("yes", "yes"), ("no", "no"), ("on", "on"), ("Off", "Off"), ("y", "y"),
        ("true", True), ("False", False), ("~", None), ("", None),
        ("12:30", "12:30"), ("190:20:30", "190:20:30"), ("010", "010"), ("0x1F", "0x1F"), ("1_000", "1_000"),
        ("2025-03-09", "2025-03-09"), (".inf", ".inf"), (".nan", ".nan"), ("=", "="),
        ("12", 12), ("-3", -3), ("12.5", 12.5), (".5", 0.5), ("1e3", 1000.0), ("'12'", "12"),
    ],
)  # fmt: skip
def test_what_plain_words_and_numbers_are(text: str, value: object) -> None:
    """The traps of YAML 1.1 (yaml.org/type: bool, int with base 60, timestamp) are text here."""
    read_value = parse(f"a: {text}\n").tree.value
    assert read_value == {"a": value}
    assert isinstance(read_value, dict) and type(read_value["a"]) is type(value)


def test_no_tag_reaches_an_object(tmp_path: Path) -> None:
    path = tmp_path / "made"
    with pytest.raises(BadFile, match=r"the tag '!!python/object/apply:os\.mkdir' is not read here"):
        parse(f"a: !!python/object/apply:os.mkdir ['{path}']\n")
    assert not path.exists()


def test_aliases_are_read_as_long_as_they_end() -> None:
    assert parse("a: &x [1, 2]\nb: *x\n").tree.value == {"a": [1, 2], "b": [1, 2]}


def test_too_many_entries_stop_the_reading_early() -> None:
    with pytest.raises(BadFile, match=f"more than {yaml_tree.MAX_NODES} entries"):
        parse("[" + "a," * 400_000 + "]")


def test_half_a_million_brackets_do_not_exhaust_the_stack() -> None:
    with pytest.raises(BadFile, match="nested more than 40 deep"):
        parse("[" * 500_000)


@pytest.mark.parametrize("name", ["clip.wav", "sub/clip.wav", "sub/../clip.wav", "..clip"])
def test_a_name_inside_its_folder(tmp_path: Path, name: str) -> None:
    assert inside(tmp_path, name) == (tmp_path / name).resolve()


@pytest.mark.parametrize(
    "name", ["", ".", "..", "../x", "sub/../../x", "/etc/passwd", "C:\\x", "\\x", "C:x", "a\0b"]
)
def test_a_name_that_leads_out_of_its_folder(tmp_path: Path, name: str) -> None:
    with pytest.raises(LeavesFolder):
        inside(tmp_path, name)


@pytest.mark.skipif(os.name != "posix", reason="POSIX links")
def test_a_link_that_leads_out_of_its_folder(tmp_path: Path) -> None:
    (tmp_path / "home").mkdir()
    (tmp_path / "home" / "link").symlink_to(tmp_path)
    with pytest.raises(LeavesFolder):
        inside(tmp_path / "home", "link/x")


def test_a_path_in_a_file_is_complained_about_at_its_place(tmp_path: Path) -> None:
    document = read(written(tmp_path, b"voices:\n  - folder: ../../x\n"))
    with pytest.raises(BadFile) as caught:
        document.path_at(("voices", 0, "folder"), "../../x")
    (complaint,) = caught.value.complaints
    assert (complaint.line, complaint.column, complaint.width) == (2, 13, 7)
    assert complaint.message == "'../../x' leads out of this folder"
