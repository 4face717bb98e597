"""A panel as a grid of places: which cells are paint, and how far each is from an edge."""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from leastcut.car.records import Panel, Point

_SHIFT = 4  # sixteenths of a cell when drawing outlines


@dataclass(frozen=True)
class Frame:
    """Grid laid over a panel's plane: middle of cell (0, 0) [mm], pitch [mm], rows, columns."""

    origin_mm: Point
    grid_mm: float
    rows: int
    columns: int

    def places_mm(self, cells: NDArray[np.bool_]) -> NDArray[np.float64]:
        """Return x and y of the marked cells' middles, shape (m, 2) [mm]."""
        row, column = np.nonzero(cells)
        return np.column_stack(
            [self.origin_mm[0] + column * self.grid_mm, self.origin_mm[1] + row * self.grid_mm]
        )

    def cell_of(self, places_mm: NDArray[np.float64]) -> tuple[NDArray[np.intp], NDArray[np.intp]]:
        """Return row and column of the cells nearest to places (m, 2) [mm]."""
        index = np.rint((places_mm - np.array(self.origin_mm)) / self.grid_mm).astype(np.intp)
        return index[:, 1].clip(0, self.rows - 1), index[:, 0].clip(0, self.columns - 1)


@dataclass(frozen=True)
class Raster:
    """Cells of a panel: paint that may be worked, and distance to the next edge or body line [mm]."""

    frame: Frame
    paint: NDArray[np.bool_]
    to_edge_mm: NDArray[np.float64]


def frame_of(points: Sequence[Point], grid_mm: float) -> Frame:
    """Return the grid whose cells cover the box around `points`; row 0 lies at the least y."""
    box = np.array(points)
    low, high = box.min(axis=0), box.max(axis=0)
    size = np.maximum(1, np.ceil((high - low) / grid_mm)).astype(int)
    origin = low + grid_mm / 2
    return Frame((float(origin[0]), float(origin[1])), grid_mm, int(size[1]), int(size[0]))


def fill(frame: Frame, outline_mm: Sequence[Point]) -> NDArray[np.bool_]:
    """Mark the cells whose middle lies inside an outline.

    Parameters
    ----------
    frame : Frame
        The grid.
    outline_mm : sequence of Point
        Closed polygon, last corner joined to the first [mm].

    Returns
    -------
    ndarray of bool, shape (rows, columns)
        True inside.
    """
    import shapely

    shape = shapely.Polygon(outline_mm)
    shapely.prepare(shape)
    x, y = frame.places_mm(np.ones((frame.rows, frame.columns), dtype=bool)).T
    return np.asarray(shapely.contains_xy(shape, x, y).reshape(frame.rows, frame.columns))


def _fixed(frame: Frame, points: Sequence[Point]) -> NDArray[np.int32]:
    cells = (np.array(points) - np.array(frame.origin_mm)) / frame.grid_mm
    return np.asarray(np.rint(cells * 2**_SHIFT), np.int32)


def rasterise(panel: Panel, *, grid_mm: float) -> Raster:
    """Lay a grid over a panel.

    Parameters
    ----------
    panel : Panel
        Outline, keep-outs and body lines [mm].
    grid_mm : float
        Pitch of the grid [mm].

    Returns
    -------
    Raster
        Paint without the keep-outs; distances to the outline, keep-outs and body lines.
    """
    import cv2

    frame = frame_of(panel.outline_mm, grid_mm)
    paint = fill(frame, panel.outline_mm)
    for keep_out in panel.keep_outs:
        paint &= ~fill(frame, keep_out.outline_mm)
    free = np.pad(paint.astype(np.uint8), 1)
    for line in panel.body_lines_mm:
        cv2.polylines(
            free[1:-1, 1:-1], [_fixed(frame, line)], isClosed=False, color=0, shift=_SHIFT
        )
    cells = cv2.distanceTransform(free, cv2.DIST_L2, cv2.DIST_MASK_PRECISE)[1:-1, 1:-1]
    to_edge = np.maximum(0.0, np.asarray(cells, np.float64) - 0.5) * grid_mm
    return Raster(frame, paint, to_edge)
