"""The window of the moment: dew point, margin, humidity, the product's own limits."""

import math

import pytest
from hypothesis import given
from hypothesis import strategies as st

from leastcut.errors import InputError
from leastcut.protect import window
from leastcut.protect.records import Limits

airs = st.floats(-10.0, 45.0)
humidities = st.floats(5.0, 100.0)


@given(airs, humidities, st.floats(0.1, 20.0))
def test_more_humid_air_has_a_higher_dew_point(air: float, rh: float, more: float) -> None:
    wetter = min(100.0, rh + more)
    assert window.dew_point_c(air, wetter) >= window.dew_point_c(air, rh)
    assert window.dew_point_c(air, wetter) <= air + 1e-9


@given(airs)
def test_saturated_air_is_at_its_dew_point(air: float) -> None:
    assert window.dew_point_c(air, 100.0) == pytest.approx(air, abs=1e-9)


@given(airs, humidities)
def test_dew_point_is_where_the_pressures_meet(air: float, rh: float) -> None:
    dew = window.dew_point_c(air, rh)
    if dew >= -40.0:
        held = rh / 100.0 * window.saturation_pa(air)
        assert window.saturation_pa(dew) == pytest.approx(held, rel=1e-9)
        assert window.surface_rh_percent(air, rh, max(dew, -40.0)) == pytest.approx(100.0)


@given(airs, humidities, st.floats(-10.0, 50.0))
def test_margin_is_surface_less_dew_point(air: float, rh: float, surface: float) -> None:
    found = window.window(air, rh, surface)
    assert found.margin_c == pytest.approx(surface - found.dew_point_c)
    if found.ok:
        assert found.margin_c >= 3.0 - 1e-9
        assert rh < 85.0


@pytest.mark.parametrize(
    ("air", "edge"), [(10, 81.6), (15, 82.2), (20, 82.9), (25, 83.5), (30, 84.0)]
)
def test_margin_binds_before_humidity(air: float, edge: float) -> None:
    # source: 3 °C margin with the surface at air temperature; status: recomputed elsewhere
    assert window.window(air, edge - 0.1, air).ok
    assert not window.window(air, edge + 0.1, air).ok


def test_warm_surface_still_needs_dry_air() -> None:
    warm = window.window(20.0, 86.0, 30.0)
    assert not warm.ok
    assert warm.why == "86 % humidity, below 85 % needed"


def test_wet_surface_is_named_as_below_the_dew_point() -> None:
    assert "1.3 °C below the dew point" in window.window(20.0, 50.0, 8.0).why


def test_products_own_limits_are_kept_and_named() -> None:
    sheet = Limits(rh_percent_min=30.0, rh_percent_max=70.0, air_c_min=15.0, surface_c_max=28.0)
    assert window.window(20.0, 50.0, 22.0, limits=sheet).ok
    dry = window.window(20.0, 20.0, 22.0, limits=sheet)
    assert dry.why == "20 % humidity, at least 30 % needed"
    cold = window.window(12.0, 50.0, 30.0, limits=sheet)
    assert "the air is at 12 °C, 15 to 35 °C allowed" in cold.why
    assert "the surface is at 30 °C, 5 to 28 °C allowed" in cold.why
    wider = Limits(margin_c=5.0)
    assert window.window(20.0, 76.0, 20.0).ok
    assert not window.window(20.0, 76.0, 20.0, limits=wider).ok


@pytest.mark.parametrize(
    ("air", "rh", "surface", "what"),
    [
        (20.0, 140.0, 20.0, "140 %"),
        (20.0, -1.0, 20.0, "-1 %"),
        (20.0, 50.0, 400.0, "catch fire"),
        (90.0, 50.0, 20.0, "90 °C"),
        (math.nan, 50.0, 20.0, "nan"),
        (20.0, 50.0, math.inf, "inf"),
    ],
)
def test_impossible_weather_is_refused(air: float, rh: float, surface: float, what: str) -> None:
    with pytest.raises(InputError, match=what):
        window.window(air, rh, surface)


@pytest.mark.parametrize(
    "limits",
    [
        Limits(air_c_min=30.0, air_c_max=20.0),
        Limits(surface_c_min=30.0, surface_c_max=20.0),
        Limits(rh_percent_min=90.0),
    ],
)
def test_limits_that_cannot_hold_are_refused(limits: Limits) -> None:
    with pytest.raises(window.WindowError, match="is above the greatest"):
        window.window(20.0, 50.0, 20.0, limits=limits)
