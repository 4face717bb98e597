"""Cut shapes along straight lines, all corners on one fine lattice.

New corners are rounded to the lattice instead of being worked out on it: several times quicker, and
the two sides of a cut still get the same corners. Where that spoils a shape (a corner nearer to an
edge than the lattice is fine), the geometry library's exact lattice arithmetic does it over.
"""

import math

import numpy as np
import shapely
from shapely.geometry.base import BaseGeometry

from leastcut.plan.edges import area_below
from leastcut.plan.geometry import SNAP_MM, Array, parts, smallest_rectangle

DIGITS = round(-math.log10(SNAP_MM))


def within(
    shape: BaseGeometry, x0: float, y0: float, x1: float, y1: float
) -> list[shapely.Polygon]:
    """Return the pieces of a shape inside an upright rectangle.

    Parameters
    ----------
    shape : shapely geometry
        Polygons, their corners on the lattice [mm].
    x0, y0, x1, y1 : float
        The rectangle [mm].

    Returns
    -------
    list of shapely.Polygon
        Each valid and in one piece.
    """
    box = shapely.box(x0, y0, x1, y1)
    found = rounded(shapely.intersection(shape, box))
    if not shapely.is_valid(found):
        found = shapely.intersection(shape, box, grid_size=SNAP_MM)
    return parts(found)


def cut_at(cell: shapely.Polygon, angle: float, place: float) -> list[shapely.Polygon]:
    """Cut a cell by a line across `angle` [rad] that stands `place` along it [mm]."""
    axis = np.array((math.cos(angle), math.sin(angle)))
    start = float((shapely.get_coordinates(cell) @ axis).min()) - 1
    first = _slab(axis, start, place, cell.length)
    pair = rounded(shapely.intersection(cell, first)), rounded(shapely.difference(cell, first))
    if not all(shapely.is_valid(pair)):
        pair = (
            shapely.intersection(cell, first, grid_size=SNAP_MM),
            shapely.difference(cell, first, grid_size=SNAP_MM),
        )
    return [piece for side in pair for piece in parts(side)]


def halves(cell: shapely.Polygon) -> list[shapely.Polygon]:
    """Cut a cell across its long axis into two of equal area (or more, if it is concave)."""
    return divided(cell, long_axis(cell), 0.5)


def long_axis(cell: BaseGeometry) -> float:
    """Return the direction of the longer side of the smallest rectangle [rad]."""
    width, height, angle = smallest_rectangle(cell)
    return angle if width >= height else angle + math.pi / 2


def divided(cell: shapely.Polygon, angle: float, share: float) -> list[shapely.Polygon]:
    """Cut a cell by a line across `angle` [rad] so that `share` of its area lies before it."""
    axis = (math.cos(angle), math.sin(angle))
    along = shapely.get_coordinates(cell) @ np.array(axis)
    places = np.linspace(along.min(), along.max(), 257)
    place = float(np.interp(cell.area * share, area_below(cell, axis, places), places))
    return cut_at(cell, angle, place)


def rounded(shape: BaseGeometry) -> BaseGeometry:
    """Return a shape with its corners on the lattice; it may be spoilt by that."""
    return shapely.transform(shape, lambda points: points.round(DIGITS))


def _slab(axis: Array, start: float, end: float, across: float) -> shapely.Polygon:
    side = np.array([-axis[1], axis[0]])
    # far along the side: a slab through the whole cell wherever the frame's origin lies
    reach = side * (across + 4 * (abs(start) + abs(end)) + 1e5)
    return shapely.Polygon(
        [axis * start - reach, axis * end - reach, axis * end + reach, axis * start + reach]
    )
