"""Cut an area into the fewest cells that fit the limit, as bands of cells side by side.

The area is cut into bands by parallel lines and each band into cells by cross cuts of its own, like
courses of stone. A dynamic programme over the band lines finds the fewest cells; equal areas break
ties. Then neighbours that fit one section together are joined.
"""

import itertools
import math
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt
import shapely
from shapely.geometry.base import BaseGeometry

from leastcut.plan.geometry import LEAST_MM2, SNAP_MM, Array, parts, smallest_rectangle

PITCH_MM = 12.0  # raster of the search; the cuts themselves are exact
TINY = 1e-6


@dataclass(frozen=True)
class Limits:
    """The greatest side of a section with its overlap, and the overlap of neighbours [mm]."""

    max_side_mm: float
    overlap_mm: float

    def count(self, extent: float) -> int:
        """Return how many sections in a row an extent [mm] needs."""
        room = self.max_side_mm - self.overlap_mm
        return max(1, math.ceil((extent - self.overlap_mm) / room - 1e-9))

    def worked(self, cell: BaseGeometry, area: BaseGeometry) -> shapely.Polygon:
        """Return a cell grown by half the overlap, clipped to the area, in one piece."""
        grown = shapely.buffer(cell, self.overlap_mm / 2, join_style="mitre", mitre_limit=1.5)
        pieces = parts(shapely.intersection(grown, area, grid_size=SNAP_MM))
        if len(pieces) == 1:
            return pieces[0]
        inside = shapely.point_on_surface(cell)
        return min(pieces, key=lambda p: (p.distance(inside), -p.area))

    def fits(self, worked: BaseGeometry) -> bool:
        """Return whether the smallest rectangle around a worked area is within the limit."""
        x0, y0, x1, y1 = worked.bounds
        if math.hypot(x1 - x0, y1 - y0) <= self.max_side_mm:
            return True
        width, height, _ = smallest_rectangle(worked)
        return max(width, height) <= self.max_side_mm + TINY


@dataclass(frozen=True)
class _Raster:
    """Occupied cells of an area, rows along y between exact lines `ys`."""

    full: npt.NDArray[np.bool_]
    ys: Array
    pitch_x: float


def cut_into_cells(area: BaseGeometry, limits: Limits) -> list[shapely.Polygon]:
    """Cut an area, upright in its own frame, into few near-equal cells.

    Parameters
    ----------
    area : shapely geometry
        What to cut [mm].
    limits : Limits
        Greatest side and overlap.

    Returns
    -------
    list of shapely.Polygon
        Cells that tile the area; each with its overlap is within the limit.
    """
    best: list[shapely.Polygon] | None = None
    for upright in (True, False):
        turned = area if upright else _transposed(area)
        cells = _join(_split_wide(_courses(turned, limits), turned, limits), turned, limits)
        if not upright:
            cells = [_transposed(cell) for cell in cells]
        if best is None or _worse(best) > _worse(cells):
            best = cells
    assert best is not None
    return best


def _worse(cells: list[shapely.Polygon]) -> tuple[int, float]:
    """Rank a layout: fewer cells first, then less unequal areas (to a percent, for stability)."""
    areas = np.array([cell.area for cell in cells])
    return len(cells), round(float(areas.std() / areas.mean()), 2)


def _transposed(shape: BaseGeometry) -> BaseGeometry:
    return shapely.transform(shape, lambda p: p[:, ::-1])


def _courses(area: BaseGeometry, limits: Limits) -> list[shapely.Polygon]:
    """Cut into bands by the dynamic programme, and each band into cells."""
    raster = _rasterise(area, limits)
    lines = _band_lines(raster, limits)
    x0, _, x1, _ = area.bounds
    cells = []
    for low, high in itertools.pairwise(lines):
        band = shapely.intersection(area, shapely.box(x0 - 1, low, x1 + 1, high), grid_size=SNAP_MM)
        cells.extend(_cut_band(band, limits))
    return cells


