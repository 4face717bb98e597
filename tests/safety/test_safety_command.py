"""The safety commands as processes: one JSON document, one line of reason, no half-written file."""

import json
import subprocess
from collections.abc import Callable
from pathlib import Path

import pytest

Run = Callable[..., subprocess.CompletedProcess[str]]
pytestmark = pytest.mark.process


def test_vibration_gives_the_contracts_keys(run: Run) -> None:
    done = run("safety", "vibration", "--tool", "5:180", "--json")
    assert done.returncode == 0
    said = json.loads(done.stdout)
    # source: HSE ready-reckoner, 5 m/s² for 3 h is 150 points; status: seen
    assert said["points"] == pytest.approx(150.0)
    assert said["a8_m_s2"] == pytest.approx(3.0619, abs=5e-5)
    assert said["minutes_to_action"] == pytest.approx(120.0)
    assert said["minutes_to_limit"] == pytest.approx(480.0)
    assert said["k_assumed"]
    assert "40 %" in done.stderr


def test_several_tools_add_and_a_picture_is_written(run: Run, tmp_path: Path) -> None:
    tools = ("--tool", "4.5:150:1.5", "--tool", "7:60:2", "--tool", "3:60:1")
    out = tmp_path / "day.svg"
    done = run("safety", "vibration", *tools, "-o", out, "--json")
    assert json.loads(done.stdout)["points"] == pytest.approx(217.25)
    assert out.read_text(encoding="utf-8").startswith("<svg")


def test_share_tells_who_works_when(run: Run) -> None:
    done = run("safety", "share", "--tool", "6:540:2.4", "--persons", "2")
    assert "Share it in 4 parts, 2 people over 2 days" in done.stdout
    assert "day 2, person 2" in done.stdout
    said = json.loads(run("safety", "share", "--tool", "6:540", "--json").stdout)
    assert said["share_needed"]
    assert {s["then"] for s in said["stretches"]} == {"rest", "stop for the day", "done"}


def test_noise_gives_all_three_rules(run: Run) -> None:
    sources = ("--source", "90:240", "--source", "95:120", "--source", "85:120")
    said = json.loads(run("safety", "noise", *sources, "--json").stdout)
    # source: vendor guide to 1910.95 App A, 112.5 % and 90.85 dB(A); status: seen-2
    assert said["osha_dose_percent"] == pytest.approx(112.5)
    assert round(said["osha_twa_dba"], 2) == 90.85
    assert said["protection"] == "wear"


def test_vapour_reads_other_units_and_draws(run: Run, tmp_path: Path) -> None:
    out = tmp_path / "air.svg"
    done = run(
        *("safety", "vapour", "--ml", "8 fl oz", "--room-m3", "2100 ft3", "--minutes", "40 min"),
        *("-o", out, "--json"),
    )
    said = json.loads(done.stdout)
    # by hand: 236.6 ml x 0.785 g/ml = 185.7 g in 59.47 m³: 3123 mg/m³ x 24.45 / 60.1
    assert said["peak_ppm"] == pytest.approx(1270.5, abs=1.0)
    assert said["ok"] is False
    assert said["minutes_to_clear"] is None
    assert out.exists()
    assert "never" in run("safety", "vapour", "--ml", "80", "--room-m3", "60").stdout


def test_cord_agrees_with_the_worked_example(run: Run) -> None:
    given = ("--conductor", "14 AWG", "--amps", "12", "--volts", "120", "--circuit-amps", "15")
    said = json.loads(run("safety", "cord", *given, "--length-m", "50 ft", "--json").stdout)
    assert said["drop_v"] == pytest.approx(3.768, abs=5e-4)
    assert said["load_percent_of_circuit"] == pytest.approx(80.0)
    assert "longest for 3 %: 14.6 m" in run("safety", "cord", *given, "--length-m", "10").stdout


def test_machines_on_one_circuit_add(run: Run) -> None:
    given = ("--conductor", "1.5 mm2", "--length-m", "25", "--volts", "230", "--circuit-amps", "16")
    load = ("--watts", "1200", "--watts", "1.1 kW", "--watts", "800")
    done = run("safety", "cord", *given, *load, "--json")
    said = json.loads(done.stdout)
    assert said["load_percent_of_circuit"] == pytest.approx(100.0 * 3100.0 / 230.0 / 16.0)
    assert not said["ok"]


def test_another_liquid_from_its_sheet(run: Run) -> None:
    given = ("safety", "vapour", "--ml", "100", "--room-m3", "60", "--json")
    own = json.loads(
        run(*given, "--molar-mass", "120.2", "--lel", "0.8", "--limit-ppm", "50").stdout
    )
    assert own["solvent"] == "own liquid"
    # by hand: 78.5 g in 60 m³, 24.45 / 120.2
    assert own["peak_ppm"] == pytest.approx(78.5e3 / 60.0 * 24.45 / 120.2)
    assert "data sheet" in own["source"]
    stricter = json.loads(run(*given, "--limit-ppm", "200").stdout)
    assert stricter["limit_ppm"] == 200.0
    assert stricter["solvent"] == "isopropyl alcohol"


@pytest.mark.parametrize(
    ("arguments", "reason"),
    [
        (("vibration", "--tool", "5:-3"), "-3 min"),
        (("vibration", "--tool", "5"), "Write --tool MAGNITUDE:MINUTES"),
        (("vibration", "--tool", "five:3"), "'five' is not a number"),
        (("vibration", "--tool", "5:1:2:3"), "cannot read '5:1:2:3'"),
        (("noise", "--source", "88"), "cannot read '88'"),
        (("noise", "--source", "188:5"), "188 dB(A)"),
        (("vapour", "--ml", "100", "--room-m3", "60", "--surface-c", "420"), "catch fire"),
        (("vapour", "--ml", "100", "--room-m3", "60 m"), "does not measure this"),
        (("vapour", "--ml", "100", "--room-m3", "60", "--solvent", "tea"), "unknown solvent"),
        (("cord", "--conductor", "x", "--length-m", "5", "--amps", "5", "--volts", "230"), "AWG"),
        (("cord", "--conductor", "14 AWG", "--length-m", "5", "--volts", "230"), "--watts"),
        (("vapour", "--ml", "100", "--room-m3", "60", "--lel", "-1"), "-1 %"),
        (("share", "--tool", "6:60", "--persons", "0"), "0 people"),
    ],
)
def test_bad_input_is_one_line_and_exit_2(
    run: Run, arguments: tuple[str, ...], reason: str
) -> None:
    done = run("safety", *arguments)
    assert done.returncode == 2
    assert done.stdout == ""
    said = [line for line in done.stderr.splitlines() if not line.startswith("K taken")]
    assert len(said) == 1
    assert reason in said[0]
    assert "Traceback" not in done.stderr
