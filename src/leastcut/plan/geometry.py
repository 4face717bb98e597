"""Plane geometry of panels in millimetres: sound outlines, smallest rectangles, rings.

Everything that touches the geometry library for the layout goes through here.
"""

import math
from collections.abc import Sequence

import numpy as np
import numpy.typing as npt
import shapely
from shapely.geometry.base import BaseGeometry

from leastcut.car.records import Panel, Polygon
from leastcut.errors import InputError

Array = npt.NDArray[np.float64]

SNAP_MM = 1e-6  # one lattice for all cuts: neighbours share their seams to the last digit
SLIT_MM = 1e-3  # hairline by which a cell with a hole in it is written as one ring
MAX_POINTS = 20_000
FINE_POINTS = 2000  # outlines beyond are thinned, keeping every corner to FINE_MM
FINE_MM = 0.005
MAX_EXTENT_MM = 20_000.0
LEAST_MM2 = 100.0  # smaller islands of paint are not worth a section


class OutlineError(InputError):
    """An outline or keep-out that cannot be a panel's."""


def ring(polygon: Sequence[Sequence[float]], *, name: str) -> shapely.Polygon:
    """Return a polygon of the caller's as a sound shape, or say what is wrong with it.

    Parameters
    ----------
    polygon : sequence of (x, y)
        Corner points [mm], in either sense, closed by repetition or not.
    name : str
        What it is, for the message.

    Returns
    -------
    shapely.Polygon
        The same area, counter-clockwise.

    Raises
    ------
    OutlineError
        If there are too few or too many points, a number is not finite or far too large, the
        outline crosses itself, or it encloses nothing.
    """
    if len(polygon) > MAX_POINTS:
        raise OutlineError(
            f"{len(polygon)} points are more than an outline needs",
            where=name,
            do=f"Simplify it to at most {MAX_POINTS} points; 1 mm is fine enough",
        )
    points = _numbers(polygon, name)
    if len(points) < 3:
        raise OutlineError(
            f"{len(points)} points enclose nothing", where=name, do="Give at least three corners"
        )
    shape = shapely.Polygon(points)
    if shape.area < LEAST_MM2 and shape.convex_hull.area < LEAST_MM2:
        raise OutlineError(
            f"its area is {shape.area:.3g} mm²", where=name, do="Give true-size points in mm"
        )
    if not shape.is_valid:
        raise OutlineError(
            f"it crosses or touches itself ({shapely.is_valid_reason(shape)})",
            where=name,
            do="List the corners once, in order around the edge",
        )
    thinned = parts(shapely.simplify(shape, FINE_MM)) if len(points) > FINE_POINTS else [shape]
    return shapely.orient_polygons(thinned[0])


def _numbers(polygon: Sequence[Sequence[float]], name: str) -> Array:
    """Return the points without a closing repetition; finite and of a size a vehicle can have."""
    try:
        points = np.asarray(polygon, dtype=np.float64)
    except (TypeError, ValueError):
        points = np.empty(0)
    if points.size == 0:
        return np.empty((0, 2))
    if points.ndim != 2 or points.shape[1] != 2:
        raise OutlineError(
            "it is not a list of [x, y] pairs", where=name, do="Give two numbers each"
        )
    if not np.isfinite(points).all() or np.abs(points).max() > 1e6:
        raise OutlineError(
            "a coordinate is not a number, or is beyond a kilometre",
            where=name,
            do="Give finite millimetres",
        )
    if np.ptp(points, axis=0).max() > MAX_EXTENT_MM:
        raise OutlineError(
            f"it spans {np.ptp(points, axis=0).max() / 1e3:.1f} m",
            where=name,
            do=f"Give millimetres; a panel spans at most {MAX_EXTENT_MM / 1e3:g} m",
        )
    return points[:-1] if len(points) > 3 and (points[0] == points[-1]).all() else points


def workable_area(panel: Panel) -> BaseGeometry:
    """Return the outline less the keep-outs: what may be worked at all.

    Parameters
    ----------
    panel : Panel
        Outline and keep-outs [mm].

    Returns
    -------
    shapely geometry
        A polygon or several; empty when keep-outs cover everything. Islands under 1 cm² are left
        out.

    Raises
    ------
    OutlineError
        If the outline or a keep-out is unsound, or a keep-out lies outside the outline.
    """
    outline = ring(panel.outline_mm, name=f"outline of {panel.id}")
    holes = []
    for index, item in enumerate(panel.keep_outs, start=1):
        name = f"keep-out {index} ({item.name}) of {panel.id}"
        hole = ring(item.outline_mm, name=name)
        if not hole.intersects(outline):
            raise OutlineError("it lies outside the panel", where=name, do="Check its coordinates")
        holes.append(hole)
    area: BaseGeometry = shapely.set_precision(outline, SNAP_MM)
    if holes:
        area = shapely.difference(area, shapely.union_all(holes), grid_size=SNAP_MM)
    return shapely.MultiPolygon([p for p in parts(area) if p.area >= LEAST_MM2])


