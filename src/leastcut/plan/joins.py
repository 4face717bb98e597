"""Split cells that are too large, join those that fit together, even out slivers."""

import math

import numpy as np
import shapely
from shapely.geometry.base import BaseGeometry

from leastcut.plan.cuts import divided, halves, long_axis, rounded
from leastcut.plan.geometry import LEAST_MM2, SNAP_MM, parts
from leastcut.plan.limits import Limits

TONGUE_MM = 15.0  # half the width of what is too thin to belong to a cell by itself
SLIVER = 0.45  # share of the mean area below which a cell is evened out with a neighbour


def split_wide(
    cells: list[shapely.Polygon], area: BaseGeometry, limits: Limits
) -> list[shapely.Polygon]:
    """Halve cells that are still too large in their own smallest rectangle."""
    done, todo = [], cells[::-1]
    while todo:
        cell = todo.pop()
        if cell.area < LEAST_MM2 or limits.holds(cell, area):
            done.append(cell)
        else:
            todo.extend(halves(cell))
    return done


def join(cells: list[shapely.Polygon], area: BaseGeometry, limits: Limits) -> list[shapely.Polygon]:
    """Join neighbours that fit one section together, smallest pairs first, until none does."""
    cells = list(cells)
    row = np.array(cells, dtype=object)
    beside = shapely.dwithin(row[:, None], row, SNAP_MM)
    todo = [(i, j) for i in range(len(cells)) for j in range(i) if beside[i, j]]
    while todo:
        todo.sort(key=lambda pair: (cells[pair[0]].area + cells[pair[1]].area, pair))
        for place, (i, j) in enumerate(todo):
            union = fitting_union(cells[i], cells[j], area, limits)
            if union is not None:
                cells[i], cells[j] = union, shapely.Polygon()
                # only pairs with the new cell, and those not yet tried, are left to try
                todo = [pair for pair in todo[place + 1 :] if not {i, j} & set(pair)]
                todo += [(i, k) for k, c in enumerate(cells) if k != i and not c.is_empty]
                break
        else:
            break
    return [cell for cell in cells if not cell.is_empty]


def fitting_union(
    a: shapely.Polygon, b: shapely.Polygon, area: BaseGeometry, limits: Limits
) -> shapely.Polygon | None:
    """Return two neighbours as one cell if that is within the limit; cheap tests come first."""
    if a.area + b.area > limits.max_side_mm**2 or not shapely.dwithin(a, b, SNAP_MM):
        return None
    if not limits.fits(shapely.GeometryCollection([a, b])):
        return None
    union = joined(a, b)
    return union if union is not None and limits.fits(limits.worked(union, area)) else None


def joined(a: shapely.Polygon, b: shapely.Polygon) -> shapely.Polygon | None:
    """Return the union of two cells with a seam in common, or None."""
    if not shapely.dwithin(a, b, SNAP_MM):
        return None
    union = parts(shapely.union(a, b, grid_size=SNAP_MM))
    seam = 0.5 * (a.length + b.length - union[0].length) if len(union) == 1 else 0.0
    return union[0] if seam > 1.0 else None


def without_tongues(
    cells: list[shapely.Polygon], area: BaseGeometry, limits: Limits
) -> list[shapely.Polygon]:
    """Give thin tongues of cells to the neighbour they lie along, where it stays in limits.

    A band line drawn for one column leaves such tongues over its neighbours, which have nothing
    beyond them and could reach the border themselves.

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
        As many cells, or fewer.
    """
    cells = list(cells)
    for index in range(len(cells)):
        for tongue in _tongues(cells[index]):
            for k in shapely.dwithin(tongue, cells, SNAP_MM).nonzero()[0]:
                beside = parts(shapely.intersection(tongue, _beside(tongue, cells[k])))
                rest = parts(
                    shapely.difference(cells[index], shapely.union_all(beside), grid_size=SNAP_MM)
                )
                if k != index and len(beside) == 1 and len(rest) <= 1:
                    union = fitting_union(beside[0], cells[k], area, limits)
                    if union is not None:
                        cells[index] = rest[0] if rest else shapely.Polygon()
                        cells[k] = union
    return [cell for cell in cells if not cell.is_empty]


def _beside(tongue: shapely.Polygon, cell: shapely.Polygon) -> shapely.Polygon:
    """Return the strip of the plane across a tongue that holds a neighbour."""
    a0, b0, a1, b1 = tongue.bounds
    x0, y0, x1, y1 = cell.bounds
    lengthwise = a1 - a0 > b1 - b0
    return (
        shapely.box(x0, b0 - 1, x1, b1 + 1) if lengthwise else shapely.box(a0 - 1, y0, a1 + 1, y1)
    )


def _tongues(cell: shapely.Polygon) -> list[shapely.Polygon]:
    """Return what is narrower than twice TONGUE_MM, largest first; corners do not count."""
    if shapely.convex_hull(cell).area - cell.area < TONGUE_MM**2:
        return []
    inside = shapely.buffer(cell, -TONGUE_MM, join_style="mitre")
    core = shapely.buffer(inside, TONGUE_MM * 1.001, join_style="mitre")
    if core.is_empty:
        return [cell]
    thin = parts(rounded(shapely.difference(cell, core)))
    return sorted((p for p in thin if p.area > TONGUE_MM**2), key=lambda p: (-p.area, p.bounds))


def even_out(
    cells: list[shapely.Polygon], area: BaseGeometry, limits: Limits
) -> list[shapely.Polygon]:
    """Share out slivers: a sliver and a neighbour become two halves of what they are together.

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
        As many cells. A sliver stays where no neighbour can share with it: then it is forced.
    """
    cells, settled = list(cells), set[int]()
    mean = sum(cell.area for cell in cells) / max(1, len(cells))
    while True:
        slivers = [i for i, c in enumerate(cells) if c.area < SLIVER * mean and i not in settled]
        if not slivers:
            return cells
        index = min(slivers, key=lambda i: cells[i].area)
        settled.add(index)
        shared = [
            (min(pair[0].area, pair[1].area), k, pair)
            for k, other in enumerate(cells)
            if k != index and (pair := _shared(cells[index], other, area, limits))
        ]
        if shared:
            least, k, pair = max(shared, key=lambda item: item[:2])
            if least > 1.2 * cells[index].area:
                cells[index], cells[k] = pair


def _shared(
    sliver: shapely.Polygon, other: shapely.Polygon, area: BaseGeometry, limits: Limits
) -> list[shapely.Polygon] | None:
    """Return a sliver and a neighbour as two fair parts of their union, if both are in limits."""
    union = joined(sliver, other)
    if union is None:
        return None
    for share in (0.5, 0.4):
        for angle in (long_axis(union), 0.0, math.pi / 2):
            pair = divided(union, angle, share)
            if len(pair) == 2 and all(limits.holds(half, area) for half in pair):
                return pair
    return None
