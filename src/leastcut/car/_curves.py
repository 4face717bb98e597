"""Small curve tools for drawing panel outlines: corners, bows, arcs, clipping.

Points are ``(x, y)`` in mm. An outline is given by its corners in counter-clockwise order; each
corner may be rounded, and each edge may bow outwards or follow points of its own.
"""

import math
from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass
from itertools import pairwise
from typing import Any

from leastcut.car.records import Point, Polygon, Polyline

_BOW_STEPS = 10
_ROUNDING_MM = 0.15  # what a tenth of a millimetre in both axes leaves
_ROUND_STEPS = 7


@dataclass(frozen=True)
class Corner:
    """One corner of an outline and the edge that leaves it.

    `r` is how far from the corner the rounding begins [mm]; `bow` how far the middle of the edge
    to the next corner stands out to the right of travel [mm]; `via` the points that edge follows.
    """

    x: float
    y: float
    r: float = 0.0
    bow: float = 0.0
    via: tuple[Point, ...] = ()


def arc(centre: Point, radius: float, start_deg: float, end_deg: float) -> tuple[Point, ...]:
    """Return points on a circle from one angle to another, about 5 degrees apart."""
    steps = max(2, math.ceil(abs(end_deg - start_deg) / 5))
    angles = (math.radians(start_deg + (end_deg - start_deg) * i / steps) for i in range(steps + 1))
    return tuple(
        (centre[0] + radius * math.cos(a), centre[1] + radius * math.sin(a)) for a in angles
    )


def along(height: Callable[[float], float], start: float, end: float, steps: int = 16) -> Polyline:
    """Return the points of ``y = height(x)`` from `start` to `end`, both included."""
    xs = (start + (end - start) * i / steps for i in range(steps + 1))
    return tuple((x, height(x)) for x in xs)


def outline(corners: Sequence[Corner]) -> Polygon:
    """Return the polygon of rounded corners and bowed edges, to a tenth of a millimetre."""
    edges = [_edge(a, b) for a, b in zip(corners, [*corners[1:], corners[0]], strict=True)]
    reach = [_reach(c.r, edges[i - 1], edges[i]) for i, c in enumerate(corners)]
    cores = _cores(edges, [*reach, reach[0]])
    points: list[Point] = []
    for i, corner in enumerate(corners):
        points += _rounded(cores[i - 1][-1], corner, cores[i][0], round_=reach[i] > 0)
        points += cores[i][1:-1]
    return tidy(points)


def path(corners: Sequence[Corner]) -> Polyline:
    """Return the open line of rounded corners and bowed edges, to a tenth of a millimetre."""
    edges = [_edge(a, b) for a, b in pairwise(corners)]
    inner = corners[1:-1]
    reach = [0.0, *(_reach(c.r, edges[i], edges[i + 1]) for i, c in enumerate(inner)), 0.0]
    cores = _cores(edges, reach)
    points = list(cores[0][:-1]) if inner else list(cores[0])
    for i, corner in enumerate(inner, start=1):
        points += _rounded(cores[i - 1][-1], corner, cores[i][0], round_=reach[i] > 0)
        points += cores[i][1:-1] if i < len(inner) else cores[i][1:]
    return tidy(points)


def _cores(edges: Sequence[list[Point]], reach: Sequence[float]) -> list[list[Point]]:
    """Return each edge without the ends that its corners' roundings take."""
    return [_trim(_trim(edge, reach[i])[::-1], reach[i + 1])[::-1] for i, edge in enumerate(edges)]


def swept(middle_y: float, end: Point, steps: int = 8) -> tuple[Point, ...]:
    """Return points between the middle line and an end, on the parabola level at the middle."""
    xs = (end[0] * i / steps for i in range(1, steps))
    return tuple((x, middle_y + (end[1] - middle_y) * (x / end[0]) ** 2) for x in xs)


def inward(points: Polyline, distance: float) -> Polyline:
    """Return a line that runs to the right, shifted to its own right, still running so."""
    shifted: list[Point] = []
    for i, (x, y) in enumerate(points):
        a, b = points[max(i - 1, 0)], points[min(i + 1, len(points) - 1)]
        length = math.dist(a, b)
        moved = x + (b[1] - a[1]) / length * distance, y - (b[0] - a[0]) / length * distance
        if not shifted or moved[0] > shifted[-1][0] + 10:
            shifted.append(moved)
    return tuple(shifted)


def cut_at(points: Polyline, x: float) -> Polyline:
    """Return the part of a line running to the right that lies left of `x`, its end at `x`."""
    kept = [p for p in points if p[0] < x]
    return (*kept, (x, height_at(points, x)))


