"""What is given away: the wheel holds all that the program needs, and comes out the same twice."""

import os
import subprocess
import sys
import tarfile
import zipfile
from email.parser import Parser
from hashlib import sha256
from pathlib import Path

import pytest

from leastcut import __version__

ROOT = Path(__file__).parents[2]

WHEN = "1764028800"  # 25 November 2025, any fixed moment


def build(folder: Path, what: str, tree: Path = ROOT) -> Path:
    subprocess.run(
        [sys.executable, "-m", "build", "--no-isolation", f"--{what}", "--outdir", folder, tree],
        check=True,
        capture_output=True,
        env={**os.environ, "SOURCE_DATE_EPOCH": WHEN},
        timeout=120,
    )
    (made,) = folder.iterdir()
    return made


@pytest.fixture(scope="module")
def wheel(tmp_path_factory: pytest.TempPathFactory) -> Path:
    return build(tmp_path_factory.mktemp("wheel"), "wheel")


def tracked(folder: str) -> set[str]:
    listing = subprocess.run(
        ["git", "ls-files", folder], check=True, capture_output=True, text=True, cwd=ROOT
    )
    return {line for line in listing.stdout.splitlines() if (ROOT / line).is_file()}


@pytest.mark.process
def test_the_wheel_holds_every_file_of_the_package(wheel: Path) -> None:
    with zipfile.ZipFile(wheel) as packed:
        names = set(packed.namelist())
    assert {name.removeprefix("src/") for name in tracked("src/leastcut")} <= names
    for needed in ("web/templates/", "web/static/", "web/words/words.toml", "shop/migrations/", "handover/fonts/", "handover/templates/"):  # fmt: skip
        assert any(name.startswith(f"leastcut/{needed}") for name in names), needed
    assert not [name for name in names if name.endswith(".pyc") or "/tests/" in name]


@pytest.mark.process
def test_the_wheel_brings_licences_command_and_typing(wheel: Path) -> None:
    with zipfile.ZipFile(wheel) as packed:
        (info,) = {n.split("/")[0] for n in packed.namelist() if ".dist-info/" in n}
        told = Parser().parsestr(packed.read(f"{info}/METADATA").decode())
        commands = packed.read(f"{info}/entry_points.txt").decode()
        names = packed.namelist()
    assert told["License-Expression"] == "Apache-2.0"
    assert len(told.get_all("License-File") or []) == 3
    assert "leastcut = leastcut.cli:main" in commands
    assert "leastcut/py.typed" in names
    assert any(name.endswith(".data/data/share/man/man1/leastcut.1") for name in names)
    assert set(told.get_all("Provides-Extra") or []) == {"cluster", "heic", "https", "postgres"}


@pytest.mark.process
def test_two_builds_give_the_same_bytes(wheel: Path, tmp_path: Path) -> None:
    again = build(tmp_path, "wheel")
    assert again.name == wheel.name
    assert sha256(again.read_bytes()).digest() == sha256(wheel.read_bytes()).digest()


@pytest.mark.process
def test_the_unpacked_wheel_runs_from_elsewhere(wheel: Path, tmp_path: Path) -> None:
    with zipfile.ZipFile(wheel) as packed:
        packed.extractall(tmp_path / "site")
    command = "import leastcut, sys; from leastcut.cli import main; print(leastcut.__file__); sys.argv = ['leastcut', 'car', 'bodies', '-o', 'bodies.svg']; main()"  # fmt: skip
    done = subprocess.run(
        [sys.executable, "-c", command],
        capture_output=True,
        text=True,
        check=False,
        cwd=tmp_path,
        env={**os.environ, "PYTHONPATH": str(tmp_path / "site")},
    )
    assert done.returncode == 0, done.stderr
    assert str(tmp_path) in done.stdout
    assert (tmp_path / "bodies.svg").stat().st_size > 10_000


@pytest.mark.process
def test_the_source_archive_comes_out_the_same_twice(tmp_path: Path) -> None:
    one, two = (build(tmp_path / name, "sdist") for name in ("a", "b"))
    assert sha256(one.read_bytes()).digest() == sha256(two.read_bytes()).digest()
    assert one.name == f"leastcut-{__version__}.tar.gz"


@pytest.mark.process
def test_the_source_archive_builds_the_same_wheel(wheel: Path, tmp_path: Path) -> None:
    archive = build(tmp_path / "packed", "sdist")
    with tarfile.open(archive) as packed:
        packed.extractall(tmp_path, filter="data")
    again = build(tmp_path / "built", "wheel", tmp_path / archive.name.removesuffix(".tar.gz"))
    assert sha256(again.read_bytes()).digest() == sha256(wheel.read_bytes()).digest()
