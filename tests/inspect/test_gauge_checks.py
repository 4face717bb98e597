"""Gauge checks: bias, slope, and how sure a reading is."""

import numpy as np
import pytest

from leastcut.inspect.gauge import calibrate, corrected
from leastcut.inspect.records import GaugeCheck


def checks(*pairs: tuple[float, float]) -> list[GaugeCheck]:
    return [GaugeCheck(known_um=k, shown_um=s) for k, s in pairs]


def test_no_checks_is_unbiased_wide_and_says_so() -> None:
    gauge = calibrate([])
    assert (gauge.bias_um, gauge.slope_error, gauge.checked) == (0.0, 0.0, False)
    assert gauge.sd_um > calibrate(checks((0, 0), (0, 0), (125, 125), (125, 125))).sd_um


def test_offset_and_slope_are_taken_off() -> None:
    known = np.array([0.0, 50.0, 125.0, 250.0])
    gauge = calibrate(checks(*zip(known, 2.0 + 1.03 * known, strict=True)))
    assert corrected(2.0 + 1.03 * known, gauge) == pytest.approx(known, abs=1e-9)


def test_notes_and_width_of_a_doubtful_gauge() -> None:
    good = calibrate(checks((0, 0), (125, 126), (250, 251)))
    late = calibrate(checks((0, 0), (125, 126), (250, 251)), days_since=500)
    wrong = calibrate(checks((0, 0), (125, 145)))
    assert good.notes == ()
    assert "500 days" in late.notes[0]
    assert "+20.0 µm at 125 µm" in wrong.notes[0]
    assert late.sd_um > 2 * good.sd_um
    assert wrong.panel_um > good.panel_um
    assert wrong.bias_um == pytest.approx(20 * 120 / 125)


def test_one_thickness_tells_less_far_from_it() -> None:
    near, far = calibrate(checks((125, 126))), calibrate(checks((0, 1)))
    assert near.level_um is not None
    assert far.level_um is not None
    assert near.level_um < far.level_um


@pytest.mark.parametrize("step", range(4))
def test_stated_uncertainty_covers_simulated_gauges(step: int) -> None:
    """Corrected level at the pivot lies within its stated spread as often as a normal would."""
    rng = np.random.default_rng(step)
    known = np.repeat([0.0, 125.0, 250.0], 3)
    z = []
    for _ in range(400):
        offset, slope = rng.uniform(-2, 2), rng.uniform(-0.03, 0.03)
        shims = np.repeat([0.0, 125.0, 250.0] * (1 + rng.uniform(-0.01, 0.01, 3)), 3)
        shown = offset + (1 + slope) * shims + rng.normal(0, 1.2, 9)
        gauge = calibrate(checks(*zip(known, shown, strict=True)))
        back = corrected(np.array([offset + (1 + slope) * 120.0]), gauge)[0]
        assert gauge.level_um is not None
        z.append((back - 120.0) / gauge.level_um)
    assert 0.9 < np.mean(np.abs(z) < 1.96) <= 1.0
