"""Speed of the pad against brute-force averages and published kinematics."""

import math

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from leastcut.polish.records import PadSettings
from leastcut.polish.speed import (
    contact_half_angle,
    disc_mean_speed_m_s,
    mean_speed,
    pad_point_speed_m_s,
    panel_point_speed_m_s,
    rms_speed,
)

SPEEDS = st.one_of(st.just(0.0), st.floats(1e-6, 50.0))


def brute(a: float, b: float, n: int = 200_000) -> float:
    phase = (np.arange(n) + 0.5) * math.tau / n
    return float(np.sqrt(a * a + b * b + 2 * a * b * np.cos(phase)).mean())


# source: mean of √(a² + b² + 2ab·cos φ) by two independent routes (average over 200 000 phases;
# adaptive quadrature for a = b); status: recomputed
TABLE = [
    (1, 0, 1.000000000000),
    (1, 0.25, 1.015687012853),
    (1, 0.5, 1.063544409973),
    (1, 0.9, 1.216000914110),
    (1, 1, 1.273239544735),
    (1, 2, 2.127088819947),
    (3, 4, 4.585919017483),
    (3.7699111843, 2.3561944902, 4.148099537473),
]


@pytest.mark.parametrize(("a", "b", "expected"), TABLE)
def test_closed_form_against_table(a: float, b: float, expected: float) -> None:
    assert float(mean_speed(a, b)) == pytest.approx(expected, rel=1e-11)


@given(SPEEDS, SPEEDS)
@settings(deadline=None)
def test_closed_form_against_brute_average(a: float, b: float) -> None:
    # the integrand has a kink at a = b, where the sum converges slowly: see the table for that
    if abs(a - b) > 1e-3 * (a + b):
        assert float(mean_speed(a, b)) == pytest.approx(brute(a, b), rel=1e-10, abs=1e-12)


@given(SPEEDS, SPEEDS, st.floats(0.1, 10.0))
@settings(deadline=None)
def test_mean_is_symmetric_homogeneous_and_below_rms(a: float, b: float, scale: float) -> None:
    mean = float(mean_speed(a, b))
    assert mean == pytest.approx(float(mean_speed(b, a)), rel=1e-13)
    assert float(mean_speed(scale * a, scale * b)) == pytest.approx(scale * mean, rel=1e-12)
    assert mean <= float(rms_speed(a, b)) * (1 + 1e-14)
    assert mean >= max(a, b) * (1 - 1e-14)


# source: ₂F₁(-½, -½; 2; β²) and, beyond β = 1, quadrature; status: recomputed
DISC = [
    (0.0, 1.0),
    (0.25, 1.0078330882),
    (0.5, 1.0315921104),
    (0.75, 1.0721746061),
    (1.0, 32 / (9 * math.pi)),
    (1.5, 1.3236884534),
    (2.0, 1.5793404652),
]


@pytest.mark.parametrize(("beta", "expected"), DISC)
def test_disc_mean(beta: float, expected: float) -> None:
    # orbit rate 60/min and throw 2 m: a = 2π m/s; R = 1 m: spin β·60/min gives the rim β·a
    pad = PadSettings(pad_diameter_mm=2000, orbit_mm=2000, orbits_per_min=60, spin_rpm=60 * beta)
    assert disc_mean_speed_m_s(pad) / math.tau == pytest.approx(expected, rel=1e-9)


def test_disc_mean_of_a_pad_that_only_spins_is_two_thirds_of_its_rim() -> None:
    # source: ∫ r·ωr dr over a disc, elementary; status: derived
    pad = PadSettings(pad_diameter_mm=150, orbit_mm=0, spin_rpm=1200)
    rim = 0.075 * 1200 * math.tau / 60
    assert disc_mean_speed_m_s(pad) == pytest.approx(2 / 3 * rim, rel=1e-12)
    assert disc_mean_speed_m_s(PadSettings(orbits_per_min=0, spin_rpm=0)) == 0.0


# source: grid integration in both frames, R = 70 mm, e = 7.5 mm, 80 Hz, 5 Hz; status: recomputed
FRAMES = [
    (0.0, 3.534292, 3.769911),
    (40.0, 3.646905, 3.875379),
    (62.5, 3.812724, 4.030239),
    (65.0, 3.281999, None),
    (70.0, 2.526203, None),
    (75.0, 1.467400, None),
]


