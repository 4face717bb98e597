"""Square grids over a panel and the dwell of strokes on them."""

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from leastcut.errors import InputError
from leastcut.polish.records import Stroke
from leastcut.polish.speed import Array

MAX_CELLS = 40_000_000  # 320 MB a layer: a whole lorry at 2 mm


class GridError(InputError):
    """A grid that would not fit into memory."""


@dataclass(frozen=True)
class Grid:
    """Cells of one size; the centre of cell [0, 0] is at `origin_mm`, rows run along +y."""

    origin_mm: tuple[float, float]
    cell_mm: float
    shape: tuple[int, int]

    def xs_mm(self) -> Array:
        """Return the x of the cell centres [mm]."""
        return self.origin_mm[0] + self.cell_mm * np.arange(self.shape[1], dtype=np.float64)

    def ys_mm(self) -> Array:
        """Return the y of the cell centres [mm]."""
        return self.origin_mm[1] + self.cell_mm * np.arange(self.shape[0], dtype=np.float64)


def grid_over(
    bounds_mm: tuple[float, float, float, float], *, cell_mm: float, margin_mm: float = 0.0
) -> Grid:
    """Return a grid over (x0, y0, x1, y1) and a margin, with a cell centred on (x0, y0)."""
    x0, y0, x1, y1 = bounds_mm
    before = math.ceil(margin_mm / cell_mm)
    columns = before + math.ceil((x1 - x0 + margin_mm) / cell_mm) + 1
    rows = before + math.ceil((y1 - y0 + margin_mm) / cell_mm) + 1
    return Grid((x0 - before * cell_mm, y0 - before * cell_mm), cell_mm, (rows, columns))


def checked_grid(
    bounds_mm: tuple[float, float, float, float], cell_mm: float, margin_mm: float
) -> Grid:
    """Return a grid over bounds and margin, unless it is too large.

    Parameters
    ----------
    bounds_mm : (x0, y0, x1, y1)
        What to cover [mm].
    cell_mm, margin_mm : float
        Cell size and margin all around [mm].

    Returns
    -------
    Grid
        The grid.

    Raises
    ------
    GridError
        If it has more than MAX_CELLS cells.
    """
    width, height = bounds_mm[2] - bounds_mm[0], bounds_mm[3] - bounds_mm[1]
    cells = (width + 2 * margin_mm) * (height + 2 * margin_mm) / cell_mm**2
    if not cells <= MAX_CELLS:
        raise GridError(
            f"{width:.0f} × {height:.0f} mm at {cell_mm:g} mm is more than {MAX_CELLS} cells",
            do="Choose a coarser grid_mm or a smaller area",
        )
    return grid_over(bounds_mm, cell_mm=cell_mm, margin_mm=margin_mm)


def stroke_array(strokes: Sequence[Stroke] | npt.ArrayLike) -> Array:
    """Return strokes as an array (n, 4) of x0, y0, x1, y1 [mm]."""
    return np.asarray(strokes, dtype=np.float64).reshape(-1, 4)


def stroke_lengths_mm(strokes: Sequence[Stroke] | npt.ArrayLike) -> Array:
    """Return the length of each stroke [mm]."""
    ends = stroke_array(strokes)
    return np.asarray(np.hypot(ends[:, 2] - ends[:, 0], ends[:, 3] - ends[:, 1]))


@dataclass(frozen=True)
class Walk:
    """The path of the pad's centre cut into short pieces.

    Attributes
    ----------
    x_mm, y_mm : ndarray, shape (n,)
        Middle of each piece [mm].
    dwell_s : ndarray, shape (n,)
        Time spent on it [s].
    """

    x_mm: Array
    y_mm: Array
    dwell_s: Array


