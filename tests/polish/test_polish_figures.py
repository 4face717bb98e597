"""Mechanics beside figures worked out by hand: time, grid, dwell, heat, spin, and the defaults."""

import inspect
import math
from collections.abc import Callable

import numpy as np
import pytest
from msgspec.structs import asdict, replace

from leastcut.polish import contact, cut, footprint, grid, heat, panel_cut, removal, ripple, spin
from leastcut.polish.contact import Pose
from leastcut.polish.grid import Grid, Walk, deposit, grid_over, time_to_s, walk
from leastcut.polish.records import PadSettings, RemovalSet

PAD = PadSettings(force_n=45.0)
PLASTIC = 0.2 * 950.0 * 1900.0


@pytest.mark.parametrize(
    ("call", "usual"),
    [
        (
            contact.contact_pressure,
            {"pose": Pose(None, None, 0.0), "stiffness_kpa_per_mm": 0.5, "cells": 129},
        ),
        (cut.mean_cut_um, {"sets": 1}),
        (cut.relative_cut, {"arm_speed_mm_s": (40.0, 40.0), "spacing_mm": (40.0, 40.0)}),
        (cut.set_seconds, {"spacing_mm": 40.0, "ramp_mm": 0.0, "turn_s": 0.6}),
        (grid.walk, {"ramp_mm": 0.0}),
        (grid.grid_over, {"margin_mm": 0.0}),
        (heat.friction_power_w, {"friction": 0.4, "motor_w": None}),
        (heat.standing_rise_k, {"material": "unknown", "paint_um": 120.0}),
        (heat.section_rise_k, {"material": "unknown", "loss_w_m2k": 25.0}),
        (heat.passing_rise_k, {"material": "unknown", "paint_um": 120.0}),
        (heat.judge_c, {"warn_c": 45.0, "stop_c": 60.0}),
        (
            heat.surface_peak,
            {
                "material": "unknown",
                "start_c": 20.0,
                "friction": 0.4,
                "motor_w": None,
                "warn_c": 45.0,
                "stop_c": 60.0,
            },
        ),
        (removal.removal_map, {"grid_mm": 2.0, "ramp_mm": 0.0}),
        (
            panel_cut.panel_cut,
            {"bare_mm": (), "grid_mm": 2.0, "ramp_mm": 0.0, "wobble": None, "rng": None},
        ),
        (ripple.widest_spacing, {"limit": 0.05}),
        (ripple.spacing_table, {"limit": 0.05}),
        (spin.foam_torque_nm, {"stiffness_kpa_per_mm": 0.5, "hysteresis": 0.3}),
        (
            spin.free_spin,
            {
                "pose": Pose(),
                "bearing": None,
                "friction": 0.4,
                "dry": False,
                "stiffness_kpa_per_mm": 0.5,
            },
        ),
        (spin.calibrated_bearing, {"friction": 0.4}),
    ],
)
def test_what_is_taken_where_nothing_is_said(
    call: Callable[..., object], usual: dict[str, object]
) -> None:
    told = {
        name: one.default
        for name, one in inspect.signature(call).parameters.items()
        if one.default is not inspect.Parameter.empty
    }
    assert told == usual


# time


def test_time_along_a_stroke_with_ramps_by_hand() -> None:
    # even acceleration over 20 mm to 10 mm/s: a place s in is reached after 2·sqrt(20 s)/10
    ways = [0.0, 5.0, 20.0, 50.0, 80.0, 95.0, 100.0, 130.0]
    times = [0.0, 2.0, 4.0, 7.0, 10.0, 12.0, 14.0, 14.0]
    assert time_to_s(ways, 100.0, 10.0, 20.0) == pytest.approx(times)
    # 20 mm long: it turns at its middle, at sqrt(10/20) of full speed
    half = 2.0 * math.sqrt(200.0) / 10.0
    assert time_to_s([10.0, 20.0], 20.0, 10.0, 20.0) == pytest.approx([half, 2 * half])


def test_time_of_an_area_and_of_strokes_by_hand() -> None:
    # 800 x 800 mm at 40 mm: 2 x 20 strokes of 20 s, 39 turns
    assert cut.set_seconds(640_000.0, arm_speed_mm_s=40.0) == pytest.approx(800.0 + 39 * 0.6)
    assert cut.set_seconds(640_000, arm_speed_mm_s=80.0, spacing_mm=80.0, turn_s=1.0) == (
        pytest.approx(200.0 + 19.0)
    )
    # less than half a spacing wide: one stroke each way
    assert cut.set_seconds(100.0, arm_speed_mm_s=40.0) == pytest.approx(0.125 + 0.6)
    one = [((0.0, 0.0), (30.0, 40.0))]
    assert cut.set_seconds(one, arm_speed_mm_s=25.0) == pytest.approx(2.0)
    assert cut.set_seconds(one * 3, arm_speed_mm_s=25.0, turn_s=2.0) == pytest.approx(10.0)


