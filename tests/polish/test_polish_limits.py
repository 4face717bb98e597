"""Limits of the mechanics: the last setting taken, the first refused, and what is said then."""

import math

import numpy as np
import pytest
from msgspec.structs import replace

from leastcut.polish import grid, heat
from leastcut.polish.contact import ContactError, Pose, contact_pressure
from leastcut.polish.grid import GridError, checked_grid
from leastcut.polish.records import PadSettings, RemovalSet
from leastcut.polish.removal import PolishError, _check, removal_map
from leastcut.polish.spin import SpinError, calibrated_bearing

WORK = RemovalSet(
    pad_diameter_mm=130.0,
    orbit_mm=15.0,
    orbits_per_min=4800.0,
    spin_rpm=300.0,
    force_n=45.0,
    arm_speed_mm_s=40.0,
    stroke_spacing_mm=40.0,
    sets=2,
    width_mm=400.0,
    height_mm=300.0,
    preston_um_per_kpa_m=2e-3,
)


def shortly_beside(value: float, towards: float) -> float:
    return (
        value + math.copysign(1, towards)
        if isinstance(value, int)
        else math.nextafter(value, towards)
    )


@pytest.mark.parametrize(
    ("name", "low", "high"),
    [
        ("orbit_mm", 0.0, 130.0),  # never beyond the pad
        ("orbits_per_min", 0.0, 1e5),
        ("spin_rpm", -1e5, 1e5),
        ("force_n", 0.0, 2000.0),
        ("arm_speed_mm_s", 0.1, 5000.0),
        ("stroke_spacing_mm", 0.5, 1000.0),
        ("sets", 1, 1000),
        ("width_mm", 1.0, 1e5),
        ("height_mm", 1.0, 1e5),
        ("preston_um_per_kpa_m", 0.0, 1e3),
        ("grid_mm", 0.05, 100.0),
    ],
)
def test_the_limit_itself_is_taken_and_the_next_number_refused(
    name: str, low: float, high: float
) -> None:
    _check(replace(WORK, **{name: low}))
    _check(replace(WORK, **{name: high}))
    for value in (shortly_beside(low, -math.inf), shortly_beside(high, math.inf)):
        with pytest.raises(PolishError) as caught:
            _check(replace(WORK, **{name: value}))
        assert caught.value.where == name
        assert caught.value.what == f"{name} is {value:g}"
        assert caught.value.do == f"Give a number from {low:g} to {high:g}"


def test_a_pad_has_a_face_and_a_throw_of_20_cm_at_most() -> None:
    still = replace(WORK, orbit_mm=0.0)
    _check(replace(still, pad_diameter_mm=1.0))
    _check(replace(still, pad_diameter_mm=1000.0))
    with pytest.raises(PolishError, match=r"^pad_diameter_mm: pad_diameter_mm is 1000.1"):
        _check(replace(still, pad_diameter_mm=1000.1))
    with pytest.raises(PolishError, match=r"^pad_diameter_mm: .*Give a number from 1 to 1000$"):
        _check(replace(still, pad_diameter_mm=0.99))
    wide = replace(WORK, pad_diameter_mm=300.0)
    _check(replace(wide, orbit_mm=200.0))
    with pytest.raises(PolishError, match=r"^orbit_mm: orbit_mm is 200.1. .* from 0 to 200$"):
        _check(replace(wide, orbit_mm=200.1))


@pytest.mark.parametrize(
    ("settings", "pose", "stiffness", "name", "value"),
    [
        (PadSettings(), Pose(radius_x_mm=0.0), 0.5, "radius_x_mm", "0"),
        (PadSettings(), Pose(radius_y_mm=-2.5), 0.5, "radius_y_mm", "-2.5"),
        (PadSettings(), Pose(), 0.0, "stiffness_kpa_per_mm", "0"),
        (PadSettings(force_n=-1.0), Pose(), 0.5, "force_n", "-1"),
        (PadSettings(force_n=math.nan), Pose(), 0.5, "force_n", "nan"),
    ],
)
def test_a_contact_that_cannot_be_is_named(
    settings: PadSettings, pose: Pose, stiffness: float, name: str, value: str
) -> None:
    with pytest.raises(ContactError) as caught:
        contact_pressure(settings, pose, stiffness_kpa_per_mm=stiffness)
    assert str(caught.value) == f"{name}: {name} is {value}. Give a number above 0"


@pytest.mark.parametrize("rpm", [0.0, -3.0, 4800.0, 5000.0])
def test_a_spin_that_cannot_be_is_named(rpm: float) -> None:
    with pytest.raises(SpinError) as caught:
        calibrated_bearing(PadSettings(), observed_rpm=rpm)
    assert str(caught.value) == (
        f"observed_rpm: a spin of {rpm:g} a minute. Give a number between 0 and the orbit rate, 4800"
    )


def test_a_grid_of_as_many_cells_as_are_allowed(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(grid, "MAX_CELLS", 700)
    # (50 + 2 x 10) x (30 + 2 x 20 - 20) = 70 x 50 mm: at 2.236 mm 700 cells and a few, at 2.24 fewer
    bounds = (5.0, 5.0, 55.0, 35.0)
    assert checked_grid(bounds, math.sqrt(5.0) * (1 + 1e-12), 10.0).cell_mm > 2.0
    with pytest.raises(GridError) as caught:
        checked_grid(bounds, 2.23, 10.0)
    assert str(caught.value) == (
        "input: 50 × 30 mm at 2.23 mm is more than 700 cells. "
        "Choose a coarser grid_mm or a smaller area"
    )
    with pytest.raises(GridError):
        checked_grid((0.0, 0.0, math.nan, 1.0), 1.0, 0.0)


def test_no_stroke_no_map() -> None:
    with pytest.raises(PolishError) as caught:
        removal_map([], PadSettings(), preston_um_per_kpa_m=1, arm_speed_mm_s=40)
    assert str(caught.value) == "input: no stroke to walk. Give at least one stroke"


@pytest.mark.parametrize(
    ("celsius", "verdict"),
    [(44.99, "fine"), (45.0, "warm"), (59.99, "warm"), (60.0, "stop"), (200.0, "stop")],
)
def test_limits_of_the_surface(celsius: float, verdict: str) -> None:
    assert heat.judge_c(celsius) == verdict


def test_a_ramp_of_nothing_is_full_speed_at_once() -> None:
    ways = np.array([0.0, 30.0, 90.0, 120.0])
    assert grid.time_to_s(ways, 90.0, 30.0, 0.0).tolist() == [0.0, 1.0, 3.0, 3.0]
    assert grid.time_to_s(ways, 90.0, 30.0, -1.0).tolist() == [0.0, 1.0, 3.0, 3.0]
