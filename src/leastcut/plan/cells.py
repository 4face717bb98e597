"""Cut an area into the fewest cells that fit the limit, as bands of cells side by side.

The area is cut into bands by parallel lines and each band into cells by cross cuts of its own, like
courses of stone. A dynamic programme over the band lines finds the fewest cells; equal areas break
ties. Then neighbours that fit one section together are joined.
"""

import itertools
import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt
import shapely
from shapely.geometry.base import BaseGeometry

from leastcut.car.records import Polyline
from leastcut.plan.cuts import within
from leastcut.plan.edges import area_below
from leastcut.plan.geometry import SNAP_MM, Array, parts, rotated, smallest_rectangle
from leastcut.plan.joins import even_out, join, split_wide, without_tongues
from leastcut.plan.limits import TINY, Limits, area_bound
from leastcut.plan.regroup import regroup, without_slivers

PITCH_MM = 20.0  # raster of the search; the cuts themselves are exact
WELL_FILLED = 0.62  # a layout that fills this share of its cells is not worth turning
FORCED_ONLY = 0.35  # share of the mean area below which a section counts as a sliver
EVEN = 0.1  # spread of areas over their mean that is not worth another try
MOST = 1_000_000  # any number of cells
CARRY_ON_MM = 40.0  # a body line that ends this close to the border is carried on to it


@dataclass(frozen=True)
class _Raster:
    """Occupied cells of an area, rows along y between exact lines `ys`."""

    full: npt.NDArray[np.bool_]
    ys: Array
    pitch_x: float


def cut_into_cells(
    area: BaseGeometry, limits: Limits, *, body_lines_mm: Sequence[Polyline] = ()
) -> list[shapely.Polygon]:
    """Cut an area into few near-equal cells, along its body lines where that costs no section.

    Parameters
    ----------
    area : shapely geometry
        What to cut [mm].
    limits : Limits
        Greatest side and overlap.
    body_lines_mm : sequence of Polyline
        Lines on which a seam is welcome.

    Returns
    -------
    list of shapely.Polygon
        Cells that tile the area; each with its overlap is within the limit.
    """
    least = area_bound(area, limits)
    best = regroup(fewest_cells(area, limits), area, limits, floor=least)
    best = without_slivers(even_out(best, area, limits), area, limits)
    for lines in _choices(body_lines_mm):
        cells = _cells_between(area, lines, limits, at_most=len(best))
        if cells and not _has_sliver(cells := even_out(cells, area, limits)):
            return cells
    return best


def _cells_between(
    area: BaseGeometry, lines: Sequence[Polyline], limits: Limits, *, at_most: int
) -> list[shapely.Polygon]:
    """Cut an area along lines and each piece into cells; nothing if that takes too many."""
    pieces = cut_along(area, lines)
    needed = [_least_along(piece, limits) for piece in pieces]
    if len(pieces) <= len(parts(area)) or sum(needed) > at_most:
        return []
    cells: list[shapely.Polygon] = []
    for index, piece in enumerate(pieces):
        room = at_most - len(cells) - sum(needed[index + 1 :])
        found = _likeliest(piece, limits, tries=1, below=room + 1)
        if not 0 < len(found) <= room:
            return []
        cells.extend(found)
    return cells


def _least_along(piece: shapely.Polygon, limits: Limits) -> int:
    """Return how many cells a piece needs at least if it is cut along and across."""
    x0, y0, x1, y1 = piece.bounds
    return max(area_bound(piece, limits), limits.count(x1 - x0), limits.count(y1 - y0))


def _choices(lines: Sequence[Polyline]) -> list[list[Polyline]]:
    """Return the sets of body lines to try as seams: all of them, then the longest alone."""
    if len(lines) < 2:
        return [list(lines)] if lines else []
    return [list(lines), [max(lines, key=lambda line: shapely.LineString(line).length)]]


def _has_sliver(cells: list[shapely.Polygon]) -> bool:
    areas = [cell.area for cell in cells]
    return min(areas) < FORCED_ONLY * sum(areas) / len(areas)


def cut_along(area: BaseGeometry, lines: Sequence[Polyline]) -> list[shapely.Polygon]:
    """Cut an area along polylines, each carried on straight a little beyond its ends.

    Parameters
    ----------
    area : shapely geometry
        What to cut [mm].
    lines : sequence of Polyline
        Where; a line that does not cross from border to border cuts nothing.

    Returns
    -------
    list of shapely.Polygon
        The pieces, in a fixed order.
    """
    rings = [shapely.get_rings(piece) for piece in parts(area)]
    knives = [shapely.LineString(_longer(line)) for line in lines if len(line) > 1]
    net = shapely.union_all([*np.concatenate(rings), *knives], grid_size=SNAP_MM)
    faces = shapely.get_parts(shapely.polygonize(shapely.get_parts(net).tolist()))
    kept = [f for f in faces if shapely.contains_properly(area, shapely.point_on_surface(f))]
    return sorted(kept, key=lambda f: (round(f.centroid.y, 3), round(f.centroid.x, 3)))


