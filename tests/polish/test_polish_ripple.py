"""Ripple of parallel strokes against closed forms."""

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from leastcut.polish.records import PadSettings
from leastcut.polish.ripple import (
    Spread,
    disc_ripple,
    gaussian_ripple,
    line_spread,
    pad_spread,
    spacing_table,
    widest_spacing,
)


def gaussian(sd: float) -> Spread:
    return Spread(lambda r: np.exp(-(r**2) / (2 * sd**2)), reach=9 * sd)


# source: Poisson summation of Gaussian strokes, checked by direct sums; status: recomputed
GAUSS = [
    (1.0, 1.070115e-8, 3.783429e-9),
    (1.5, 6.194446e-4, 2.190067e-4),
    (1.75, 6.350882e-3, 2.245376e-3),
    (2.0, 2.876753e-2, 1.017086e-2),
    (2.354820, 1.137886e-1, 4.023034e-2),
    (2.5, 1.699962e-1, 6.010274e-2),
    (3.0, 4.462165e-1, 1.577615e-1),
    (4.0, 1.164912, 4.119629e-1),
]


@pytest.mark.parametrize(("ratio", "peak", "rms"), GAUSS)
def test_gaussian_closed_form_against_table(ratio: float, peak: float, rms: float) -> None:
    found = gaussian_ripple(ratio)
    assert found.peak_to_valley == pytest.approx(peak, rel=2e-6)
    assert found.rms == pytest.approx(rms, rel=2e-6)


@given(st.floats(1.0, 4.0))
@settings(deadline=None)
def test_summed_strokes_against_the_closed_form(ratio: float) -> None:
    summed = gaussian(20.0).ripple(20.0 * ratio)
    closed = gaussian_ripple(ratio)
    assert summed.peak_to_valley == pytest.approx(closed.peak_to_valley, abs=1e-6)
    assert summed.rms == pytest.approx(closed.rms, abs=1e-6)


def test_line_spread_of_a_gaussian_is_a_gaussian() -> None:
    x = np.linspace(0, 60, 13)
    found = line_spread(lambda r: np.exp(-(r**2) / 800), x, reach=200)
    assert found == pytest.approx(np.sqrt(2 * np.pi) * 20 * np.exp(-(x**2) / 800), abs=1e-9)


# source: flat disc blurred by the orbit, series [2J₁(z)/z]·J₀(z·e/R), equal to direct sums on a
# grid; status: derived, recomputed. (d/R, e/R, rms, peak to valley)
DISC = [
    (0.5, 0.1, 0.022565, 0.05709),
    (1.0, 0.1, 0.089538, 0.24954),
    (1.0, 0.2, 0.062049, 0.15662),
    (1.25, 0.1, 0.175652, 0.44918),
    (1.5, 0.1, 0.117861, 0.37396),
    (2.0, 0.1, 0.269104, 0.84373),
]


@pytest.mark.parametrize(("d", "e", "rms", "peak"), DISC)
def test_disc_series_and_summed_strokes(d: float, e: float, rms: float, peak: float) -> None:
    pad = PadSettings(pad_diameter_mm=130, orbit_mm=130 * e, spin_rpm=0)
    series, summed = disc_ripple(65 * d, pad), pad_spread(pad).ripple(65 * d)
    assert series.rms == pytest.approx(rms, abs=1e-5)
    assert series.peak_to_valley == pytest.approx(peak, abs=2e-4)
    assert summed.rms == pytest.approx(rms, abs=1e-4)
    assert summed.peak_to_valley == pytest.approx(peak, abs=1e-3)


def test_spin_and_spacing_as_on_a_grid() -> None:
    # source: full footprint on a grid, R = 70 mm, e = 7.5 mm, +5 Hz; status: recomputed
    spread = pad_spread(PadSettings(pad_diameter_mm=140))
    assert spread.ripple(70.0).rms == pytest.approx(0.0648, abs=5e-4)
    assert spread.ripple(70.0).peak_to_valley == pytest.approx(0.174, abs=3e-3)
    assert spread.ripple(35.0).rms == pytest.approx(0.0113, abs=3e-4)
    assert spread.ripple(35.0).peak_to_valley == pytest.approx(0.0334, abs=1e-3)


def test_advice_keeps_its_promise_and_grows_with_the_pad() -> None:
    table = spacing_table([75.0, 130.0, 180.0], PadSettings())
    assert [row.pad_diameter_mm for row in table] == [75.0, 130.0, 180.0]
    assert all(row.ripple_fraction <= 0.05 for row in table)
    spread = pad_spread(PadSettings(pad_diameter_mm=130))
    wide = table[1].spacing_mm
    assert all(spread.ripple(s).peak_to_valley <= 0.05 for s in np.arange(4.0, wide + 0.1))
    assert spread.ripple(wide + 1).peak_to_valley > 0.05
    assert table[2].spacing_mm > table[0].spacing_mm


def test_no_limit_is_never_reached() -> None:
    assert widest_spacing(PadSettings(pad_diameter_mm=50), limit=9.0).spacing_mm == 49.0
