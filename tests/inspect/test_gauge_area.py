"""Area statistics against the published arithmetic."""

from pathlib import Path

import numpy as np
import pytest

from leastcut.inspect.area import (
    READINGS_PER_SPOT,
    SPOTS_PER_AREA,
    areas_to_measure,
    eighty_twenty,
    judge,
    spot_limits_um,
)

DATA = Path(__file__).parent.parent / "data"
COUNTS = np.genfromtxt(DATA / "pa2_area_counts.csv", delimiter=",", comments="#", skip_header=3)


@pytest.mark.parametrize(("area_ft2", "areas", "spots", "readings"), COUNTS.tolist())
def test_number_of_areas(area_ft2: float, areas: float, spots: float, readings: float) -> None:
    # source: SSPC-PA 2 as relayed by paintsquare 12356; status: rule seen second-hand, recomputed
    found = areas_to_measure(area_ft2 * 0.09290304)
    assert found == areas
    assert found * SPOTS_PER_AREA == spots
    assert found * SPOTS_PER_AREA * READINGS_PER_SPOT == readings


def test_spot_limits_in_mil_as_printed() -> None:
    # source: slide deck on SSPC-PA 2: 8-12 mil gives 6.4 and 14.4 mil; status: seen second-hand
    assert spot_limits_um(8.0, 12.0) == pytest.approx((6.4, 14.4))


@pytest.mark.parametrize(
    ("spot", "ok"), [(80.0, True), (168.0, True), (79.9, False), (168.1, False)]
)
def test_a_spot_at_its_limit(spot: float, *, ok: bool) -> None:
    result = judge([spot, 120.0, 120.0, 120.0, 120.0], low_um=100.0, high_um=140.0)
    assert result.ok == ok
    assert result.spots_out == (() if ok else (0,))


def test_area_mean_and_spread() -> None:
    # source: worked arithmetic (mean 102.0, s 5.612); status: recomputed
    result = judge([95, 102, 110, 99, 104], low_um=100.0, high_um=140.0)
    assert (result.mean_um, result.sd_um) == pytest.approx((102.0, 5.612), abs=5e-4)
    assert result.mean_ok


def test_one_spot_has_no_spread_and_thin_areas_fail() -> None:
    result = judge([90.0], low_um=100.0, high_um=140.0)
    assert result.sd_um is None
    assert not result.ok


def test_level_one_judges_spots_by_the_range_itself() -> None:
    assert judge([99, 120, 121], low_um=100, high_um=140, level=1).spots_out == (0,)


@pytest.mark.parametrize(
    ("readings", "ok"),
    [
        ([100, 101, 102, 103, 95], True),
        ([100, 110, 110, 95, 95], False),
        ([79, 140, 140, 140, 140], False),
        ([99, 99, 99, 99, 99], False),
    ],
)
def test_eighty_twenty(readings: list[float], *, ok: bool) -> None:
    assert eighty_twenty(readings, 100.0) == ok
