"""The marks of a pattern piece: number in a circle, grain arrow, notches, scale bar, legend.

As on a sewing pattern, one notch marks the edge towards the front of the car and two the edge
towards the rear, so that a piece of paper cannot be turned round unnoticed.
"""

import math
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

from leastcut.car._svg import QUIET, line, num, shape_path, tag, text
from leastcut.car.ramp import INK, PAPER, Ramp
from leastcut.car.records import Panel, Point, Polygon, Polyline
from leastcut.car.units import UnitSystem, show


@dataclass(frozen=True)
class Spot:
    """The roomiest place of a shape: its centre and the radius of the circle that fits there."""

    centre: Point
    radius: float


def roomiest(outline: Polygon, holes: Sequence[Polygon] = ()) -> Spot:
    """Return where a label fits best inside an outline and clear of its holes."""
    from shapely import Polygon as Shape
    from shapely import union_all

    whole = Shape(outline)
    free: Any = whole - union_all([Shape(hole) for hole in holes])
    return _inscribed(free if free.area > 0 else whole)


def _inscribed(surface: Any) -> Spot:
    from shapely import maximum_inscribed_circle

    spoke: Any = maximum_inscribed_circle(surface, tolerance=0.002 * surface.length)
    x, y, *_ = spoke.coords[0]
    return Spot(centre=(float(x), float(y)), radius=float(spoke.length))


def surface_of(panel: Panel) -> Any:
    """Return a panel's surface without its keep-outs, as a shape."""
    from shapely import Polygon as Shape
    from shapely import union_all

    return Shape(panel.outline_mm) - union_all([Shape(k.outline_mm) for k in panel.keep_outs])


def label_spot(panel: Panel) -> Spot:
    """Return where a panel's label goes: in its upright middle if it has room, mirrored alike."""
    if panel.side == "right":
        spot = _label_spot(_mirror_image(surface_of(panel)), middle_share=0.8)
        return Spot(centre=(-spot.centre[0], spot.centre[1]), radius=spot.radius)
    share = 0.75 if panel.side == "centre" else 0.8
    return _label_spot(surface_of(panel), middle_share=share)


def _mirror_image(surface: Any) -> Any:
    from shapely.affinity import scale

    return scale(surface, xfact=-1, origin=(0, 0))


def _label_spot(surface: Any, *, middle_share: float) -> Spot:
    best = _inscribed(surface)
    middle = _roomiest_on_middle(surface)
    return middle if middle.radius > middle_share * best.radius else best


def _roomiest_on_middle(surface: Any) -> Spot:
    """Return the roomiest place on the upright middle line of a shape, nearest to its middle."""
    from shapely import Point as Dot

    u0, v0, u1, v1 = surface.bounds
    u, middle = (u0 + u1) / 2, (v0 + v1) / 2
    places = [(u, v0 + (v1 - v0) * i / 60) for i in range(1, 60)]
    rooms = [
        Spot(centre=p, radius=float(surface.boundary.distance(Dot(p))))
        for p in places
        if surface.contains(Dot(p))
    ]
    most = max((spot.radius for spot in rooms), default=0.0)
    good = [spot for spot in rooms if spot.radius > 0.97 * most]
    nowhere = Spot(centre=(u, middle), radius=0.0)
    return min(good, key=lambda spot: abs(spot.centre[1] - middle), default=nowhere)


def number_mark(at: Point, number: int | str, *, radius: float) -> str:
    """Return a number in a circle."""
    size = radius * (1.25 if len(str(number)) < 2 else 1.1)
    ring = tag("circle", cx=at[0], cy=at[1], r=radius, fill=PAPER, stroke=INK, stroke_width=0.28)
    return ring + text((at[0], at[1] + 0.36 * size), str(number), size=size, bold=True)


def notches(panel: Panel, *, size_mm: float) -> tuple[Polygon, ...]:
    """Return the notches of a panel as small triangles in its own plane: one front, two rear."""
    if panel.facing in {"front", "rear"}:
        return ()
    across = 0 if panel.facing == "side" else 1
    low, high = _crossings(panel.outline_mm, across)
    extent = max(p[across] for p in panel.outline_mm) - min(p[across] for p in panel.outline_mm)
    if high[across] - low[across] < 0.6 * extent:
        return ()  # a bent strip: its middle line does not meet its ends
    front, rear = (high, low) if panel.side == "right" else (low, high)
    marks = [_notch(front, across, size_mm, 0.0, inward=front is low)]
    marks += [_notch(rear, across, size_mm, d * size_mm, inward=rear is low) for d in (-0.75, 0.75)]
    return tuple(marks)


