"""Is this a polygon? Points as a person gives them, checked and put in order."""

import math
from collections.abc import Iterable, Sequence
from typing import Any

from leastcut.car.records import Point, Polygon
from leastcut.errors import InputError

MAX_EXTENT_MM = 10_000.0
MAX_POINTS = 20_000
_MIN_AREA_MM2 = 100.0
_SAME_MM = 1e-3
_DO_LIST = "Give [[x, y], …] in mm, corner after corner round the panel"


class OutlineError(InputError):
    """An outline that encloses no panel, or crosses itself, or cannot be rectified."""


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
        corners = _distinct([point_of(p, i) for i, p in enumerate(listed(points), start=1)])
        _check_size(corners)
        _check_simple(corners)
    except OutlineError as error:
        error.at(where)
        raise
    return tuple(corners if _signed_area(corners) > 0 else reversed(corners))


def listed(points: Iterable[object]) -> list[object]:
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


def point_of(point: Any, number: int) -> Point:
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
    edges: Any = shapely.linestrings(np.stack([ends, np.roll(ends, -1, axis=0)], axis=1))
    a, b = shapely.STRtree(edges).query(edges, predicate="intersects")
    n = len(corners)
    apart = (b > a + 1) & ~((a == 0) & (b == n - 1))
    beside = (b == (a + 1) % n) & (shapely.length(shapely.intersection(edges[a], edges[b])) > 0)
    pairs = np.stack([a, b], axis=1)[apart | beside]
    # Numbers are computed with rounding: a touch that only the whole ring sees has no pair.
    first, second = pairs[np.lexsort(pairs.T[::-1])[0]] if len(pairs) else (0, n - 1)
    return int(first) + 1, int(second) + 1
