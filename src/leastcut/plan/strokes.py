"""Lay crosshatch strokes in a section.

All sections of a panel share one set of lines, so that the strokes of neighbours carry on from
each other across the seam: the panel is worked as evenly as if it had been done in one go, with no
double cut on seams. The pad overlaps the seam by its radius. Only the panel's own edges and its
keep-outs hold the pad back.
"""

import itertools
import math
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np
import shapely
from shapely.geometry.base import BaseGeometry

from leastcut.car.records import Point, Polyline
from leastcut.plan.geometry import Array, parts, rotated, smallest_rectangle
from leastcut.plan.records import Stroke

LEAST_STROKE_MM = 10.0  # shorter pieces are dabs, not strokes
SMALL_PADS_MM = (75.0, 50.0, 30.0)  # common sizes, no source
STRIP_STEP_MM = 40.0  # a bent strip is followed in steps of this length
START_CLEAR_MM = 15.0  # a stroke starts at least this far from a body line; our own choice


@dataclass(frozen=True)
class Lattice:
    """The lines that all strokes of a panel lie on.

    ``x0_mm`` and ``y0_mm`` are one line of each family, ``spacing_mm`` their distance.
    """

    x0_mm: float
    y0_mm: float
    spacing_mm: float


def centred_lattice(area: BaseGeometry, spacing_mm: float) -> Lattice:
    """Return the lattice centred in the bounds of where the pad's centre may go."""
    x0, y0, x1, y1 = area.bounds
    return Lattice(_first(x0, x1, spacing_mm), _first(y0, y1, spacing_mm), spacing_mm)


def _first(low: float, high: float, spacing: float) -> float:
    return 0.5 * (low + high - spacing * math.floor((high - low) / spacing))


def along_strip(
    region: BaseGeometry, spacing_mm: float, *, body_lines_mm: Sequence[Polyline] = ()
) -> tuple[Stroke, ...]:
    """Return strokes along the length of a narrow region, there and back; no crosshatch fits.

    Parameters
    ----------
    region : shapely geometry
        Where the pad's centre may go within the section [mm], a narrow strip.
    spacing_mm : float
        Distance of the strokes [mm].
    body_lines_mm : sequence of Polyline
        Raised lines on which no chain may start if its other end is clear of them. A line that
        runs along the whole strip cannot be avoided.

    Returns
    -------
    tuple of Stroke
        In order of walking. A bent strip gets a chain of short strokes along its middle.
    """
    return tuple(
        stroke
        for piece in parts(region)
        if piece.length > 2 * LEAST_STROKE_MM
        for stroke in _along_piece(piece, spacing_mm, body_lines_mm)
    )


def _along_piece(
    piece: BaseGeometry, spacing_mm: float, body_lines_mm: Sequence[Polyline]
) -> list[Stroke]:
    """Return the chains of strokes along one connected strip."""
    width, height, angle = smallest_rectangle(piece)
    angle = angle if width >= height else angle + math.pi / 2
    spans = _cross_sections(rotated(piece, -angle))
    wide = float(np.median(spans[:, 2] - spans[:, 1]))
    lanes = 1 + math.floor(wide / spacing_mm + 1e-9)
    c, s = math.cos(angle), math.sin(angle)
    strokes: list[Stroke] = []
    for lane in range(lanes):
        y = spans[:, 1] + (spans[:, 2] - spans[:, 1]) * (lane + 0.5) / lanes
        path = [_point((u * c - v * s, u * s + v * c)) for u, v in zip(spans[:, 0], y, strict=True)]
        forward = _straightened(path[::-1] if lane % 2 else path)
        starts_on, ends_on = _on_lines([forward[0], forward[-1]], body_lines_mm)
        strokes += itertools.pairwise(forward[::-1] if starts_on and not ends_on else forward)
    room = shapely.buffer(piece, 2.0)  # a chain cuts the inside of a bend by a millimetre or so
    return [stroke for stroke in strokes if room.covers(shapely.LineString(stroke))]


def _cross_sections(upright: BaseGeometry) -> Array:
    """Return x, low y and high y of the widest stretch of a strip at steps along its length."""
    x0, y0, x1, y1 = upright.bounds
    xs = np.linspace(x0, x1, 2 + math.ceil((x1 - x0) / STRIP_STEP_MM))
    xs[0], xs[-1] = x0 + 1e-3, x1 - 1e-3  # just inside: at the very end there is no width
    knives: Any = shapely.linestrings([[(x, y0 - 1), (x, y1 + 1)] for x in xs])
    spans = []
    crossed: Any = shapely.intersection(upright, knives)
    for x, found in zip(xs, crossed, strict=True):
        widest = max(shapely.get_parts(found), key=lambda piece: piece.length)
        spans.append((x, widest.bounds[1], widest.bounds[3]))
    return np.array(spans)