def _crossings(outline: Polygon, across: int) -> tuple[Point, Point]:
    """Return where the outline crosses the middle line of its box, first and last along `across`."""
    from shapely import LinearRing, LineString

    lows = [min(p[axis] for p in outline) for axis in (0, 1)]
    highs = [max(p[axis] for p in outline) for axis in (0, 1)]
    middle = (lows[1 - across] + highs[1 - across]) / 2
    ends: list[Point] = [(lows[0] - 1, middle), (highs[0] + 1, middle)]
    if across:
        ends = [(middle, lows[1] - 1), (middle, highs[1] + 1)]
    hits = LinearRing(outline).intersection(LineString(ends))
    points = sorted(
        (part.coords[0] for part in getattr(hits, "geoms", [hits])), key=lambda p: p[across]
    )
    return points[0], points[-1]


def _notch(at: Point, across: int, size: float, slip: float, *, inward: bool) -> Polygon:
    way = 1.0 if inward else -1.0
    corners = ((0.0, -0.5 * size + slip), (0.0, 0.5 * size + slip), (way * size, slip))
    if across:
        return tuple((at[0] + b, at[1] + a) for a, b in corners)
    return tuple((at[0] + a, at[1] + b) for a, b in corners)


@dataclass(frozen=True)
class Grain:
    """A grain arrow in the panel's plane: from tail to head, and its word."""

    tail: Point
    head: Point
    word: str


def grain(panel: Panel, spot: Spot, *, clear_mm: float, longest_mm: float) -> Grain | None:
    """Return an arrow that tells which way the piece lies, or None where none fits.

    It keeps `clear_mm` beside the label at `spot`: upright where there is room, pointing up on
    upright panels and to the front on those that face the sky; along the piece when it is thin.
    """
    whole = surface_of(panel)
    surface = whole.buffer(-min(0.30 * spot.radius, 0.22 * clear_mm))
    low, high = (f(p[0] for p in panel.outline_mm) for f in (min, max))
    way = -1.0 if panel.side == "right" else 1.0
    for k in (1.0, -1.0, 1.5, -1.5, 2.2, -2.2, 3.2, -3.2):
        u = spot.centre[0] + way * k * clear_mm
        chord = _chord(surface, u, upright=True) if low < u < high else None
        if chord and chord[1] - chord[0] > 0.3 * longest_mm:
            a, b = _middle(chord, longest_mm)
            if panel.facing == "top":
                return Grain(tail=(u, b), head=(u, a), word="front")
            return Grain(tail=(u, a), head=(u, b), word="up")
    return _along(panel, whole, spot, clear_mm, longest_mm)


def _along(panel: Panel, surface: Any, spot: Spot, clear: float, longest: float) -> Grain | None:
    v = spot.centre[1]
    chord = _chord(surface, v, upright=False)
    if panel.facing != "side" or chord is None:
        return None
    right = panel.side == "right"
    room = (spot.centre[0] + clear, chord[1]) if right else (chord[0], spot.centre[0] - clear)
    if room[1] - room[0] < 0.4 * longest:
        return None
    a, b = _middle(room, longest)
    return (
        Grain(tail=(a, v), head=(b, v), word="front") if right else Grain((b, v), (a, v), "front")
    )


def _chord(surface: Any, at: float, *, upright: bool) -> tuple[float, float] | None:
    """Return the longest stretch of an axis-parallel line inside the surface, a little inset."""
    from shapely import LineString

    u0, v0, u1, v1 = surface.bounds
    ends = [(at, v0 - 1), (at, v1 + 1)] if upright else [(u0 - 1, at), (u1 + 1, at)]
    hit = surface.intersection(LineString(ends))
    parts = [part for part in getattr(hit, "geoms", [hit]) if part.length > 0]
    if not parts:
        return None
    best = max(parts, key=lambda part: part.length)
    axis = 1 if upright else 0
    low, high = sorted(c[axis] for c in (best.coords[0], best.coords[-1]))
    return low + 0.08 * (high - low), high - 0.08 * (high - low)


def _middle(chord: tuple[float, float], longest: float) -> tuple[float, float]:
    centre, half = sum(chord) / 2, min(0.42 * (chord[1] - chord[0]), longest / 2)
    return centre - half, centre + half