def height_at(points: Polyline, x: float) -> float:
    """Return the height of a line that runs to the right, held level beyond its ends."""
    for a, b in pairwise(points):
        if a[0] <= x <= b[0]:
            return a[1] + (b[1] - a[1]) * (x - a[0]) / max(b[0] - a[0], 1e-9)
    return points[0][1] if x < points[0][0] else points[-1][1]


def tidy(points: Iterable[Point]) -> Polygon:
    """Return the points to a tenth of a millimetre, without repeated neighbours."""
    kept: list[Point] = []
    for x, y in points:
        point = (round(x, 1), round(y, 1))
        if not kept or point != kept[-1]:
            kept.append(point)
    if len(kept) > 1 and kept[0] == kept[-1]:
        kept.pop()
    return tuple(kept)


def _edge(a: Corner, b: Corner) -> list[Point]:
    if a.via or not a.bow:
        return [(a.x, a.y), *a.via, (b.x, b.y)]
    length = math.hypot(b.x - a.x, b.y - a.y)
    out = ((b.y - a.y) / length * a.bow, -(b.x - a.x) / length * a.bow)
    points = []
    for i in range(_BOW_STEPS + 1):
        t = i / _BOW_STEPS
        lift = 4 * t * (1 - t)
        points.append(
            (a.x + (b.x - a.x) * t + out[0] * lift, a.y + (b.y - a.y) * t + out[1] * lift)
        )
    return points


def _length(points: Sequence[Point]) -> float:
    return sum(math.dist(a, b) for a, b in pairwise(points))


def _reach(r: float, before: Sequence[Point], after: Sequence[Point]) -> float:
    return min(r, 0.42 * _length(before), 0.42 * _length(after))


def _trim(points: Sequence[Point], reach: float) -> list[Point]:
    """Return the polyline without its first `reach` millimetres."""
    left = reach
    for i, (a, b) in enumerate(pairwise(points)):
        step = math.dist(a, b)
        if step > left:
            t = left / step
            return [(a[0] + (b[0] - a[0]) * t, a[1] + (b[1] - a[1]) * t), *points[i + 1 :]]
        left -= step
    return [points[-1]]


def _rounded(a: Point, corner: Corner, b: Point, *, round_: bool) -> list[Point]:
    if not round_:
        return [(corner.x, corner.y)]
    points = []
    for i in range(_ROUND_STEPS + 1):
        t = i / _ROUND_STEPS
        wa, wc, wb = (1 - t) ** 2, 2 * t * (1 - t), t * t
        points.append(
            (wa * a[0] + wc * corner.x + wb * b[0], wa * a[1] + wc * corner.y + wb * b[1])
        )
    return points


def box(x: float, y: float, width: float, height: float, r: float = 0.0) -> Polygon:
    """Return a rectangle with rounded corners, centred on ``(x, y)``."""
    w, h = width / 2, height / 2
    return outline(
        [
            Corner(x - w, y - h, r),
            Corner(x + w, y - h, r),
            Corner(x + w, y + h, r),
            Corner(x - w, y + h, r),
        ]
    )


def disc(x: float, y: float, radius: float) -> Polygon:
    """Return a circle as a polygon."""
    return tidy(arc((x, y), radius, 0, 360))


def mirrored(points: Sequence[Point], axis_x: float = 0.0) -> Polygon:
    """Return the polygon mirrored in the line ``x = axis_x``, still counter-clockwise."""
    return tuple((round(2 * axis_x - x, 1), y) for x, y in reversed(points))


def clip_area(points: Polygon, within: Polygon) -> Polygon:
    """Return the largest piece of a polygon that lies inside another; empty when none does."""
    from shapely import Polygon as Shape
    from shapely import make_valid

    shape, whole = Shape(points), Shape(within)
    if shape.is_valid and whole.buffer(_ROUNDING_MM).covers(shape):
        return points
    return _largest(make_valid(shape).intersection(whole))


def clip_line(points: Polyline, within: Polygon, *, inset_mm: float) -> Polyline:
    """Return the longest piece of a line that keeps `inset_mm` clear of the polygon's edge."""
    from shapely import LineString
    from shapely import Polygon as Shape

    inside = LineString(points).intersection(Shape(within).buffer(-inset_mm))
    parts = [part for part in getattr(inside, "geoms", [inside]) if part.length > 4 * inset_mm]
    if not parts:
        return ()
    return tidy(_pairs(max(parts, key=lambda part: part.length)))


def _largest(shape: Any) -> Polygon:
    from shapely.geometry.polygon import orient

    parts = [part for part in getattr(shape, "geoms", [shape]) if getattr(part, "area", 0) > 1]
    if not parts:
        return ()
    return tidy(_pairs(orient(max(parts, key=lambda part: part.area)).exterior))


def _pairs(line: Any) -> list[Point]:
    return [(float(x), float(y)) for x, y, *_ in line.coords]