def parts(shape: BaseGeometry) -> list[shapely.Polygon]:
    """Return the polygons of a geometry with some area, in the library's order."""
    if isinstance(shape, shapely.Polygon):
        return [shape] if shape.area > 1e-3 else []
    pieces = shapely.get_parts(shape)
    return list(pieces[shapely.area(pieces) > 1e-3])  # points and lines have none


def smallest_rectangle(shape: BaseGeometry) -> tuple[float, float, float]:
    """Return the rectangle of least area around a shape, in any orientation.

    One of its sides lies along a side of the convex hull (H. Freeman and R. Shapira, *Comm. ACM*
    18 (1975) 409), so every hull side is tried.

    Parameters
    ----------
    shape : shapely geometry
        Any shape with some extent.

    Returns
    -------
    width, height : float
        Its sides along and across `angle` [mm].
    angle : float
        Direction of the width [rad].
    """
    widths, heights, angles = _rectangles(shape)
    best = int(np.argmin(np.round(widths * heights, 3)))
    return float(widths[best]), float(heights[best]), float(angles[best])


def longest_side(shape: BaseGeometry) -> float:
    """Return the longest side of any rectangle around a shape whose area is (nearly) the least.

    A right triangle has several such rectangles, one of them much longer than the others.
    """
    widths, heights, _ = _rectangles(shape)
    areas = widths * heights
    tied = areas <= areas.min() * 1.002
    return float(np.maximum(widths, heights)[tied].max())


def _rectangles(shape: BaseGeometry) -> tuple[Array, Array, Array]:
    """Return width, height and direction of the rectangle on each side of the convex hull."""
    outer = shapely.convex_hull(shape)
    hull = shapely.get_coordinates(outer)
    if len(hull) > 1000:  # every side against every corner: a smooth curve needs fewer
        hull = shapely.get_coordinates(shapely.simplify(outer, 0.002))
    sides = hull[1:] - hull[:-1]
    ways = sides / np.hypot(sides[:, 0], sides[:, 1])[:, None]
    places = hull @ np.concatenate([ways, ways[:, ::-1] * (-1.0, 1.0)]).T
    widths, heights = (places.max(axis=0) - places.min(axis=0)).reshape(2, -1)
    return widths, heights, np.arctan2(ways[:, 1], ways[:, 0])


def one_ring(shape: shapely.Polygon) -> Polygon:
    """Return a polygon as one ring of points, counter-clockwise, not closed by repetition.

    A hole is joined to the outside by a hairline slit, since a ring cannot say "hole".

    Parameters
    ----------
    shape : shapely.Polygon
        A valid polygon, with or without holes.

    Returns
    -------
    Polygon
        A ring that is itself a valid polygon, its area less by the slits alone.
    """
    while shape.interiors:
        shape = _slit(shape)
    points = shapely.get_coordinates(shapely.orient_polygons(shape))[:-1]
    return tuple((float(x), float(y)) for x, y in points)


def _slit(shape: shapely.Polygon) -> shapely.Polygon:
    """Open the hole nearest to the outside along the shortest way: that never splits the shape."""
    outside = shapely.LinearRing(shape.exterior.coords)
    ways = [shapely.shortest_line(hole, outside) for hole in shape.interiors]
    (x0, y0), (x1, y1) = min(ways, key=lambda way: way.length).coords
    length = max(math.hypot(x1 - x0, y1 - y0), SLIT_MM)
    dx, dy = (x1 - x0) / length * SLIT_MM * 2, (y1 - y0) / length * SLIT_MM * 2
    knife = shapely.LineString([(x0 - dx, y0 - dy), (x1 + dx, y1 + dy)])
    cut = shapely.difference(shape, knife.buffer(SLIT_MM / 2, cap_style="flat"), grid_size=SNAP_MM)
    return max(parts(cut), key=lambda p: p.area)


def rotated(shape: BaseGeometry, angle: float) -> BaseGeometry:
    """Return a shape turned by `angle` [rad] about the origin."""
    if angle == 0.0:
        return shape
    c, s = math.cos(angle), math.sin(angle)
    return shapely.transform(shape, lambda p: p @ np.array([[c, s], [-s, c]]))
