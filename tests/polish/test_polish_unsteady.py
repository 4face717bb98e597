"""The unsteady hand, the tilted pad and the rim beside plain loops and laws of scale."""

import math

import numpy as np
import pytest
from msgspec.structs import replace

from leastcut.polish import contact, panel_cut, spin
from leastcut.polish.contact import Pose
from leastcut.polish.footprint import footprint_kernel, pressure_kpa
from leastcut.polish.grid import Walk, deposit, walk
from leastcut.polish.panel_cut import Wobble, Worked, paint_mask, tilt_kernels
from leastcut.polish.records import PadSettings
from leastcut.polish.removal import spread
from leastcut.polish.ripple import widest_spacing
from leastcut.polish.speed import contact_half_angle

PAD = PadSettings(force_n=45.0)


def drifted(steps: np.ndarray, length: float, rng: np.random.Generator) -> list[float]:
    """An Ornstein-Uhlenbeck walk, one step after the other."""
    keep = math.exp(-float(np.median(steps)) / length)
    fresh = [math.sqrt(1.0 - keep**2) * x for x in rng.standard_normal(len(steps))]
    value = float(rng.standard_normal())
    walked = []
    for x in fresh:
        value = keep * value + x
        walked.append(value)
    return walked


def test_an_unsteady_hand_step_by_step() -> None:
    rng = np.random.default_rng(8)
    x, y = np.cumsum(rng.uniform(0, 3, 40)), np.cumsum(rng.uniform(-2, 2, 40))
    path, wobble = (
        Walk(x, y, np.ones(40)),
        Wobble(speed_sd=0.3, tilt_degrees_sd=6.0, length_mm=50.0),
    )
    dwell, lean_x, lean_y = panel_cut._factors(path, PAD, wobble, np.random.default_rng(3))
    steps = [0.0]
    steps += [math.hypot(x[k] - x[k - 1], y[k] - y[k - 1]) for k in range(1, 40)]
    again = np.random.default_rng(3)
    speed, tilt_x, tilt_y = (drifted(np.array(steps), 50.0, again) for _ in range(3))
    # foam of 0.5 kPa/mm, 65 mm from the axis, tilted by 6 degrees, as a share of the mean pressure
    rise = 0.5 * 65.0 * math.tan(math.radians(6.0)) / pressure_kpa(PAD)
    for k in range(40):
        factor = math.exp(0.3 * speed[k] - 0.045)
        assert dwell[k] == pytest.approx(factor)
        assert lean_x[k] == pytest.approx(factor * min(0.7, max(-0.7, rise * tilt_x[k])))
        assert lean_y[k] == pytest.approx(factor * min(0.7, max(-0.7, rise * tilt_y[k])))
    assert max(abs(lean_x / dwell)) == pytest.approx(0.7)


def test_a_slower_machine_tilts_in_proportion() -> None:
    slow = replace(PAD, orbits_per_min=48.0, spin_rpm=3.0)
    one, hundred = (
        tilt_kernels(pad, footprint_kernel(pad, preston_um_per_kpa_m=1e-3, grid_mm=8.0))[0]
        for pad in (slow, PAD)
    )
    assert 100.0 * one.rate_um_s == pytest.approx(hundred.rate_um_s, rel=1e-6, abs=1e-9)


def test_the_rim_itself_is_covered() -> None:
    still = replace(PAD, orbit_mm=0.0)
    found = contact_half_angle([64.9, 65.0, 65.1], still)
    assert found.tolist() == [math.pi, math.pi, 0.0]
    # throw 15 mm: always within 57.5 mm, never beyond 72.5, half of the time at sqrt(65² - 7.5²)
    half = math.sqrt(65.0**2 - 7.5**2)
    angles = contact_half_angle([0.0, 57.5, half, 72.5], PAD)
    assert angles == pytest.approx([math.pi, math.pi, math.pi / 2, 0.0], abs=1e-6)
    tiny = replace(PAD, pad_diameter_mm=10.0)
    assert contact_half_angle([0.0], tiny).tolist() == [0.0]


def test_foam_lost_in_a_turn_ring_by_ring() -> None:
    pose = Pose(tilt_degrees=0.5)
    depth = contact.contact_pressure(PAD, pose).squeeze_mm
    slope = math.tan(math.radians(0.5))
    # at r the squeeze swings between d ± r tan t: 2 κ d r tan t of energy, over rings of 2πr dr
    swing = 2.0 * 0.5e3 * depth * slope * math.tau * 65.0**3 / 3.0 * 1e-9
    assert spin.foam_torque_nm(PAD, pose) == pytest.approx(0.3 * swing / math.tau, rel=2e-4)
    wide, narrow = (contact.contact_pressure(PAD, pose, cells=n) for n in (65, 66))
    assert wide.pressure_kpa.shape == (65, 65)
    assert narrow.cell_mm == pytest.approx(130.0 / 66)


def test_a_stiffer_foam_is_squeezed_less_and_loses_the_same() -> None:
    # all of the face touches, so the swing 2 κ d t r with d = p/κ is the same for any foam
    soft, hard = (
        spin.foam_torque_nm(PAD, Pose(tilt_degrees=0.2), stiffness_kpa_per_mm=k) for k in (0.5, 1.0)
    )
    assert hard == pytest.approx(soft, rel=1e-3)


def test_no_spacing_is_even_enough_for_a_limit_of_nothing() -> None:
    assert widest_spacing(PAD, limit=0.0).spacing_mm == 1.0


def test_a_panel_is_walked_in_steps_of_half_a_cell() -> None:
    square = ((0.0, 0.0), (300.0, 0.0), (300.0, 300.0), (0.0, 300.0))
    work = Worked([((37.0, 41.0), (251.0, 263.0))], 1, 40.0)
    still = replace(PAD, spin_rpm=0.0, pad_diameter_mm=40.0)
    rough = panel_cut.panel_cut(
        [work], still, preston_um_per_kpa_m=1e-3, outline_mm=square, grid_mm=10.0
    )
    path = walk(work.strokes, arm_speed_mm_s=40.0, step_mm=5.0)
    kernel = footprint_kernel(still, preston_um_per_kpa_m=1e-3, grid_mm=10.0)
    inside = paint_mask(rough.grid, square)
    assert rough.depth_um == pytest.approx(spread(deposit(path, rough.grid), kernel) * inside)
