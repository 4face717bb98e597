"""Heat and time of the work against handbook values."""

import math

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from leastcut.polish.cut import mean_cut_um, relative_cut, set_seconds
from leastcut.polish.heat import (
    band_source_peak,
    flux_w_m2,
    friction_power_w,
    heat_per_cut_j_m2,
    judge_c,
    passing_rise_k,
    power_from_volume_w,
    section_rise_k,
    standing_rise_k,
    surface_peak,
)
from leastcut.polish.records import PadSettings

STILL = PadSettings(pad_diameter_mm=140, spin_rpm=0)
FACE = math.pi * 70**2


# source: P = μ·F·v, q = P/(πR²) and one-dimensional conduction; status: derived, recomputed
# (μ, F, P, q, thick plastic after 4 s and 10 s)
ROWS = [(0.3, 30.0, 33.9, 2204.0, 8.3, 13.1), (0.5, 50.0, 94.2, 6123.0, 23.0, 36.4)]


@pytest.mark.parametrize(("mu", "force", "power", "flux", "four", "ten"), ROWS)
def test_power_and_rise(
    mu: float, force: float, power: float, flux: float, four: float, ten: float
) -> None:
    pad = PadSettings(pad_diameter_mm=140, spin_rpm=0, force_n=force)
    found = friction_power_w(pad, friction=mu)
    assert found == pytest.approx(power, abs=0.06)
    q = flux_w_m2(found, FACE)
    assert q == pytest.approx(flux, rel=1e-3)
    assert standing_rise_k(q, 4.0, material="plastic") == pytest.approx(four, abs=0.06)
    assert standing_rise_k(q, 10.0, material="plastic") == pytest.approx(ten, abs=0.06)


def test_steel_and_aluminium_warm_through() -> None:
    # source: dT/dt = q/(ρ·c·d): 2.261 K/s on 0.75 mm steel, 2.520 K/s on 1 mm aluminium at
    # 6123 W/m²; drop across 120 µm of paint 2.94 K; status: recomputed
    assert standing_rise_k(6123, 10, material="steel") == pytest.approx(22.61 + 2.94, abs=0.02)
    assert standing_rise_k(6123, 10, material="aluminium") == pytest.approx(25.20 + 2.94, abs=0.02)
    assert standing_rise_k(6123, 0, material="steel") == 0.0
    plastic = passing_rise_k(6123, length_mm=140, speed_mm_s=35)
    assert plastic == pytest.approx(23.0, abs=0.06)


def test_motor_is_the_bound() -> None:
    # source: 500 W input at 0.6 efficiency, 300 W; status: recomputed
    strong = PadSettings(force_n=400)
    assert friction_power_w(strong, friction=0.6) > 300
    assert friction_power_w(strong, friction=0.6, motor_w=500) == 300
    assert friction_power_w(STILL, friction=0.3, motor_w=500) < 300


def test_section_average_settles() -> None:
    # source: 0.4 × 0.4 m, μ = 0.5, 50 N: 614.5 W/m², steady +24.6 K at 25 W/m²K; recomputed
    pad = PadSettings(pad_diameter_mm=140, force_n=50)
    power = friction_power_w(pad, friction=0.5)
    assert flux_w_m2(power, 160_000) == pytest.approx(614.5, abs=0.1)
    assert section_rise_k(power, 160_000, 1e6, material="steel") == pytest.approx(24.6, abs=0.05)
    assert section_rise_k(power, 160_000, 0.0) == 0.0


@settings(deadline=None)
@given(st.floats(0.1, 5.0), st.floats(1e-4, 1e-2), st.floats(0.1, 0.8))
def test_heat_cut_and_time_agree(depth: float, rate: float, mu: float) -> None:
    """Friction heat per area of any cut is (μ/k)·h: power times time must say the same."""
    pad = PadSettings(force_n=50)
    volume = power_from_volume_w(pad, preston_um_per_kpa_m=rate, friction=mu)
    assert volume == pytest.approx(friction_power_w(pad, friction=mu), rel=1e-12)
    one = mean_cut_um(pad, preston_um_per_kpa_m=rate, arm_speed_mm_s=40, spacing_mm=40)
    seconds_per_m2 = 2e6 / (40 * 40) * depth / one
    heat = volume * seconds_per_m2
    expected = heat_per_cut_j_m2(depth, preston_um_per_kpa_m=rate, friction=mu)
    assert heat == pytest.approx(expected, rel=1e-9)


