"""The wheel carries what a command needs, and the launcher speaks plainly where it cannot go on."""

from __future__ import annotations

import json
import os
import shutil
import stat
import subprocess
import sys
import zipfile
from pathlib import Path

import pytest

from assistant.files import places
from tests.docs.kept_run import RUN

ROOT = Path(__file__).parents[1]


@pytest.fixture(scope="module")
def wheel(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A wheel built from this checkout."""
    out = tmp_path_factory.mktemp("wheel")
    subprocess.run(
        [sys.executable, "-m", "hatchling", "build", "-t", "wheel", "-d", str(out)],
        cwd=ROOT,
        check=True,
        capture_output=True,
    )
    return next(out.glob("*.whl"))


def test_the_wheel_carries_routines_clips_and_the_launcher(wheel: Path) -> None:
    """Everything under routines/ and audio_fixtures/, and the console command."""
    with zipfile.ZipFile(wheel) as packed:
        names = set(packed.namelist())
        entry = next(name for name in names if name.endswith("entry_points.txt"))
        assert "combside = assistant.cli.main:main" in packed.read(entry).decode()
    for folder in ("routines", "audio_fixtures"):
        wanted = {
            f"assistant/shipped/{path.relative_to(ROOT).as_posix()}"
            for path in (ROOT / folder).rglob("*")
            if path.is_file() and "__pycache__" not in path.parts
        }
        assert wanted
        assert wanted <= names
    pages = {p.relative_to(ROOT).as_posix() for p in (ROOT / "assistant" / "docs").rglob("*") if p.is_file()}
    looks = {
        p.relative_to(ROOT).as_posix()
        for p in (ROOT / "assistant" / "screens").rglob("*")
        if p.suffix != ".pyc"
    }
    assert len(pages) > 8 and pages <= names
    assert {name for name in looks if not (ROOT / name).is_dir()} <= names
    assert "assistant/launch" in names
    assert not [name for name in names if name.startswith("tests/")]


def test_an_unpacked_wheel_finds_its_own_folders(wheel: Path, tmp_path: Path) -> None:
    """`places` gives the wheel's copies, not a checkout's."""
    with zipfile.ZipFile(wheel) as packed:
        packed.extractall(tmp_path)
    code = "from assistant.files import places as p; print(p.routines_folder()); print(p.audio_fixtures_folder())"
    done = subprocess.run(
        [sys.executable, "-c", code],
        cwd=tmp_path,
        env={**os.environ, "PYTHONPATH": str(tmp_path)},
        check=True,
        capture_output=True,
        text=True,
    )
    shipped = tmp_path.resolve() / "assistant" / "shipped"
    assert done.stdout.split("\n")[:2] == [str(shipped / "routines"), str(shipped / "audio_fixtures")]


WATCHED = """
import os, sys
written = []
WRITES = os.O_WRONLY | os.O_RDWR | os.O_CREAT | os.O_APPEND
def watch(event, given):
    if event == "open" and isinstance(given[0], (str, bytes)) and given[2] & WRITES:
        written.append(os.fsdecode(given[0]))
    elif event in ("os.mkdir", "os.remove", "os.rmdir", "os.truncate"):
        written.append(os.fsdecode(given[0]))
    elif event in ("os.rename", "os.link", "os.symlink"):
        written.extend(os.fsdecode(path) for path in given[:2])
sys.addaudithook(watch)
from assistant.cli.main import main
for words in sys.argv[1:]:
    status = main(words.split())
    print("ran", status, words)
print(*("wrote " + os.path.abspath(path) for path in written), sep="\\n")
"""


def test_an_installed_combside_writes_only_into_the_users_folders(wheel: Path, tmp_path: Path) -> None:
    """Started from any folder, it writes nothing where it stands and nothing where it is installed."""
    package, here, own = tmp_path / "package", tmp_path / "here", tmp_path / "own"
    for folder in (here, own):
        folder.mkdir()
    with zipfile.ZipFile(wheel) as packed:
        packed.extractall(package)
    (own / "data" / "diary").mkdir(parents=True)
    (own / "data" / "diary" / f"{RUN['id']}.json").write_text(json.dumps(RUN), "utf-8")
    commands = ("household", "kit", "plan touch_up", "diary report last", "diary forget last --yes", "diary")
    done = subprocess.run(
        [sys.executable, "-B", "-c", WATCHED, *commands],
        cwd=here,
        env={**os.environ, "PYTHONPATH": str(package), places.ALL_IN_ONE: str(own)},
        check=True,
        capture_output=True,
        text=True,
    )
    lines = done.stdout.splitlines()
    assert [line for line in lines if line.startswith("ran 2")] == []
    assert sum(line.startswith("ran ") for line in lines) == len(commands)
    written = {Path(line.removeprefix("wrote ")) for line in lines if line.startswith("wrote ")}
    assert own / "data" / "reports" / f"{RUN['id']}.html" in written
    assert [path for path in written if not path.is_relative_to(own) and path != Path(os.devnull)] == []
    assert list(here.iterdir()) == []


def test_the_households_folders_are_its_own(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """Made when asked for, readable by their owner alone (invariant 11)."""
    monkeypatch.setenv(places.ALL_IN_ONE, str(tmp_path / "home"))
    for folder in (places.data_folder(), places.cache_folder(), places.runs_folder()):
        assert folder.is_relative_to(tmp_path / "home")
        assert stat.S_IMODE(folder.stat().st_mode) == 0o700


def launch(path: Path, *arguments: str, **environment: str) -> subprocess.CompletedProcess[str]:
    """The launcher with nothing but the programs in `path`."""
    shell = shutil.which("dash") or shutil.which("sh")
    assert shell is not None
    return subprocess.run(
        [shell, str(ROOT / "assistant" / "launch"), *arguments],
        env={"PATH": str(path), **environment},
        capture_output=True,
        text=True,
        check=False,
        stdin=subprocess.DEVNULL,
    )


@pytest.fixture
def bare(tmp_path: Path) -> Path:
    """A folder of the few programs every system has; no Python, no apt-get, no espeak-ng."""
    folder = tmp_path / "bin"
    folder.mkdir()
    for program in ("cat", "cksum", "dirname", "mkdir", "rm", "sed", "tail", "uname", "id"):
        found = shutil.which(program)
        assert found is not None
        (folder / program).symlink_to(found)
    return folder


def test_an_unknown_system_is_told_what_to_install(bare: Path, tmp_path: Path) -> None:
    """Exit 2, the missing things by name, and the commands of other systems."""
    done = launch(bare, "rehearse", HOME=str(tmp_path))
    assert done.returncode == 2
    assert "no apt-get" in done.stderr
    for words in ("python3", "espeak-ng", "dnf install", "pacman -S", "brew install", "Windows"):
        assert words in done.stderr


def test_tests_on_an_unknown_system_name_their_voices(bare: Path, tmp_path: Path) -> None:
    """What only the tests need is said only for them."""
    done = launch(bare, "test", HOME=str(tmp_path))
    assert done.returncode == 2
    assert "cmu_us_slt_arctic_hts" in done.stderr


def test_without_a_home_the_launcher_says_so(bare: Path) -> None:
    """No folder to write to is an input error, not a shell's."""
    done = launch(bare, "rehearse")
    assert done.returncode == 2
    assert "HOME is not set" in done.stderr


def test_a_home_that_cannot_be_made_is_named(bare: Path, tmp_path: Path) -> None:
    """The folder and the way out are named."""
    (tmp_path / "file").write_text("", "utf-8")
    done = launch(bare, "rehearse", HOME=str(tmp_path / "file"))
    assert done.returncode == 2
    assert f"cannot write to {tmp_path / 'file'}" in done.stderr
    assert "XDG_DATA_HOME" in done.stderr


@pytest.mark.parametrize(("arguments", "status"), [((), 2), (("--help",), 0)])
def test_alone_the_launcher_shows_how_it_is_used(bare: Path, arguments: tuple[str, ...], status: int) -> None:
    """Nothing asked for is an input error; help is not. Both set nothing up."""
    done = launch(bare, *arguments)
    assert done.returncode == status
    assert "sh assistant/launch rehearse" in done.stderr
