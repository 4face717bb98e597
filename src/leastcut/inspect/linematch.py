"""Lay two photos over each other by the lines that both show.

Scratches seen in two photos of one place lie on the same curves of the panel even where lamp and
camera moved. Oriented line maps on a coarse grid are correlated over turn, scale and shift; the
best places are then refined by moving each line onto the nearest one of its direction (iterated
closest points, square to the line only; Besl and McKay, IEEE TPAMI 14, 239 (1992); from memory),
and the match is believed only where far more lines meet than would by chance.
"""

from dataclasses import dataclass

import cv2
import numpy as np
from scipy import fft
from scipy.spatial import cKDTree

from leastcut.inspect.arrays import F32, F64, Bools, line_turn

GRID = 96  # cells along the longer side
CHANNELS = 6
TURNS_DEG = np.arange(-18.0, 18.1, 3.0)
SCALES = np.exp(np.arange(-0.24, 0.241, 0.06))
STARTS = 8
TOLERANCES_PX = (
    40.0,
    25.0,
    15.0,
    9.0,
    6.0,
    4.0,
    3.0,
    3.0,
    3.0,
    2.0,
    2.0,
    2.0,
)  # for a photo 2400 pixels wide
NEAR_PX = 9.0
PARALLEL_RAD = 0.12
FINE_PX = 3.0
FEW_PIECES = 300
LEAST_PIECES = 12
LEAST_MET = 12.0  # independent stretches of line that meet
LEAST_LIFT = 3.0  # times what chance gives
LEAST_SHARE = 0.4  # of the after lines within the before photo that must meet, or
CLOSE_PX = 0.65  # as close as this: lines thrown together at random lie three times as far off
ASIDE_PX = (-37.0, -23.0, 23.0, 37.0)
LARGEST_SCALE = 1.5
LARGEST_TURN_DEG = 30.0
STRETCH_PX = 60.0  # pieces closer along one line than this do not count twice


@dataclass(frozen=True)
class Pieces:
    """Short pieces of line: place [px], direction [rad], length [px], light of its line."""

    x: F64
    y: F64
    theta: F64
    length: F64
    light: F64

    def brightest(self, number: int) -> "Pieces":
        """Return the `number` pieces of the brightest lines: those likeliest to show in both."""
        pick = np.sort(np.argsort(-self.light, kind="stable")[:number])
        return Pieces(
            self.x[pick], self.y[pick], self.theta[pick], self.length[pick], self.light[pick]
        )


@dataclass(frozen=True)
class Laid:
    """``to_before`` maps after pixels to before pixels; rms of what is left; stretches that meet."""

    to_before: F64
    rms_px: float
    met: float


def lay(
    before: Pieces, after: Pieces, shape: tuple[int, ...], shape_after: tuple[int, ...]
) -> Laid | None:
    """Return the map from the after photo to the before photo, or None if no match is beyond chance."""
    if len(before.x) == 0 or len(after.x) == 0:
        return None
    found = [
        refine(before, after, start, shape) for start in _starts(before, after, shape, shape_after)
    ]
    good = [laid for laid in found if laid is not None]
    return max(good, key=lambda laid: laid.met, default=None)


def _starts(
    before: Pieces, after: Pieces, shape: tuple[int, ...], shape_after: tuple[int, ...]
) -> list[F64]:
    """Return the likeliest similarities, best first."""
    cell = max(*shape[:2], *shape_after[:2]) / GRID
    size = 2 * GRID
    still = np.conj(fft.rfft2(_map(before.x, before.y, before.theta, before.length, cell, size)))
    centre = np.array([shape_after[1], shape_after[0]]) / 2
    made: list[tuple[float, F64]] = []
    for turn in np.radians(TURNS_DEG):
        for scale in SCALES:
            linear = scale * np.array([[np.cos(turn), -np.sin(turn)], [np.sin(turn), np.cos(turn)]])
            x, y = linear @ np.stack([after.x - centre[0], after.y - centre[1]])
            moved = _map(x, y, after.theta + turn, after.length, cell, size)
            energy = float(np.sqrt((moved**2).sum()))
            match = fft.irfft2((fft.rfft2(moved) * still).sum(0), s=(size, size))
            row, col = np.unravel_index(int(match.argmax()), match.shape)
            shift = -(np.array([col, row]) + size / 2) % size - size / 2
            matrix = np.eye(3)
            matrix[:2, :2] = linear
            matrix[:2, 2] = shift * cell - linear @ centre
            made.append((float(match[row, col]) / max(energy, 1e-9), matrix))
    made.sort(key=lambda m: -m[0])
    return [matrix for _, matrix in made[:STARTS]]


