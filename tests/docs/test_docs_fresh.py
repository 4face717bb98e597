"""The documentation under test: made parts fresh, links alive, promises of the README kept."""

import re
import subprocess
import sys
import tomllib
from pathlib import Path

import pytest

from leastcut.cli import _COMMANDS
from leastcut.shop import jobfile

ROOT = Path(__file__).parents[2]
PAGES = [*ROOT.glob("*.md"), *ROOT.glob("docs/*.md")]


def test_made_parts_are_fresh() -> None:
    done = subprocess.run(
        [sys.executable, "tools/make_docs.py", "--check"],
        cwd=ROOT,
        capture_output=True,
        text=True,
        check=False,
    )
    assert done.returncode == 0, done.stdout


@pytest.mark.parametrize("page", PAGES, ids=[page.name for page in PAGES])
def test_links_lead_somewhere(page: Path) -> None:
    for target in re.findall(r"\]\(([^)#]+)(?:#[^)]*)?\)", page.read_text()):
        if "://" not in target:
            assert (page.parent / target).exists(), f"{page.name}: {target}"


def test_the_index_names_every_chapter() -> None:
    index = (ROOT / "docs" / "index.md").read_text()
    for page in (ROOT / "docs").glob("*.md"):
        if page.name != "index.md":
            assert f"({page.name})" in index, page.name


def test_every_command_has_its_place_in_the_manual() -> None:
    manual = (ROOT / "docs" / "commands.md").read_text()
    for name in _COMMANDS:
        assert f"## `leastcut {name}`" in manual


def test_the_readmes_two_commands_are_what_ci_runs() -> None:
    readme = (ROOT / "README.md").read_text()
    assert readme.index("make demo") < readme.index("make test")
    assert re.findall(r"^make .*$", (ROOT / ".ci" / "run").read_text(), re.MULTILINE) == [
        "make test"
    ]


def test_the_readmes_job_file_is_one() -> None:
    (block,) = re.findall(r"```toml\n(.*?)```", (ROOT / "README.md").read_text(), re.DOTALL)
    job, problems = jobfile.parse(block, "readme.toml")
    assert problems == ()
    assert job is not None


def test_versions_and_licence_agree() -> None:
    from leastcut import __version__

    project = tomllib.loads((ROOT / "pyproject.toml").read_text())["project"]
    assert project["version"] == __version__
    assert "Apache License" in (ROOT / "LICENSE").read_text()


def test_the_locks_pin_everything_with_hashes_and_no_host() -> None:
    for name in ("requirements.txt", "requirements-dev.txt"):
        text = (ROOT / name).read_text()
        pins = re.findall(r"^[a-z0-9._-]+(?:\[[a-z]+\])?==\S+", text, re.MULTILINE)
        assert len(pins) > 20
        assert text.count("--hash=sha256:") >= len(pins)
        assert "://" not in text
