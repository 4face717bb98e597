"""Find a taped square that an arm or a cord crosses: four straight edges that agree.

Straight edges are found by the Hough transform (Duda & Hart, Comm. ACM 15 (1972) 11; from memory).
Every four of them that could be the sides of a square in perspective are tried; along each side the
brightness must step the same way in most places. The rest may be hidden.
"""

import itertools
from collections.abc import Sequence

import cv2
import numpy as np

from leastcut.inspect.arrays import F32, F64, U8, Bools

SEARCH_PX = 480
LINES = 16
SAMPLES = 40
LEAST_SIDE = 0.42  # of a side's samples that must step the same way
LEAST_MEAN = 0.62
LEAST_SHARE = 0.04  # of the picture that the square must cover
NEARLY = 0.93
ALIKE = 0.4  # of the step from paint to tape that two sides of the tape may differ
STEP = 9.0  # least step of brightness


def find(frame: U8) -> F64 | None:
    """Return the corners [px] of the square, from the top left clockwise as seen, or None.

    Parameters
    ----------
    frame : ndarray (H, W, 3) uint8
        The picture, blue, green, red; best the middle one of several moments, where what moves has gone.
    """
    scale = SEARCH_PX / max(frame.shape)
    colours = cv2.resize(frame, None, fx=scale, fy=scale, interpolation=cv2.INTER_AREA)
    colours = np.asarray(cv2.GaussianBlur(colours, (0, 0), 1.2), np.uint8)
    small = np.asarray(cv2.cvtColor(colours, cv2.COLOR_BGR2GRAY), np.uint8)
    quads = _quads(_lines(small), small.shape)
    if not len(quads):
        return None
    sides = _support(small.astype(np.float32), quads)
    mean, least = sides.mean(1), sides.min(1)
    good = (least >= LEAST_SIDE) & (mean >= LEAST_MEAN)
    good[good] = alike(colours, quads[good])
    if not good.any():
        return None
    near = good & (mean >= NEARLY * mean[good].max())
    areas = np.array([cv2.contourArea(q.astype(np.float32)) for q in quads])
    best = int(np.where(near, areas, np.inf).argmin())
    return np.asarray((quads[best] + 0.5) / scale - 0.5)


def _lines(small: U8) -> list[tuple[float, float]]:
    """Return the strongest straight edges as (angle, distance from the origin), merged."""
    level = float(np.median(cv2.morphologyEx(small, cv2.MORPH_GRADIENT, np.ones((3, 3), np.uint8))))
    edges = cv2.Canny(small, max(12.0, 2.0 * level), max(30.0, 4.0 * level))
    found = cv2.HoughLines(edges, 1.0, np.pi / 240, 30)
    if found is None:
        return []
    kept: list[tuple[float, float]] = []
    for rho, theta in found.reshape(-1, found.shape[-1])[:400, :2].tolist():
        if all(_differ((theta, rho), other) for other in kept):
            kept.append((theta, rho))
        if len(kept) == LINES:
            break
    return kept


def _differ(one: tuple[float, float], other: tuple[float, float]) -> bool:
    turn = abs(one[0] - other[0])
    flipped = turn > np.pi / 2
    turn = np.pi - turn if flipped else turn
    away = abs(one[1] + other[1]) if flipped else abs(one[1] - other[1])
    return bool(turn > np.radians(3.0) or away > 4.0)


def _quads(lines: Sequence[tuple[float, float]], shape: tuple[int, ...]) -> F64:
    """Return the corners (n, 4, 2) of what could be the square, in order round the middle."""
    pairs = [
        (a, b) for a, b in itertools.combinations(lines, 2) if _between(a[0], b[0]) < np.radians(40)
    ]
    quads = []
    for (a, b), (c, d) in itertools.combinations(pairs, 2):
        if min(_between(p[0], q[0]) for p in (a, b) for q in (c, d)) < np.radians(35):
            continue
        corners = [_meet(p, q) for p, q in ((a, c), (c, b), (b, d), (d, a))]
        quad = _squarish(np.array(corners), shape)
        if quad is not None:
            quads.append(quad)
    return np.array(quads)


