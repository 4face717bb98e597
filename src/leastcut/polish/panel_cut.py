"""The cut over a whole panel: many sections, taped and bare places, an unsteady hand."""

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from leastcut.car.records import Polygon
from leastcut.polish.contact import FOAM_KPA_PER_MM
from leastcut.polish.footprint import Kernel, footprint_kernel, pressure_kpa, reach_mm
from leastcut.polish.grid import Grid, Walk, checked_grid, deposit, joined_walks, walk
from leastcut.polish.records import PadMotion, Stroke
from leastcut.polish.removal import RemovalMap, spread
from leastcut.polish.speed import Array, contact_half_angle, orbit_rad_s, spin_rad_s


@dataclass(frozen=True)
class Worked:
    """One section as worked: its strokes, how often, how fast [mm/s]."""

    strokes: Sequence[Stroke]
    sets: int
    arm_speed_mm_s: float


@dataclass(frozen=True)
class Wobble:
    """How unsteady the hand is; our own figures, no source.

    ``speed_sd`` is the spread of the arm's speed as a share, ``tilt_degrees_sd`` that of the
    machine's tilt; both drift over ``length_mm`` of the way.
    """

    speed_sd: float = 0.15
    tilt_degrees_sd: float = 1.0
    length_mm: float = 120.0


def panel_cut(
    works: Sequence[Worked],
    settings: PadMotion,
    *,
    preston_um_per_kpa_m: float,
    outline_mm: Polygon,
    bare_mm: Sequence[Polygon] = (),
    grid_mm: float = 2.0,
    ramp_mm: float = 0.0,
    wobble: Wobble | None = None,
    rng: np.random.Generator | None = None,
) -> RemovalMap:
    """Compute the cut over a panel from all its sections together.

    Parameters
    ----------
    works : sequence of Worked
        Sections as worked; overlaps add up.
    settings : PadMotion
        Machine, pad and force.
    preston_um_per_kpa_m : float
        Preston rate [µm/(kPa·m)].
    outline_mm : Polygon
        The panel: the pad cuts nothing beyond it.
    bare_mm : sequence of Polygon
        Taped places and keep-outs within it: nothing is cut there either. The pad rides over
        them without pressing harder elsewhere.
    grid_mm : float
        Cell size [mm].
    ramp_mm : float
        Length over which the arm gathers and loses speed at the ends of a stroke [mm].
    wobble : Wobble, optional
        An unsteady hand; needs `rng`.
    rng : numpy.random.Generator, optional
        Where its chance comes from.

    Returns
    -------
    RemovalMap
        Depth [µm] over the panel's bounds, 0 where nothing is cut.
    """
    corners = np.asarray(outline_mm, dtype=np.float64)
    low, high = corners.min(axis=0), corners.max(axis=0)
    margin = reach_mm(settings) + 2 * grid_mm
    bounds = (float(low[0]), float(low[1]), float(high[0]), float(high[1]))
    grid = checked_grid(bounds, grid_mm, margin)
    kernel = footprint_kernel(settings, preston_um_per_kpa_m=preston_um_per_kpa_m, grid_mm=grid_mm)
    walks = [
        walk(one.strokes, arm_speed_mm_s=one.arm_speed_mm_s, step_mm=grid_mm / 2, ramp_mm=ramp_mm)
        for one in works
    ]
    if wobble is None or rng is None:
        path = joined_walks(walks, [float(one.sets) for one in works])
        depth = spread(deposit(path, grid), kernel)
    else:
        each = [path for path, one in zip(walks, works, strict=True) for _ in range(one.sets)]
        depth = _unsteady(each, grid, kernel, settings, wobble, rng)
    return RemovalMap(depth * paint_mask(grid, outline_mm, bare_mm), grid)


def _unsteady(
    walks: Sequence[Walk],
    grid: Grid,
    kernel: Kernel,
    settings: PadMotion,
    wobble: Wobble,
    rng: np.random.Generator,
) -> Array:
    """Return the cut of walks that each wobble in their own way."""
    factors = [_factors(path, settings, wobble, rng) for path in walks]
    path = joined_walks(walks, [1.0] * len(walks))
    level, lean_x, lean_y = (
        deposit(path, grid, weight=np.concatenate([one[k] for one in factors])) for k in range(3)
    )
    along_x, along_y = tilt_kernels(settings, kernel)
    depth = spread(level, kernel)
    depth += _signed_spread(lean_x, along_x) + _signed_spread(lean_y, along_y)
    return np.maximum(depth, 0.0)


def _factors(
    path: Walk, settings: PadMotion, wobble: Wobble, rng: np.random.Generator
) -> tuple[Array, Array, Array]:
    """Return the factor on each piece's dwell, then that times its tilts in x and in y.

    A tilt is given as what it adds to the pressure at the rim, as a share of the mean.
    """
    x_steps = np.diff(path.x_mm, prepend=path.x_mm[:1])
    steps = np.hypot(x_steps, np.diff(path.y_mm, prepend=path.y_mm[:1]))
    speed, tilt_x, tilt_y = (_drift(steps, wobble.length_mm, rng) for _ in range(3))
    dwell = np.exp(wobble.speed_sd * speed - 0.5 * wobble.speed_sd**2)
    rise = FOAM_KPA_PER_MM * settings.pad_diameter_mm / 2 / pressure_kpa(settings)
    rise *= math.tan(math.radians(wobble.tilt_degrees_sd))
    leans = [dwell * np.clip(rise * tilt, -0.7, 0.7) for tilt in (tilt_x, tilt_y)]
    return dwell, leans[0], leans[1]


