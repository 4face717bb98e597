"""Outlines as a person gives them: checked, rectified from a photo, measured.

Polygons are counter-clockwise, in mm, not closed by repetition.
"""

import math
from collections.abc import Iterable, Sequence
from typing import Any

import msgspec

from leastcut.car.records import Panel, Point, Polygon
from leastcut.errors import InputError

__all__ = [
    "Area",
    "OutlineError",
    "checked",
    "click_error_mm",
    "painted_area_m2",
    "rectify",
    "workable",
]

MAX_EXTENT_MM = 10_000.0
MAX_POINTS = 20_000
_MIN_AREA_MM2 = 100.0
_SAME_MM = 1e-3


class OutlineError(InputError):
    """An outline that encloses no panel, or crosses itself, or cannot be rectified."""


class Area(msgspec.Struct, frozen=True, kw_only=True):
    """A piece of surface with its holes [mm]."""

    outline_mm: Polygon
    holes_mm: tuple[Polygon, ...] = ()


def checked(points: Iterable[object], *, where: str = "") -> Polygon:
    """Return the points as a polygon that encloses an area once.

    Parameters
    ----------
    points : iterable of pairs
        Corners in order, either way round, in mm; the first may be repeated at the end.
    where : str
        Named in the error.

    Returns
    -------
    Polygon
        Counter-clockwise, without repeated points.

    Raises
    ------
    OutlineError
        If there are fewer than three different corners or too many, a coordinate is not a finite
        number, the outline is larger than 10 m, encloses nothing, or crosses itself.

    Examples
    --------
    >>> checked([(0, 0), (0, 800), (600, 800), (600, 0), (0, 0)])
    ((600.0, 0.0), (600.0, 800.0), (0.0, 800.0), (0.0, 0.0))
    """
    try:
        corners = _distinct([_point(p, i) for i, p in enumerate(_listed(points), start=1)])
        _check_size(corners)
        _check_simple(corners)
    except OutlineError as error:
        error.at(where)
        raise
    return tuple(corners if _signed_area(corners) > 0 else reversed(corners))


def _listed(points: Iterable[object]) -> list[object]:
    try:
        listed = list(points)
    except TypeError:
        raise OutlineError("the outline is not a list of points", do=_DO_LIST) from None
    if len(listed) > MAX_POINTS:
        raise OutlineError(
            f"the outline has {len(listed)} points",
            do=f"Thin it out to at most {MAX_POINTS}; one every few millimetres is enough",
        )
    return listed


_DO_LIST = "Give [[x, y], …] in mm, corner after corner round the panel"


def _point(point: Any, number: int) -> Point:
    bad = OutlineError(f"point {number} is {_short(point)}, not two finite numbers", do=_DO_LIST)
    if isinstance(point, (str, bytes)):
        raise bad
    try:
        x, y = (_number(value) for value in point)
    except (TypeError, ValueError, OverflowError):
        raise bad from None
    if not (math.isfinite(x) and math.isfinite(y)):
        raise bad
    return x, y


def _number(value: Any) -> float:
    if isinstance(value, (bool, str, bytes)):
        raise TypeError
    return float(value)


def _short(value: object) -> str:
    text = repr(value)
    return text if len(text) <= 60 else f"{text[:57]}…"


def _distinct(points: list[Point]) -> list[Point]:
    kept: list[Point] = []
    for point in points:
        if not kept or math.dist(point, kept[-1]) > _SAME_MM:
            kept.append(point)
    while len(kept) > 1 and math.dist(kept[0], kept[-1]) <= _SAME_MM:
        kept.pop()
    if len(kept) < 3:
        raise OutlineError(
            f"the outline has {len(kept)} different points",
            do="Give at least three corners; a straight-sided door needs four",
        )
    return kept


def _check_size(corners: Sequence[Point]) -> None:
    for axis, name in ((0, "wide"), (1, "high")):
        low, high = min(p[axis] for p in corners), max(p[axis] for p in corners)
        if high - low > MAX_EXTENT_MM or max(abs(low), abs(high)) > 1e6:
            raise OutlineError(
                f"the outline is {high - low:.4g} mm {name} and reaches {max(-low, high):.4g} mm",
                do="Panels are at most 10 m: check that the numbers are millimetres",
            )