def _between(one: float, other: float) -> float:
    turn = abs(one - other) % np.pi
    return float(min(turn, np.pi - turn))


def _meet(one: tuple[float, float], other: tuple[float, float]) -> F64:
    matrix = np.array([[np.cos(t), np.sin(t)] for t, _ in (one, other)])
    return np.asarray(np.linalg.solve(matrix, np.array([one[1], other[1]])))


def _squarish(quad: F64, shape: tuple[int, ...]) -> F64 | None:
    high, wide = shape[:2]
    if (quad < 2).any() or (quad > np.array([wide - 3, high - 3])).any():
        return None
    middle = quad.mean(0)
    quad = quad[np.argsort(np.arctan2(quad[:, 1] - middle[1], quad[:, 0] - middle[0]))]
    quad = np.roll(quad, -int(np.argmin(quad.sum(1))), axis=0)
    flat = quad.astype(np.float32)
    sides = np.linalg.norm(np.roll(quad, -1, 0) - quad, axis=1)
    fits = sides.max() < 2.2 * sides.min() and cv2.contourArea(flat) > LEAST_SHARE * high * wide
    return quad if fits and cv2.isContourConvex(flat) else None


def _support(small: F32, quads: F64) -> F64:
    """Return for each quad and side the share of samples that step outwards the way most do."""
    along = np.linspace(0.05, 0.95, SAMPLES)[None, None, :, None]
    side = np.roll(quads, -1, 1) - quads
    points = quads[:, :, None] + along * side[:, :, None]
    out = np.stack([side[..., 1], -side[..., 0]], -1)
    out /= np.linalg.norm(out, axis=-1, keepdims=True)  # outwards: the corners run clockwise
    rise = _at(small, points + 2.5 * out[:, :, None]) - _at(small, points - 2.5 * out[:, :, None])
    up, down = (rise > STEP).mean(-1), (rise < -STEP).mean(-1)
    rising = up.mean(1) >= down.mean(1)
    return np.asarray(np.where(rising[:, None], up, down), np.float64)


def alike(frame: U8, quads: F64) -> Bools:
    """Tell for each of the quads (n, 4, 2) whether the same tape lies outside all four sides.

    The edge of an arm or a cord makes a straight line too, but of another colour.
    """
    inside, outside = _beside(frame, quads)
    contrast = np.linalg.norm(np.median(outside, axis=1) - np.median(inside, axis=1), axis=-1)
    differ = np.linalg.norm(outside[:, :, None] - outside[:, None], axis=-1).max((1, 2))
    return np.asarray(differ < ALIKE * contrast)


def steps(frame: U8, corners_px: F64) -> F32:
    """Return the step of colour from inside to outside at the four sides, (4, 3)."""
    inside, outside = _beside(frame, corners_px[None])
    return np.asarray((outside - inside)[0], np.float32)


def _beside(frame: U8, quads: F64) -> tuple[F32, F32]:
    """Return the middle colours on the inner and the outer side of each side (n, 4, 3)."""
    along = np.linspace(0.05, 0.95, SAMPLES)[None, None, :, None]
    side = np.roll(quads, -1, 1) - quads
    points = quads[:, :, None] + along * side[:, :, None]
    out = np.stack([side[..., 1], -side[..., 0]], -1)
    out /= np.linalg.norm(out, axis=-1, keepdims=True)
    reach = 4.5 * out[:, :, None]
    inside, outside = (_at(frame, points - reach), _at(frame, points + reach))
    return (
        np.asarray(np.median(inside, axis=2), np.float32),
        np.asarray(np.median(outside, axis=2), np.float32),
    )


def _at(small: F32 | U8, points: F64) -> F32:
    x = np.clip(np.rint(points[..., 0]), 0, small.shape[1] - 1).astype(np.intp)
    y = np.clip(np.rint(points[..., 1]), 0, small.shape[0] - 1).astype(np.intp)
    return np.asarray(small[y, x], np.float32)