def test_mean_cut_by_hand() -> None:
    # without spin every point slides at eΩ = 7.5 mm x 502.65 /s; 2 x 3 x k F v / (u s)
    pad = PadSettings(spin_rpm=0.0, force_n=50.0)
    speed = 0.0075 * 4800.0 * math.tau / 60.0
    found = cut.mean_cut_um(
        pad, preston_um_per_kpa_m=2e-3, arm_speed_mm_s=50.0, spacing_mm=30.0, sets=3
    )
    assert found == pytest.approx(6.0 * 2e-3 * 50.0 * speed * 1e3 / 1500.0)
    slow = cut.relative_cut(pad, PAD, arm_speed_mm_s=(20.0, 50.0), spacing_mm=(30.0, 60.0))
    assert slow == pytest.approx(50.0 / 45.0 * 2.5 * 2.0 * cut.relative_cut(
        replace(pad, force_n=45.0), PAD
    ))  # fmt: skip


# grid and dwell


def test_a_grid_by_hand() -> None:
    found = grid_over((5.0, 7.0, 105.0, 57.0), cell_mm=10.0, margin_mm=15.0)
    # 2 cells before; then 115 / 10 and 65 / 10, rounded up, and the first
    assert found == Grid((-15.0, -13.0), 10.0, (2 + 7 + 1, 2 + 12 + 1))
    assert found.xs_mm()[[0, 2, -1]].tolist() == [-15.0, 5.0, 125.0]
    assert found.ys_mm()[[0, 2, -1]].tolist() == [-13.0, 7.0, 77.0]
    assert grid_over((0.0, 0.0, 10.0, 20.0), cell_mm=10.0) == Grid((0.0, 0.0), 10.0, (3, 2))


def test_a_walk_by_hand() -> None:
    path = walk(
        [((0.0, 0.0), (10.0, 0.0)), ((10.0, 5.0), (10.0, 5.0))], arm_speed_mm_s=5.0, step_mm=4.0
    )
    # 10 mm in three pieces, and a stroke without length in one that takes no time
    assert path.x_mm == pytest.approx([10 / 6, 5.0, 50 / 6, 10.0])
    assert path.y_mm == pytest.approx([0.0, 0.0, 0.0, 5.0])
    assert path.dwell_s == pytest.approx([2 / 3, 2 / 3, 2 / 3, 0.0])
    ramped = walk([((0.0, 0.0), (0.0, 100.0))], arm_speed_mm_s=10.0, step_mm=20.0, ramp_mm=20.0)
    assert ramped.dwell_s == pytest.approx([4.0, 2.0, 2.0, 2.0, 4.0])
    assert ramped.y_mm == pytest.approx([10.0, 30.0, 50.0, 70.0, 90.0])


def test_dwell_is_shared_over_four_centres_by_hand() -> None:
    path = Walk(np.array([12.5, 20.0]), np.array([3.0, 4.0]), np.array([8.0, 1.0]))
    cells = Grid((10.0, 0.0), 10.0, (2, 3))
    # a quarter of a cell in x and 0.3 in y: 8 s x 0.75 x 0.7 and so on; then 1 s in column 1
    wanted = [[4.2, 1.4 + 0.6, 0.0], [1.8, 0.6 + 0.4, 0.0]]
    assert deposit(path, cells) == pytest.approx(np.array(wanted))
    halved = deposit(path, cells, weight=np.array([0.5, 0.0]))
    assert halved == pytest.approx(np.array([[2.1, 0.7, 0.0], [0.9, 0.3, 0.0]]))
    joined = grid.joined_walks([path, path], [1.0, 3.0])
    assert joined.dwell_s.tolist() == [8.0, 1.0, 24.0, 3.0]
    assert joined.x_mm.tolist() == [12.5, 20.0, 12.5, 20.0]
    assert joined.y_mm.tolist() == [3.0, 4.0, 3.0, 4.0]


