"""Every command that the documentation shows does what it says, on the demo's files."""

import os
import shutil
import subprocess
import sys
from collections.abc import Iterator
from pathlib import Path

import click
import pytest
from click.testing import CliRunner, Result
from docfiles import NOT_RUN, PAGES, furnish, reason, shown, words

from leastcut.cli import leastcut

SHOWN = list(dict.fromkeys((command, page.name) for page in PAGES for command in shown(page)))
COMMANDS = list(dict(SHOWN).items())
# What the reader has that the demo has not: another name for the same.
STAND_INS = {
    "/mnt/other-disk": "disk",
    "take.mp4 --square-mm 450": "take.mp4 --square-mm 260",
    "write-out 12": "write-out 1",
    "class/ --takes --square-mm 400 --pad-mm 130": "videos --takes --square-mm 260 --pad-mm 120",
    "photo.jpg": "photos/bonnet.jpg",
    "before.jpg after.jpg": "photos/bonnet.jpg photos/bonnet-after.jpg",
}


def run(command: str) -> Result:
    return CliRunner().invoke(leastcut, words(command), catch_exceptions=False)


@pytest.fixture(scope="module")
def folder(demo, tmp_path_factory: pytest.TempPathFactory) -> Iterator[Path]:  # noqa: ANN001
    place = tmp_path_factory.mktemp("docs") / "here"
    demo.copy(place)
    furnish(place)
    before = Path.cwd()
    os.environ["LEASTCUT_SHOP"] = str(place / "record")
    os.chdir(place)
    try:
        prepare(place)
        yield place
    finally:
        os.chdir(before)
        del os.environ["LEASTCUT_SHOP"]


def prepare(place: Path) -> None:
    """Leave what earlier commands of a chapter would have left."""
    take = run("leastcut work technique take.mp4 --square-mm 260 --json").stdout
    for week in ("monday.json", "friday.json", "course/kim/week-1.json", "course/kim/week-2.json"):
        (place / week).parent.mkdir(parents=True, exist_ok=True)
        (place / week).write_text(take)
    (place / "sections.json").write_text(run("leastcut plan sections OUTLINE.json --json").stdout)
    (place / "disk").mkdir()
    (place / "videos").mkdir()
    (place / "videos" / "take.mp4").hardlink_to(place / "take.mp4")
    assert run("leastcut shop take-in job.toml").exit_code == 0


def parsed(arguments: list[str]) -> click.Context:
    """Parse a command's arguments as the shell would, without running it."""
    command: click.Command = leastcut
    context = click.Context(leastcut, info_name="leastcut")
    while isinstance(command, click.Group):
        name, *arguments = arguments
        found = command.get_command(context, name)
        assert found is not None, name
        command = found
        if not isinstance(command, click.Group):
            break
        context = click.Context(command, parent=context, info_name=name)
    return command.make_context(command.name, arguments, parent=context)


@pytest.mark.parametrize(("command", "page"), COMMANDS)
def test_shown_command_parses(command: str, page: str) -> None:
    assert parsed(words(command)).params is not None, page


@pytest.mark.parametrize(("command", "page"), [(c, p) for c, p in COMMANDS if reason(c) is None])
def test_shown_command_runs(command: str, page: str, folder: Path) -> None:
    for ours, here in STAND_INS.items():
        command = command.replace(ours, here)
    done = run(command)
    assert done.exit_code == 0, f"{page}: {done.output[-600:]}"
    assert done.output.strip() or list(folder.iterdir())


def test_every_excuse_is_used() -> None:
    excused = [reason(command) for command, _ in COMMANDS]
    assert {why for why in excused if why} == set(NOT_RUN.values())
    assert excused.count(None) >= 40


@pytest.mark.process
def test_the_site_builds_without_warnings(tmp_path: Path) -> None:
    builder = shutil.which("sphinx-build", path=str(Path(sys.executable).parent))
    assert builder is not None
    done = subprocess.run(
        [
            builder,
            "-q",
            "-W",
            "--keep-going",
            "-b",
            "html",
            "-d",
            tmp_path / "trees",
            "docs",
            tmp_path / "site",
        ],
        capture_output=True,
        text=True,
        check=False,
        cwd=PAGES[0].parent,
    )
    assert done.returncode == 0, done.stderr
    for name in ("index", "start", "evidence", "architecture"):
        assert (tmp_path / "site" / f"{name}.html").stat().st_size > 5_000
