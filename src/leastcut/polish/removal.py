"""The cut that strokes leave on a panel: footprint convolved with dwell."""

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from leastcut.errors import InputError
from leastcut.polish.footprint import (
    Kernel,
    footprint_kernel,
    reach_mm,
    volume_rate_mm3_s,
)
from leastcut.polish.grid import Grid, checked_grid, deposit, stroke_lengths_mm, walk
from leastcut.polish.records import PadMotion, PadSettings, RemovalSet, RemovalSummary, Stroke
from leastcut.polish.speed import Array


class PolishError(InputError):
    """Settings from which no cut can be computed."""


@dataclass(frozen=True)
class RemovalMap:
    """Depth removed on a grid.

    Attributes
    ----------
    depth_um : ndarray, shape grid.shape
        Mean depth removed over each cell [µm]; rows run along +y.
    grid : Grid
        Where the cells are.
    """

    depth_um: Array
    grid: Grid

    def volume_mm3(self) -> float:
        """Return the volume removed [mm³]."""
        return float(self.depth_um.sum()) * self.grid.cell_mm**2 * 1e-3


def removal_map(
    strokes: Sequence[Stroke] | npt.ArrayLike,
    settings: PadMotion,
    *,
    preston_um_per_kpa_m: float,
    arm_speed_mm_s: float,
    grid_mm: float = 2.0,
    ramp_mm: float = 0.0,
) -> RemovalMap:
    """Compute the cut of strokes over everything the pad reaches.

    The sum over the map is the volume rate times the time of the strokes, to rounding: nothing is
    lost at the borders, because the grid has a margin of the pad's reach.

    Parameters
    ----------
    strokes : sequence of Stroke or array_like (n, 4)
        Path of the pad's centre [mm]; the pad cuts nothing between strokes.
    settings : PadMotion
        Machine, pad and force.
    preston_um_per_kpa_m : float
        Preston rate [µm/(kPa·m)].
    arm_speed_mm_s : float
        Speed along the strokes [mm/s].
    grid_mm : float
        Cell size [mm].
    ramp_mm : float
        Length over which the arm gathers and loses speed at the ends of a stroke [mm].

    Returns
    -------
    RemovalMap
        Depth [µm] over the strokes and the pad's reach around them.

    Raises
    ------
    PolishError
        If there is no stroke.
    GridError
        If the grid would be too large.
    """
    ends = np.asarray(strokes, dtype=np.float64).reshape(-1, 2)
    if ends.size == 0:
        raise PolishError("no stroke to walk", do="Give at least one stroke")
    x0, y0 = ends.min(axis=0)
    x1, y1 = ends.max(axis=0)
    margin = reach_mm(settings) + 2 * grid_mm
    grid = checked_grid((float(x0), float(y0), float(x1), float(y1)), grid_mm, margin)
    path = walk(strokes, arm_speed_mm_s=arm_speed_mm_s, step_mm=grid_mm / 2, ramp_mm=ramp_mm)
    kernel = footprint_kernel(settings, preston_um_per_kpa_m=preston_um_per_kpa_m, grid_mm=grid_mm)
    return RemovalMap(spread(deposit(path, grid), kernel), grid)


def spread(dwell_s: Array, kernel: Kernel) -> Array:
    """Convolve a dwell map with a footprint, the result on the dwell map's own grid.

    Only half a kernel of zeros is needed on each side, since whatever wraps around falls outside
    the part that is kept.

    Parameters
    ----------
    dwell_s : ndarray, shape (rows, columns)
        Dwell [s per cell].
    kernel : Kernel
        Footprint on the same cell size.

    Returns
    -------
    ndarray, shape (rows, columns)
        Depth [µm], never negative.
    """
    from scipy import fft

    rows, columns = dwell_s.shape
    n = kernel.rate_um_s.shape[0] // 2
    size = (fft.next_fast_len(rows + n, real=True), fft.next_fast_len(columns + n, real=True))
    size = (max(size[0], 2 * n + 1), max(size[1], 2 * n + 1))
    rolled = np.zeros(size)
    rolled[: 2 * n + 1, : 2 * n + 1] = kernel.rate_um_s
    rolled = np.roll(rolled, (-n, -n), axis=(0, 1))
    product = fft.rfft2(dwell_s, size) * fft.rfft2(rolled)
    depth = fft.irfft2(product, size)[:rows, :columns]
    return np.asarray(np.maximum(depth, 0.0), dtype=np.float64)


def crosshatch_rectangle(
    width_mm: float, height_mm: float, *, spacing_mm: float
) -> tuple[Stroke, ...]:
    """Return the strokes of one set over a rectangle: along x from the bottom up, then along y.

    Strokes run from edge to edge in alternate directions at exactly `spacing_mm`, the whole
    family centred in the rectangle.

    Parameters
    ----------
    width_mm, height_mm : float
        The rectangle from (0, 0) [mm].
    spacing_mm : float
        Distance of neighbouring strokes [mm].

    Returns
    -------
    tuple of Stroke
        In order of walking.
    """
    along_x = [((0.0, y), (width_mm, y)) for y in _spaced(height_mm, spacing_mm)]
    along_y = [((x, 0.0), (x, height_mm)) for x in _spaced(width_mm, spacing_mm)]
    return (*_there_and_back(along_x), *_there_and_back(along_y))


