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
import shapely
from shapely.geometry.base import BaseGeometry

from leastcut.car.records import Polyline
from leastcut.plan.bands import band_lines, fewest_across, rasterise
from leastcut.plan.cuts import within
from leastcut.plan.edges import area_below
from leastcut.plan.geometry import SNAP_MM, Array, parts, rotated, smallest_rectangle
from leastcut.plan.joins import even_out, join, split_wide, without_tongues
from leastcut.plan.limits import TINY, Limits, area_bound
from leastcut.plan.regroup import regroup, without_slivers

WELL_FILLED = 0.62  # a layout that fills this share of its cells is not worth turning
FORCED_ONLY = 0.35  # share of the mean area below which a section counts as a sliver
EVEN = 0.1  # spread of areas over their mean that is not worth another try
COARSE_MM = 40.0  # raster of the first estimate
CRUMB = 0.15  # share of a full cell below which a piece is likely to be joined to another
MOST = 1_000_000  # any number of cells
CARRY_ON_MM = 40.0  # a body line that ends this close to the border is carried on to it


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
        cells = even_out(cells, area, limits)
        # a seam along a body line is an edge to the pieces it parts, but the overlap crosses it
        if cells and not _has_sliver(cells) and all(limits.holds(c, area) for c in cells):
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
    frames = [_Frame(area, turn, upright=up) for turn in turns for up in (True, False)]
    needed = [fewest_across(rasterise(f.area, limits, COARSE_MM), limits) for f in frames]
    least = min(needed)
    tried = [f for f, need in zip(frames, needed, strict=True) if need == least < below][:tries]
    drafts = [draft for frame in tried for draft in _drafts(frame, least, limits)]
    best = list[shapely.Polygon]()
    for draft in sorted(drafts, key=lambda d: d.expected):
        if best and _badness(best) < (math.ceil(draft.expected), EVEN):
            break
        best = min((b for b in (best, draft.finished(limits)) if b), key=_badness)
    return best


class _Frame:
    """An area turned by an angle; bands go along its x, or its y if it is not upright."""

    def __init__(self, area: BaseGeometry, angle: float, *, upright: bool) -> None:
        turned = rotated(area, -angle)
        self.area = turned if upright else _transposed(turned)
        self._angle, self._upright = angle, upright

    def back(self, cells: list[shapely.Polygon]) -> list[shapely.Polygon]:
        """Return cells of the frame in the panel's own axes."""
        upright = cells if self._upright else [_transposed(cell) for cell in cells]
        return [_whole(rotated(cell, self._angle)) for cell in upright]


@dataclass(frozen=True)
class _Draft:
    """Courses of cells, some perhaps too large yet, and how many sections to expect of them."""

    frame: _Frame
    cells: list[shapely.Polygon]
    expected: float

    def finished(self, limits: Limits) -> list[shapely.Polygon]:
        """Return cells within the limit: split what is too large, join what fits together."""
        area = self.frame.area
        cells = without_tongues(self.cells, area, limits)
        return self.frame.back(join(split_wide(cells, area, limits), area, limits))


def _drafts(frame: _Frame, about: int, limits: Limits) -> list[_Draft]:
    """Return the courses by likely and by least lengths of the runs."""
    drafts = []
    for lines in band_lines(rasterise(frame.area, limits), limits, about):
        cells = _courses(frame.area, limits, lines)
        crumbs = sum(cell.area < CRUMB * limits.room_mm**2 for cell in cells)
        wide = sum(not limits.fits(cell) for cell in cells)
        drafts.append(_Draft(frame, cells, len(cells) - 0.5 * crumbs + wide))
    return drafts


def _slants(area: BaseGeometry) -> list[float]:
    """Return directions to try besides the panel's own: its smallest rectangle's, and between."""
    _, _, angle = smallest_rectangle(area)
    tilt = (angle + math.pi / 4) % (math.pi / 2) - math.pi / 4
    turns = (tilt, tilt + math.pi / 6, tilt + math.pi / 3)
    return [turn for turn in turns if abs(turn) > math.radians(2.0)]


def _whole(shape: BaseGeometry) -> shapely.Polygon:
    return max(parts(shape), key=lambda piece: piece.area)


def _badness(cells: list[shapely.Polygon]) -> tuple[int, float]:
    """Rank a layout: fewer cells first, then less unequal areas (to a percent, for stability)."""
    areas = np.array([cell.area for cell in cells])
    return len(cells), round(float(areas.std() / areas.mean()), 2)


def _transposed(shape: BaseGeometry) -> BaseGeometry:
    return shapely.transform(shape, lambda p: p[:, ::-1])


def _courses(area: BaseGeometry, limits: Limits, lines: Sequence[float]) -> list[shapely.Polygon]:
    """Cut into bands at lines, and each band into cells."""
    x0, _, x1, _ = area.bounds
    cells = []
    for low, high in itertools.pairwise(lines):
        for piece in within(area, x0 - 1, low, x1 + 1, high):
            cells.extend(_cut_piece(piece, limits))
    return cells


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
