"""From line points to scratches: join neighbours, fit smooth runs, bridge gaps and crossings.

Points are joined only when their directions agree, so two scratches that cross stay two. Each
joined set is fitted with a parabola in its own axes (a scratch bends gently), split where that
does not fit, and runs whose ends point at each other are joined across a gap, so that a crossing
does not end a scratch. Everything is done on whole arrays.
"""

from dataclasses import dataclass, fields, replace
from typing import Any

import numpy as np
import numpy.typing as npt

from leastcut.inspect.arrays import F32, F64, Ints, bilinear, sums
from leastcut.inspect.ridges import DIRECTIONS, Points, level_px

LARGEST_MISFIT_PX = 0.85
GAP_PX = 14.0
GAP_SHARE = 0.35  # of the shorter run
LARGEST_GAP_PX = 40.0
LARGEST_COVERED_PX = 90.0
TURN_RAD = 0.21
_DRAWN_AT = np.linspace(0, 1, 9)  # a bend of 40 pixels over the whole is 0.6 off between two


@dataclass(frozen=True)
class Runs:
    """Fitted runs, one row each: place, axis, parabola offset(t) = c0 + c1 t + c2 t2 for t0..t1.

    ``snr`` is the mean over points, ``misfit`` the rms distance of points from the curve [px].
    """

    x: F64
    y: F64
    angle: F64
    c0: F64
    c1: F64
    c2: F64
    t0: F64
    t1: F64
    n: F64
    snr: F64
    misfit: F64
    level: Ints

    def __len__(self) -> int:
        return len(self.x)

    def __getitem__(self, pick: Any) -> "Runs":
        return Runs(*(getattr(self, f.name)[pick] for f in fields(self)))

    @property
    def length(self) -> F64:
        """Chord length, lengthened for the bend [px]."""
        span = self.t1 - self.t0
        slope0, slope1 = self.slope(self.t0), self.slope(self.t1)
        mean_square = (slope0**2 + slope0 * slope1 + slope1**2) / 3
        result: F64 = span * np.sqrt(1 + mean_square)
        return result

    def slope(self, t: F64) -> F64:
        """Return the slope of the curve in the run's own axes."""
        result: F64 = self.c1 + 2 * self.c2 * t
        return result

    def at(self, t: F64) -> tuple[F64, F64]:
        """Return x and y of the curve at `t` (one value per run)."""
        s = self.c0 + self.c1 * t + self.c2 * t**2
        cos, sin = np.cos(self.angle), np.sin(self.angle)
        return self.x + t * cos - s * sin, self.y + t * sin + s * cos


def drawn(runs: Runs, level: int = 0) -> list[npt.NDArray[np.int32]]:
    """Return each run as points for the drawing functions, in pixels of a pyramid level."""
    points = [runs.at(runs.t0 + share * (runs.t1 - runs.t0)) for share in _DRAWN_AT]
    lines = np.stack([level_px(v, level) for point in points for v in point], 1).reshape(
        -1, len(_DRAWN_AT), 2
    )
    return list(np.round(lines).astype(np.int32))


def concatenate(parts: list[Runs]) -> Runs:
    """Return several sets of runs as one."""
    return Runs(*(np.concatenate([getattr(p, f.name) for p in parts]) for f in fields(Runs)))


