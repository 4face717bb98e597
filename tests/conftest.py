"""What every test may use: the command as a process, the demo run once, the browser."""

import os
import shutil
import subprocess
import sys
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from pathlib import Path

import pytest

Run = Callable[..., subprocess.CompletedProcess[str]]


def run_leastcut(
    *arguments: str | Path, cwd: Path | None = None
) -> subprocess.CompletedProcess[str]:
    """Run the command as a user does; text out, no exception."""
    command: Sequence[str] = [sys.executable, "-m", "leastcut", *map(str, arguments)]
    environment = {**os.environ, "PYTHONUTF8": "1"}
    return subprocess.run(
        command, capture_output=True, text=True, check=False, cwd=cwd, env=environment, timeout=120
    )


@pytest.fixture(scope="session")
def run() -> Run:
    return run_leastcut


@dataclass(frozen=True)
class Demo:
    """The demo as it was run once: its folder, and what it printed."""

    folder: Path
    json: str
    words: str

    @property
    def job_file(self) -> Path:
        return self.folder / "demo.toml"

    def copy(self, folder: Path) -> Path:
        """Copy job file and evidence, without results, and return the job file."""
        shutil.copytree(self.folder, folder, ignore=shutil.ignore_patterns("results"))
        return folder / "demo.toml"


@pytest.fixture(scope="session")
def demo(tmp_path_factory: pytest.TempPathFactory) -> Demo:
    folder = tmp_path_factory.mktemp("demo")
    as_json = run_leastcut("demo", "--out", folder, "--json")
    assert as_json.returncode == 0, as_json.stderr
    words = run_leastcut("job", folder / "demo.toml", "-o", folder / "results")
    assert words.returncode == 0, words.stderr
    return Demo(folder, as_json.stdout, words.stdout)
