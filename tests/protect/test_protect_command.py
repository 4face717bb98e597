"""The protect commands as processes."""

import json
import subprocess
from collections.abc import Callable
from pathlib import Path

import pytest

Run = Callable[..., subprocess.CompletedProcess[str]]
pytestmark = pytest.mark.process
FORECAST = """\
# a logger in the bay
time,air_c,rh_percent
06:00,8,93
09:00,13,75
12:00,17,140
15:00,18,52
21:00,11,88
"""


def test_window_gives_the_contracts_keys(run: Run) -> None:
    given = ("--air-c", "20", "--rh", "50", "--surface-c", "20", "--json")
    said = json.loads(run("protect", "window", *given).stdout)
    assert set(said) == {"dew_point_c", "margin_c", "ok", "why"}
    # source: IAPWS equation of state 9.274 °C; status: recomputed elsewhere
    assert said["dew_point_c"] == pytest.approx(9.274, abs=0.03)
    assert said["margin_c"] == pytest.approx(20.0 - said["dew_point_c"])
    assert said["ok"] is True


def test_window_reads_fahrenheit_and_the_products_limits(run: Run) -> None:
    given = ("--air-c", "68 °F", "--rh", "50", "--surface-c", "68 °F")
    assert run("protect", "window", *given).stdout.startswith("yes: the surface is 10.7 °C above")
    strict = run("protect", "window", *given, "--rh-max", "45")
    assert strict.stdout.startswith("not now: 50 % humidity, below 45 % needed")


def test_day_from_a_loggers_file(run: Run, tmp_path: Path) -> None:
    (tmp_path / "bay.csv").write_text(FORECAST, encoding="utf-8")
    out = tmp_path / "day.svg"
    done = run("protect", "day", tmp_path / "bay.csv", "-o", out, "--needs", "2 h", "--json")
    said = json.loads(done.stdout)
    assert len(said["open_spans"]) == 1
    assert said["needs_min"] == 120.0
    assert "bay.csv:5" in done.stderr
    assert "140 %" in done.stderr
    assert out.read_text(encoding="utf-8").startswith("<svg")
    words = run("protect", "day", tmp_path / "bay.csv", "--product", "coating")
    assert words.stdout.startswith("begin from")
    assert "surface taken as warm as the air" in words.stdout


def test_clock_and_quantity(run: Run) -> None:
    moments = run("protect", "clock", "--applied", "10:30", "--product", "coating").stdout
    assert "keep dry: 10:30 to 10:30 (+1 d)" in moments
    assert "data sheet goes first" in moments
    said = json.loads(run("protect", "clock", "--applied", "10:30", "--json").stdout)
    assert said[0]["what"] == "wipe off"
    amount = json.loads(run("protect", "quantity", "--area-m2", "9", "--json").stdout)
    assert amount["millilitres"] == pytest.approx(9.0 * 3.0 / 0.6)
    assert run("protect", "quantity", "--area-m2", "9").stdout == "45 ml for 9 m²\n"


def test_the_sheets_own_figures_take_the_place_of_the_class(run: Run, tmp_path: Path) -> None:
    given = ("protect", "clock", "--applied", "10:00", "--json")
    usual = json.loads(run(*given).stdout)
    own = json.loads(run(*given, "--dry", "3 h", "--flash-until", "15").stdout)
    assert own[0]["until_min"] == 600.0 + 15.0
    assert own[2]["until_min"] == 600.0 + 180.0
    assert own[3] == usual[3]
    (tmp_path / "bay.csv").write_text(FORECAST, encoding="utf-8")
    warm = ("--air-min-c", "60 °F", "--needs", "30")
    late = json.loads(run("protect", "day", tmp_path / "bay.csv", *warm, "--json").stdout)
    early = json.loads(run("protect", "day", tmp_path / "bay.csv", "--json").stdout)
    assert late["open_spans"][0]["from_min"] > early["open_spans"][0]["from_min"]


@pytest.mark.parametrize(
    ("arguments", "reason"),
    [
        (("window", "--air-c", "20", "--rh", "140", "--surface-c", "20"), "at most 100 %"),
        (("window", "--air-c", "20", "--rh", "50", "--surface-c", "400"), "catch fire"),
        (("window", "--air-c", "20 m", "--rh", "50", "--surface-c", "20"), "does not measure"),
        (("clock", "--applied", "noon"), "not a time of day"),
        (("clock", "--applied", "10:00", "--product", "wax", "--layers", "2"), "further layer"),
        (("clock", "--applied", "10:00", "--dry", "30 days"), "time to wash"),
        (("window", "--air-c", "20", "--rh", "50", "--surface-c", "20", "--rh-min", "90"), "least"),
        (("quantity", "--area-m2", "-1"), "-1 m²"),
        (("day", "no-such-file.csv"), "no-such-file.csv"),
    ],
)
def test_bad_input_is_one_line_and_exit_2(
    run: Run, arguments: tuple[str, ...], reason: str
) -> None:
    done = run("protect", *arguments)
    assert done.returncode == 2
    assert done.stdout == ""
    assert len(done.stderr.splitlines()) == 1
    assert reason in done.stderr