@pytest.mark.parametrize(("r", "panel", "pad"), FRAMES)
def test_frames_differ_as_published(r: float, panel: float, pad: float | None) -> None:
    settings = PadSettings(pad_diameter_mm=140)
    assert float(panel_point_speed_m_s(r, settings)) == pytest.approx(panel, abs=1e-6)
    if pad is not None:
        assert float(pad_point_speed_m_s(r, settings)) == pytest.approx(pad, abs=1e-6)


def test_spin_against_the_orbit_is_faster_at_the_panel() -> None:
    # source: as above, spin reversed; status: recomputed
    against = PadSettings(pad_diameter_mm=140, spin_rpm=-300)
    assert float(panel_point_speed_m_s(0.0, against)) == pytest.approx(4.005531, abs=1e-6)
    assert float(panel_point_speed_m_s(60.0, against)) == pytest.approx(4.230546, abs=1e-6)


@pytest.mark.parametrize("spin", [-700.0, -300.0, 0.0, 300.0, 900.0, 6000.0])
def test_both_frames_give_the_same_volume(spin: float) -> None:
    settings = PadSettings(pad_diameter_mm=140, spin_rpm=spin)
    total = _area_integral(settings)
    pad_side = disc_mean_speed_m_s(settings) * math.pi * 0.070**2
    assert total == pytest.approx(pad_side, rel=1e-9)
    if spin == 300.0:
        # source: both integrals by quadrature; status: recomputed
        assert total == pytest.approx(0.060539211087, rel=1e-10)


def _area_integral(settings: PadSettings) -> float:
    """∫ v 2πr dr over the blurred disc; smooth pieces between the kinks, endpoints crowded."""
    nodes, weights = np.polynomial.legendre.leggauss(400)
    t = 0.5 * (nodes + 1)
    smooth, slope = t**3 * (10 - 15 * t + 6 * t**2), 30 * t**2 * (1 - t) ** 2
    e, radius = settings.orbit_mm / 2, settings.pad_diameter_mm / 2
    total = 0.0
    for low, high in ((0.0, radius - e), (radius - e, radius + e)):
        r = low + (high - low) * smooth
        v = panel_point_speed_m_s(r, settings)
        total += float(np.sum(0.5 * weights * slope * (high - low) * v * math.tau * r))
    return total * 1e-6


def test_panel_speed_is_uniform_when_the_spin_matches_the_orbit() -> None:
    """Equal rotation of pad and carrier gives one relative speed everywhere.

    source: |v|² = (D·wp)² + r²(ww - wp)² + …, uniform for ww = wp, known of rotary polishing
    ("effects of kinematic variables on nonuniformity", chemical mechanical planarisation, 2000);
    status: seen abstract, form recomputed. In our machine the pad frame's orbit part alone is
    left at ω = 0, and at the panel the orbit part vanishes at ω = Ω, leaving pure turning.
    """
    still = PadSettings(spin_rpm=0)
    r = np.linspace(0, 57, 50)
    assert np.ptp(pad_point_speed_m_s(r, still)) < 1e-14
    assert np.ptp(panel_point_speed_m_s(r, still)) < 1e-12
    locked = PadSettings(spin_rpm=4800)
    expected = r * 1e-3 * 4800 * math.tau / 60
    assert panel_point_speed_m_s(r, locked) == pytest.approx(expected, abs=1e-12)


def test_rotary_analogue_table() -> None:
    # source: D = 0.2 m, wp = 5 rad/s, wafer turning at ww; status: derived, recomputed
    for ww, r, expected in [(6, 0.1, 1.002502), (10, 0.05, 1.015687), (-5, 0.1, 1.273240)]:
        assert float(mean_speed(0.2 * 5, r * abs(ww - 5))) == pytest.approx(expected, abs=1e-6)
    assert float(mean_speed(1.0, 0.1 * 3)) == pytest.approx(1.0226295149, rel=1e-9)


def test_contact_share_of_a_blurred_disc() -> None:
    # source: disc convolved with a ring; area and mean r² = R²/2 + e² are invariants; recomputed
    for ratio, at_rim in [(0.1, 0.484077867), (0.25, 0.460106912), (0.5, 0.419569377)]:
        pad = PadSettings(pad_diameter_mm=2.0, orbit_mm=2 * ratio)
        assert float(contact_half_angle(1.0, pad)) / math.pi == pytest.approx(at_rim, abs=1e-9)
    assert float(contact_half_angle(0.0, PadSettings())) == math.pi
    assert float(contact_half_angle(0.0, PadSettings(pad_diameter_mm=4, orbit_mm=12))) == 0.0
    assert list(contact_half_angle([1.0, 70.0], PadSettings(orbit_mm=0))) == [math.pi, 0.0]
