"""Sections over many outlines: coverage, limits, slivers, counts, determinism."""

import math

import msgspec
import pytest
import shapely
from hypothesis import given, settings
from hypothesis import strategies as st
from sections_outlines import SIZES, box, faults, panel, shape_of, sweep, unforced

from leastcut.car.bodies import build
from leastcut.car.records import Panel
from leastcut.plan.edit import split
from leastcut.plan.geometry import workable_area
from leastcut.plan.limits import Limits
from leastcut.plan.records import Layout, LayoutOptions
from leastcut.plan.sections import curvature_share, lay_out, limits_for

LIMITS = Limits(610.0, 50.0)


@pytest.fixture(scope="module")
def layouts() -> list[tuple[str, Panel, Layout]]:
    return [(name, one, lay_out(one)) for name, one in sweep(304)]


@pytest.fixture(scope="module")
def body_layouts() -> list[tuple[str, Panel, Layout]]:
    names = ("length_mm", "width_mm", "height_mm", "wheelbase_mm")
    panels = [
        (f"{body}-{one.id}", one)
        for body, size in SIZES.items()
        for one in build(body, **dict(zip(names, size, strict=True)))  # type: ignore[arg-type]
        if one.side != "right" or one.id.startswith("door")  # the other side is its mirror image
    ]
    return [(name, one, lay_out(one)) for name, one in panels]


def sliver(made: Layout) -> bool:
    """Return whether a section has less than 35 % of the mean area."""
    areas = [section.area_mm2 for section in made.sections]
    return min(areas) < 0.35 * sum(areas) / len(areas)


def test_every_outline_is_covered_within_the_limit(
    layouts: list[tuple[str, Panel, Layout]],
) -> None:
    wrong = {name: found for name, one, made in layouts if (found := faults(one, made))}
    assert wrong == {}


def test_every_body_panel_is_covered_within_the_limit(
    body_layouts: list[tuple[str, Panel, Layout]],
) -> None:
    wrong = {name: found for name, one, made in body_layouts if (found := faults(one, made))}
    assert wrong == {}


def test_slivers_only_where_forced(layouts: list[tuple[str, Panel, Layout]]) -> None:
    wrong = {name: found for name, one, made in layouts if (found := unforced(one, made, LIMITS))}
    assert wrong == {}
    assert sum(sliver(made) for _, _, made in layouts) <= 0.01 * len(layouts)


def test_slivers_of_bodies_only_where_forced(
    body_layouts: list[tuple[str, Panel, Layout]],
) -> None:
    for name, one, made in body_layouts:
        limits = limits_for(one, LayoutOptions(), workable_area(one))
        assert unforced(one, made, limits) == [], name
        assert not sliver(made) or one.id == "bumper-front"


def test_the_check_of_slivers_finds_what_could_be_shared() -> None:
    """A strip of 60 mm beside a section that has room to give: any line between them will do."""
    one = panel(box(900, 400))
    made = split(one, lay_out(one), "1", ((60.0, 0.0), (60.0, 400.0)), LayoutOptions())
    assert any("can share" in found or "fits" in found for found in unforced(one, made, LIMITS))


def test_no_more_sections_than_a_plain_grid(layouts: list[tuple[str, Panel, Layout]]) -> None:
    """A plain grid over the bounding box is what anyone would draw first."""
    fewer = 0
    for _, one, made in layouts:
        area = shape_of(one)
        x0, y0, x1, y1 = area.bounds
        columns, rows = (max(1, math.ceil((v - 50) / 560 - 1e-9)) for v in (x1 - x0, y1 - y0))
        w, h = (x1 - x0) / columns, (y1 - y0) / rows
        cells = [box(w, h, x0 + i * w, y0 + j * h) for i in range(columns) for j in range(rows)]
        plain = sum(shapely.Polygon(cell).intersection(area).area > 1 for cell in cells)
        assert len(made.sections) >= made.lower_bound
        fewer += plain - len(made.sections)
        assert len(made.sections) <= plain + 1
    assert fewer > 0


@pytest.mark.parametrize(
    ("width", "height", "count"),
    [(600, 600, 1), (610, 610, 1), (611, 400, 2), (1170, 600, 2), (1171, 600, 3), (1170, 1170, 4)],
)
def test_rectangles_need_what_arithmetic_says(width: float, height: float, count: int) -> None:
    made = lay_out(panel(box(width, height)))
    assert len(made.sections) == count
    areas = [s.area_mm2 for s in made.sections]
    assert max(areas) <= 1.02 * min(areas)
    assert made.order == tuple(str(i + 1) for i in range(count))


