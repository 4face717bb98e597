"""The footprint: its volume, its invariance under the orbit, its grid."""

import itertools
import math

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from leastcut.polish.cut import mean_cut_um
from leastcut.polish.footprint import (
    footprint_kernel,
    footprint_um_s,
    pressure_kpa,
    reach_mm,
    volume_rate_mm3_s,
)
from leastcut.polish.records import PadSettings

PADS = st.builds(
    PadSettings,
    pad_diameter_mm=st.floats(30, 200),
    orbit_mm=st.one_of(st.just(0.0), st.floats(0.01, 25)),
    orbits_per_min=st.floats(1000, 8000),
    spin_rpm=st.integers(-900, 900).map(float),
    force_n=st.floats(5, 120),
)


def volume_by_quadrature(pad: PadSettings) -> float:
    """∫ F 2πr dr [mm³/s] on pieces between the kinks, their ends crowded with nodes."""
    nodes, weights = np.polynomial.legendre.leggauss(500)
    t = 0.5 * (nodes + 1)
    smooth, slope = t**3 * (10 - 15 * t + 6 * t**2), 30 * t**2 * (1 - t) ** 2
    e, radius = pad.orbit_mm / 2, pad.pad_diameter_mm / 2
    ends = {0.0, radius - e, radius + e}
    if pad.spin_rpm:  # where spin part and orbit part are equal the speed has a kink
        ends.add(min(e * abs(pad.orbits_per_min / pad.spin_rpm - 1), radius + e))
    total = 0.0
    for low, high in itertools.pairwise(sorted(ends)):
        r = low + (high - low) * smooth
        rate = footprint_um_s(r, pad, preston_um_per_kpa_m=2e-3)
        total += float(np.sum(0.5 * weights * slope * (high - low) * rate * math.tau * r))
    return total * 1e-3


@given(PADS)
@settings(max_examples=60, deadline=None)
def test_volume_is_invariant_under_orbit_blur(pad: PadSettings) -> None:
    expected = volume_rate_mm3_s(pad, preston_um_per_kpa_m=2e-3)
    assert volume_by_quadrature(pad) == pytest.approx(expected, rel=1e-9)


@pytest.mark.parametrize("ratio", [0.1, 0.25, 0.5])
def test_area_and_second_moment_without_spin(ratio: float) -> None:
    # source: disc of radius R convolved with a unit ring of radius e: area πR², mean r² R²/2 + e²
    pad = PadSettings(pad_diameter_mm=100, orbit_mm=100 * ratio, spin_rpm=0)
    middle = float(footprint_um_s(0.0, pad, preston_um_per_kpa_m=1.0))
    nodes, weights = np.polynomial.legendre.leggauss(500)
    t = 0.5 * (nodes + 1)
    smooth, slope = t**3 * (10 - 15 * t + 6 * t**2), 30 * t**2 * (1 - t) ** 2
    e, moments = 50 * ratio, np.zeros(2)
    for low, high in ((0.0, 50 - e), (50 - e, 50 + e)):
        r = low + (high - low) * smooth
        share = footprint_um_s(r, pad, preston_um_per_kpa_m=1.0) / middle
        weight = 0.5 * weights * slope * (high - low) * share * math.tau * r
        moments += [weight.sum(), (weight * r**2).sum()]
    assert moments[0] == pytest.approx(math.pi * 50**2, rel=1e-10)
    assert moments[1] / moments[0] == pytest.approx(50**2 / 2 + e**2, rel=1e-10)


def test_mean_depth_identity() -> None:
    # source: h = k·F·v̄/(d·V), R = 70 mm, e = 7.5 mm, 4800/min, 300/min, k = 1e-12 /Pa, F = 50 N,
    # d = 70 mm, V = 30 mm/s: 0.0936357 µm a pass, 6 passes 0.561814 µm; status: recomputed
    pad = PadSettings(pad_diameter_mm=140, force_n=50)
    two = mean_cut_um(pad, preston_um_per_kpa_m=1e-3, arm_speed_mm_s=30, spacing_mm=70)
    assert two / 2 == pytest.approx(0.0936357, abs=5e-8)
    assert 3 * two == pytest.approx(0.561814, abs=5e-7)


@given(PADS, st.floats(1.0, 6.0))
@settings(max_examples=40, deadline=None)
def test_kernel_keeps_the_volume_and_is_symmetric(pad: PadSettings, grid: float) -> None:
    kernel = footprint_kernel(pad, preston_um_per_kpa_m=2e-3, grid_mm=grid)
    volume = kernel.rate_um_s.sum() * grid**2 * 1e-3
    assert volume == pytest.approx(volume_rate_mm3_s(pad, preston_um_per_kpa_m=2e-3), rel=1e-12)
    assert kernel.rate_um_s.min() >= 0
    assert np.allclose(kernel.rate_um_s, kernel.rate_um_s.T)
    assert np.allclose(kernel.rate_um_s, kernel.rate_um_s[::-1])
    assert kernel.rate_um_s[0].max() == 0 or reach_mm(pad) > 0


def test_pressure_and_reach() -> None:
    # source: 50 N on a disc of 70 mm radius is 3.248 kPa; status: recomputed
    pad = PadSettings(pad_diameter_mm=140, force_n=50)
    assert pressure_kpa(pad) == pytest.approx(3.248, abs=1e-3)
    assert reach_mm(pad) == 77.5


def test_a_machine_at_rest_cuts_nothing() -> None:
    kernel = footprint_kernel(
        PadSettings(orbits_per_min=0, spin_rpm=0), preston_um_per_kpa_m=1.0, grid_mm=5
    )
    assert kernel.rate_um_s.max() == 0
