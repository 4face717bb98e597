"""Tables that were recomputed by other code, row by row. Single published values: tests/evidence."""

import csv
from pathlib import Path

import pytest

from leastcut.protect import window
from leastcut.safety import cord, vibration
from leastcut.safety.records import ToolUse

DATA = Path(__file__).parents[1] / "data" / "published"


def table(name: str) -> list[dict[str, str]]:
    lines = (DATA / name).read_text(encoding="utf-8").splitlines()
    return list(csv.DictReader(line for line in lines if not line.startswith("#")))


@pytest.mark.parametrize("row", table("hav_time_to_limits.csv"), ids=lambda r: r["magnitude_m_s2"])
def test_time_to_the_vibration_values(row: dict[str, str]) -> None:
    # source: inversion of A(8) = a sqrt(T / 8 h), Directive 2002/44/EC; status: recomputed elsewhere
    day = vibration.exposure([ToolUse(magnitude_m_s2=float(row["magnitude_m_s2"]), minutes=0.0)])
    assert day.minutes_to_action == pytest.approx(float(row["minutes_to_action_2.5"]), abs=0.0051)
    assert day.minutes_to_limit == pytest.approx(float(row["minutes_to_limit_5.0"]), abs=0.0051)


@pytest.mark.parametrize(
    "row",
    table("voltage_drop_examples.csv"),
    ids=lambda r: f"{r['conductor']}-{r['amps']}-{r['one_way_length']}",
)
def test_voltage_drop_examples(row: dict[str, str]) -> None:
    # source: Vd = 2 L I R with NEC table 8 and IEC 60228 values; status: recomputed elsewhere
    metres = float(row["one_way_length"]) * (0.3048 if row["length_unit"] == "ft" else 1.0)
    found = cord.drop(row["conductor"], metres, amps=float(row["amps"]), volts=float(row["volts"]))
    assert found.drop_v == pytest.approx(float(row["drop_V"]), abs=5.1e-5)
    assert found.drop_percent == pytest.approx(float(row["drop_percent"]), abs=5.1e-4)
    assert found.loss_w == pytest.approx(float(row["loss_W"]), abs=5.1e-3)


@pytest.mark.parametrize(
    "row", table("dewpoint.csv"), ids=lambda r: f"{r['T_C']}-{r['RH_percent']}"
)
def test_dew_point_against_the_equation_of_state(row: dict[str, str]) -> None:
    # source: IAPWS SR1-86 (Wagner and Pruss); status: recomputed elsewhere
    found = window.dew_point_c(float(row["T_C"]), float(row["RH_percent"]))
    assert found == pytest.approx(float(row["Td_AE_17.625_243.04"]), abs=5.1e-4)
    assert found == pytest.approx(float(row["Td_WagnerPruss_reference"]), abs=0.03)