def test_same_panel_same_layout(layouts: list[tuple[str, Panel, Layout]]) -> None:
    for _, one, made in layouts[::12]:
        assert msgspec.json.encode(lay_out(one)) == msgspec.json.encode(made)


@given(st.floats(-900, 900), st.floats(-900, 900))
@settings(max_examples=8, deadline=None)
def test_moving_a_panel_moves_its_sections(dx: float, dy: float) -> None:
    outline = [(0, 0), (1100, 0), (1150, 400), (1000, 700), (100, 720)]
    made, moved = (
        lay_out(panel([(x + u, y + v) for x, y in outline])) for u, v in ((0.0, 0.0), (dx, dy))
    )
    assert len(made.sections) == len(moved.sections)
    for a, b in zip(made.sections, moved.sections, strict=True):
        assert a.area_mm2 == pytest.approx(b.area_mm2, rel=0.03)


def test_a_body_line_becomes_a_seam_where_it_costs_nothing() -> None:
    line = ((0.0, 380.0), (1100.0, 420.0))
    made = lay_out(panel(box(1100, 760), body_lines_mm=(line,)))
    assert len(made.sections) == 4
    crease = shapely.LineString(line)
    for section in made.sections:
        inside = shapely.intersection(shapely.Polygon(section.cell_mm).buffer(-1), crease)
        assert inside.length < 1e-6


def test_a_body_line_that_would_cost_a_section_is_not_a_seam() -> None:
    made = lay_out(panel(box(600, 600), body_lines_mm=(((0.0, 300.0), (600.0, 300.0)),)))
    assert len(made.sections) == 1


@pytest.mark.parametrize("height", [1000, 1130, 1150, 1169, 1180])
def test_a_seam_along_a_body_line_counts_with_its_overlap(height: float) -> None:
    """Half of 1180 mm fits a section up to the line, but not with the overlap across it."""
    line = ((0.0, height / 2), (560.0, height / 2))
    one = panel(box(560, height), body_lines_mm=(line,))
    made = lay_out(one)
    assert faults(one, made) == []
    assert len(made.sections) == (2 if height <= 1170 else 3)


def test_strong_curvature_all_over_makes_sections_smaller() -> None:
    flat, bent = (
        lay_out(panel(box(1100, 550), curvature_radius_mm=radius)) for radius in (4000.0, 355.0)
    )
    assert max(s.width_mm for s in bent.sections) <= 0.86 * 610
    assert len(bent.sections) > len(flat.sections)
    assert curvature_share(450.0) == pytest.approx(math.sqrt(0.9))


def test_a_panel_longer_than_half_its_circle_bends_in_places_only() -> None:
    """Half a circle of 340 mm is 1068 mm long: the rest of 1100 mm must be flatter."""
    flat, bent = (
        lay_out(panel(box(1100, 550), curvature_radius_mm=radius)) for radius in (4000.0, 340.0)
    )
    assert [s.cell_mm for s in bent.sections] == [s.cell_mm for s in flat.sections]
    assert all("bends with a radius of 340 mm" in s.note for s in bent.sections)
    assert not any(s.note for s in flat.sections)


def test_body_layouts_look_like_panels(body_layouts: list[tuple[str, Panel, Layout]]) -> None:
    counts = {name: len(made.sections) for name, _, made in body_layouts}
    assert counts["van-door-front-left"] == counts["van-door-front-right"]
    roof = next(made for name, _, made in body_layouts if name == "three-box-roof")
    assert all(not s.note and len(s.strokes_mm) > 10 for s in roof.sections)


def test_order_of_work_goes_down_a_side_and_inwards_out_on_top() -> None:
    side = lay_out(panel(box(1100, 1100)))
    heights = [shapely.Polygon(s.cell_mm).centroid.y for s in side.sections]
    assert heights == sorted(heights, reverse=True)
    top = lay_out(panel(box(2000, 550), facing="top"))
    places = [shapely.Polygon(s.cell_mm).centroid.x for s in top.sections]
    left = [x for x in places if x <= 1000]
    assert places[: len(left)] == sorted(left, reverse=True)
    assert places[len(left) :] == sorted(places[len(left) :])
