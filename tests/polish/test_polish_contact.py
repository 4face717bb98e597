"""Pad pressure on curved panels against the handbook's closed form, and the spin it allows."""

import math

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from leastcut.polish.contact import FLAT, ContactError, Pose, contact_pressure
from leastcut.polish.footprint import pressure_kpa
from leastcut.polish.records import PadSettings
from leastcut.polish.speed import disc_mean_speed_m_s
from leastcut.polish.spin import (
    Bearing,
    SpinError,
    calibrated_bearing,
    foam_torque_nm,
    free_spin,
    friction_torque_nm,
)

PAD = PadSettings(force_n=45)
RADII = st.one_of(st.none(), st.floats(50, 5000))


@given(RADII, RADII, st.floats(-8, 8), st.floats(5, 120))
@settings(max_examples=40, deadline=None)
def test_pressure_carries_the_force(
    rx: float | None, ry: float | None, tilt: float, force: float
) -> None:
    contact = contact_pressure(PadSettings(force_n=force), Pose(rx, ry, tilt))
    carried = contact.pressure_kpa.sum() * contact.cell_mm**2 * 1e-3
    assert carried == pytest.approx(force, rel=1e-9)
    assert 0 < contact.touching <= 1
    assert contact.pressure_kpa.min() >= 0


def test_flat_pressure_is_uniform() -> None:
    contact = contact_pressure(PAD)
    face = contact.pressure_kpa[contact.pressure_kpa > 0]
    assert np.ptp(face) < 1e-12
    assert face.mean() == pytest.approx(pressure_kpa(PAD), rel=0.01)
    assert contact.touching == 1.0
    assert contact.radius_of_gyration_mm() == pytest.approx(65 / math.sqrt(2), rel=0.01)


def test_sphere_on_an_elastic_foundation() -> None:
    """Contact smaller than the pad: a² = 2Rδ and F = π·κ·R·δ², κ the stiffness per area.

    source: K. L. Johnson, Contact Mechanics (1985), 4.3, elastic foundation, a = b; status: memory
    """
    radius, kappa = 60.0, 2.0  # mm, kPa/mm
    squeeze = math.sqrt(PAD.force_n * 1e3 / (math.pi * kappa * radius))
    assert math.sqrt(2 * radius * squeeze) < 65  # the rim does not touch
    contact = contact_pressure(PAD, Pose(radius, radius), stiffness_kpa_per_mm=kappa, cells=401)
    assert contact.squeeze_mm == pytest.approx(squeeze, rel=2e-3)
    assert contact.pressure_kpa.max() == pytest.approx(kappa * squeeze, rel=2e-3)
    assert contact.touching == pytest.approx(2 * radius * squeeze / 65**2, rel=0.01)


def test_tilt_moves_the_pressure_to_its_side() -> None:
    pressure = contact_pressure(PAD, Pose(tilt_degrees=4)).pressure_kpa
    assert pressure[:, 65:].sum() > 1.5 * pressure[:, :64].sum()


@pytest.mark.parametrize("pose", [Pose(radius_x_mm=0.0), Pose(radius_y_mm=-100.0)])
def test_radii_below_zero_are_named(pose: Pose) -> None:
    with pytest.raises(ContactError, match="radius"):
        contact_pressure(PAD, pose)
    with pytest.raises(ContactError, match="force_n"):
        contact_pressure(PadSettings(force_n=0.0))


@pytest.mark.parametrize("beta", [0.05, 0.3, 0.9, 1.0, 1.3, 4.0])
def test_friction_torque_is_the_slope_of_the_friction_power(beta: float) -> None:
    # virtual work: torque about the pad's own axis = d(power)/d(spin); finite difference of the
    # closed-form mean speed as the other path
    spin = beta * PAD.orbit_mm / PAD.pad_diameter_mm * PAD.orbits_per_min  # rpm
    powers = [
        0.4 * 45 * disc_mean_speed_m_s(PadSettings(spin_rpm=spin * (1 + h))) for h in (1e-5, -1e-5)
    ]
    slope = (powers[0] - powers[1]) / (2e-5 * spin * math.tau / 60)
    torque = friction_torque_nm(PAD, spin * math.tau / 60, friction=0.4)
    assert torque == pytest.approx(slope, rel=2e-5)


def test_a_pad_that_only_spins_is_held_by_two_thirds_of_its_rim() -> None:
    # source: friction torque of a flat disc under uniform pressure, (2/3)·μ·F·R; any handbook
    only = PadSettings(orbit_mm=0)
    assert friction_torque_nm(only, 30.0, friction=0.4) == pytest.approx(2 / 3 * 0.4 * 45 * 0.065)
    near = friction_torque_nm(PAD, 1e5, friction=0.4)
    assert near == pytest.approx(2 / 3 * 0.4 * 45 * 0.065, rel=1e-3)


def test_foam_torque_needs_an_uneven_squeeze() -> None:
    assert foam_torque_nm(PAD, FLAT) == 0.0
    assert foam_torque_nm(PAD, Pose(400, 400)) == pytest.approx(0.0, abs=1e-12)
    assert foam_torque_nm(PAD, Pose(200)) > foam_torque_nm(PAD, Pose(800)) > 0
    assert foam_torque_nm(PAD, Pose(tilt_degrees=4)) > foam_torque_nm(PAD, Pose(tilt_degrees=1)) > 0


def test_spin_falls_with_force_curvature_tilt_and_a_dry_pad() -> None:
    bearing = calibrated_bearing(PAD, observed_rpm=300)
    assert free_spin(PAD, bearing=bearing).rpm == pytest.approx(300, rel=1e-6)
    rows = [
        [free_spin(PadSettings(force_n=f), bearing=bearing).rpm for f in (20, 45, 80, 120)],
        [free_spin(PAD, Pose(r), bearing=bearing).rpm for r in (None, 1000, 300, 100)],
        [free_spin(PAD, Pose(tilt_degrees=t), bearing=bearing).rpm for t in (0, 1, 3, 6)],
        [free_spin(PAD, bearing=bearing, dry=dry).rpm for dry in (False, True)],
    ]
    for row in rows:
        assert row == sorted(row, reverse=True)
        assert row[0] > row[-1] > 0


def test_it_stalls_in_the_end_and_never_outruns_the_orbit() -> None:
    bearing = calibrated_bearing(PAD, observed_rpm=300)
    hard = free_spin(PadSettings(force_n=120), Pose(60), bearing=bearing, dry=True)
    assert hard.stalled
    assert hard.rpm == 0.0
    stiff = free_spin(PadSettings(force_n=0.5), bearing=Bearing(torque_nm=1.0))
    assert stiff.rpm == pytest.approx(4800)
    assert not stiff.stalled


def test_calibration_refuses_what_cannot_be() -> None:
    with pytest.raises(SpinError, match="5000"):
        calibrated_bearing(PAD, observed_rpm=5000)
    weak = calibrated_bearing(PAD, observed_rpm=2)
    assert weak.per_rad_s == 0.0
    assert free_spin(PAD, bearing=weak).rpm == pytest.approx(2, rel=1e-4)
