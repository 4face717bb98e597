"""Lines followed beyond the ends that the finder gave them, step by step along their own bend.

A glint fades towards its ends and drowns where others cross; there the finder, which expects a
line nowhere, sees too little. Where a line is known to come from, far less light tells that it goes
on. Each step weighs "visible" against "less than visible"; the line ends where the sum of that
evidence was largest.

source: sequential test for a change: Page, Biometrika 41, 100 (1954); status: from memory.
"""

from dataclasses import dataclass

import cv2
import numpy as np
import numpy.typing as npt

from leastcut.inspect import linking, ridges
from leastcut.inspect.arrays import F32, F64, Bools, Ints, line_turn
from leastcut.inspect.linking import Runs
from leastcut.inspect.ridges import full_px, level_px

STEP_PX = 8
MOST_STEPS = 24
HALF_PX = 5  # across: the kernel's own half and one pixel aside
BLUR_PX = 1.1  # sigma of a fine line as a camera shows it
VISIBLE_SHARE = 0.6  # of the answer to a visible line: blur and a way somewhat off take the rest
# A photo encoded anew shows faint lines up to a tenth brighter, in step with the noise that encoding
# leaves: so much more is asked of a line. Found with rendered photos encoded twice.
LIFT, MOST_LIFTED = 2.0, 0.007
MARGIN = 0.4  # the two cases weighed lie this share above and below
MOST_FOR, MOST_AGAINST = 2.0, 1.5  # of evidence in one step: a line that crosses is bright
GIVE_UP = 5.0
ASIDE_GAIN, TURN_GAIN = 0.5, 0.25  # how far a step follows what it saw aside
NAME_PX = 3
SAME_RAD = 0.2
LOT = 16384  # OpenCV's tables have fewer than 32768 rows


@dataclass(frozen=True)
class Layer:
    """One level of the pyramid: root of light, its noise, and where lines may be looked for.

    ``noise`` is the standard deviation that noise and texture give a kernel of unit energy,
    ``visible`` the rise from which a line counts as visible.
    """

    root: F32
    noise: F32
    visible: F32
    usable: Bools
    level: int


@dataclass
class _Walk:
    """Ends being followed, one row each, in pixels of the level; `run` is where each comes from."""

    x: F64
    y: F64
    heading: F64
    bend: F64
    run: Ints


@dataclass(frozen=True)
class _Path:
    """Steps taken, (MOST_STEPS, ends), and how many of each end's steps belong to its line."""

    x: F64
    y: F64
    heading: F64
    snr: F64
    stop: Ints


def follow(layer: Layer, runs: Runs) -> tuple[Runs, Ints]:
    """Return what lies beyond the ends of runs, and which run each part goes on from.

    Parameters
    ----------
    layer : Layer
        The level on which the runs were found.
    runs : Runs
        In pixels of the full image.

    Returns
    -------
    parts : Runs
        One per end that goes on, `n` parts in all.
    parent : ndarray (n,) int
        Row of `runs`.
    """
    if not len(runs):
        return runs, np.zeros(0, np.intp)
    walk = _ends(runs, layer.level)
    path = _walked(layer, runs, walk)
    if not path.stop.any():
        return runs[:0], np.zeros(0, np.intp)
    return _fitted(path, layer.level), walk.run[path.stop > 0]


def _walked(layer: Layer, runs: Runs, walk: _Walk) -> _Path:
    """Take steps from every end until none sees its line any more."""
    names = _names(runs, layer.root.shape, layer.level)
    kernel, gain = _kernel()
    full = VISIBLE_SHARE * gain * np.sqrt(STEP_PX)
    count = len(walk.x)
    total, best, stop = np.zeros(count), np.zeros(count), np.zeros(count, np.intp)
    taken = np.full((4, MOST_STEPS, count), np.nan)
    active = np.arange(count)
    for k in range(MOST_STEPS):
        x, y, heading = _ahead(walk, active, STEP_PX / 2)
        free = _free(x, y, layer.usable) & ~_met(x, y, heading, walk.run[active], names, runs.angle)
        active, x, y, heading = active[free], x[free], y[free], heading[free]
        if not len(active):
            break
        answer, aside = _look(layer.root, x, y, heading, kernel)
        at = np.round(y).astype(np.intp), np.round(x).astype(np.intp)
        sd = layer.noise[at]
        visible = full * layer.visible[at] + LIFT * np.minimum(sd, MOST_LIFTED)
        evidence = 2 * MARGIN * visible * (answer - visible) / sd**2
        total[active] += np.clip(evidence, -MOST_AGAINST, MOST_FOR)
        cos, sin = np.cos(heading), np.sin(heading)
        taken[:, k, active] = x - aside * sin, y + aside * cos, heading, answer / sd
        better = active[total[active] > best[active]]
        stop[better], best[better] = k + 1, total[better]
        _advance(walk, active, np.where(answer > visible, aside, 0.0))
        active = active[total[active] > best[active] - GIVE_UP]
    return _Path(taken[0], taken[1], taken[2], taken[3], stop)


def _kernel() -> tuple[F32, float]:
    """Return weights of unit energy across a line, and their answer to one of unit rise."""
    bend = -ridges.axis_kernels()[2]
    kernel = (bend / np.sqrt((bend**2).sum())).astype(np.float32)
    k = np.arange(-ridges.DERIVATIVE_PX, ridges.DERIVATIVE_PX + 1.0)
    return kernel, float(kernel @ np.exp(-((k / BLUR_PX) ** 2) / 2))