def _straightened(path: list[Point]) -> list[Point]:
    """Drop points that a straight way passes within a millimetre."""
    kept = shapely.get_coordinates(shapely.simplify(shapely.LineString(path), 1.0))
    return [_point(p) for p in kept]


def centre_region(area: BaseGeometry, *, pad_mm: float, margin_mm: float) -> BaseGeometry:
    """Return where the pad's centre may go."""
    return shapely.buffer(area, -(pad_mm / 2 + margin_mm), quad_segs=4)


def crosshatch(
    region: BaseGeometry, lattice: Lattice, *, body_lines_mm: Sequence[Polyline] = ()
) -> tuple[Stroke, ...]:
    """Return the strokes of one set: there and back along x from the top down, then along y.

    Parameters
    ----------
    region : shapely geometry
        Where the pad's centre may go within the section [mm]; not empty.
    lattice : Lattice
        The panel's lines.
    body_lines_mm : sequence of Polyline
        Raised lines on which no stroke may start.

    Returns
    -------
    tuple of Stroke
        In order of walking.
    """
    x0, y0, x1, y1 = region.bounds
    ys = _lines(y0, y1, lattice.y0_mm, lattice.spacing_mm)[::-1]
    xs = _lines(x0, x1, lattice.x0_mm, lattice.spacing_mm)
    along_x = shapely.linestrings([[(x0 - 1, y), (x1 + 1, y)] for y in ys])
    along_y = shapely.linestrings([[(x, y0 - 1), (x, y1 + 1)] for x in xs])
    strokes = _clipped(region, along_x, 0) + _clipped(region, along_y, 1)
    return tuple(_clear_of(strokes, body_lines_mm))


def _lines(low: float, high: float, origin: float, spacing: float) -> list[float]:
    """Return the lattice lines between two bounds; the middle when none falls there."""
    first = math.ceil((low - origin) / spacing - 1e-9)
    last = math.floor((high - origin) / spacing + 1e-9)
    lines = [min(max(origin + k * spacing, low), high) for k in range(first, last + 1)]
    return lines or [0.5 * (low + high)]


def _clipped(region: BaseGeometry, lines: Any, axis: int) -> list[Stroke]:
    """Clip lines to the region and join them there and back."""
    clipped: Any = shapely.intersection(region, lines)
    pieces, line = shapely.get_parts(clipped, return_index=True)
    ends = shapely.bounds(pieces)  # the lines lie along an axis
    back = line % 2 == 1
    order = np.lexsort((np.where(back, -1, 1) * ends[:, axis], line))
    strokes: list[Stroke] = []
    for index in order[shapely.length(pieces)[order] >= LEAST_STROKE_MM].tolist():
        x0, y0, x1, y1 = ends[index].tolist()
        low, high = _point((x0, y0)), _point((x1, y1))
        strokes.append((high, low) if back[index] else (low, high))
    return strokes


def _point(xy: Sequence[float]) -> Point:
    return (round(float(xy[0]), 6), round(float(xy[1]), 6))


def _clear_of(strokes: list[Stroke], body_lines_mm: Sequence[Polyline]) -> list[Stroke]:
    """Turn strokes round that would start on a body line; shorten those that begin and end on it."""
    if not body_lines_mm or not strokes:
        return strokes
    lines = shapely.MultiLineString([list(line) for line in body_lines_mm])
    near = _on_lines([end for stroke in strokes for end in stroke], body_lines_mm)
    kept = []
    for stroke, start, end in zip(strokes, near[::2], near[1::2], strict=True):
        if start and end:
            kept.extend(_started_later(stroke, lines))
        else:
            kept.append((stroke[1], stroke[0]) if start else stroke)
    return kept


def _on_lines(points: Sequence[Point], body_lines_mm: Sequence[Polyline]) -> list[bool]:
    """Return which points are too close to a body line to start there."""
    if not body_lines_mm:
        return [False] * len(points)
    lines = shapely.MultiLineString([list(line) for line in body_lines_mm])
    near = shapely.dwithin(shapely.points(np.array(points)), lines, START_CLEAR_MM)
    return [bool(one) for one in np.atleast_1d(near)]


def _started_later(stroke: Stroke, lines: BaseGeometry) -> list[Stroke]:
    """Return the stroke begun at the first place clear of the lines, or nothing."""
    way = shapely.LineString(stroke)
    clear = shapely.difference(way, shapely.buffer(lines, START_CLEAR_MM))
    if clear.is_empty:
        return []
    begin = min(way.project(shapely.Point(p)) for p in shapely.get_coordinates(clear))
    if way.length - begin < LEAST_STROKE_MM:
        return []
    return [(_point(way.interpolate(begin).coords[0]), stroke[1])]