def walk(
    strokes: Sequence[Stroke] | npt.ArrayLike,
    *,
    arm_speed_mm_s: float,
    step_mm: float,
    ramp_mm: float = 0.0,
) -> Walk:
    """Cut strokes into pieces no longer than `step_mm` and time each.

    Parameters
    ----------
    strokes : sequence of Stroke or array_like (n, 4)
        Path of the pad's centre [mm].
    arm_speed_mm_s : float
        Speed of the arm along a stroke [mm/s].
    step_mm : float
        Longest piece [mm].
    ramp_mm : float
        Length over which the arm gathers speed at the start of a stroke, and loses it at the end,
        at even acceleration [mm]; 0 for full speed at once. The dwell there is exact.

    Returns
    -------
    Walk
        Pieces in order; their times add up to the time of the strokes.
    """
    ends, lengths = stroke_array(strokes), stroke_lengths_mm(strokes)
    counts = np.maximum(1, np.ceil(lengths / step_mm)).astype(np.int64)
    which = np.repeat(np.arange(len(ends)), counts)
    index = np.arange(len(which)) - np.repeat(np.cumsum(counts) - counts, counts)
    count, length = counts[which], lengths[which]
    middle = ((index + 0.5) / count)[:, None]
    at = ends[which, :2] * (1.0 - middle) + ends[which, 2:] * middle
    began = time_to_s(index / count * length, length, arm_speed_mm_s, ramp_mm)
    ended = time_to_s((index + 1) / count * length, length, arm_speed_mm_s, ramp_mm)
    return Walk(at[:, 0], at[:, 1], ended - began)


def joined_walks(walks: Sequence[Walk], factors: Sequence[float]) -> Walk:
    """Return walks as one, the time of each multiplied by its factor."""
    return Walk(
        np.concatenate([one.x_mm for one in walks]),
        np.concatenate([one.y_mm for one in walks]),
        np.concatenate([one.dwell_s * f for one, f in zip(walks, factors, strict=True)]),
    )


def time_to_s(
    s_mm: npt.ArrayLike, length_mm: npt.ArrayLike, arm_speed_mm_s: float, ramp_mm: float
) -> Array:
    """Return the time from the start of a stroke to the place `s_mm` along it [s].

    With even acceleration over the ramp the speed grows as the root of the way, so the ramp takes
    twice the time of full speed. A stroke shorter than two ramps turns round at its middle.

    Parameters
    ----------
    s_mm, length_mm : array_like
        Way from the start, and length of the stroke [mm].
    arm_speed_mm_s : float
        Full speed [mm/s].
    ramp_mm : float
        Length of the ramp [mm].

    Returns
    -------
    ndarray
        Time [s].
    """
    length = np.asarray(length_mm, dtype=np.float64)
    s = np.minimum(np.asarray(s_mm, dtype=np.float64), length)
    if ramp_mm <= 0:
        return np.asarray(s / arm_speed_mm_s)
    ramp = np.minimum(ramp_mm, length / 2)
    from_end = np.maximum(length - s, 0.0)
    rise = 2.0 * np.sqrt(np.minimum(s, ramp) * ramp_mm)
    flat = np.clip(s, ramp, length - ramp) - ramp
    fall = 2.0 * np.sqrt(ramp * ramp_mm) - 2.0 * np.sqrt(np.minimum(from_end, ramp) * ramp_mm)
    return np.asarray((rise + flat + fall) / arm_speed_mm_s)


def deposit(path: Walk, grid: Grid, *, weight: Array | None = None) -> Array:
    """Return the dwell of a walk on a grid [s per cell], shared over the four nearest centres.

    Sharing keeps both the sum and the centre of gravity, so the map made from it neither gains
    volume nor shifts. Pieces beyond the grid are the caller's mistake: give the grid its margin.

    Parameters
    ----------
    path : Walk
        Pieces of the path with their times.
    grid : Grid
        Where to put them.
    weight : ndarray, optional
        Factor on each piece.

    Returns
    -------
    ndarray, shape grid.shape
        Dwell [s].
    """
    dwell = path.dwell_s if weight is None else path.dwell_s * weight
    u = (path.x_mm - grid.origin_mm[0]) / grid.cell_mm
    v = (path.y_mm - grid.origin_mm[1]) / grid.cell_mm
    i, j = np.floor(v).astype(np.int64), np.floor(u).astype(np.int64)
    fu, fv = u - j, v - i
    rows, columns = grid.shape
    place = i * columns + j
    low, high = dwell * (1.0 - fv), dwell * fv
    places = np.concatenate([place, place + 1, place + columns, place + columns + 1])
    shares = np.concatenate([low * (1.0 - fu), low * fu, high * (1.0 - fu), high * fu])
    flat = np.bincount(places, shares, minlength=rows * columns)
    return np.asarray(flat[: rows * columns].reshape(rows, columns), dtype=np.float64)
