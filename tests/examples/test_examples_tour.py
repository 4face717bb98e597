"""The tour runs as it stands and tells what the stages computed."""

import re
import runpy
import subprocess
import sys
from pathlib import Path

import pytest

ROOT = Path(__file__).parents[2]
EXAMPLES = sorted((ROOT / "examples").glob("*.py"))


@pytest.mark.parametrize("path", EXAMPLES, ids=lambda path: path.stem)
@pytest.mark.process
def test_example_runs_without_a_word_on_standard_error(path: Path, tmp_path: Path) -> None:
    done = subprocess.run(
        [sys.executable, "-W", "error", path], capture_output=True, text=True, check=False, cwd=tmp_path
    )  # fmt: skip
    assert done.returncode == 0, done.stderr
    assert done.stderr == ""
    assert done.stdout.count("\n") >= 5
    assert list(tmp_path.iterdir()) == []  # the core writes nothing


def test_the_tour_tells_what_can_be_reckoned_by_hand(capsys: pytest.CaptureFixture[str]) -> None:
    runpy.run_path(str(ROOT / "examples" / "tour.py"), run_name="__main__")
    told = capsys.readouterr().out
    # source: HSE points 2 a² T(h) with a = 6 m/s²; status: rule seen, recomputed
    assert f"{2 * 6.0**2 * 200 / 60:.0f} exposure points" in told
    # source: Magnus form 17.625/243.04 at 18 °C, 62 %: 10.6 °C, and 16 °C at the surface; recomputed
    assert "5.4 °C above the dew point" in told
    low, high = map(float, re.search(r"95 %: ([\d.]+) to ([\d.]+)", told).groups())  # type: ignore[union-attr]
    assert 20 < low < high < 70
    budget = float(re.search(r"([\d.]+) µm \([\d.]+\smil\) may be cut", told)[1])  # type: ignore[index]
    assert 0 < budget < low


def test_examples_use_public_names_only() -> None:
    for path in EXAMPLES:
        assert not re.search(r"import .*\b_[a-z]|\._[a-z]", path.read_text(encoding="utf-8")), path