def join(points: Points, shape: tuple[int, int]) -> Ints:
    """Label points: neighbours within two pixels whose directions agree share a label.

    Parameters
    ----------
    points : Points
        All of one level.
    shape : tuple of int
        Height and width of the full image.
    """
    from scipy.sparse import coo_matrix
    from scipy.sparse.csgraph import connected_components

    scale = 2**points.level
    width = shape[1] // scale + 8
    col = np.round(level_px(points.x, points.level)).astype(np.intp) + 3
    row = np.round(level_px(points.y, points.level)).astype(np.intp) + 3
    place = row * width + col
    index = np.full((shape[0] // scale + 9) * width, -1, np.int32)
    index[place] = np.arange(len(points), dtype=np.int32)
    pairs = [_pairs(points.direction, place, index, dy * width + dx, (dx, dy)) for dx, dy in _HALF]
    a = np.concatenate([p[0] for p in pairs])
    b = np.concatenate([p[1] for p in pairs])
    n = len(points)
    graph = coo_matrix((np.ones(len(a), np.int8), (a, b)), shape=(n, n))
    labels: Ints = connected_components(graph, directed=False)[1].astype(np.intp)
    return labels


_HALF = [(1, 0), (0, 1), (1, 1), (-1, 1)]
_HALF += [(2, 0), (0, 2), (2, 1), (-2, 1), (1, 2), (-1, 2), (2, 2), (-2, 2)]


def _pairs(
    direction: Ints, place: Ints, index: npt.NDArray[np.int32], step: int, offset: tuple[int, int]
) -> tuple[Ints, Ints]:
    """Return which points have a neighbour at `step` with an agreeing direction."""
    other = index[place + step]
    a = np.flatnonzero(other >= 0)
    b = other[a].astype(np.intp)
    turn = np.abs(direction[a] - direction[b])
    agree = np.minimum(turn, DIRECTIONS - turn) <= 1
    if max(abs(offset[0]), abs(offset[1])) > 1:  # beyond the next pixel only straight ahead
        bearing = np.arctan2(offset[1], offset[0]) * DIRECTIONS / np.pi
        off = np.abs(direction[a] - bearing) % DIRECTIONS
        agree &= np.minimum(off, DIRECTIONS - off) <= 2.2
    return a[agree], b[agree]


def fit(points: Points, labels: Ints, *, least_points: int) -> Runs:
    """Fit a parabola to each labelled set, splitting those that it does not fit."""
    pick = np.bincount(labels)[labels] >= least_points
    x, y, snr = (v[pick].astype(np.float64) for v in (points.x, points.y, points.snr))
    labels = _compact(labels[pick])
    for rule in ("along", "side", "along", "along", "side", "along"):
        runs, t, s = _parabolas(x, y, snr, labels, points.level)
        bad = (runs.misfit > LARGEST_MISFIT_PX * 2**points.level) & (runs.n >= 2 * least_points)
        if not bad.any():
            break
        middle = (t > ((runs.t0 + runs.t1) / 2)[labels]) if rule == "along" else (s > 0)
        labels = _compact(2 * labels + (middle & bad[labels]))
    runs, t, s = _parabolas(x, y, snr, labels, points.level)
    keep = (runs.n >= least_points) & (runs.misfit <= 1.3 * LARGEST_MISFIT_PX * 2**points.level)
    return runs[keep]


def through(points: Points, labels: Ints, *, each: float) -> Runs:
    """Fit a parabola to each labelled set of points, each of which stands for `each` pixels."""
    x, y, snr = (v.astype(np.float64) for v in (points.x, points.y, points.snr))
    runs, _, _ = _parabolas(x, y, snr, labels, points.level)
    grow = 2.0**points.level - 0.5
    return replace(runs, n=runs.n * each, t0=runs.t0 - grow, t1=runs.t1 + grow)


def _compact(labels: Ints) -> Ints:
    used = np.bincount(labels) > 0
    return (np.cumsum(used) - 1)[labels].astype(np.intp)


def _parabolas(x: F64, y: F64, snr: F64, labels: Ints, level: int) -> tuple[Runs, F64, F64]:
    """Return the runs, and per point its place along the run and its distance from the curve."""
    n = np.bincount(labels).astype(np.float64)
    size = len(n)

    def mean(v: F64) -> F64:
        return sums(labels, v, size) / n

    mx, my = mean(x), mean(y)
    dx, dy = x - mx[labels], y - my[labels]
    angle: F64 = 0.5 * np.arctan2(2 * mean(dx * dy), mean(dx * dx) - mean(dy * dy))
    cos, sin = np.cos(angle)[labels], np.sin(angle)[labels]
    t, s = dx * cos + dy * sin, dy * cos - dx * sin
    t0, t1 = _ends(t, labels, size)
    scale = np.maximum(np.maximum(-t0, t1), 1.0)
    u = t / scale[labels]
    powers = [np.ones_like(u), u, u * u, u * u * u, (u * u) ** 2]
    moments = [mean(p) for p in powers]
    right: F64 = np.stack([mean(s * p) for p in powers[:3]], -1)
    matrix = np.stack([np.stack([moments[i + j] for j in range(3)], -1) for i in range(3)], -2)
    matrix += np.diag([1e-6, 1e-6, 2e-4])  # few points: lean to straight
    c = np.linalg.solve(matrix, right[..., None])[..., 0].astype(np.float64)
    rest = s - (c[labels, 0] + c[labels, 1] * u + c[labels, 2] * u**2)
    misfit = np.sqrt(mean(rest**2))
    runs = Runs(
        mx, my, angle, c[:, 0], c[:, 1] / scale, c[:, 2] / scale**2, t0, t1, n, mean(snr), misfit,
        np.full(size, level, np.intp),
    )  # fmt: skip
    return runs, t, rest


def _ends(t: F64, labels: Ints, size: int) -> tuple[F64, F64]:
    low, high = np.full(size, np.inf), np.full(size, -np.inf)
    np.minimum.at(low, labels, t)
    np.maximum.at(high, labels, t)
    return low - 0.5, high + 0.5


def bridge(runs: Runs, strength: F32, floor: float) -> Ints:
    """Label runs: those whose ends point at each other across a short gap share a label.

    Parameters
    ----------
    strength : ndarray (H, W) float32
        Response of the filter bank: where it is above `floor` all along a gap, something bright
        lies in it, such as a scratch that crosses, and the gap may be longer.
    """
    from scipy.sparse import coo_matrix
    from scipy.sparse.csgraph import connected_components

    n = len(runs)
    if n < 2:
        return np.arange(n)
    a, b, cost = _facing_ends(runs, strength, floor)
    order = np.argsort(cost, kind="stable")
    taken = np.zeros(2 * n, bool)
    joins: list[tuple[int, int]] = []
    for i, j in zip(a[order].tolist(), b[order].tolist(), strict=True):
        if not (taken[i] or taken[j]):
            taken[i] = taken[j] = True
            joins.append((i // 2, j // 2))
    pairs = np.asarray(joins, dtype=np.intp).reshape(-1, 2)
    graph = coo_matrix((np.ones(len(pairs)), (pairs[:, 0], pairs[:, 1])), shape=(n, n))
    labels: Ints = connected_components(graph, directed=False)[1].astype(np.intp)
    return labels


def ends(runs: Runs) -> tuple[F64, F64, F64, F64]:
    """Return x, y and outward unit direction of both ends; row 2i is t0 of run i, 2i+1 its t1."""
    out = np.empty((4, len(runs), 2))
    for side, t in enumerate((runs.t0, runs.t1)):
        out[0, :, side], out[1, :, side] = runs.at(t)
        heading = runs.angle + np.arctan(runs.slope(t)) + (np.pi if side == 0 else 0.0)
        out[2, :, side], out[3, :, side] = np.cos(heading), np.sin(heading)
    flat = out.reshape(4, -1)
    return flat[0], flat[1], flat[2], flat[3]


def _facing_ends(runs: Runs, strength: F32, floor: float) -> tuple[Ints, Ints, F64]:
    """Return pairs of ends that may be one scratch, with the cost of joining them."""
    from scipy.spatial import cKDTree

    x, y, ux, uy = ends(runs)
    pairs = cKDTree(np.column_stack([x, y])).query_pairs(LARGEST_COVERED_PX, output_type="ndarray")
    a, b = pairs[:, 0].astype(np.intp), pairs[:, 1].astype(np.intp)
    gx, gy = x[b] - x[a], y[b] - y[a]
    gap = np.hypot(gx, gy)
    forward = np.minimum(gx * ux[a] + gy * uy[a], -(gx * ux[b] + gy * uy[b]))
    aside = np.maximum(np.abs(gx * uy[a] - gy * ux[a]), np.abs(gx * uy[b] - gy * ux[b]))
    facing = -(ux[a] * ux[b] + uy[a] * uy[b])
    shorter = np.minimum(runs.length[a // 2], runs.length[b // 2])
    reach = np.clip(GAP_SHARE * shorter, GAP_PX, LARGEST_GAP_PX)
    steps = np.linspace(0.1, 0.9, 9)[:, None]
    lit = bilinear(strength, (x[a] + steps * gx).ravel(), (y[a] + steps * gy).ravel())
    covered = (lit.reshape(9, -1) > 0.6 * floor).mean(0)
    reach = np.where(covered > 0.85, np.clip(1.5 * shorter, GAP_PX, LARGEST_COVERED_PX), reach)
    good = (a // 2 != b // 2) & (gap <= reach) & (facing > np.cos(TURN_RAD))
    good &= (aside <= np.minimum(1.6 + 0.12 * gap, 5.0)) & (forward > -4.0)
    cost = gap + 4 * aside + 60 * (1 - facing)
    return a[good], b[good], cost[good]
