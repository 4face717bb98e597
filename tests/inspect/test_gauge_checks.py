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