def _longer(line: Polyline) -> Array:
    points = np.asarray(line, dtype=np.float64)
    for end, before in ((0, 1), (-1, -2)):
        way = points[end] - points[before]
        points[end] += way / max(float(np.hypot(*way)), TINY) * CARRY_ON_MM
    return points


def fewest_cells(area: BaseGeometry, limits: Limits) -> list[shapely.Polygon]:
    """Cut an area into few cells, along the panel's axes if that is as good as any other way."""
    best = _likeliest(area, limits, tries=2)
    filled = area.area / (len(best) * limits.room_mm**2)
    if len(best) > area_bound(area, limits) and filled < WELL_FILLED:
        other = _likeliest(area, limits, turns=_slants(area), tries=2, below=len(best))
        best = other if 0 < len(other) < len(best) else best
    return best


def _likeliest(
    area: BaseGeometry,
    limits: Limits,
    *,
    turns: Sequence[float] = (0.0,),
    tries: int,
    below: int = MOST,
) -> list[shapely.Polygon]:
    """Estimate the cells of several directions on a coarse raster; work out the best in full.

    An estimate is hardly ever too high: what needs `below` cells or more is not worked out.
    """
    ways: list[tuple[int, int, float, bool]] = []
    for turn in turns:
        turned = rotated(area, -turn)
        for upright in (True, False):
            frame = turned if upright else _transposed(turned)
            raster = _rasterise(frame, limits, pitch_mm=2 * PITCH_MM)
            ways.append((_fewest(raster, limits), len(ways), turn, upright))
    ways.sort()
    tried = [way for way in ways if way[0] == ways[0][0] < below][:tries]
    least, found = area_bound(area, limits), list[list[shapely.Polygon]]()
    for _, _, turn, upright in tried:
        found.append(_cut(area, turn, upright=upright, limits=limits))
        if len(found[-1]) <= least and _badness(found[-1])[1] < EVEN:
            break
    return min(found, key=_badness, default=[])


def _slants(area: BaseGeometry) -> list[float]:
    """Return directions to try besides the panel's own: its smallest rectangle's, and between."""
    _, _, angle = smallest_rectangle(area)
    tilt = (angle + math.pi / 4) % (math.pi / 2) - math.pi / 4
    turns = (tilt, tilt + math.pi / 6, tilt + math.pi / 3)
    return [turn for turn in turns if abs(turn) > math.radians(2.0)]


def _cut(
    area: BaseGeometry, angle: float, *, upright: bool, limits: Limits
) -> list[shapely.Polygon]:
    """Cut an area in a frame turned by `angle`, bands along its x (upright) or its y."""
    frame = rotated(area, -angle)
    frame = frame if upright else _transposed(frame)
    cells = without_tongues(_courses(frame, limits), frame, limits)
    cells = join(split_wide(cells, frame, limits), frame, limits)
    back = cells if upright else [_transposed(cell) for cell in cells]
    return [_whole(rotated(cell, angle)) for cell in back]


def _whole(shape: BaseGeometry) -> shapely.Polygon:
    return max(parts(shape), key=lambda piece: piece.area)


def _badness(cells: list[shapely.Polygon]) -> tuple[int, float]:
    """Rank a layout: fewer cells first, then less unequal areas (to a percent, for stability)."""
    areas = np.array([cell.area for cell in cells])
    return len(cells), round(float(areas.std() / areas.mean()), 2)


def _transposed(shape: BaseGeometry) -> BaseGeometry:
    return shapely.transform(shape, lambda p: p[:, ::-1])


def _courses(area: BaseGeometry, limits: Limits) -> list[shapely.Polygon]:
    """Cut into bands by the dynamic programme, and each band into cells."""
    raster = _rasterise(area, limits)
    lines = _bands(raster, limits)
    x0, _, x1, _ = area.bounds
    cells = []
    for low, high in itertools.pairwise(lines):
        for piece in within(area, x0 - 1, low, x1 + 1, high):
            cells.extend(_cut_piece(piece, limits))
    return cells


def _rasterise(area: BaseGeometry, limits: Limits, *, pitch_mm: float = PITCH_MM) -> _Raster:
    x0, y0, x1, y1 = area.bounds
    rows = max(2, min(110, math.ceil((y1 - y0) / pitch_mm)))
    room, first = limits.room_mm, limits.max_side_mm - limits.overlap_mm / 2
    steps = first + room * np.arange(max(0, math.ceil((y1 - y0) / room)))
    ys = np.concatenate([np.linspace(y0, y1, rows + 1), y0 + steps, y1 - steps])
    ys = np.unique(np.round(ys[(ys >= y0) & (ys <= y1)], 6))
    ys[0], ys[-1] = y0, y1
    columns = max(2, min(110, math.ceil((x1 - x0) / pitch_mm)))
    xs = x0 + (np.arange(columns) + 0.5) * (x1 - x0) / columns
    middle = 0.5 * (ys[:-1] + ys[1:])
    shapely.prepare(area)
    full = shapely.contains_xy(area, *np.meshgrid(xs, middle))
    return _Raster(np.asarray(full, dtype=np.bool_), ys, (x1 - x0) / columns)


