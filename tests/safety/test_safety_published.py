"""Published check values, each row with its source and status, met to the digits as printed.

The rows are in ``tests/data/published/checks.csv``. Where print and formula differ the row says so
and why, and the test makes sure that they still do: a silent change of the formula would show.
"""

import csv
import math
from collections import Counter
from collections.abc import Callable
from pathlib import Path

import pytest

from leastcut.protect import window
from leastcut.safety import cord, noise, vapour, vibration
from leastcut.safety.records import NoiseUse, ToolUse
from leastcut.safety.solvents import solvent

DATA = Path(__file__).parents[1] / "data" / "published"
MMHG_PER_ATM = 760.0


def table(name: str) -> list[dict[str, str]]:
    lines = (DATA / name).read_text(encoding="utf-8").splitlines()
    return list(csv.DictReader(line for line in lines if not line.startswith("#")))


def noises(text: str) -> list[NoiseUse]:
    parts = [part.split(":") for part in text.split()]
    return [NoiseUse(level_dba=float(level), minutes=float(minutes)) for level, minutes in parts]


def tool(text: str) -> ToolUse:
    magnitude, minutes = map(float, text.split(":"))
    return ToolUse(magnitude_m_s2=magnitude, minutes=minutes)


def dropped(text: str) -> cord.Cord:
    conductor, feet, amps, volts = text.split(":")
    metres = float(feet.removesuffix("ft")) * 0.3048
    return cord.drop(conductor, metres, amps=float(amps), volts=float(volts))


def humid(text: str) -> float:
    """Dew point of ``air temperature:pressure/pressure at saturation`` or ``air:percent``."""
    air, share = text.split(":")
    if "/" in share:
        held, most = map(float, share.split("/"))
        return window.dew_point_c(float(air), 100.0 * held / most)
    return window.dew_point_c(float(air), float(share))


def fahrenheit(text: str) -> float:
    air, percent = map(float, text.split(":"))
    return 1.8 * window.dew_point_c((air - 32.0) / 1.8, percent) + 32.0


def pair(function: Callable[[float, float], float]) -> Callable[[str], float]:
    return lambda text: function(*map(float, text.split(":")))


def resistance(text: str) -> float:
    size, construction = text.split(":")
    return cord.conductor_ohm_per_km(
        size, construction="solid" if construction == "solid" else "flexible"
    )


def half_life_min(changes_per_h: float) -> float:
    return 60.0 * vapour.hours_to_fall(2.0, 1.0, room_m3=1.0, air_m3_h=changes_per_h)


def air_of_half_life(room_m3: float, hours: float) -> float:
    return vapour.hours_to_fall(2.0, 1.0, room_m3=room_m3, air_m3_h=1.0) / hours


def limit_mg(name: str, ppm: float | None) -> float:
    assert ppm is not None
    return vapour.mg_m3_of_ppm(ppm, solvent(name).molar_mass_g_mol)


QUANTITIES: dict[str, Callable[[str], float]] = {
    "osha_hours": lambda t: noise.allowed_hours(float(t), "osha"),
    "niosh_minutes": lambda t: 60.0 * noise.allowed_hours(float(t), "niosh"),
    "niosh_seconds": lambda t: 3600.0 * noise.allowed_hours(float(t), "niosh"),
    "osha_dose": lambda t: noise.dose_percent(noises(t), "osha"),
    "niosh_dose": lambda t: noise.dose_percent(noises(t), "niosh"),
    "osha_twa": lambda t: noise.twa_dba(float(t), "osha"),
    "osha_twa_of": lambda t: noise.twa_dba(noise.dose_percent(noises(t), "osha"), "osha"),
    "niosh_twa_of": lambda t: noise.twa_dba(noise.dose_percent(noises(t), "niosh"), "niosh"),
    "lex_8h": lambda t: noise.lex_8h_dba(noises(t)),
    "points": lambda t: vibration.exposure([tool(t)]).points,
    "a8": lambda t: vibration.exposure([tool(t)]).a8_m_s2,
    "a8_of_points": lambda t: vibration.a8_of_points(float(t)),
    "hours_to_limit": lambda t: vibration.exposure([tool(f"{t}:1")]).minutes_to_limit / 60.0,
    "action_value": lambda _: vibration.ACTION_M_S2,
    "limit_value": lambda _: vibration.LIMIT_M_S2,
    "dew_point": humid,
    "dew_point_whole": humid,
    "dew_point_f": fahrenheit,
    "mg_m3": pair(vapour.mg_m3_of_ppm),
    "ppm": pair(vapour.ppm_of_mg_m3),
    "tenth_lel_ppm": lambda t: 0.1 * 1e4 * solvent(t).lel_percent,
    "flash_f": lambda t: 1.8 * (solvent(t).flash_point_c or 0.0) + 32.0,
    "limit_ppm": lambda t: solvent(t).limit_ppm or 0.0,
    "short_limit_ppm": lambda t: solvent(t).short_limit_ppm or 0.0,
    "limit_mg": lambda t: limit_mg(t, solvent(t).limit_ppm),
    "short_limit_mg": lambda t: limit_mg(t, solvent(t).short_limit_ppm),
    "lel": lambda t: solvent(t).lel_percent,
    "minutes_to_half": lambda t: half_life_min(float(t)),
    "air_from_half_life": pair(air_of_half_life),
    "ohm_per_km": resistance,
    "ohm_per_kft": lambda t: resistance(t) * 0.3048,
    "drop_v": lambda t: dropped(t).drop_v,
    "drop_percent": lambda t: dropped(t).drop_percent,
    "awg_mm2": lambda t: cord.awg_area_mm2(int(t)),
    "circular_mils": lambda t: cord.awg_area_mm2(int(t)) / (math.pi / 4.0 * 0.0254**2),
}

