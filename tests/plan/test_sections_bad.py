"""Outlines that cannot be worked: a clear error, or an honest empty plan."""

import math

import msgspec
import numpy as np
import pytest
import shapely
from sections_outlines import box, faults, panel, shape_of

from leastcut.plan.edges import area_below
from leastcut.plan.geometry import OutlineError, one_ring, rotated, smallest_rectangle
from leastcut.plan.sections import LayoutError, lay_out

BOW = [(0, 0), (500, 500), (500, 0), (0, 500)]


@pytest.mark.parametrize(
    ("outline", "says"),
    [
        (BOW, "crosses"),
        ([(0, 0), (500, 0)], "enclose nothing"),
        ([], "enclose nothing"),
        ([(0, 0), (500, 0), (1000, 0)], "area"),
        ([(0, 0), (1, 0), (1, 1)], "area"),
        ([(0, 0), (500, 0), (float("nan"), 500)], "not a number"),
        ([(0, 0), (500, 0), (float("inf"), 500)], "not a number"),
        ([(0, 0), (5e7, 0), (0, 5e7)], "kilometre"),
        ([(0, 0), (5e4, 0), (0, 500)], "spans"),
        ([(0, 0), (600, 0), (600, 600), (0, 600), (0, 0), (600, 0)], "crosses"),
    ],
)
def test_unsound_outlines_are_named(outline: list[tuple[float, float]], says: str) -> None:
    with pytest.raises(OutlineError, match=says) as caught:
        lay_out(panel(outline))
    assert caught.value.do
    assert "outline of p" in caught.value.where


def test_ten_million_points_are_refused_at_once() -> None:
    class Many(tuple):  # as long as ten million points, without their memory
        __slots__ = ()

        def __len__(self) -> int:
            return 10_000_000

    one = msgspec.structs.replace(panel(box(600, 600)), outline_mm=Many(box(600, 600)))
    with pytest.raises(OutlineError, match="10000000 points"):
        lay_out(one)


def test_twenty_thousand_points_are_fine() -> None:
    turn = np.linspace(0, 2 * math.pi, 20_000, endpoint=False)
    made = lay_out(panel(np.column_stack([500 * np.cos(turn), 400 * np.sin(turn)]).tolist()))
    assert len(made.sections) == 4


@pytest.mark.parametrize("hole", [BOW, [(10, 10), (20, 20)], box(50, 50, 5000, 0)])
def test_unsound_keep_outs_are_named(hole: list[tuple[float, float]]) -> None:
    with pytest.raises(OutlineError) as caught:
        lay_out(panel(box(600, 600), [hole]))
    assert "keep-out 1" in caught.value.where


def test_points_that_are_no_pairs_are_named() -> None:
    one = panel(box(600, 600))
    for points in (((0.0, 0.0, 1.0), (6.0, 0.0, 1.0), (0.0, 6.0, 1.0)), (0.0, 1.0, 2.0)):
        with pytest.raises(OutlineError, match="pairs"):
            lay_out(msgspec.structs.replace(one, outline_mm=points))
    with pytest.raises(OutlineError, match="enclose nothing"):
        lay_out(msgspec.structs.replace(one, outline_mm=((0.0, 0.0), (600.0,), (0.0, 600.0))))


def test_a_keep_out_over_everything_gives_an_empty_plan() -> None:
    made = lay_out(panel(box(600, 600), [box(800, 800, -100, -100)]))
    assert made.sections == ()
    assert made.order == ()
    assert made.covered_fraction == 0.0
    assert made.lower_bound == 0


def test_a_keep_out_across_the_edge_is_taken_out() -> None:
    one = panel(box(900, 500), [box(200, 300, 800, 100)])
    assert faults(one, lay_out(one)) == []


def test_clockwise_and_closed_outlines_are_the_same_panel() -> None:
    plain = lay_out(panel(box(900, 500)))
    points = [*box(900, 500), (0, 0)]
    assert len(lay_out(panel(points)).sections) == len(plain.sections)
    assert len(lay_out(panel(points[::-1])).sections) == len(plain.sections)


def test_a_keep_out_inside_a_section_is_slit_open() -> None:
    one = panel(box(560, 560), [box(60, 40, 200, 200), box(60, 40, 300, 300)])
    made = lay_out(one)
    cell = shapely.Polygon(made.sections[0].cell_mm)
    assert len(made.sections) == 1
    assert cell.is_valid
    assert cell.area == pytest.approx(shape_of(one).area, rel=1e-5)
    assert made.covered_fraction == pytest.approx(1.0, abs=1e-5)


@pytest.mark.parametrize(
    "wrong",
    [
        {"max_side_mm": 10.0},
        {"max_side_mm": float("nan")},
        {"overlap_mm": -1.0},
        {"overlap_mm": 400.0},
        {"stroke_spacing_mm": 0.0},
        {"pad_diameter_mm": 0.0},
        {"edge_margin_mm": -100.0},
    ],
)
def test_limits_that_contradict_are_named(wrong: dict[str, float]) -> None:
    with pytest.raises(LayoutError, match=next(iter(wrong))):
        lay_out(panel(box(900, 500)), **wrong)


def test_smallest_rectangle_against_the_library() -> None:
    rng = np.random.default_rng(3)
    for _ in range(50):
        cloud = shapely.MultiPoint(rng.normal(0, 200, (12, 2)) * [3, 1])
        ours = smallest_rectangle(rotated(cloud, 0.3))
        library = shapely.minimum_rotated_rectangle(cloud)
        assert ours[0] * ours[1] == pytest.approx(library.area, rel=1e-9)


def test_area_below_against_cutting() -> None:
    shape = shapely.Polygon(box(900, 500), [box(100, 200, 300, 100)])
    turned = rotated(shape, 0.7)
    x0, y0, x1, y1 = turned.bounds
    places = np.linspace(x0 - 5, x1 + 5, 23)
    cut = [shapely.intersection(turned, shapely.box(x0 - 9, y0, x, y1)).area for x in places]
    assert area_below(turned, (1.0, 0.0), places) == pytest.approx(cut, abs=1e-6)


def test_one_ring_of_a_ring() -> None:
    points = one_ring(shapely.Polygon(box(100, 100), [box(20, 20, 40, 40)]))
    assert shapely.Polygon(points).area == pytest.approx(100**2 - 20**2, rel=1e-5)
