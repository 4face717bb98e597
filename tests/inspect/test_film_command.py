"""``leastcut inspect film`` as a person or a program runs it."""

import json
import subprocess
import sys
from pathlib import Path

import pytest
from click.testing import CliRunner, Result

from leastcut.cli.inspect_film import film
from leastcut.errors import InputError

ROWS = """panel,spot,reading_um,reading_mil,x_mm,y_mm,layer,substrate
roof,a,118,,100,200,,steel
roof,a,119,,100,200,,steel
roof,b,,4.7,500,300,,steel
roof,c,-5,,,,,
door-front-left,a,172,,,,,
bumper-front,a,99,,,,,plastic
"""


@pytest.fixture
def readings(tmp_path: Path) -> Path:
    path = tmp_path / "film.csv"
    path.write_text(ROWS)
    return path


def run(*words: object) -> Result:
    return CliRunner().invoke(film, [str(w) for w in words])


@pytest.mark.process
def test_process_prints_one_document_and_warns_on_the_other_stream(readings: Path) -> None:
    done = subprocess.run(
        [sys.executable, "-m", "leastcut", "inspect", "film", str(readings), "--json"],
        capture_output=True,
        text=True,
        check=False,
    )
    assert done.returncode == 0
    answer = json.loads(done.stdout)
    assert [p["panel"] for p in answer["panels"]] == ["roof", "door-front-left", "bumper-front"]
    roof, door, bumper = answer["panels"]
    assert roof["n_spots"] == 2
    assert roof["clear_um"]["low"] < roof["clear_um"]["mean"] < roof["clear_um"]["high"]
    assert door["finding"] == "repainted"
    assert bumper["finding"] == "unreadable"
    assert set(answer["gauge"]) >= {"bias_um", "sd_um", "checked"}
    assert done.stderr.count("\n") == 1
    assert "film.csv:5 reading_um: -5" in done.stderr


def test_history_checks_and_reserve_change_the_answer(readings: Path, tmp_path: Path) -> None:
    history = tmp_path / "ledger.csv"
    history.write_text("panel,cut_um\nroof,3\n")

    def budget(*more: object) -> float:
        return float(json.loads(run(readings, "--json", *more).stdout)["panels"][0]["budget_um"])

    plain = budget()
    assert budget("--history", history) < plain
    assert budget("--reserve", "1.2 mil") < plain
    assert budget("--paint", "factory") > plain
    assert budget("--clear-um", 45, 60) > plain > budget("--clear-um", 30, 45)
    assert budget("--check", "0=0", "--check", "125=126") != plain
    assert budget("--check", "125=126", "--checked-days-ago", 900) < budget("--check", "125=126")


def test_summary_in_either_unit_and_a_picture(readings: Path, tmp_path: Path) -> None:
    picture = tmp_path / "film.svg"
    shown = run(readings, "--units", "us", "-o", picture)
    assert shown.exit_code == 0
    assert "1.00 mil" in shown.stdout.replace("\u00a0", " ")
    assert picture.read_text().startswith("<svg")
    assert "µm" in run(readings).stdout


@pytest.mark.parametrize(
    ("rows", "more", "what"),
    [
        ("panel,reading_um\nroof,x\n", [], "no usable row"),
        ("panel,reading_um\nroof,100\n", ["--check", "half"], "cannot read 'half'"),
        ("panel,reading_um\nroof,100\n", ["--reserve", "much"], "much"),
        ("panel,reading_um\nroof,100\n", ["--clear-um", "50", "35"], "no range"),
    ],
)
def test_bad_input_is_one_error(tmp_path: Path, rows: str, more: list[str], what: str) -> None:
    path = tmp_path / "film.csv"
    path.write_text(rows)
    failed = run(path, *more)
    assert isinstance(failed.exception, InputError)
    assert what in str(failed.exception)
    assert not list(tmp_path.glob("*.svg"))