def _rasterise(area: BaseGeometry, limits: Limits) -> _Raster:
    x0, y0, x1, y1 = area.bounds
    rows = max(2, min(160, math.ceil((y1 - y0) / PITCH_MM)))
    room, first = limits.max_side_mm - limits.overlap_mm, limits.max_side_mm - limits.overlap_mm / 2
    steps = first + room * np.arange(max(0, math.ceil((y1 - y0) / room)))
    ys = np.concatenate([np.linspace(y0, y1, rows + 1), y0 + steps, y1 - steps])
    ys = np.unique(np.round(ys[(ys >= y0) & (ys <= y1)], 6))
    ys[0], ys[-1] = y0, y1
    columns = max(2, min(160, math.ceil((x1 - x0) / PITCH_MM)))
    xs = x0 + (np.arange(columns) + 0.5) * (x1 - x0) / columns
    middle = 0.5 * (ys[:-1] + ys[1:])
    shapely.prepare(area)
    full = shapely.contains_xy(area, *np.meshgrid(xs, middle))
    return _Raster(full, ys, (x1 - x0) / columns)


def _band_lines(raster: _Raster, limits: Limits) -> list[float]:
    """Return the y of the band lines, lowest first, ends included."""
    ys, n = raster.ys, len(raster.ys)
    low, high = np.triu_indices(n, 1)
    grown = ys[high] - ys[low] + limits.overlap_mm / 2 * ((low > 0).astype(float) + (high < n - 1))
    allowed = grown <= limits.max_side_mm + TINY
    low, high = low[allowed], high[allowed]
    counts = _cells_of(raster, low, high, limits)
    fewest = _shortest(n, low, high, counts.astype(np.float64))[0]
    strips = raster.full.sum(axis=1) * np.diff(ys) * raster.pitch_x
    total = np.concatenate([[0.0], np.cumsum(strips)])
    wanted = total[-1] / fewest
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
    room = limits.max_side_mm - limits.overlap_mm
    each = np.maximum(1, np.ceil((length - limits.overlap_mm) / room - 1e-9))
    return np.bincount(band, each, minlength=len(low)).astype(np.int64)


def _shortest(
    n: int, low: npt.NDArray[np.intp], high: npt.NDArray[np.intp], cost: Array
) -> tuple[float, npt.NDArray[np.int64]]:
    """Return the least cost from line 0 to line n - 1 and, for each line, the one before it."""
    best, came = np.full(n, np.inf), np.zeros(n, dtype=np.int64)
    best[0] = 0.0
    order = np.argsort(high, kind="stable")
    low, high, cost = low[order], high[order], cost[order]
    starts = np.searchsorted(high, np.arange(n + 1))
    for line in range(1, n):
        span = slice(starts[line], starts[line + 1])
        through = best[low[span]] + cost[span]
        pick = int(np.argmin(through))
        best[line], came[line] = through[pick], low[span][pick]
    return max(1.0, float(round(best[-1]))), came


def _cut_band(band: BaseGeometry, limits: Limits) -> list[shapely.Polygon]:
    """Cut a band's runs into cells of equal area as far as the limit lets them."""
    cells = []
    for piece in parts(band):
        x0, y0, x1, y1 = piece.bounds
        count = limits.count(x1 - x0)
        cuts = _equal_cuts(piece, count, limits)
        for a, b in zip([x0 - 1, *cuts], [*cuts, x1 + 1], strict=True):
            box = shapely.box(a, y0 - 1, b, y1 + 1)
            cells.extend(parts(shapely.intersection(piece, box, grid_size=SNAP_MM)))
    return cells


