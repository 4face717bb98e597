"""Pictures: the record holds the figures, the drawing is well-formed and keeps its frame."""

from xml.etree import ElementTree as ET

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from leastcut.safety import charts, svg
from leastcut.safety.records import Solvent, ToolUse
from leastcut.safety.solvents import solvent
from leastcut.safety.vapour import room
from leastcut.safety.vibration import exposure

SVG = "{http://www.w3.org/2000/svg}"


def elements(text: str) -> ET.Element:
    root = ET.fromstring(text)
    assert root.find(f"{SVG}title") is not None
    assert root.find(f"{SVG}desc") is not None
    return root


def words(root: ET.Element) -> str:
    return " ".join(t.text or "" for t in root.iter(f"{SVG}text"))


@settings(max_examples=30, deadline=None)
@given(st.floats(0.5, 25.0), st.floats(0.0, 480.0))
def test_gauge_shows_points_within_its_scale(magnitude: float, minutes: float) -> None:
    day = exposure([ToolUse(magnitude_m_s2=magnitude, minutes=minutes)])
    gauge = charts.points_gauge(day)
    assert gauge.points == day.points
    assert day.points_high < gauge.scale_end
    root = elements(charts.draw_points(gauge))
    bars = [float(r.get("x", "0")) + float(r.get("width", "0")) for r in root.iter(f"{SVG}rect")]
    assert max(bars[1:]) <= 620.0
    assert f"{day.points:.0f} points" in words(root)
    assert "400 limit" in words(root)


@settings(max_examples=30, deadline=None)
@given(st.floats(1.0, 900.0), st.floats(0.0, 12.0), st.floats(2.0, 300.0))
def test_curve_peaks_at_the_end_of_the_release(ml: float, changes: float, minutes: float) -> None:
    given_ = {"room_m3": 60.0, "air_changes_per_h": changes, "minutes": minutes}
    curve = charts.vapour_curve(ml, solvent("isopropanol"), **given_)
    found = room(ml, solvent("isopropanol"), **given_)
    assert max(curve.ppm) == pytest.approx(found.peak_ppm)
    assert curve.minutes[curve.ppm.index(max(curve.ppm))] >= minutes * (1.0 - 1e-9)
    assert list(curve.minutes) == sorted(curve.minutes)
    assert curve.minutes[-1] >= minutes
    assert curve.words.startswith(f"peak {found.peak_ppm:.0f} ppm")


def test_curve_names_the_limits_within_reach() -> None:
    near = charts.vapour_curve(
        100.0, solvent("isopropanol"), room_m3=60.0, air_changes_per_h=2.0, minutes=30.0
    )
    text = words(elements(charts.draw_vapour(near)))
    assert "8 h limit: 400 ppm" in text
    assert "explosive limit:" not in text
    fire = charts.vapour_curve(
        5000.0, solvent("isopropanol"), room_m3=60.0, air_changes_per_h=2.0, minutes=30.0
    )
    assert "a quarter of the lower explosive limit: 5000 ppm" in words(
        elements(charts.draw_vapour(fire))
    )


def test_sheet_without_limits_still_has_the_fire_line() -> None:
    own = Solvent(
        id="x",
        name="<own> & mix",
        molar_mass_g_mol=60.0,
        density_g_ml=0.8,
        lel_percent=1.0,
        limit_ppm=None,
    )
    curve = charts.vapour_curve(50.0, own, room_m3=60.0, air_changes_per_h=0.0, minutes=30.0)
    assert [name for name, _ in curve.limits] == ["a quarter of the lower explosive limit"]
    assert "<own> & mix in the air" in words(elements(charts.draw_vapour(curve)))


@given(st.floats(1e-3, 1e5))
def test_ticks_are_round_and_few(top: float) -> None:
    ticks = charts._ticks(top)
    assert 3 <= len(ticks) <= 7
    assert ticks[-1] <= top * (1.0 + 1e-9)


def test_frame_maps_corners_to_corners() -> None:
    frame = svg.Frame(left=10, right=110, top=20, bottom=70, x_low=0, x_high=5, y_low=-1, y_high=1)
    assert (frame.x(0), frame.x(5), frame.y(-1), frame.y(1)) == (10, 110, 70, 20)
    assert svg.box(0, 0, -5.0, 3.0, fill="none").count('width="0"') == 1
