"""Sections over many outlines: coverage, limits, slivers, counts, determinism."""

import math

import msgspec
import pytest
import shapely
from hypothesis import given, settings
from hypothesis import strategies as st
from sections_outlines import box, faults, panel, shape_of, shared_out, sides, sweep

from leastcut.car.bodies import build
from leastcut.car.records import Panel
from leastcut.plan.geometry import workable_area
from leastcut.plan.joins import joined
from leastcut.plan.limits import Limits
from leastcut.plan.records import Layout
from leastcut.plan.sections import curvature_share, lay_out

LIMITS = Limits(610.0, 50.0)
CAR = {"length_mm": 4700, "width_mm": 1830, "height_mm": 1450, "wheelbase_mm": 2800}


@pytest.fixture(scope="module")
def layouts() -> list[tuple[str, Panel, Layout]]:
    return [(name, one, lay_out(one)) for name, one in sweep(304)]


@pytest.fixture(scope="module")
def body_layouts() -> list[tuple[str, Panel, Layout]]:
    panels = build("three-box", **CAR) + build("van", **CAR | {"height_mm": 1950})
    return [(one.id, one, lay_out(one)) for one in panels]


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
    slivers = 0
    for _, one, made in layouts:
        area, mean = workable_area(one), shape_of(one).area / len(made.sections)
        cells = [shapely.Polygon(s.cell_mm) for s in made.sections]
        for cell in (c for c in cells if c.area < 0.35 * mean):
            slivers += 1
            unions = [joined(cell, other) for other in cells if other is not cell]
            assert all(max(sides(LIMITS.worked(union, area))) > 609.9 for union in unions if union)
            assert not any(
                shared_out(union, lambda half, area=area: LIMITS.worked(half, area), 0.35 * mean)
                for union in unions
                if union
            )
    assert slivers <= 0.02 * len(layouts)


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


def test_strong_curvature_makes_sections_smaller() -> None:
    flat, bent = (
        lay_out(panel(box(1100, 550), curvature_radius_mm=radius)) for radius in (4000.0, 200.0)
    )
    assert max(s.width_mm for s in bent.sections) <= 0.86 * 610
    assert len(bent.sections) > len(flat.sections)
    assert curvature_share(450.0) == pytest.approx(math.sqrt(0.9))


def test_body_layouts_look_like_panels(body_layouts: list[tuple[str, Panel, Layout]]) -> None:
    counts = {name: len(made.sections) for name, _, made in body_layouts}
    assert counts["door-front-left"] == counts["door-front-right"]
    roof = next(made for name, _, made in body_layouts if name == "roof")
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
