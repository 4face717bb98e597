"""Cuts along straight lines, what they would leave, and where bands begin and end."""

import itertools
import math

import numpy as np
import pytest
import shapely
from hypothesis import given, settings
from hypothesis import strategies as st
from sections_outlines import box, holes_in, panel, star

from leastcut.plan.bands import band_lines, fewest_across, rasterise
from leastcut.plan.cuts import cut_at, divided, halves, within
from leastcut.plan.edges import area_below, edges_of, pieces_cut
from leastcut.plan.geometry import SNAP_MM, workable_area
from leastcut.plan.joins import even_out
from leastcut.plan.limits import Limits

LIMITS = Limits(610.0, 50.0)
# a corner of the notch lies 0.3 millionths of a millimetre above the base: nearer than the lattice
NOTCHED = shapely.Polygon([(0, 0), (100, 0), (100, 10), (50, 3e-7), (0, 10)])


def holed_star(seed: int) -> shapely.Polygon:
    rng = np.random.default_rng(seed)
    outline = star(rng)
    area = workable_area(panel(outline, holes_in(outline, rng, 3)))
    return max(shapely.get_parts(area), key=lambda piece: piece.area)


@given(st.integers(0, 10_000), st.floats(0, math.pi), st.floats(0.02, 0.98))
@settings(max_examples=40, deadline=None)
def test_areas_and_pieces_foretold_are_those_cut(seed: int, angle: float, share: float) -> None:
    """The library's own overlay of two half planes says how many pieces there are, how large."""
    shape, axis = holed_star(seed), (math.cos(angle), math.sin(angle))
    along = shapely.get_coordinates(shape) @ np.array(axis)
    place = np.array([along.min() + share * np.ptp(along)])
    far = 1e4 * np.array([[-1, -1], [1, -1], [1, 1], [-1, 1]])
    turn = np.array([axis, (-axis[1], axis[0])])
    below = shapely.Polygon((far * (0.5, 1) + (place[0] - 5e3, 0)) @ turn)
    sides = shapely.intersection(shape, below), shapely.difference(shape, below)
    assert area_below(shape, axis, place)[0] == pytest.approx(sides[0].area, abs=0.01)
    whole = [p for side in sides for p in shapely.get_parts(side) if p.area > 1e-3]
    assert pieces_cut(edges_of(shape), axis, place)[0] == len(whole)


@given(st.integers(0, 10_000), st.floats(0, math.pi), st.floats(0.1, 0.9))
@settings(max_examples=25, deadline=None)
def test_cutting_loses_nothing_and_stays_on_the_lattice(
    seed: int, angle: float, share: float
) -> None:
    shape = holed_star(seed)
    pieces = divided(shape, angle, share)
    assert all(piece.is_valid for piece in pieces)
    assert sum(piece.area for piece in pieces) == pytest.approx(shape.area, rel=1e-6)
    corners = shapely.get_coordinates(pieces) / SNAP_MM
    assert np.abs(corners - corners.round()).max() < 1e-3


def test_halves_are_halves_across_the_longer_side() -> None:
    first, second = halves(shapely.Polygon(box(300, 900)))
    assert first.area == pytest.approx(second.area, rel=1e-4)
    assert {round(first.bounds[2] - first.bounds[0]), round(second.bounds[2])} == {300}


def test_what_rounding_would_spoil_is_cut_exactly() -> None:
    """Rounded to the lattice, the notch would touch the base: no valid shape."""
    assert not shapely.transform(NOTCHED, lambda points: points.round(6)).is_valid
    for pieces in (cut_at(NOTCHED, 0.0, 80.0), within(NOTCHED, -1, -1, 101, 11)):
        assert all(piece.is_valid for piece in pieces)
        assert sum(piece.area for piece in pieces) == pytest.approx(NOTCHED.area, abs=1e-3)


@pytest.mark.parametrize(("width", "height"), [(600, 400), (1100, 1700), (1500, 580), (2000, 2000)])
def test_rectangles_need_as_many_cells_as_columns_times_rows(width: float, height: float) -> None:
    raster = rasterise(shapely.Polygon(box(width, height)), LIMITS)
    count = math.ceil((width - 50) / 560) * math.ceil((height - 50) / 560)
    assert fewest_across(raster, LIMITS) == count
    for lines in band_lines(raster, LIMITS, count):
        assert (lines[0], lines[-1]) == (0.0, height)
        tall = np.diff(lines)
        assert len(tall) == math.ceil((height - 50) / 560)
        assert tall.max() <= 610 - (25 if len(tall) > 1 else 0)
        assert tall.min() >= 0.85 * tall.mean()


def test_a_band_that_is_long_at_one_end_only_ends_there() -> None:
    """An L: by arithmetic 1 cell above and 2 below, where one band for all would take 2 and 2."""
    ell = shapely.Polygon([(0, 0), (1100, 0), (1100, 500), (550, 500), (550, 1050), (0, 1050)])
    raster = rasterise(ell, LIMITS)
    assert fewest_across(raster, LIMITS) == 3
    for lines in band_lines(raster, LIMITS, 3):
        assert len(lines) == 3
        assert lines[1] >= 475  # the room of the upper band: 585 mm of 1050


def test_a_small_cell_is_evened_out_with_the_neighbour_that_leaves_most() -> None:
    cells = [shapely.Polygon(box(b - a, 500, a)) for a, b in itertools.pairwise([0, 100, 600, 900])]
    made = even_out(cells, shapely.union_all(cells), LIMITS)
    assert len(made) == 3
    assert min(cell.area for cell in made) >= 0.45 * 900 * 500 / 3
