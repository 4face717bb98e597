"""Groups of cells cut anew by one straight line: fewer cells, and no slivers."""

import itertools
import math

import numpy as np
import pytest
import shapely
from hypothesis import given, settings
from hypothesis import strategies as st
from sections_outlines import box, sides
from shapely import affinity

from leastcut.plan.limits import Limits
from leastcut.plan.regroup import SLIVER, halved, neighbours, regroup, without_slivers

LIMITS = Limits(610.0, 50.0)


def strip(*places: float, height: float = 500.0) -> list[shapely.Polygon]:
    """Return cells side by side with seams at the given places."""
    return [shapely.Polygon(box(b - a, height, a)) for a, b in itertools.pairwise(places)]


def sound(cells: list[shapely.Polygon], area: shapely.Polygon) -> bool:
    """Return whether cells tile an area and each is within the limit with its overlap."""
    grown = [cell.buffer(25.0).intersection(area) for cell in cells]
    whole = shapely.union_all(cells).symmetric_difference(area).area
    apart = abs(sum(cell.area for cell in cells) - area.area)
    return whole < 1.0 and apart < 1.0 and all(max(sides(one)) <= 610.01 for one in grown)


def test_three_that_fit_two_become_two() -> None:
    cells = strip(0, 300, 700, 1100)
    area = shapely.union_all(cells)
    made = regroup(cells, area, LIMITS, floor=1)
    assert len(made) == 2
    assert sound(made, area)
    assert made[0].area == pytest.approx(made[1].area, rel=0.1)


def test_two_are_left_as_they_are() -> None:
    cells = strip(0, 550, 1100)
    assert regroup(cells, shapely.union_all(cells), LIMITS, floor=1) == cells


def test_three_stay_where_two_would_be_too_large() -> None:
    """By arithmetic: two sections reach 2 x 610 less 50 mm, and 1200 mm are more."""
    cells = strip(0, 400, 800, 1200)
    assert regroup(cells, shapely.union_all(cells), LIMITS, floor=1) == cells


def test_nothing_is_tried_at_the_floor() -> None:
    cells = strip(0, 300, 700, 1100)
    assert regroup(cells, shapely.union_all(cells), LIMITS, floor=3) is cells


def test_a_line_at_a_slant_is_found() -> None:
    """A parallelogram leaning by 30 degrees is parted along its own lean."""
    lean = math.tan(math.radians(30))
    cells = [
        affinity.affine_transform(cell, [1, lean, 0, 1, 0, 0])
        for cell in strip(0, 250, 500, 750, height=420.0)
    ]
    area = shapely.union_all(cells)
    made = regroup(cells, area, LIMITS, floor=1)
    assert len(made) == 2
    assert sound(made, area)


def test_a_sliver_is_shared_with_a_full_neighbour() -> None:
    cells = strip(0, 60, 640)  # the second is as large as it may be: they cannot be joined
    area = shapely.union_all(cells)
    made = without_slivers(cells, area, LIMITS)
    assert len(made) == 2
    assert sound(made, area)
    assert min(cell.area for cell in made) >= SLIVER * area.area / 2


def test_a_sliver_is_joined_where_there_is_room() -> None:
    cells = strip(0, 60, 300, 850)
    area = shapely.union_all(cells)
    made = without_slivers(cells, area, LIMITS)
    assert len(made) == 2
    assert sound(made, area)


def test_a_sliver_that_touches_nothing_stays() -> None:
    cells = [*strip(0, 500, 1000), shapely.Polygon(box(100, 100, 2000))]
    assert without_slivers(cells, shapely.MultiPolygon(cells[:2]), LIMITS) == cells


def test_a_sliver_stays_beside_a_neighbour_that_reaches_too_far() -> None:
    """A bar across the end of a post 560 mm long: no straight line leaves two of fair size."""
    post, bar = shapely.Polygon(box(560, 560)), shapely.Polygon(box(60, 30, 560, 265))
    cells = [post, bar]
    assert without_slivers(cells, shapely.union_all(cells), LIMITS)[0].area >= 0.35 * bar.area


def test_neighbours_are_those_that_touch() -> None:
    cells = [*strip(0, 10, 20, 30), shapely.Polygon(box(5, 5, 100, 100))]
    assert neighbours(cells) == [{1}, {0, 2}, {1}, set()]


def test_cells_that_meet_in_a_point_are_not_halved() -> None:
    corner = [shapely.Polygon(box(100, 100)), shapely.Polygon(box(100, 100, 100, 100))]
    apart = [shapely.Polygon(box(100, 100)), shapely.Polygon(box(100, 100, 300))]
    for group in (corner, apart):
        area = shapely.MultiPolygon(group) if group is apart else shapely.union_all(group)
        assert halved(group, area, LIMITS, least_mm2=1.0) is None


@given(
    width=st.floats(620, 1080),
    height=st.floats(100, 580),
    share=st.floats(0.05, 0.5),
    turn=st.sampled_from([0.0, 90.0]),
)
@settings(max_examples=25, deadline=None)
def test_what_is_halved_is_sound_and_fair(
    width: float, height: float, share: float, turn: float
) -> None:
    cells = strip(0, share * width, width, height=height)
    cells = [affinity.rotate(cell, turn, origin=(0, 0)) for cell in cells]
    area = shapely.union_all(cells)
    pair = halved(cells, area, LIMITS, least_mm2=0.3 * area.area)
    assert pair is not None
    assert sound(pair, area)
    assert min(np.array([half.area for half in pair])) >= 0.3 * area.area - 1e-6