def arrow(tail: Point, head: Point, word: str, *, stroke: str, size: float = 2.0) -> str:
    """Return a grain arrow on paper with its word along it."""
    dx, dy = head[0] - tail[0], head[1] - tail[1]
    length = math.hypot(dx, dy)
    ex, ey = dx / length, dy / length
    barb = [
        (head[0] - 1.9 * ex + s * 0.75 * ey, head[1] - 1.9 * ey - s * 0.75 * ex) for s in (1, -1)
    ]
    shaft = line(tail, head, width=0.2, stroke=stroke)
    tip = tag("path", d=shape_path([(head, *barb)]), fill=stroke)
    bar = line(
        (tail[0] + 0.8 * ey, tail[1] - 0.8 * ex),
        (tail[0] - 0.8 * ey, tail[1] + 0.8 * ex),
        width=0.2,
        stroke=stroke,
    )
    middle = ((tail[0] + head[0]) / 2, (tail[1] + head[1]) / 2)
    upright = abs(dy) > abs(dx)
    place = (middle[0] - 0.7, middle[1]) if upright else (middle[0], middle[1] - 0.7)
    turn = -90 if upright else 0
    named = text(place, word, size=size, fill=stroke, turn=turn) if word else ""
    return shaft + tip + bar + named


_BARS_MM = {
    "metric": (50.0, 100.0, 200.0, 500.0, 1000.0, 2000.0, 5000.0),
    "us": (50.8, 152.4, 304.8, 609.6, 914.4, 1828.8, 3048.0),
}


def scale_bar(at: Point, scale: float, *, units: UnitSystem, most_mm: float = 60.0) -> str:
    """Return a scale bar whose lower left stands at `at`, at most `most_mm` long on paper."""
    fitting = [bar for bar in _BARS_MM[units] if bar * scale <= most_mm] or [_BARS_MM[units][0]]
    bar = fitting[-1]
    long = bar * scale
    parts = []
    for i in range(4):
        x = at[0] + long * i / 4
        parts.append(
            tag(
                "rect",
                x=x,
                y=at[1] - 1.5,
                width=long / 4,
                height=1.5,
                fill=INK if i % 2 == 0 else PAPER,
                stroke=INK,
                stroke_width=0.2,
            )
        )
    words = _bar_words(bar, units)
    parts.append(text((at[0], at[1] - 2.6), "0", size=2.6, anchor="middle"))
    parts.append(text((at[0] + long, at[1] - 2.6), words, size=2.6, anchor="middle"))
    return "".join(parts)


def _bar_words(bar: float, units: UnitSystem) -> str:
    if units == "us" and bar >= 300:
        return show(bar / 1000, "meter", "us")
    if units == "metric" and bar >= 1000:
        return f"{num(bar / 1000)}\u00a0m"
    return show(bar, "millimeter", units)


def swatch(at: Point, fill: str, words: str, *, size: float = 2.6) -> str:
    """Return a small filled field with its meaning to the right; lower left at `at`."""
    field = tag(
        "rect",
        x=at[0],
        y=at[1] - 3.0,
        width=5.0,
        height=3.0,
        fill=fill,
        stroke=INK,
        stroke_width=0.2,
    )
    return field + text((at[0] + 6.2, at[1] - 0.5), words, size=size, anchor="start")


def legend(
    at: Point,
    ramp: Ramp,
    low: str,
    high: str,
    words: str,
    *,
    width: float = 60.0,
    size: float = 2.6,
) -> str:
    """Return the ramp as a bar of small steps with its end values and what it shows."""
    n = 30
    steps = "".join(
        tag(
            "rect",
            x=at[0] + width * i / n,
            y=at[1] - 3.0,
            width=width / n + 0.06,
            height=3.0,
            fill=colour,
        )
        for i, colour in enumerate(ramp.steps(n))
    )
    frame = tag(
        "rect",
        x=at[0],
        y=at[1] - 3.0,
        width=width,
        height=3.0,
        stroke=INK,
        stroke_width=0.2,
    )
    return (
        steps
        + frame
        + text((at[0], at[1] - 4.2), low, size=size, anchor="start")
        + text((at[0] + width, at[1] - 4.2), high, size=size, anchor="end")
        + text((at[0] + width / 2, at[1] - 4.2), words, size=size)
    )


def dashes(points: Polyline, *, stroke: str = QUIET, width: float = 0.18) -> str:
    """Return a body line: thin and dashed."""
    return tag(
        "path",
        d=shape_path([points], closed=False),
        stroke=stroke,
        stroke_width=width,
        stroke_dasharray="1.6 1",
    )