def _spans(
    raster: _Raster, limits: Limits
) -> tuple[npt.NDArray[np.intp], npt.NDArray[np.intp], npt.NDArray[np.int64]]:
    """Return the first and last line of every band within the limit, and the cells it needs."""
    ys, n = raster.ys, len(raster.ys)
    low, high = np.triu_indices(n, 1)
    grown = ys[high] - ys[low] + limits.overlap_mm / 2 * ((low > 0).astype(float) + (high < n - 1))
    allowed = grown <= limits.max_side_mm + TINY
    low, high = low[allowed], high[allowed]
    return low, high, _cells_of(raster, low, high, limits)


def _fewest(raster: _Raster, limits: Limits) -> int:
    """Return how many cells the best bands need."""
    low, high, counts = _spans(raster, limits)
    return round(_shortest(len(raster.ys), low, high, counts.astype(np.float64))[0])


def _bands(raster: _Raster, limits: Limits) -> list[float]:
    """Return the y of the band lines of the fewest cells, lowest first, ends included."""
    ys, n = raster.ys, len(raster.ys)
    low, high, counts = _spans(raster, limits)
    fewest = _shortest(n, low, high, counts.astype(np.float64))[0]
    strips = raster.full.sum(axis=1) * np.diff(ys) * raster.pitch_x
    total = np.concatenate([[0.0], np.cumsum(strips)])
    wanted = max(total[-1] / fewest, 1.0)  # a hair-thin area may fall between the raster points
    each = (total[high] - total[low]) / np.maximum(counts, 1)
    uneven = counts * (each / wanted - 1.0) ** 2
    _, came = _shortest(n, low, high, counts + 1e-3 * uneven / max(1.0, fewest))
    lines, at = [n - 1], n - 1
    while at > 0:
        at = int(came[at])
        lines.append(at)
    return [float(ys[i]) for i in reversed(lines)]


def _cells_of(
    raster: _Raster, low: npt.NDArray[np.intp], high: npt.NDArray[np.intp], limits: Limits
) -> npt.NDArray[np.int64]:
    """Return how many cells the band between each pair of lines needs."""
    filled = np.cumsum(np.pad(raster.full, ((1, 0), (1, 1))), axis=0, dtype=np.int32)
    seen = (filled[high] > filled[low]).astype(np.int8)
    change = np.diff(seen, axis=1)
    band, start = np.nonzero(change == 1)
    end = np.nonzero(change == -1)[1]
    length = (end - start - 1.0) * raster.pitch_x  # a run is at least this long
    each = np.maximum(1, np.ceil((length - limits.overlap_mm) / limits.room_mm - 1e-9))
    return np.bincount(band, each, minlength=len(low)).astype(np.int64)


def _shortest(
    n: int, low: npt.NDArray[np.intp], high: npt.NDArray[np.intp], cost: Array
) -> tuple[float, npt.NDArray[np.int64]]:
    """Return the least cost from line 0 to line n - 1 and, for each line, the one before it."""
    best, came = np.full(n, np.inf), np.zeros(n, dtype=np.int64)
    best[0] = 0.0
    table = np.full((n, n), np.inf)
    table[high, low] = cost
    first = np.zeros(n, dtype=np.int64)
    first[high[::-1]] = low[::-1]  # pairs come by low line: the last one written is the lowest
    for line, start in enumerate(first[1:].tolist(), start=1):
        through = best[start:line] + table[line, start:line]
        pick = through.argmin()
        best[line], came[line] = through[pick], start + pick
    return max(1.0, float(round(best[-1]))), came


def _cut_piece(piece: shapely.Polygon, limits: Limits) -> list[shapely.Polygon]:
    """Cut a piece of a band into cells of equal area as far as the limit lets them."""
    x0, y0, x1, y1 = piece.bounds
    count = limits.count(x1 - x0)
    cuts = _equal_cuts(piece, count, limits)
    if not cuts:
        return [piece]
    sides = zip([x0 - 1, *cuts], [*cuts, x1 + 1], strict=True)
    return [cell for a, b in sides for cell in within(piece, a, y0 - 1, b, y1 + 1)]


def _equal_cuts(piece: shapely.Polygon, count: int, limits: Limits) -> list[float]:
    """Return the x of `count` - 1 cuts: equal areas, moved where a cell would get too wide."""
    if count == 1:
        return []
    x0, _, x1, _ = piece.bounds
    xs = np.linspace(x0, x1, 129)
    areas = area_below(piece, (1.0, 0.0), xs)
    cuts = np.interp(np.arange(1, count) * areas[-1] / count, areas, xs)
    room = limits.room_mm
    edge = limits.max_side_mm - limits.overlap_mm / 2
    for i in range(count - 1):
        cuts[i] = min(cuts[i], x0 + edge if i == 0 else cuts[i - 1] + room)
    for i in range(count - 2, -1, -1):
        cuts[i] = max(cuts[i], x1 - edge if i == count - 2 else cuts[i + 1] - room)
    return [round(float(cut), 6) for cut in cuts]