def _map(x: F64, y: F64, theta: F64, length: F64, cell: float, size: int) -> F32:
    """Return length of line per direction channel and cell, softened, (CHANNELS, size, size)."""
    col, row = np.floor(x / cell).astype(np.intp) % size, np.floor(y / cell).astype(np.intp) % size
    place = theta % np.pi / np.pi * CHANNELS
    first = np.floor(place).astype(np.intp) % CHANNELS
    share = place - np.floor(place)
    canvas = np.zeros(CHANNELS * size * size)
    for channel, weight in ((first, 1 - share), ((first + 1) % CHANNELS, share)):
        flat = (channel * size + row) * size + col
        canvas += np.bincount(flat, weight * length, minlength=canvas.size)
    layers = np.sqrt(canvas).astype(np.float32).reshape(CHANNELS, size, size)
    return np.stack([cv2.GaussianBlur(layer, (0, 0), 0.8) for layer in layers])


def refine(
    before: Pieces, after: Pieces, start: F64, shape: tuple[int, ...], *, near: bool = False
) -> Laid | None:
    """Move the after lines onto the before lines, from a map that is roughly right, or `near` so."""
    if len(before.x) < LEAST_PIECES or len(after.x) < LEAST_PIECES:
        return None
    tree = cKDTree(np.column_stack([before.x, before.y]))
    bright = before.brightest(max(len(after.x), FEW_PIECES))
    few = cKDTree(np.column_stack([bright.x, bright.y]))
    h, unit = start.copy(), max(shape[:2]) / 2400
    for step, tolerance in enumerate(TOLERANCES_PX):
        if near and tolerance > NEAR_PX:
            continue
        still, its = (bright, few) if tolerance > FINE_PX else (before, tree)
        x, y, theta = _moved(after, h)
        at, off, good = _nearest(still, its, x, y, theta, max(tolerance * unit, 2.0))
        if good.sum() < LEAST_PIECES:
            return None
        h = _step(x[good], y[good], still.theta[at[good]], off[good], full=step > 2) @ h
        h /= h[2, 2]
    return _judged(before, after, tree, h, shape)


def _moved(pieces: Pieces, h: F64) -> tuple[F64, F64, F64]:
    """Return places and directions of pieces under a homography."""
    dx, dy = np.cos(pieces.theta), np.sin(pieces.theta)
    ends = np.stack([np.stack([pieces.x + s * dx, pieces.y + s * dy], 1) for s in (-1.0, 1.0)])
    one, two = cv2.perspectiveTransform(ends, h)
    x, y = ((one + two) / 2).T
    return x, y, np.arctan2(two[:, 1] - one[:, 1], two[:, 0] - one[:, 0])


def _nearest(
    before: Pieces, tree: cKDTree, x: F64, y: F64, theta: F64, reach: float
) -> tuple[F64, F64, Bools]:
    """Return the nearest before piece of like direction, the distance square to it, and if it is near."""
    distance, at = tree.query(np.column_stack([x, y]), k=5, distance_upper_bound=reach + 4.0)
    at = np.minimum(at, len(before.x) - 1)
    like = np.abs(line_turn(theta[:, None] - before.theta[at])) < PARALLEL_RAD
    cost = np.where(like, distance, np.inf)
    pick = cost.argmin(1)
    rows = np.arange(len(x))
    best = at[rows, pick]
    t = before.theta[best]
    off = (y - before.y[best]) * np.cos(t) - (x - before.x[best]) * np.sin(t)
    return best, off, np.isfinite(cost[rows, pick]) & (np.abs(off) < reach)