def _signed_area(corners: Sequence[Point]) -> float:
    x0, y0 = corners[0]  # moved near the origin first, or far-off outlines lose digits
    total = 0.0
    for (xa, ya), (xb, yb) in zip(corners, [*corners[1:], corners[0]], strict=True):
        total += (xa - x0) * (yb - y0) - (xb - x0) * (ya - y0)
    return total / 2


def _check_simple(corners: Sequence[Point]) -> None:
    import shapely

    if not shapely.LinearRing(corners).is_simple:
        first, second = _crossing(corners)
        raise OutlineError(
            f"the outline crosses itself: the edge from point {first} meets the one from {second}",
            do="Put the points in order round the panel, and take out the one that jumps back",
        )
    area = abs(_signed_area(corners))
    if not area >= _MIN_AREA_MM2:
        raise OutlineError(
            f"the outline encloses {area:.3g} mm²",
            do="A panel has at least a square centimetre: check that the numbers are millimetres",
        )


def _crossing(corners: Sequence[Point]) -> tuple[int, int]:
    """Return the numbers of the first two edges that meet where they should not."""
    import numpy as np
    import shapely

    ends = np.asarray(corners)
    edges = shapely.linestrings(np.stack([ends, np.roll(ends, -1, axis=0)], axis=1))
    a, b = shapely.STRtree(edges).query(edges, predicate="intersects")
    n = len(corners)
    apart = (b > a + 1) & ~((a == 0) & (b == n - 1))
    beside = (b == (a + 1) % n) & (shapely.length(shapely.intersection(edges[a], edges[b])) > 0)
    pairs = np.stack([a, b], axis=1)[apart | beside]
    # Numbers are computed with rounding: a touch that only the whole ring sees has no pair.
    first, second = pairs[np.lexsort(pairs.T[::-1])[0]] if len(pairs) else (0, n - 1)
    return int(first) + 1, int(second) + 1


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
    points = [_point(p, i) for i, p in enumerate(_listed(square_px), start=1)]
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
    traced = [_point(p, i) for i, p in enumerate(_listed(points_px), start=1)]
    xy = (np.asarray(traced).reshape(-1, 2) - (cx, cy)) * scale
    u, v, w = h @ np.column_stack([xy, np.ones(len(xy))]).T
    if np.any(w <= 1e-3):
        raise OutlineError(
            f"point {int(np.argmin(w)) + 1} lies beyond the horizon of the square's plane",
            where="outline",
            do="Take the photo more squarely, or the square lies on another surface",
        )
    return list(zip((u / w).tolist(), (v / w).tolist(), strict=True))


def painted_area_m2(panel: Panel) -> float:
    """Return the area of a panel without its keep-outs [m²]."""
    return float(_surface(panel).area) / 1e6


def workable(panel: Panel, *, edge_margin_mm: float) -> tuple[Area, ...]:
    """Return where the pad may go: the panel without keep-outs, a margin in from every edge.

    Parameters
    ----------
    panel : Panel
        The panel.
    edge_margin_mm : float
        How far to stay from the outline and from keep-outs [mm], ≥ 0.

    Returns
    -------
    tuple of Area
        Largest first; empty when the margin eats the panel.
    """
    from shapely.geometry.polygon import orient

    inner = _surface(panel).buffer(-edge_margin_mm, join_style="mitre")
    parts = sorted(getattr(inner, "geoms", [inner]), key=lambda part: -part.area)
    return tuple(
        Area(
            outline_mm=_ring(orient(part).exterior.coords),
            holes_mm=tuple(_ring(list(hole.coords)[::-1]) for hole in orient(part).interiors),
        )
        for part in parts
        if part.area > 0
    )


def _surface(panel: Panel) -> Any:
    from shapely import Polygon as Shape
    from shapely import union_all

    return Shape(panel.outline_mm) - union_all([Shape(k.outline_mm) for k in panel.keep_outs])


def _ring(coords: Iterable[Sequence[float]]) -> Polygon:
    return tuple((float(x), float(y)) for x, y in coords)[:-1]
