"""The small curve tools that outlines are drawn with."""

import math

import car_shapes
import pytest

from leastcut.car._curves import (
    Corner,
    along,
    arc,
    clip_area,
    clip_line,
    disc,
    height_at,
    inward,
    outline,
    path,
    swept,
)

SQUARE = ((0.0, 0.0), (100.0, 0.0), (100.0, 100.0), (0.0, 100.0))


def square(r: float = 0.0, bow: float = 0.0) -> list[Corner]:
    return [Corner(x, y, r=r, bow=bow) for x, y in SQUARE]


def test_rounding_takes_what_a_parabola_takes() -> None:
    # A corner rounded from r before to r behind by a parabola loses r²/6 of area.
    area = car_shapes.shoelace(outline(square(r=30)))
    assert area == pytest.approx(100**2 - 4 * 30**2 / 6, rel=4e-3)


def test_bows_add_two_thirds_of_their_box() -> None:
    area = car_shapes.shoelace(outline(square(bow=9)))
    assert area == pytest.approx(100**2 + 4 * 2 / 3 * 9 * 100, rel=5e-3)


def test_a_corner_given_twice_does_no_harm() -> None:
    doubled = [corner for corner in square() for _ in range(2)]
    assert outline(doubled) == SQUARE


def test_an_open_path_keeps_its_ends_and_rounds_between() -> None:
    line = path([Corner(0, 0), Corner(100, 0, r=20), Corner(100, 100)])
    assert (line[0], line[-1]) == ((0.0, 0.0), (100.0, 100.0))
    assert (100.0, 0.0) not in line
    assert path([Corner(0, 0), Corner(9, 9)]) == ((0.0, 0.0), (9.0, 9.0))


def test_circles_are_round() -> None:
    assert all(math.dist(p, (5, 6)) == pytest.approx(70, abs=0.1) for p in disc(5, 6, 70))
    quarter = arc((0, 0), 10, 90, 0)
    assert quarter[0] == pytest.approx((0, 10))
    assert quarter[-1] == pytest.approx((10, 0))


def test_lines_are_sampled_read_and_shifted() -> None:
    line = along(lambda x: 2 * x, 0, 100)
    assert height_at(line, 30) == pytest.approx(60)
    assert (height_at(line, -5), height_at(line, 500)) == (0, 200)
    level = along(lambda _: 50.0, 0, 800)
    assert {y for _, y in inward(level, 20)} == {30.0}
    assert swept(10, (80.0, 90.0))[3] == pytest.approx((40, 30))


def test_clipping_gives_the_largest_piece_or_nothing() -> None:
    inside = ((10.0, 10.0), (20.0, 10.0), (20.0, 20.0))
    assert clip_area(inside, SQUARE) == inside
    wide = ((-50.0, 40.0), (300.0, 40.0), (300.0, 60.0), (-50.0, 60.0))
    assert car_shapes.shoelace(clip_area(wide, SQUARE)) == pytest.approx(2000)
    bow_tie = ((-10.0, 0.0), (110.0, 100.0), (110.0, 0.0), (-10.0, 100.0))
    assert car_shapes.shoelace(clip_area(bow_tie, SQUARE)) > 0
    assert clip_area(((200.0, 0.0), (300.0, 0.0), (300.0, 50.0)), SQUARE) == ()


def test_lines_keep_clear_of_the_rim() -> None:
    assert clip_line(((-50.0, 50.0), (150.0, 50.0)), SQUARE, inset_mm=8) == (
        (8.0, 50.0),
        (92.0, 50.0),
    )
    assert clip_line(((-50.0, 2.0), (150.0, 2.0)), SQUARE, inset_mm=8) == ()
