"""A traced outline freed of perspective by a square of known size."""

import math
from collections.abc import Sequence

from leastcut.car._checked import OutlineError, checked, listed, point_of
from leastcut.car.records import Point, Polygon


def rectify(points_px: Sequence[Point], *, square_px: Sequence[Point], square_mm: float) -> Polygon:
    """Return a traced outline in mm, freed of perspective by a square of known size in the photo.

    Parameters
    ----------
    points_px : sequence of (x, y)
        Outline in the photo [px], y downwards.
    square_px : sequence of four (x, y)
        Corners of the square in the photo [px], in any order; the square lies flat on the panel.
    square_mm : float
        Side of the square [mm].

    Returns
    -------
    Polygon
        Outline in mm, y upwards, lower left at the origin. Upright as the square stands in the
        photo.

    Raises
    ------
    OutlineError
        If the square is no convex four-corner, is too small to trust, or the outline reaches
        beyond the horizon of the square's plane.

    Notes
    -----
    The homography is the exact solution for four point pairs (direct linear transformation;
    Hartley and Zisserman, Multiple View Geometry, 2nd ed., section 4.1). A curved panel is
    measured as its projection on the plane of the square.
    """
    corners = _square(square_px)
    mapped = _mapped(points_px, corners, _side(square_mm))
    x0, y0 = (min(p[axis] for p in mapped) for axis in (0, 1))
    return checked([(x - x0, y - y0) for x, y in mapped], where="outline")


def click_error_mm(
    points_px: Sequence[Point],
    *,
    square_px: Sequence[Point],
    square_mm: float,
    click_px: float = 1.0,
) -> float:
    """Return the greatest standard error of an outline point [mm] when corners are clicked.

    Each corner of the square is taken to be off by `click_px` (standard deviation, each axis,
    independent); the effect on every outline point is carried on to first order (GUM, JCGM
    100:2008, 5.1.2) and the largest is returned.

    Raises
    ------
    OutlineError
        As :func:`rectify`.
    """
    corners, side = _square(square_px), _side(square_mm)
    base = _mapped(points_px, corners, side)
    variance = [0.0] * len(base)
    for i in range(4):
        for dx, dy in ((0.5, 0.0), (0.0, 0.5)):
            ends = [
                _mapped(points_px, _nudged(corners, i, (sign * dx, sign * dy)), side)
                for sign in (1, -1)
            ]
            variance = [v + math.dist(a, b) ** 2 for v, a, b in zip(variance, *ends, strict=True)]
    return click_px * math.sqrt(max(variance))


def _nudged(corners: Sequence[Point], i: int, by: Point) -> list[Point]:
    return [(x + by[0], y + by[1]) if k == i else (x, y) for k, (x, y) in enumerate(corners)]


def _side(square_mm: float) -> float:
    if not (math.isfinite(square_mm) and 10 <= square_mm <= 5000):
        raise OutlineError(
            f"a square of {square_mm:g} mm",
            where="square",
            do="Tape or print a square of 100 to 1000 mm and measure its inner side",
        )
    return square_mm


def _square(square_px: Sequence[Point]) -> list[Point]:
    """Return the corners in the order top left, top right, bottom right, bottom left."""
    points = [point_of(p, i) for i, p in enumerate(listed(square_px), start=1)]
    if len(points) != 4:
        raise OutlineError(
            f"the square has {len(points)} corners", where="square", do="Mark its four corners"
        )
    cx, cy = (sum(p[axis] for p in points) / 4 for axis in (0, 1))
    points.sort(key=lambda p: math.atan2(p[1] - cy, p[0] - cx))  # y down: turns clockwise
    start = min(range(4), key=lambda i: points[i][0] + points[i][1])
    points = points[start:] + points[:start]
    turns = [_turn(points[i - 2], points[i - 1], points[i]) for i in range(4)]
    sides = [math.dist(points[i - 1], points[i]) for i in range(4)]
    if min(turns) <= 0 or min(sides) < 20 or min(turns) < 0.02 * max(sides) ** 2:
        raise OutlineError(
            "the four points do not look like a square seen from any side",
            where="square",
            do="Mark the corners again; each side needs at least 20 px and a view not too flat",
        )
    return points


def _turn(a: Point, b: Point, c: Point) -> float:
    return (b[0] - a[0]) * (c[1] - b[1]) - (b[1] - a[1]) * (c[0] - b[0])


def _mapped(points_px: Sequence[Point], corners: Sequence[Point], side: float) -> list[Point]:
    import numpy as np

    target = [(0.0, side), (side, side), (side, 0.0), (0.0, 0.0)]
    rows, right = [], []
    cx, cy = corners[0]
    scale = 1 / math.dist(corners[0], corners[2])
    for (x_px, y_px), (u, v) in zip(corners, target, strict=True):
        x, y = (x_px - cx) * scale, (y_px - cy) * scale
        rows += [[x, y, 1, 0, 0, 0, -u * x, -u * y], [0, 0, 0, x, y, 1, -v * x, -v * y]]
        right += [u, v]
    h = np.append(np.linalg.solve(np.asarray(rows), np.asarray(right)), 1.0).reshape(3, 3)
    traced = [point_of(p, i) for i, p in enumerate(listed(points_px), start=1)]
    xy = (np.asarray(traced).reshape(-1, 2) - (cx, cy)) * scale
    u, v, w = h @ np.column_stack([xy, np.ones(len(xy))]).T
    if np.any(w <= 1e-3):
        raise OutlineError(
            f"point {int(np.argmin(w)) + 1} lies beyond the horizon of the square's plane",
            where="outline",
            do="Take the photo more squarely, or the square lies on another surface",
        )
    return list(zip((u / w).tolist(), (v / w).tolist(), strict=True))
