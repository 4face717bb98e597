"""Cut small groups of neighbouring cells anew: fewer cells, and no slivers.

A group's union is cut by one straight line into two cells. All lines of a fan of directions are
weighed at once on the points of the union's border: running extremes of their projections give the
rectangle that each side of each line needs. Only the most even lines that pass are cut in full.
"""

import itertools
import math
from dataclasses import dataclass

import numpy as np
import shapely
from shapely.geometry.base import BaseGeometry

from leastcut.plan.cuts import cut_at
from leastcut.plan.edges import area_below, edges_of, pieces_cut
from leastcut.plan.geometry import SNAP_MM, Array, parts
from leastcut.plan.joins import fitting_union
from leastcut.plan.limits import TINY, Limits

SLIVER = 0.35  # share of the mean area below which a cell counts as a sliver
POINT_MM = 50.0  # distance of the border points on which lines are weighed
TURNS = 6  # rectangles tried around each side
SLACK_MM = 8.0  # rectangles are tried in steps: a little over may still fit
TRIES, SOME, ALL = 3, 60, 3000  # lines cut in full: to save a cell, and to be rid of a sliver
GROUPS = 12  # groups looked at for each cell saved
FULL = 0.85  # two sections are hardly ever filled better than this
_HALF = np.arange(TURNS) * (math.pi / 2 / TURNS)
SQUARES = np.vstack(
    [
        np.column_stack([np.cos(_HALF), np.sin(_HALF)]),
        np.column_stack([-np.sin(_HALF), np.cos(_HALF)]),
    ]
)


@dataclass(frozen=True)
class _Fan:
    """Straight lines to try: so many directions, so many places in each."""

    directions: int
    places: int

    @property
    def angles(self) -> Array:
        """Return the directions across which the lines stand [rad]."""
        return np.asarray(np.arange(self.directions) * (math.pi / self.directions))


COARSE, FINE = _Fan(12, 33), _Fan(48, 65)  # to save a cell; to be rid of a sliver


@dataclass(frozen=True)
class _Line:
    """A straight cut: what is nearer than `place` along `angle` is one side, `share` of it."""

    angle: float
    place: float
    share: float


def regroup(
    cells: list[shapely.Polygon], area: BaseGeometry, limits: Limits, *, floor: int
) -> list[shapely.Polygon]:
    """Make two cells of three wherever they fit.

    Parameters
    ----------
    cells : list of shapely.Polygon
        Cells that tile the area [mm].
    area : shapely geometry
        The area.
    limits : Limits
        Greatest side and overlap.
    floor : int
        Number of cells that no layout can go below.

    Returns
    -------
    list of shapely.Polygon
        As many cells, or fewer.
    """
    tried: set[tuple[int, ...]] = set()
    while len(cells) > floor:
        better = _two_of_three(cells, area, limits, tried)
        if better is None:
            break
        cells = better
    return cells


def _two_of_three(
    cells: list[shapely.Polygon],
    area: BaseGeometry,
    limits: Limits,
    tried: set[tuple[int, ...]],
) -> list[shapely.Polygon] | None:
    """Return one cell fewer, from the smallest three neighbours that fit two cells, or None."""
    mean = area.area / len(cells)
    beside = neighbours(cells)
    groups = {
        tuple(sorted((i, j, k)))
        for j, near in enumerate(beside)
        for i, k in itertools.combinations(sorted(near), 2)
    }
    size = {group: sum(cells[i].area for i in group) for group in groups}
    small = [g for g in groups if size[g] <= FULL * 2 * limits.max_side_mm**2]
    border = [_border(cell) for cell in cells]
    for group in sorted(small, key=lambda g: (round(size[g], 3), g))[:GROUPS]:
        known = tuple(id(cells[i]) for i in group)
        points = np.concatenate([border[i] for i in group])
        if known in tried or not any(len(found) for found in _passing(points, limits, COARSE)):
            tried.add(known)
            continue
        tried.add(known)
        pair = halved([cells[i] for i in group], area, limits, least_mm2=SLIVER * mean)
        if pair:
            return [*(c for i, c in enumerate(cells) if i not in group), *pair]
    return None


def without_slivers(
    cells: list[shapely.Polygon], area: BaseGeometry, limits: Limits
) -> list[shapely.Polygon]:
    """Join slivers to a neighbour, or share them out with the largest one that a line lets.

    Parameters
    ----------
    cells : list of shapely.Polygon
        Cells that tile the area [mm].
    area : shapely geometry
        The area.
    limits : Limits
        Greatest side and overlap.

    Returns
    -------
    list of shapely.Polygon
        As many cells, or fewer. A sliver stays where no neighbour has room for it and no straight
        line through both makes two sections of them that are no slivers: then it is forced.
    """
    forced = set[bytes]()
    while True:
        mean = area.area / max(1, len(cells))
        slivers = [c for c in cells if c.area < SLIVER * mean and c.wkb not in forced]
        if not slivers:
            return cells
        sliver = min(slivers, key=lambda cell: cell.area)
        found = _without(sliver, cells, area, limits, SLIVER * mean * 1.001)
        # what was forced may not be so any more beside the new cells
        forced = {*forced, sliver.wkb} if found is None else set()
        cells = cells if found is None else found


