"""How large a section may be."""

import math
from dataclasses import dataclass

import shapely
from shapely.geometry.base import BaseGeometry

from leastcut.plan.geometry import longest_side, parts

TINY = 1e-6


@dataclass(frozen=True)
class Limits:
    """The greatest side of a section with its overlap, and the overlap of neighbours [mm]."""

    max_side_mm: float
    overlap_mm: float

    @property
    def room_mm(self) -> float:
        """Greatest side of a cell with neighbours all around [mm]."""
        return self.max_side_mm - self.overlap_mm

    def count(self, extent: float) -> int:
        """Return how many sections in a row an extent [mm] needs."""
        return max(1, math.ceil((extent - self.overlap_mm) / self.room_mm - 1e-9))

    def worked(self, cell: BaseGeometry, area: BaseGeometry) -> shapely.Polygon:
        """Return a cell grown by half the overlap, clipped to the area, in one piece."""
        # a hole is no part of the area, so that the clipping restores it
        outer = shapely.Polygon(cell.exterior) if isinstance(cell, shapely.Polygon) else cell
        grown = shapely.buffer(outer, self.overlap_mm / 2, join_style="mitre", mitre_limit=1.5)
        pieces = parts(shapely.intersection(grown, area))
        if len(pieces) == 1:
            return pieces[0]
        inside = shapely.point_on_surface(cell)
        return min(pieces, key=lambda p: (p.distance(inside), -p.area))

    def fits(self, worked: BaseGeometry) -> bool:
        """Return whether the smallest rectangle around a worked area is within the limit."""
        return longest_side(worked) <= self.max_side_mm + TINY

    def holds(self, cell: BaseGeometry, area: BaseGeometry) -> bool:
        """Return whether a cell with its overlap is within the limit."""
        return self.fits(self.worked(cell, area))


def area_bound(area: BaseGeometry, limits: Limits) -> int:
    """Return a number of sections that no layout can go below, by area alone.

    A section covers at most the square of the limit. A place that is half an overlap or more from
    every border lies that far inside its section too, so of such places a section covers at most
    the square of the limit less the overlap. Both bounds hold; the greater counts.
    """
    deep = shapely.buffer(area, -limits.overlap_mm / 2, quad_segs=4).area
    most = max(area.area / limits.max_side_mm**2, deep / limits.room_mm**2)
    return max(1, math.ceil(most - 1e-9))