def _ends(runs: Runs, level: int) -> _Walk:
    """Return both ends of each run, looking outward; a run's bend goes on beyond them."""
    x, y, ux, uy = linking.ends(runs)
    slope = np.stack([runs.slope(runs.t0), runs.slope(runs.t1)], 1).ravel()
    bend = 2 * np.repeat(runs.c2, 2) / (1 + slope**2) ** 1.5 * 2**level
    outward = np.tile([-1.0, 1.0], len(runs))
    run = np.repeat(np.arange(len(runs)), 2)
    return _Walk(level_px(x, level), level_px(y, level), np.arctan2(uy, ux), bend * outward, run)


def _ahead(walk: _Walk, at: Ints, by: float) -> tuple[F64, F64, F64]:
    """Return place and heading that many pixels ahead along the arc."""
    middle = walk.heading[at] + walk.bend[at] * by / 2
    x, y = walk.x[at] + by * np.cos(middle), walk.y[at] + by * np.sin(middle)
    return x, y, walk.heading[at] + walk.bend[at] * by


def _advance(walk: _Walk, at: Ints, aside: F64) -> None:
    """Move one step on, leaning to where the line was seen."""
    x, y, heading = _ahead(walk, at, STEP_PX)
    walk.x[at] = x - ASIDE_GAIN * aside * np.sin(heading)
    walk.y[at] = y + ASIDE_GAIN * aside * np.cos(heading)
    walk.heading[at] = heading + TURN_GAIN * aside / STEP_PX


def _names(runs: Runs, shape: tuple[int, ...], level: int) -> npt.NDArray[np.int32]:
    """Draw each run in its own number."""
    names = np.zeros(shape, np.int32)
    for k, line in enumerate(linking.drawn(runs, level)):
        cv2.polylines(names, [line], False, k + 1, NAME_PX)
    return names


def _free(x: F64, y: F64, usable: Bools) -> Bools:
    """Tell which places lie in the usable area, and so far inside that one can look around."""
    col, row = np.round(x).astype(np.intp), np.round(y).astype(np.intp)
    edge = HALF_PX + STEP_PX
    height, width = usable.shape
    inside = (col >= edge) & (row >= edge) & (col < width - edge) & (row < height - edge)
    result: Bools = inside & usable[np.clip(row, 0, height - 1), np.clip(col, 0, width - 1)]
    return result


def _met(
    x: F64, y: F64, heading: F64, run: Ints, names: npt.NDArray[np.int32], angle: F64
) -> Bools:
    """Tell which places lie on another run of like direction."""
    row = np.clip(np.round(y), 0, names.shape[0] - 1).astype(np.intp)
    col = np.clip(np.round(x), 0, names.shape[1] - 1).astype(np.intp)
    other = names[row, col] - 1
    result: Bools = (
        (other >= 0) & (other != run) & (np.abs(line_turn(angle[other] - heading)) < SAME_RAD)
    )
    return result


def _look(root: F32, x: F64, y: F64, heading: F64, kernel: F32) -> tuple[F64, F64]:
    """Return the answer over one step, in units of the noise map, and how far aside it is largest."""
    along = (np.arange(STEP_PX) - (STEP_PX - 1) / 2)[:, None]
    across = np.arange(-HALF_PX, HALF_PX + 1.0)
    cos, sin = np.cos(heading)[:, None, None], np.sin(heading)[:, None, None]
    places = (
        x[:, None, None] + along * cos - across * sin,
        y[:, None, None] + along * sin + across * cos,
    )
    mean = _sampled(root, *places).mean(1)
    low, mid, high = (
        (mean[:, d : d + len(kernel)] @ kernel).astype(np.float64) * np.sqrt(STEP_PX)
        for d in range(3)
    )
    bend = np.minimum(low + high - 2 * mid, -1e-9)
    aside = np.clip((low - high) / (2 * bend), -1.0, 1.0)
    return np.maximum(np.maximum(low, mid), high), aside


def _sampled(root: F32, x: F64, y: F64) -> F32:
    """Sample the image at places (n, a, b)."""
    maps = [v.reshape(len(v), -1).astype(np.float32) for v in (x, y)]
    lots = [
        cv2.remap(root, maps[0][k : k + LOT], maps[1][k : k + LOT], cv2.INTER_LINEAR)
        for k in range(0, len(x), LOT)
    ]
    result: F32 = np.concatenate(lots).reshape(x.shape)
    return result


def _fitted(path: _Path, level: int) -> Runs:
    """Fit one run to each end that goes on; every step gives two points on its line."""
    at = np.nonzero(np.arange(MOST_STEPS)[:, None] < path.stop)
    label = np.unique(at[1], return_inverse=True)[1].astype(np.intp)
    half = STEP_PX / 2 - 1
    cos, sin = np.cos(path.heading[at]), np.sin(path.heading[at])
    points = ridges.Points(
        full_px(np.concatenate([path.x[at] - half * cos, path.x[at] + half * cos]), level),
        full_px(np.concatenate([path.y[at] - half * sin, path.y[at] + half * sin]), level),
        np.zeros(2 * len(label), np.intp),
        np.tile(path.snr[at], 2),
        level,
    )
    return linking.through(points, np.tile(label, 2), each=STEP_PX / 2)