def _step(x: F64, y: F64, theta: F64, off: F64, *, full: bool) -> F64:
    """Return the small map that takes the offsets away: a similarity, or a homography if `full`."""
    mx, my = x.mean(), y.mean()
    scale = float(np.hypot(x - mx, y - my).mean()) + 1.0
    u, v = (x - mx) / scale, (y - my) / scale
    nx, ny = -np.sin(theta), np.cos(theta)
    columns = [nx, ny, nx * u + ny * v, -nx * v + ny * u]
    if full:
        columns += [nx * u - ny * v, nx * v + ny * u, (nx * u + ny * v) * u, (nx * u + ny * v) * v]
    matrix = np.stack(columns, 1)
    spread = 1.5 * float(np.median(np.abs(off))) + 0.3
    weight = 1 / (1 + (off / spread) ** 2)
    normal = (matrix * weight[:, None]).T @ matrix + 1e-2 * np.diag(
        [0, 0, 1, 1, 9, 9, 99, 99][: len(columns)]
    )
    p = np.zeros(8)
    p[: len(columns)] = np.linalg.solve(normal, (matrix * weight[:, None]).T @ -off)
    small = np.array(
        [
            [1 + (p[2] + p[4]) / scale, (p[5] - p[3]) / scale, p[0]],
            [(p[3] + p[5]) / scale, 1 + (p[2] - p[4]) / scale, p[1]],
            [-p[6] / scale**2, -p[7] / scale**2, 1.0],
        ]
    )
    centre = np.array([[1, 0, mx], [0, 1, my], [0, 0, 1.0]])
    result: F64 = centre @ small @ np.linalg.inv(centre)
    return result


def _judged(
    before: Pieces, after: Pieces, tree: cKDTree, h: F64, shape: tuple[int, ...]
) -> Laid | None:
    """Return the match if far more line meets than where the after lines are moved aside."""
    x, y, theta = _moved(after, h)
    _, off, near = _nearest(before, tree, x, y, theta, 3.0)
    met = float(after.length[near].sum())
    inside = (x > 0) & (y > 0) & (x < shape[1]) & (y < shape[0])
    nx, ny = -np.sin(theta), np.cos(theta)
    moved = [_nearest(before, tree, x + d * nx, y + d * ny, theta, 3.0)[2] for d in ASIDE_PX]
    by_chance = float(np.mean([after.length[other].sum() for other in moved]))
    if met < max(LEAST_MET * STRETCH_PX, LEAST_LIFT * by_chance):
        return None
    if not _plausible(h, shape):
        return None
    rms = float(np.sqrt((off[near] ** 2).mean()))
    if rms > CLOSE_PX and met < LEAST_SHARE * float(after.length[inside].sum()):
        return None
    return Laid(h, rms, met / STRETCH_PX)


def _plausible(h: F64, shape: tuple[int, ...]) -> bool:
    """Tell whether a map keeps scale and shape as two photos taken by hand do, all over the photo."""
    height, width = shape[:2]
    corners = np.array([[0, 0], [width, 0], [width, height], [0, height], [width / 2, height / 2]])
    back = np.linalg.inv(h)
    steps = [
        cv2.perspectiveTransform((corners + d)[None], back)[0] for d in ([0, 0], [1, 0], [0, 1])
    ]
    along, down = steps[1] - steps[0], steps[2] - steps[0]
    sizes = np.concatenate([np.linalg.norm(v, axis=1) for v in (along, down)])
    turn = np.abs(np.degrees(np.arctan2(along[:, 1], along[:, 0])))
    return bool(
        sizes.max() < LARGEST_SCALE
        and sizes.min() > 1 / LARGEST_SCALE
        and turn.max() < LARGEST_TURN_DEG
    )
