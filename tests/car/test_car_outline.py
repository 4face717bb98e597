"""Outlines as people give them: checked, measured, worked inside."""

import math

import car_shapes
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from shapely import Polygon

from leastcut.car.outline import OutlineError, checked, painted_area_m2, workable
from leastcut.car.records import KeepOut, Panel

SQUARE = ((0, 0), (600, 0), (600, 800), (0, 800))
ANY_NUMBER = st.one_of(
    st.floats(allow_nan=True, allow_infinity=True),
    st.integers(),
    st.floats(-2000, 2000),
    st.integers(-20, 20),
)
ANYTHING = st.one_of(ANY_NUMBER, st.none(), st.text(max_size=3), st.booleans())


def test_a_clockwise_outline_is_turned_and_repeats_are_dropped() -> None:
    found = checked([(0, 0), (0, 800), (0, 800.0001), (600, 800), (600, 0), (0, 0)])
    assert car_shapes.shoelace(found) == pytest.approx(480_000)
    assert len(found) == 4
    assert checked(SQUARE) == tuple((float(x), float(y)) for x, y in SQUARE)


@pytest.mark.parametrize(
    ("points", "words"),
    [
        ([], "0 different points"),
        ([(0, 0), (1, 1)], "2 different points"),
        ([(5, 5)] * 8, "1 different points"),
        ([(0, 0), (500, 0), (500, 500), (math.nan, 0)], r"point 4 is \(nan, 0\)"),
        ([(0, 0), (500, 0), (math.inf, 500)], "point 3 is"),
        ([(0, 0), (500, 0), "ab"], "point 3 is 'ab'"),
        ([(0, 0), (500, 0), (True, 500)], "point 3 is"),
        ([(0, 0), (500, 0), (1, 2, 3)], "point 3 is"),
        ([(0, 0), (500, 0), ("x" * 90, 1)], "…"),
        ([(0, 0), (500, 0), (10**400, 1)], "point 3 is"),
        ([(0, 0), (500, 0), 7], "point 3 is 7"),
        ([(0, 0), (50_000, 0), (50_000, 900)], "5e\\+04 mm wide"),
        ([(0, 0), (0, 50_000), (-900, 50_000)], "mm high"),
        ([(2e6, 0), (2e6 + 900, 0), (2e6, 900)], "reaches 2e\\+06|reaches 2.001e\\+06"),
        ([(0, 0), (1, 0), (1, 1)], "encloses 0.5 mm²"),
        ([(0, 0), (900, 0), (450, 0.1)], "encloses 45 mm²"),
        (7, "not a list of points"),
        ([(i, i % 2) for i in range(20_001)], "20001 points"),
    ],
)
def test_what_is_no_outline_says_why(points: object, words: str) -> None:
    with pytest.raises(OutlineError, match=words) as caught:
        checked(points, where="door.json")  # type: ignore[arg-type]
    assert caught.value.where == "door.json"
    assert caught.value.do


@pytest.mark.parametrize(
    ("points", "edges"),
    [
        ([(0, 0), (600, 800), (600, 0), (0, 800)], (1, 3)),  # a bow tie
        ([(0, 0), (600, 0), (600, 800), (300, -100), (0, 800)], (1, 3)),  # dips below
        ([(0, 0), (600, 0), (300, 0), (300, 800)], (1, 2)),  # doubles back
        ([(0, 0), (600, 0), (600, 800), (300, 0), (0, 800)], (1, 3)),  # touches
    ],
)
def test_a_crossing_names_its_edges(
    points: list[tuple[float, float]], edges: tuple[int, int]
) -> None:
    words = f"from point {edges[0]} meets the one from {edges[1]}"
    with pytest.raises(OutlineError, match=words):
        checked(points)


@settings(max_examples=300, deadline=None)
@given(st.lists(st.one_of(st.tuples(ANY_NUMBER, ANY_NUMBER), ANYTHING), max_size=9))
def test_any_list_gives_a_sound_polygon_or_an_outline_error(points: list[object]) -> None:
    try:
        found = checked(points)
    except OutlineError:
        return
    shape = Polygon(found)
    assert shape.is_valid
    assert car_shapes.shoelace(found) > 0
    assert set(found) <= {tuple(map(float, p)) for p in points}  # type: ignore[arg-type]


@settings(max_examples=50, deadline=None)
@given(st.lists(st.floats(200, 900), min_size=5, max_size=40), st.integers(0, 39), st.booleans())
def test_a_star_outline_is_the_same_from_any_start_and_either_way(
    radii: list[float],
    start: int,
    backwards: bool,  # noqa: FBT001 - drawn
) -> None:
    n = len(radii)
    star = [
        (r * math.cos(2 * math.pi * i / n), r * math.sin(2 * math.pi * i / n))
        for i, r in enumerate(radii)
    ]
    turned = star[start % n :] + star[: start % n]
    found = checked(turned[::-1] if backwards else turned)
    area = 0.5 * math.sin(2 * math.pi / n) * sum(radii[i - 1] * radii[i] for i in range(n))
    assert car_shapes.shoelace(found) == pytest.approx(area, rel=1e-9)


def panel_with(*keep_outs: tuple[tuple[float, float], ...]) -> Panel:
    return Panel(
        id="lid",
        name="Lid",
        side="centre",
        facing="top",
        outline_mm=tuple((float(x), float(y)) for x, y in SQUARE),
        keep_outs=tuple(KeepOut(name="badge", outline_mm=p) for p in keep_outs),
    )


HOLE = ((200.0, 300.0), (400.0, 300.0), (400.0, 500.0), (200.0, 500.0))


def test_painted_area_leaves_keep_outs_out_once() -> None:
    assert painted_area_m2(panel_with()) == pytest.approx(0.48)
    assert painted_area_m2(panel_with(HOLE, HOLE)) == pytest.approx(0.44)


def test_workable_stays_a_margin_from_rim_and_keep_out() -> None:
    (area,) = workable(panel_with(HOLE), edge_margin_mm=50)
    assert car_shapes.shoelace(area.outline_mm) == pytest.approx(500 * 700)
    assert [car_shapes.shoelace(h) for h in area.holes_mm] == pytest.approx([300 * 300])


def test_workable_falls_apart_and_vanishes() -> None:
    belt = ((250.0, 350.0), (350.0, 350.0), (350.0, 450.0), (250.0, 450.0))
    parts = workable(
        panel_with(((0.0, 300.0), (600.0, 300.0), (600.0, 400.0), (0.0, 400.0))), edge_margin_mm=10
    )
    assert [round(car_shapes.shoelace(p.outline_mm)) for p in parts] == [580 * 380, 580 * 280]
    assert workable(panel_with(belt), edge_margin_mm=350) == ()
