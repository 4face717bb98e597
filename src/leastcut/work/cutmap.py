"""The cut that the path made, by the same functions that planned it."""

import numpy as np
import shapely

from leastcut.car.records import Polygon
from leastcut.inspect.arrays import F64
from leastcut.polish.footprint import footprint_kernel, reach_mm
from leastcut.polish.grid import Walk, deposit, grid_over
from leastcut.polish.records import PadMotion
from leastcut.polish.removal import RemovalMap, spread
from leastcut.work.path import Path
from leastcut.work.records import CutSummary

FINE = 4  # pieces that the way between two frames is cut into


def walked(path: Path) -> Walk:
    """Return the path as short timed pieces, as the mechanics take them."""
    within = np.diff(path.piece) == 0
    share = (np.arange(FINE) + 0.5) / FINE
    xy, t = path.xy_mm, path.t_s
    at = xy[:-1, None] * (1 - share[None, :, None]) + xy[1:, None] * share[None, :, None]
    dwell = np.repeat((np.diff(t) / FINE)[within], FINE)
    places = at[within].reshape(-1, 2)
    return Walk(places[:, 0], places[:, 1], dwell)


def cut_map(
    path: Path,
    section_mm: Polygon,
    settings: PadMotion,
    *,
    preston_um_per_kpa_m: float,
    grid_mm: float = 4.0,
) -> RemovalMap:
    """Return the cut over the section and everything the pad reached.

    Parameters
    ----------
    path : Path
        The pad's way while down.
    section_mm : Polygon
        The section.
    settings : PadMotion
        Machine, pad and force.
    preston_um_per_kpa_m : float
        Preston rate of paint and process [µm/(kPa·m)].
    grid_mm : float
        Cell size [mm].
    """
    corners = np.vstack([path.xy_mm, np.array(section_mm)])
    low, high = corners.min(0), corners.max(0)
    margin = reach_mm(settings) + 2 * grid_mm
    first = np.min(section_mm, axis=0) + grid_mm / 2  # cells end where the section begins
    low = first - np.ceil((first - low) / grid_mm) * grid_mm
    bounds = (float(low[0]), float(low[1]), float(high[0]), float(high[1]))
    grid = grid_over(bounds, cell_mm=grid_mm, margin_mm=margin)
    kernel = footprint_kernel(settings, preston_um_per_kpa_m=preston_um_per_kpa_m, grid_mm=grid_mm)
    return RemovalMap(spread(deposit(walked(path), grid), kernel), grid)


def inside(result: RemovalMap, section_mm: Polygon) -> F64:
    """Return the depths at the cells inside the section [µm]."""
    x, y = np.meshgrid(result.grid.xs_mm(), result.grid.ys_mm())
    return np.asarray(result.depth_um[shapely.contains_xy(shapely.Polygon(section_mm), x, y)])


def summary(result: RemovalMap, section_mm: Polygon, preston_um_per_kpa_m: float) -> CutSummary:
    """Return what the cut comes to inside the section."""
    depths = inside(result, section_mm)
    return CutSummary(
        mean_um=float(depths.mean()),
        p05_um=float(np.percentile(depths, 5)),
        p95_um=float(np.percentile(depths, 95)),
        volume_mm3=result.volume_mm3(),
        origin_mm=result.grid.origin_mm,
        grid_mm=result.grid.cell_mm,
        preston_um_per_kpa_m=preston_um_per_kpa_m,
    )