# source: J. C. Jaeger 1942, moving band source, maximum of π·k·V·T/(2qα); values recomputed
BAND = [(0.1, 0.69125), (1.0, 3.11599), (5.0, 7.61271), (10.0, 10.94844), (50.0, 24.90670)]


@pytest.mark.parametrize(("peclet", "peak"), BAND)
def test_moving_band_source(peclet: float, peak: float) -> None:
    assert band_source_peak(peclet) == pytest.approx(peak, abs=2e-4)


def test_a_fast_band_is_a_standing_flux() -> None:
    assert band_source_peak(50.0) == pytest.approx(2 * math.sqrt(math.pi * 50), rel=0.01)


def test_peak_is_worse_on_plastic_on_a_hot_panel_and_without_a_motor_bound() -> None:
    pad = PadSettings(force_n=60)
    work = {"area_mm2": 250_000.0, "seconds": 180.0, "arm_speed_mm_s": 40.0}
    steel = surface_peak(pad, material="steel", **work)
    power = friction_power_w(pad)
    assert steel.power_w == power
    # by the parts: 20 °C, the section's mean rise, and one passing of the pad
    flux = flux_w_m2(power, math.pi * 65**2)
    by_parts = 20 + section_rise_k(power, 250_000, 180, material="steel")
    by_parts += passing_rise_k(flux, length_mm=130, speed_mm_s=40, material="steel")
    assert steel.peak_c == pytest.approx(by_parts)
    assert surface_peak(pad, material="plastic", **work).peak_c > steel.peak_c
    assert surface_peak(pad, material="steel", start_c=62, **work).verdict == "stop"
    assert surface_peak(pad, material="steel", motor_w=60, **work).peak_c < steel.peak_c


def test_limits_can_be_set() -> None:
    assert judge_c(44.9) == "fine"
    assert judge_c(44.9, warn_c=40) == "warm"
    assert judge_c(55, stop_c=50) == "stop"


def test_relative_cut_needs_no_rate() -> None:
    soft, hard = PadSettings(force_n=30), PadSettings(force_n=60)
    assert relative_cut(hard, soft) == pytest.approx(2.0)
    assert relative_cut(soft, soft, arm_speed_mm_s=(20, 40)) == pytest.approx(2.0)
    assert relative_cut(soft, soft, spacing_mm=(40, 20)) == pytest.approx(0.5)


def test_doubling_the_pad_leaves_the_cut() -> None:
    # source: volume identity, h = k·F·v̄/(d·V), has no R in it at fixed v̄; status: derived
    small, large = (PadSettings(pad_diameter_mm=d, spin_rpm=0) for d in (75, 150))
    both = [
        mean_cut_um(p, preston_um_per_kpa_m=2e-3, arm_speed_mm_s=40, spacing_mm=40)
        for p in (small, large)
    ]
    assert both[0] == pytest.approx(both[1], rel=1e-12)


def test_time_of_a_set() -> None:
    strokes = [
        ((0.0, 0.0), (400.0, 0.0)),
        ((400.0, 40.0), (0.0, 40.0)),
        ((0.0, 80.0), (20.0, 80.0)),
    ]
    assert set_seconds(strokes, arm_speed_mm_s=40, turn_s=0.5) == pytest.approx(21.5)
    ramped = set_seconds(strokes, arm_speed_mm_s=40, turn_s=0.5, ramp_mm=20)
    # two full ramps cost 40/40 s more on a long stroke; the short one turns at its middle
    assert ramped == pytest.approx(2 * 11 + 2 * 2 * math.sqrt(10 * 20) / 40 + 1.0)
    by_area = set_seconds(600.0 * 600.0, arm_speed_mm_s=40, spacing_mm=40)
    assert by_area == pytest.approx(2 * 15 * 15 + 29 * 0.6)
    assert set_seconds([], arm_speed_mm_s=40) == 0.0