def _without(
    sliver: shapely.Polygon,
    cells: list[shapely.Polygon],
    area: BaseGeometry,
    limits: Limits,
    least_mm2: float,
) -> list[shapely.Polygon] | None:
    """Return the cells with a sliver joined to a neighbour or shared with one, if that can be."""
    index = next(i for i, cell in enumerate(cells) if cell is sliver)
    beside = sorted(neighbours(cells)[index], key=lambda k: (-round(cells[k].area, 3), k))
    unions = ((k, fitting_union(sliver, cells[k], area, limits)) for k in reversed(beside))
    pairs = (
        (k, halved([sliver, cells[k]], area, limits, least_mm2=least_mm2, fan=fan, tries=tries))
        for fan, tries in ((COARSE, SOME), (FINE, ALL))
        for k in beside
        if sliver.area + cells[k].area >= 2 * least_mm2
    )
    made = itertools.chain(((k, [one]) for k, one in unions if one), pairs)
    for k, new in made:
        if new:
            return [*(c for i, c in enumerate(cells) if i not in {index, k}), *new]
    return None


def neighbours(cells: list[shapely.Polygon]) -> list[set[int]]:
    """Return for each cell which others touch it."""
    tree = shapely.STRtree(cells)
    pairs = tree.query(cells, predicate="dwithin", distance=SNAP_MM)
    found: list[set[int]] = [set() for _ in cells]
    for a, b in pairs.T.tolist():
        if a != b:
            found[a].add(b)
    return found


def halved(
    group: list[shapely.Polygon],
    area: BaseGeometry,
    limits: Limits,
    *,
    least_mm2: float,
    fan: _Fan = COARSE,
    tries: int = TRIES,
) -> list[shapely.Polygon] | None:
    """Return neighbours as two cells parted by one straight line, both within the limit.

    Parameters
    ----------
    group : list of shapely.Polygon
        Cells next to each other [mm].
    area : shapely geometry
        The area they belong to.
    limits : Limits
        Greatest side and overlap.
    least_mm2 : float
        Least area of each of the two.
    fan : _Fan
        The lines to weigh.
    tries : int
        How many of the most even ones are cut in full.

    Returns
    -------
    list of shapely.Polygon or None
        The two cells, as even as can be; None if no line was found.
    """
    union = parts(shapely.union_all(group, grid_size=SNAP_MM))
    if len(union) != 1 or shapely.buffer(union[0], -1.0).geom_type != "Polygon":
        return None
    whole = union[0]
    for line in _lines(whole, limits.worked(whole, area), limits, least_mm2, fan)[:tries]:
        pair = cut_at(whole, line.angle, line.place)
        if len(pair) == 2 and all(
            half.area >= least_mm2 and limits.holds(half, area) for half in pair
        ):
            return pair
    return None


def _lines(
    whole: shapely.Polygon,
    worked: shapely.Polygon,
    limits: Limits,
    least_mm2: float,
    fan: _Fan,
) -> list[_Line]:
    """Return the lines both sides of which look as if they fit, the most even first."""
    points = _border(worked)
    chosen = _passing(points, limits, fan)
    edges, least, found = edges_of(whole), least_mm2 / whole.area, list[_Line]()
    for angle, places in zip(fan.angles.tolist(), chosen, strict=True):
        if len(places):
            axis = (math.cos(angle), math.sin(angle))
            shares = area_below(edges, axis, places) / whole.area
            fair = (
                (shares >= least) & (shares <= 1 - least) & (pieces_cut(edges, axis, places) == 2)
            )
            lines = zip(places[fair].tolist(), shares[fair].tolist(), strict=True)
            found += [_Line(angle, *line) for line in lines]
    return sorted(found, key=lambda line: (round(abs(line.share - 0.5), 2), _aslant(line.angle)))


def _aslant(angle: float) -> bool:
    """Return whether a direction is neither along nor across the panel."""
    return abs(math.sin(2 * angle)) > TINY


def _border(shape: shapely.Polygon) -> Array:
    """Return points along the outer border of a shape, close together."""
    outer = shapely.simplify(shape.exterior, SLACK_MM / 4)
    return np.asarray(shapely.get_coordinates(shapely.segmentize(outer, POINT_MM)))


def _passing(points: Array, limits: Limits, fan: _Fan) -> list[Array]:
    """Return for each direction the places of lines both sides of which seem to fit [mm]."""
    along = np.stack([np.cos(fan.angles), np.sin(fan.angles)], axis=1) @ points.T
    order = np.argsort(along, axis=1, kind="stable")
    along = np.take_along_axis(along, order, axis=1)
    spread = (SQUARES @ points.T)[:, order.T]  # side of a square, point, direction
    before, after = _running(spread), _running(spread[:, ::-1])[::-1]
    low, high = along[:, :1], along[:, -1:]
    places = low + np.linspace(0.0, 1.0, fan.places + 2)[1:-1] * (high - low)
    # every direction on a stretch of its own: one search for all of them
    apart = 2 * np.ptp(along) * np.arange(fan.directions)[:, None] - low
    first, reach = np.arange(fan.directions)[:, None], 0.5 * limits.overlap_mm
    row = (along + apart).ravel()
    last = np.searchsorted(row, places + apart + reach, side="right") - 1 - first * len(points)
    begin = np.searchsorted(row, places + apart - reach) - first * len(points)
    last, begin = (np.clip(index, 0, len(points) - 1) for index in (last, begin))
    need = np.maximum(before[last, first], after[begin, first])
    return [p[n <= limits.max_side_mm + SLACK_MM] for p, n in zip(places, need, strict=True)]


def _running(spread: Array) -> Array:
    """Return, per point and direction, the side of the smallest square around the points so far."""
    extent = np.maximum.accumulate(spread, axis=1) - np.minimum.accumulate(spread, axis=1)
    return np.asarray(np.maximum(extent[:TURNS], extent[TURNS:]).min(axis=0))