def _spaced(length: float, spacing: float) -> list[float]:
    steps = math.floor(length / spacing + 1e-9)
    first = 0.5 * (length - steps * spacing)
    return [first + spacing * index for index in range(steps + 1)]


def _there_and_back(strokes: list[Stroke]) -> list[Stroke]:
    return [(b, a) if index % 2 else (a, b) for index, (a, b) in enumerate(strokes)]


def simulate_set(work: RemovalSet) -> tuple[RemovalSummary, RemovalMap]:
    """Work a rectangle as described and report the cut.

    Parameters
    ----------
    work : RemovalSet
        Machine, pad, paint, section and grid.

    Returns
    -------
    RemovalSummary
        Mean, spread, volume, time and the strokes.
    RemovalMap
        The cut over the section and a margin of the pad's reach.

    Raises
    ------
    PolishError
        If a setting is not a positive number or out of range, naming it.
    GridError
        If the grid would be too large.
    """
    _check(work)
    one = crosshatch_rectangle(work.width_mm, work.height_mm, spacing_mm=work.stroke_spacing_mm)
    strokes = one * work.sets
    pad = pad_of(work)
    margin = reach_mm(pad) + 2 * work.grid_mm
    grid = checked_grid((0.0, 0.0, work.width_mm, work.height_mm), work.grid_mm, margin)
    path = walk(one, arm_speed_mm_s=work.arm_speed_mm_s, step_mm=work.grid_mm / 2)
    kernel = footprint_kernel(
        pad, preston_um_per_kpa_m=work.preston_um_per_kpa_m, grid_mm=work.grid_mm
    )
    result = RemovalMap(work.sets * spread(deposit(path, grid), kernel), grid)
    return _summary(work, strokes, len(one), result), result


def pad_of(work: RemovalSet) -> PadSettings:
    """Return machine, pad and force of a set."""
    return PadSettings(
        pad_diameter_mm=work.pad_diameter_mm,
        orbit_mm=work.orbit_mm,
        orbits_per_min=work.orbits_per_min,
        spin_rpm=work.spin_rpm,
        force_n=work.force_n,
    )


def _summary(
    work: RemovalSet, strokes: tuple[Stroke, ...], per_set: int, result: RemovalMap
) -> RemovalSummary:
    seconds = float(stroke_lengths_mm(strokes).sum()) / work.arm_speed_mm_s
    rate = volume_rate_mm3_s(pad_of(work), preston_um_per_kpa_m=work.preston_um_per_kpa_m)
    inside = inset_values(result, work.width_mm, work.height_mm, work.pad_diameter_mm / 2)
    mean = float(inside.mean()) if inside.size else None
    known = inside if mean else np.empty(0)
    return RemovalSummary(
        mean_um=mean,
        p05_um=float(np.percentile(inside, 5)) if inside.size else None,
        p95_um=float(np.percentile(inside, 95)) if inside.size else None,
        ripple_fraction=float(np.ptp(known)) / mean if mean else None,
        rms_fraction=float(known.std()) / mean if mean else None,
        volume_mm3=rate * seconds,
        seconds=seconds,
        origin_mm=result.grid.origin_mm,
        grid_mm=work.grid_mm,
        strokes_per_set=per_set,
        strokes_mm=strokes,
    )


def inset_values(result: RemovalMap, width_mm: float, height_mm: float, inset_mm: float) -> Array:
    """Return the depths [µm] at the cells of (0, 0)-(width, height) inset on all sides."""
    xs, ys, tiny = result.grid.xs_mm(), result.grid.ys_mm(), 1e-9
    columns = (xs >= inset_mm - tiny) & (xs <= width_mm - inset_mm + tiny)
    rows = (ys >= inset_mm - tiny) & (ys <= height_mm - inset_mm + tiny)
    return np.asarray(result.depth_um[np.ix_(rows, columns)].ravel())


def _check(work: RemovalSet) -> None:
    """Refuse settings that no machine has; say which and how to mend it."""
    ranges = {
        "pad_diameter_mm": (1.0, 1000.0),
        "orbit_mm": (0.0, min(200.0, work.pad_diameter_mm)),
        "orbits_per_min": (0.0, 1e5),
        "spin_rpm": (-1e5, 1e5),
        "force_n": (0.0, 2000.0),
        "arm_speed_mm_s": (0.1, 5000.0),
        "stroke_spacing_mm": (0.5, 1000.0),
        "sets": (1, 1000),
        "width_mm": (1.0, 1e5),
        "height_mm": (1.0, 1e5),
        "preston_um_per_kpa_m": (0.0, 1e3),
        "grid_mm": (0.05, 100.0),
    }
    for name, (low, high) in ranges.items():
        value = getattr(work, name)
        if not low <= value <= high:
            raise PolishError(
                f"{name} is {value:g}",
                where=name,
                do=f"Give a number from {low:g} to {high:g}",
            )