ROWS = table("checks.csv")
BANDS = [row for row in ROWS if row["quantity"] == "surface_rh_band"]
VALUES = [row for row in ROWS if row["quantity"] != "surface_rh_band"]


def as_printed(value: float, row: dict[str, str]) -> str:
    """Return a value rounded as the source printed it (half up; ``cut`` where print cuts)."""
    decimals = len(row["printed"].partition(".")[2])
    unit = 10.0**-decimals
    if " to " in row["unit"]:
        unit = float(row["unit"].rpartition(" to ")[2])
    steps = value / unit if row["note"].startswith("cut") else value / unit + 0.5
    return f"{math.floor(steps + 1e-9) * unit:.{decimals}f}"


def ident(row: dict[str, str]) -> str:
    return f"{row['quantity']}-{row['inputs']}-{row['source'][:24]}"


def test_there_are_enough_rows_and_all_name_source_and_status() -> None:
    agreeing = [row for row in ROWS if row["agrees"] == "yes"]
    assert len(agreeing) >= 120
    assert len({row["source"] for row in agreeing}) >= 8
    assert all(row["source"] and row["status"] in {"seen", "seen-2"} for row in ROWS)
    assert all(row["note"] for row in ROWS if row["agrees"] == "no")
    assert len(Counter(map(tuple, (row.items() for row in ROWS)))) == len(ROWS)


@pytest.mark.parametrize("row", VALUES, ids=ident)
def test_published_value(row: dict[str, str]) -> None:
    found = as_printed(QUANTITIES[row["quantity"]](row["inputs"]), row)
    agrees = float(found) == float(row["printed"])
    assert agrees == (row["agrees"] == "yes"), f"{found} against {row['printed']}: {row['note']}"


@pytest.mark.parametrize("row", BANDS, ids=ident)
def test_published_band_of_surface_humidity(row: dict[str, str]) -> None:
    low, high = map(float, row["printed"].split("-"))
    surface = (70.0 - 32.0) / 1.8
    dew = surface - float(row["inputs"]) / 1.8
    found = 100.0 * window.saturation_pa(dew) / window.saturation_pa(surface)
    assert low <= found <= high


@pytest.mark.parametrize("row", table("hav_time_to_limits.csv"), ids=lambda r: r["magnitude_m_s2"])
def test_time_to_the_vibration_values(row: dict[str, str]) -> None:
    # source: inversion of A(8) = a sqrt(T / 8 h), Directive 2002/44/EC; status: recomputed elsewhere
    day = vibration.exposure([tool(f"{row['magnitude_m_s2']}:0")])
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


def test_solid_conductors_follow_from_copper_and_geometry() -> None:
    # source: annealed copper 17.241 ohm mm²/km at 20 °C and the AWG definition; status: seen
    for gauge, printed in ((18, 7.77), (16, 4.89), (14, 3.07), (12, 1.93), (10, 1.21)):
        bare = cord.COPPER_OHM_MM2_PER_KM / cord.awg_area_mm2(gauge) * 0.3048
        at_75 = bare / (1.0 + 0.00323 * (20.0 - 75.0))
        assert at_75 == pytest.approx(printed, rel=0.005)
