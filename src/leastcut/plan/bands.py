"""Where to cut an area into bands: a dynamic programme over a raster of it.

Each band is cut across on its own, so that the cells of a band are as many as its runs need by
their lengths. The raster only chooses the lines; the cuts themselves are exact.
"""

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt
import shapely
from shapely.geometry.base import BaseGeometry

from leastcut.plan.geometry import Array
from leastcut.plan.limits import TINY, Limits

PITCH_MM = 20.0  # raster of the search; the cuts themselves are exact
AT_LEAST, LIKELY = (-1.0,), (-0.5, 0.0, 0.5)  # pitches that a run may be longer than it looks


@dataclass(frozen=True)
class Raster:
    """Occupied cells of an area, rows along y between exact lines `ys`."""

    full: npt.NDArray[np.bool_]
    ys: Array
    pitch_x: float


def rasterise(area: BaseGeometry, limits: Limits, pitch_mm: float = PITCH_MM) -> Raster:
    """Return an area as points about a pitch apart, rows between lines where a band may end."""
    x0, y0, x1, y1 = area.bounds
    wide, tall = round(x1 - x0, 6), round(y1 - y0, 6)  # the same wherever the panel lies
    rows = max(2, min(110, math.ceil(tall / pitch_mm)))
    room, first = limits.room_mm, limits.max_side_mm - limits.overlap_mm / 2
    steps = first + room * np.arange(max(0, math.ceil(tall / room)))
    places = np.concatenate([np.linspace(0.0, tall, rows + 1), steps, tall - steps])
    ys = y0 + np.unique(np.round(places[(places >= 0) & (places <= tall)], 6))
    ys[-1] = y1
    columns = max(2, min(110, math.ceil(wide / pitch_mm)))
    xs = x0 + (np.arange(columns) + 0.5) * wide / columns
    middle = 0.5 * (ys[:-1] + ys[1:])
    shapely.prepare(area)
    full = shapely.contains_xy(area, *np.meshgrid(xs, middle))
    return Raster(np.asarray(full, dtype=np.bool_), ys, wide / columns)


def fewest_across(raster: Raster, limits: Limits) -> int:
    """Return how many cells the best bands need at least."""
    low, high = _spans(raster, limits)
    counts = _cells_of(raster, low, high, limits, (AT_LEAST,))[0]
    return max(1, round(_shortest(len(raster.ys), low, high, counts)[0]))


def band_lines(raster: Raster, limits: Limits, about: int) -> list[tuple[float, ...]]:
    """Return the lines of the bands with the fewest and evenest cells.

    Parameters
    ----------
    raster : Raster
        The area.
    limits : Limits
        Greatest side and overlap.
    about : int
        About how many cells it will take: the measure of evenness.

    Returns
    -------
    list of tuple of float
        The y of the lines [mm], lowest first, ends included: by the likely lengths of the runs,
        then by their least lengths; once if both are the same.
    """
    ys, n = raster.ys, len(raster.ys)
    low, high = _spans(raster, limits)
    strips = raster.full.sum(axis=1) * np.diff(ys) * raster.pitch_x
    total = np.concatenate([[0.0], np.cumsum(strips)])
    wanted = max(total[-1] / about, 1.0)  # a hair-thin area may fall between the raster points
    found = dict[tuple[float, ...], None]()
    for counts in _cells_of(raster, low, high, limits, (LIKELY, AT_LEAST)):
        each = (total[high] - total[low]) / np.maximum(counts, 1)
        uneven = counts * (each / wanted - 1.0) ** 2
        # whole numbers: where bands tie, the first ones are taken wherever the panel lies
        cost = np.round(1e10 * counts + 1e7 * uneven / about)
        _, came = _shortest(n, low, high, cost)
        lines, at = [n - 1], n - 1
        while at > 0:
            at = int(came[at])
            lines.append(at)
        found[tuple(ys[lines[::-1]].tolist())] = None
    return list(found)


def _spans(raster: Raster, limits: Limits) -> tuple[npt.NDArray[np.intp], npt.NDArray[np.intp]]:
    """Return the first and last line of every band within the limit."""
    ys, n = raster.ys, len(raster.ys)
    low, high = np.triu_indices(n, 1)
    grown = ys[high] - ys[low] + limits.overlap_mm / 2 * ((low > 0).astype(float) + (high < n - 1))
    allowed = grown <= limits.max_side_mm + TINY
    return low[allowed], high[allowed]


def _cells_of(
    raster: Raster,
    low: npt.NDArray[np.intp],
    high: npt.NDArray[np.intp],
    limits: Limits,
    unsure: Sequence[Sequence[float]],
) -> list[Array]:
    """Return how many cells the band between each pair of lines needs.

    A run of so many raster points may be up to a pitch shorter or longer: the mean over the
    lengths with so many pitches more is taken, for each list of them in `unsure`.
    """
    filled = np.cumsum(np.pad(raster.full, ((1, 0), (1, 1))), axis=0, dtype=np.int32)
    seen = (filled[high] > filled[low]).astype(np.int8)
    change = np.diff(seen, axis=1)
    band, start = np.nonzero(change == 1)
    points, counts = np.nonzero(change == -1)[1] - start, list[Array]()
    for more in unsure:
        length = (points + np.array(more)[:, None]) * raster.pitch_x
        each = np.maximum(1, np.ceil((length - limits.overlap_mm) / limits.room_mm - 1e-9))
        sums = np.bincount(band, each.mean(axis=0), minlength=len(low))
        counts.append(np.asarray(sums, dtype=np.float64))
    return counts


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
    return float(best[-1]), came