def _equal_cuts(piece: shapely.Polygon, count: int, limits: Limits) -> list[float]:
    """Return the x of `count` - 1 cuts: equal areas, moved where a cell would get too wide."""
    if count == 1:
        return []
    x0, y0, x1, y1 = piece.bounds
    xs = np.linspace(x0, x1, 65)
    slices = shapely.box(xs[:-1], y0, xs[1:], y1)
    areas = np.concatenate([[0.0], np.cumsum(shapely.area(shapely.intersection(piece, slices)))])
    cuts = np.interp(np.arange(1, count) * areas[-1] / count, areas, xs)
    room = limits.max_side_mm - limits.overlap_mm
    edge = limits.max_side_mm - limits.overlap_mm / 2
    for i in range(count - 1):
        cuts[i] = min(cuts[i], x0 + edge if i == 0 else cuts[i - 1] + room)
    for i in range(count - 2, -1, -1):
        cuts[i] = max(cuts[i], x1 - edge if i == count - 2 else cuts[i + 1] - room)
    return [round(float(cut), 6) for cut in cuts]


def _split_wide(
    cells: list[shapely.Polygon], area: BaseGeometry, limits: Limits
) -> list[shapely.Polygon]:
    """Halve cells that are still too large in their own smallest rectangle."""
    done, todo = [], cells[::-1]
    while todo:
        cell = todo.pop()
        if cell.area < LEAST_MM2 or limits.fits(limits.worked(cell, area)):
            done.append(cell)
        else:
            todo.extend(halves(cell))
    return done


def halves(cell: shapely.Polygon) -> list[shapely.Polygon]:
    """Cut a cell across its long axis into two of equal area (or more, if it is concave)."""
    width, height, angle = smallest_rectangle(cell)
    if height > width:
        angle += math.pi / 2
    axis, across = np.array([math.cos(angle), math.sin(angle)]), max(width, height) * 2
    points = shapely.get_coordinates(cell) @ axis
    low, high = float(points.min()), float(points.max())
    start, target = low, cell.area / 2
    for _ in range(24):
        middle = 0.5 * (low + high)
        below = shapely.intersection(cell, _slab(axis, start - 1, middle, across)).area
        low, high = (middle, high) if below < target else (low, middle)
    first = _slab(axis, start - 1, 0.5 * (low + high), across)
    return [
        *parts(shapely.intersection(cell, first, grid_size=SNAP_MM)),
        *parts(shapely.difference(cell, first, grid_size=SNAP_MM)),
    ]


def _slab(axis: Array, start: float, end: float, across: float) -> shapely.Polygon:
    side = np.array([-axis[1], axis[0]])
    # far along the side: a slab through the whole cell wherever the frame's origin lies
    reach = side * (across + 4 * (abs(start) + abs(end)) + 1e5)
    return shapely.Polygon(
        [axis * start - reach, axis * end - reach, axis * end + reach, axis * start + reach]
    )


def _join(
    cells: list[shapely.Polygon], area: BaseGeometry, limits: Limits
) -> list[shapely.Polygon]:
    """Join neighbours that fit one section together, smallest pairs first, until none does."""
    cells = list(cells)
    refused: set[tuple[bytes, bytes]] = set()
    while True:
        pair = _joinable(cells, area, limits, refused)
        if pair is None:
            return cells
        i, j, union = pair
        cells[i] = union
        del cells[j]


def _joinable(
    cells: list[shapely.Polygon],
    area: BaseGeometry,
    limits: Limits,
    refused: set[tuple[bytes, bytes]],
) -> tuple[int, int, shapely.Polygon] | None:
    pairs = [
        (cells[i].area + cells[j].area, i, j)
        for i in range(len(cells))
        for j in range(i + 1, len(cells))
        if cells[i].area + cells[j].area <= limits.max_side_mm**2
    ]
    for _, i, j in sorted(pairs):
        key = (cells[i].wkb, cells[j].wkb)
        if key in refused:
            continue
        union = joined(cells[i], cells[j])
        if union is not None and limits.fits(limits.worked(union, area)):
            return i, j, union
        refused.add(key)
    return None


def joined(a: shapely.Polygon, b: shapely.Polygon) -> shapely.Polygon | None:
    """Return the union of two cells with a seam in common, or None."""
    if not shapely.dwithin(a, b, SNAP_MM):
        return None
    union = parts(shapely.union(a, b, grid_size=SNAP_MM))
    seam = 0.5 * (a.length + b.length - union[0].length) if len(union) == 1 else 0.0
    return union[0] if seam > 1.0 else None