def _drift(steps_mm: Array, length_mm: float, rng: np.random.Generator) -> Array:
    """Return a standard normal walk that forgets over a length (Ornstein-Uhlenbeck)."""
    from scipy.signal import lfilter

    keep = math.exp(-float(np.median(steps_mm)) / length_mm)
    noise = rng.standard_normal(len(steps_mm)) * math.sqrt(1.0 - keep**2)
    start = [keep * rng.standard_normal()]
    return np.asarray(lfilter([1.0], [1.0, -keep], noise, zi=start)[0])


def tilt_kernels(settings: PadMotion, kernel: Kernel) -> tuple[Kernel, Kernel]:
    """Return what a pressure growing in proportion along x, or y, adds to the footprint.

    With p = p0·(1 + τ·ξ/R), ξ the place on the pad, the cut gains τ times this kernel. It cuts on
    one side what it spares on the other: its sum is 0.

    Parameters
    ----------
    settings : PadMotion
        Machine, pad and force.
    kernel : Kernel
        The level footprint on its grid.

    Returns
    -------
    Kernel, Kernel
        Along x and along y, on the same grid.
    """
    n = kernel.rate_um_s.shape[0] // 2
    at = np.arange(-n, n + 1) * kernel.grid_mm
    radius = np.hypot(at[:, None], at[None, :])
    r = np.linspace(0.0, (n + 1) * kernel.grid_mm * math.sqrt(2), 600)
    lean = np.interp(radius, r, _lean(r, settings)) / np.where(radius > 0, radius, 1.0)
    level = float(_level(np.zeros(1), settings)[0])
    middle = kernel.rate_um_s[n, n]
    scale = middle / level if level > 0 else 0.0
    return (
        Kernel(scale * lean * at[None, :], kernel.grid_mm),
        Kernel(scale * lean * at[:, None], kernel.grid_mm),
    )


def _phases(r_mm: Array, settings: PadMotion) -> tuple[Array, Array, Array]:
    """Return phases of contact, their weights, and the speed there, by Gauss's rule per radius."""
    nodes, weights = np.polynomial.legendre.leggauss(48)
    half = contact_half_angle(r_mm, settings)[:, None]
    phase = 0.5 * half * (nodes + 1.0)
    e, omega, spin = settings.orbit_mm * 0.5e-3, orbit_rad_s(settings), spin_rad_s(settings)
    a, b = e * (omega - spin), spin * r_mm[:, None] * 1e-3
    speed = np.sqrt(np.maximum(a**2 + b**2 + 2 * a * b * np.cos(phase), 0.0))
    return phase, 0.5 * half * weights / np.pi, speed


def _level(r_mm: Array, settings: PadMotion) -> Array:
    _, weight, speed = _phases(r_mm, settings)
    return np.asarray((weight * speed).sum(axis=1))


def _lean(r_mm: Array, settings: PadMotion) -> Array:
    phase, weight, speed = _phases(r_mm, settings)
    place = (r_mm[:, None] - settings.orbit_mm / 2 * np.cos(phase)) / (settings.pad_diameter_mm / 2)
    return np.asarray((weight * speed * place).sum(axis=1))


def _signed_spread(layer: Array, kernel: Kernel) -> Array:
    """Convolve with a kernel that has both signs: its two halves one by one."""
    up = Kernel(np.maximum(kernel.rate_um_s, 0.0), kernel.grid_mm)
    down = Kernel(np.maximum(-kernel.rate_um_s, 0.0), kernel.grid_mm)
    total = np.zeros_like(layer)
    for sign in (1.0, -1.0):
        part = np.maximum(sign * layer, 0.0)
        total += sign * (spread(part, up) - spread(part, down))
    return total


def paint_mask(grid: Grid, outline_mm: Polygon, bare_mm: Sequence[Polygon] = ()) -> Array:
    """Return 1 in cells whose centre is paint to be cut, 0 beyond the panel and where it is bare.

    Parameters
    ----------
    grid : Grid
        The cells.
    outline_mm : Polygon
        The panel.
    bare_mm : sequence of Polygon
        Taped places and keep-outs.

    Returns
    -------
    ndarray, shape grid.shape
        0 or 1.
    """
    mask = _inside(grid, outline_mm)
    for hole in bare_mm:
        mask &= ~_inside(grid, hole)
    return mask.astype(np.float64)


def _inside(grid: Grid, polygon: Polygon) -> npt.NDArray[np.bool_]:
    """Return which cell centres lie in a polygon: scan lines, changing sides at every crossing."""
    rows, columns = grid.shape
    points = (np.asarray(polygon, dtype=np.float64) - grid.origin_mm) / grid.cell_mm
    ends = np.roll(points, -1, axis=0)
    low, high = np.minimum(points[:, 1], ends[:, 1]), np.maximum(points[:, 1], ends[:, 1])
    first = np.clip(np.ceil(low), 0, rows).astype(np.int64)
    last = np.clip(np.ceil(high), 0, rows).astype(np.int64)  # a row on the upper end is not crossed
    count = last - first
    edge = np.repeat(np.arange(len(points)), count)
    row = np.arange(len(edge)) - np.repeat(np.cumsum(count) - count, count) + first[edge]
    share = (row - points[edge, 1]) / (ends[edge, 1] - points[edge, 1])
    x = points[edge, 0] + share * (ends[edge, 0] - points[edge, 0])
    column = np.clip(np.ceil(x), 0, columns).astype(np.int64)
    place = row * (columns + 1) + column
    crossings = np.bincount(place, minlength=rows * (columns + 1)).reshape(rows, columns + 1)
    return np.asarray(np.cumsum(crossings[:, :-1], axis=1) % 2 == 1)