def test_a_set_is_summed_up_by_hand() -> None:
    work = RemovalSet(
        pad_diameter_mm=60.0,
        orbit_mm=10.0,
        orbits_per_min=4800.0,
        spin_rpm=0.0,
        force_n=30.0,
        arm_speed_mm_s=40.0,
        stroke_spacing_mm=30.0,
        sets=3,
        width_mm=150.0,
        height_mm=120.0,
        preston_um_per_kpa_m=2e-3,
        grid_mm=3.0,
    )
    summary, result = removal.simulate_set(work)
    # 5 strokes of 150 mm and 6 of 120, three times over, at 40 mm/s; volume k F v t
    assert (summary.strokes_per_set, len(summary.strokes_mm)) == (11, 33)
    assert summary.seconds == pytest.approx(3 * 1470.0 / 40.0)
    speed = 0.005 * 4800.0 * math.tau / 60.0
    assert summary.volume_mm3 == pytest.approx(2e-3 * 30.0 * speed * summary.seconds)
    assert result.volume_mm3() == pytest.approx(summary.volume_mm3, rel=1e-9)
    # reach 35 mm and two cells: 41 mm, 14 cells
    assert (summary.origin_mm, summary.grid_mm) == ((-42.0, -42.0), 3.0)
    # inset by half the pad: 30 to 90 mm up, 30 to 120 mm across
    inner = result.depth_um[24 : 24 + 21, 24 : 24 + 31].ravel()
    assert summary.mean_um == pytest.approx(inner.mean())
    assert summary.p05_um == pytest.approx(np.percentile(inner, 5))
    assert summary.p95_um == pytest.approx(np.percentile(inner, 95))
    assert summary.ripple_fraction == pytest.approx(np.ptp(inner) / inner.mean())
    assert summary.rms_fraction == pytest.approx(inner.std() / inner.mean())


def test_pressure_reach_and_kernel_by_hand() -> None:
    assert footprint.pressure_kpa(PAD) == pytest.approx(45e3 / (math.pi * 65.0**2))
    assert footprint.reach_mm(PAD) == 72.5
    kernel = footprint.footprint_kernel(PAD, preston_um_per_kpa_m=2e-3, grid_mm=4.0)
    # 72.5 / 4 + 0.5 = 18.6: 19 cells on either side
    assert kernel.rate_um_s.shape == (39, 39)
    assert kernel.grid_mm == 4.0
    # within 57.5 mm the pad always covers: without spin k p eΩ everywhere
    still = footprint.footprint_kernel(
        replace(PAD, spin_rpm=0.0), preston_um_per_kpa_m=2e-3, grid_mm=4.0
    )
    flat = 2e-3 * footprint.pressure_kpa(PAD) * 0.0075 * 4800.0 * math.tau / 60.0
    assert still.rate_um_s[19, 19] == pytest.approx(flat, rel=1e-4)
    assert still.rate_um_s[19, 19 + 13] == pytest.approx(flat, rel=1e-4)
    assert still.rate_um_s[19, 38] == 0.0


# heat


def test_rises_by_hand() -> None:
    # 10 kW/m² for 10 s: steel 0.75 mm takes 0.1 MJ/m² over 2708 J/(m² K); paint holds 4.8 K
    steel = 1e5 / (7850.0 * 460.0 * 0.75e-3)
    assert heat.standing_rise_k(1e4, 10.0, material="steel") == pytest.approx(steel + 4.8)
    thick = heat.standing_rise_k(1e4, 10.0, material="steel", paint_um=50.0)
    assert thick == pytest.approx(steel + 2.0)
    # at first no more drop over the paint than the sheet has risen
    assert heat.standing_rise_k(1e4, 1.0, material="steel") == pytest.approx(0.2 * steel)
    aluminium = 1e5 / (2700.0 * 900.0 * 1e-3)
    assert heat.standing_rise_k(1e4, 10.0, material="aluminium") == pytest.approx(aluminium + 4.8)
    plastic = 2e4 * math.sqrt(10.0 / (math.pi * PLASTIC))
    assert heat.standing_rise_k(1e4, 10.0) == pytest.approx(plastic)
    composite = 2e4 * math.sqrt(10.0 / (math.pi * 0.3 * 1800.0 * 1100.0))
    assert heat.standing_rise_k(1e4, 10.0, material="composite") == pytest.approx(composite)
    passing = heat.passing_rise_k(
        1e4, length_mm=130.0, speed_mm_s=13.0, material="steel", paint_um=50.0
    )
    assert passing == pytest.approx(thick)


def test_a_section_by_hand() -> None:
    # 50 W on 0.25 m² is 200 W/m²: 8 K in the end, with e-fold capacity/25
    capacity = 7850.0 * 460.0 * 0.75e-3
    found = heat.section_rise_k(50.0, 250_000.0, capacity / 25.0, material="steel")
    assert found == pytest.approx(8.0 * (1.0 - math.exp(-1.0)))
    quick = heat.section_rise_k(50.0, 250_000.0, capacity / 50.0, material="steel", loss_w_m2k=50.0)
    assert quick == pytest.approx(4.0 * (1.0 - math.exp(-1.0)))
    plastic = 950.0 * 1900.0 * 3e-3
    assert heat.section_rise_k(50.0, 250_000.0, plastic / 25.0) == pytest.approx(found)


