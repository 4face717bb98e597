"""``leastcut inspect gloss`` as a person or a program runs it."""

import json
from pathlib import Path

import pytest
from click.testing import CliRunner

from leastcut.cli.inspect_gloss import gloss
from leastcut.errors import InputError

ROWS = """panel,angle_deg,gloss_gu,when
roof,20,70,before
roof,20,72,before
roof,60,88,before
roof,20,81,after
roof,20,82,after
roof,45,82,after
"""


@pytest.fixture
def readings(tmp_path: Path) -> Path:
    path = tmp_path / "gloss.csv"
    path.write_text(ROWS)
    return path


def test_json_has_findings_and_changes(readings: Path) -> None:
    done = CliRunner().invoke(gloss, [str(readings), "--json"])
    answer = json.loads(done.stdout)
    assert [(p["panel"], p["when"]) for p in answer["panels"]] == [
        ("roof", "before"),
        ("roof", "after"),
    ]
    assert answer["panels"][0]["haze_gu"] == pytest.approx(17.0)
    assert answer["changes"][0]["gain_gu"]["mean"] == pytest.approx(10.5)
    assert "gloss.csv:7 angle_deg" in done.stderr


def test_summary_names_gain_and_haze(readings: Path) -> None:
    told = CliRunner().invoke(gloss, [str(readings)]).stdout
    assert "gained +10.5 GU" in told
    assert "haze: 17.0 GU" in told
    assert "may be chance" not in told


def test_small_gain_may_be_chance(tmp_path: Path) -> None:
    path = tmp_path / "g.csv"
    path.write_text("panel,angle_deg,gloss_gu,when\nroof,20,70,before\nroof,20,70.5,after\n")
    assert "may be chance" in CliRunner().invoke(gloss, [str(path)]).stdout


def test_no_usable_row_is_one_error(tmp_path: Path) -> None:
    path = tmp_path / "g.csv"
    path.write_text("panel,angle_deg,gloss_gu\nroof,45,70\n")
    failed = CliRunner().invoke(gloss, [str(path)])
    assert isinstance(failed.exception, InputError)