def test_power_by_hand() -> None:
    still = PadSettings(spin_rpm=0.0, force_n=50.0)
    speed = 0.0075 * 4800.0 * math.tau / 60.0
    assert heat.friction_power_w(still) == pytest.approx(0.4 * 50.0 * speed)
    assert heat.friction_power_w(still, motor_w=100.0) == pytest.approx(60.0)
    assert heat.flux_w_m2(10.0, 20_000.0) == pytest.approx(500.0)
    assert heat.heat_per_cut_j_m2(2.0, preston_um_per_kpa_m=4e-3, friction=0.3) == 150_000.0
    power = heat.power_from_volume_w(still, preston_um_per_kpa_m=2e-3, friction=0.3)
    assert power == pytest.approx(0.3 * 50.0 * speed)


def test_the_peak_passes_on_what_it_is_told() -> None:
    told = {"area_mm2": 250_000.0, "seconds": 180.0, "arm_speed_mm_s": 40.0}
    base = heat.surface_peak(PAD, **told)
    assert heat.surface_peak(PAD, material="plastic", **told) == base
    assert heat.surface_peak(PAD, start_c=30.0, **told).peak_c == pytest.approx(base.peak_c + 10.0)
    rise = base.peak_c - 20.0
    doubled = heat.surface_peak(PAD, friction=0.8, **told)
    assert doubled.power_w == pytest.approx(2 * base.power_w)
    assert doubled.peak_c == pytest.approx(20.0 + 2 * rise)
    assert heat.surface_peak(PAD, warn_c=base.peak_c + 1, stop_c=999.0, **told).verdict == "fine"
    assert heat.surface_peak(PAD, warn_c=base.peak_c, stop_c=999.0, **told).verdict == "warm"
    assert heat.surface_peak(PAD, warn_c=1.0, stop_c=base.peak_c, **told).verdict == "stop"


# contact, foam and spin


def test_lift_of_a_place_by_hand() -> None:
    pose = Pose(radius_x_mm=500.0, radius_y_mm=200.0, tilt_degrees=2.0)
    # 30²/1000 + 20²/400 - 30 tan 2°
    assert contact.lift_mm(30.0, 20.0, pose) == pytest.approx(
        0.9 + 1.0 - 30.0 * math.tan(math.pi / 90)
    )
    assert contact.lift_mm([-30.0], [20.0], Pose(radius_y_mm=200.0)).tolist() == [1.0]


def test_a_squeeze_by_hand() -> None:
    # lifts 0, 1, 3: 1 mm in all touches one place, 5 mm two (3 and 2), 8 mm all (4, 3 and 1)
    lifts = np.array([3.0, 0.0, 1.0])
    squeezes = [contact._squeeze_for(lifts, wanted) for wanted in (1.0, 5.0, 8.0)]
    assert squeezes == pytest.approx([1.0, 3.0, 4.0])


def test_foam_torque_of_a_tilted_pad_by_hand() -> None:
    """All of the face touches: a place at r goes from d + r tan t to d - r tan t once a turn.

    Its energy swings by κ/2·((d + rt)² - (d - rt)²) = 2κ d t r; over the face that is
    2κ d t·∫ r 2πr dr = 4π κ d t R³/3, and a share of it over 2π is the torque.
    """
    tilt = math.radians(0.5)
    depth = footprint.pressure_kpa(PAD) / 0.5  # mm
    assert depth > 65.0 * math.tan(tilt)
    swing = 4.0 * math.pi / 3.0 * 0.5e3 * depth * math.tan(tilt) * 65.0**3 * 1e-9  # kPa·mm³ to J
    found = spin.foam_torque_nm(PAD, Pose(tilt_degrees=0.5))
    assert found == pytest.approx(0.3 * swing / math.tau, rel=5e-3)
    half = spin.foam_torque_nm(PAD, Pose(tilt_degrees=0.5), hysteresis=0.15)
    assert half == pytest.approx(found / 2)


def test_spin_of_a_pad_by_its_torques() -> None:
    found = spin.free_spin(PAD, Pose(tilt_degrees=1.0), dry=True, friction=0.3)
    omega, rate = 4800.0 * math.tau / 60.0, found.rpm * math.tau / 60.0
    assert not found.stalled
    held = spin.friction_torque_nm(PAD, rate, friction=1.8 * 0.3)
    held += 1.8 * spin.foam_torque_nm(PAD, Pose(tilt_degrees=1.0))
    assert 0.01 + 4e-4 * (omega - rate) == pytest.approx(held, rel=1e-6)
    assert asdict(spin.Bearing()) == {"torque_nm": 0.01, "per_rad_s": 4e-4}


def test_a_bearing_from_a_spin_by_hand() -> None:
    found = spin.calibrated_bearing(PAD, observed_rpm=300.0, friction=0.5)
    rate, omega = 300.0 * math.tau / 60.0, 4800.0 * math.tau / 60.0
    held = spin.friction_torque_nm(PAD, rate, friction=0.5)
    assert found.torque_nm == 0.01
    assert found.torque_nm + found.per_rad_s * (omega - rate) == pytest.approx(held)
