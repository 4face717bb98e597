"""Where the taped square lies in each frame: found once, then followed through the camera's shake.

The square's sides are sampled at many places. In each later frame every sample looks for its edge
across the side; a homography near the identity is fitted to the offsets by Gauss-Newton steps with
Tukey's weights (Beaton & Tukey, Technometrics 16 (1974) 147; from memory), so that what hides a
part of a side (arm, cord, pad) does not pull it. Nothing drifts: every frame is laid on the first.
"""

from dataclasses import dataclass, replace

import cv2
import numpy as np

from leastcut.inspect.arrays import F32, F64, U8, Bools
from leastcut.inspect.scale import find_square
from leastcut.work import quad

PER_SIDE = 70
REACH_PX = 9.0
FAR_PX = 30.0
LEAST_SEEN = 0.3  # of all samples that must lie on their side
ENOUGH = 0.85  # of the share usually seen: with less, two sides may lie on wrong edges
TUKEY = 4.685
FLAT_PX = 400
# Prior spread of the eight parameters (shift, linear part, perspective) from frame to frame, in
# units of half the square's diagonal, and the noise of one sample [px].
STEP_SD = np.array([0.2, 0.2, 0.03, 0.03, 0.03, 0.03, 0.01, 0.01])
# Prior spread about the first frame: a hand sways, it does not walk round the car.
SWAY_SD = np.array([1.0, 1.0, 0.06, 0.06, 0.06, 0.06, 0.03, 0.03])
NOISE_PX = 0.5


@dataclass(frozen=True)
class Anchor:
    """The square as first seen.

    Attributes
    ----------
    corners_px : ndarray (4, 2)
        Inner corners, from the top left clockwise as seen.
    points, normals : ndarray (n, 2)
        Samples on the sides, and unit vectors outwards [px].
    sign : ndarray (n,)
        1 where brightness rises outwards, else -1; 0 where a side has no clear edge.
    strength : ndarray (n,)
        Step of brightness there.
    """

    corners_px: F64
    points: F64
    normals: F64
    sign: F64
    strength: F64

    @property
    def middle(self) -> F64:
        """Middle of the square [px]."""
        return np.asarray(self.corners_px.mean(0))

    @property
    def scale(self) -> float:
        """Half the square's diagonal [px]."""
        return float(np.linalg.norm(self.corners_px - self.middle, axis=1).mean())


@dataclass(frozen=True)
class Pose:
    """How one frame lies on the first.

    Attributes
    ----------
    parameters : ndarray (8,)
        Of the homography, see :func:`matrix`.
    seen : float
        Share of the samples that lie on their side.
    rms_px : float
        Residual of those.
    worst_side : float
        Share seen of the side of which least was: a side that is not seen leaves the pose loose.
    """

    parameters: F64
    seen: float
    rms_px: float
    worst_side: float = 1.0


STILL = Pose(np.zeros(8), 1.0, 0.0)


def square_corners(frame: U8) -> F64 | None:
    """Return the inner corners of the taped square in a frame (H, W, 3), or None."""
    grey = cv2.cvtColor(frame, cv2.COLOR_BGR2GRAY)
    found = find_square(grey.astype(np.float32) / np.float32(255))
    if found is None or not _usable(frame, found):
        found = quad.find(frame)
    if found is None:
        return None
    placed = refined(frame, _inner(grey, found))
    return placed if placed is not None and quad.alike(frame, placed[None])[0] else None


def _usable(frame: U8, corners_px: F64) -> bool:
    """Tell whether a square lies in the frame, convex, with one tape outside all its sides."""
    high, wide = frame.shape[:2]
    inside = np.isfinite(corners_px).all() and (corners_px > 1).all()
    return bool(
        inside
        and (corners_px < np.array([wide - 2, high - 2])).all()
        and cv2.isContourConvex(corners_px.astype(np.float32))
        and quad.alike(frame, corners_px[None])[0]
    )


def _inner(grey: U8, corners_px: F64) -> F64:
    """Step from the tape's outer edge to its inner one, if it was the outer that was found.

    An arm across the tape breaks the inner outline, and the outer one, or a part of each, is found
    instead. Seen square on, the
    tape is a band of even width along each side: the middle of each row parallel to a side tells
    where it ends, whatever lies across a part of it.
    """
    n, rim = FLAT_PX, FLAT_PX // 20
    box = np.array([[0, 0], [n, 0], [n, n], [0, n]], np.float32) + np.float32(rim - 0.5)
    there = cv2.getPerspectiveTransform(corners_px.astype(np.float32), box)
    flat = cv2.warpPerspective(grey, there, (n + 2 * rim, n + 2 * rim), flags=cv2.INTER_LINEAR)
    depths = [_band(np.rot90(flat, k), rim) for k in range(4)]  # top, right, bottom, left
    found = [d for d in depths if d > 0]
    if not found or max(found) > 2 * min(found):
        return corners_px
    hidden = float(np.median(found)) if len(found) > 2 else 0.0  # three outer sides: so is the last
    top, right, bottom, left = (d if d > 0 else hidden for d in depths)
    new = np.array([[left, top], [n - right, top], [n - right, n - bottom], [left, n - bottom]])
    back = cv2.perspectiveTransform((new + rim - 0.5)[None], np.linalg.inv(there))
    return np.asarray(back[0], np.float64)


def _band(flat: U8, rim: int) -> float:
    """Return how deep below the top side a band ends in the opposite step, 0 if it does not."""
    n = flat.shape[0] - 2 * rim
    rows = np.median(flat[: rim + n // 4, rim + n // 10 : rim + n - n // 10], axis=1)
    step = rows[4:].astype(np.float64) - rows[:-4]  # at row k + 2
    first = step[rim - 4 : rim + 1]
    edge = float(first[np.abs(first).argmax()])
    rest = step[rim + 4 :] * -np.sign(edge)
    k = int(rest.argmax())
    if rest[k] < max(0.5 * abs(edge), 8.0) or k in {0, len(rest) - 1}:
        return 0.0
    near = np.clip(rest[max(0, k - 3) : k + 4], 0, None)
    middle = float((near * np.arange(max(0, k - 3), max(0, k - 3) + len(near))).sum() / near.sum())
    return middle + 4 + 2 + 0.5


def anchor(frame: U8, corners_px: F64) -> Anchor:
    """Sample the sides of a square in the frame in which it was found."""
    points, normals = [], []
    middle = corners_px.mean(0)
    for a, b in zip(corners_px, np.roll(corners_px, -1, 0), strict=True):
        unit = (b - a) / np.linalg.norm(b - a)
        out = np.array([unit[1], -unit[0]])
        out = -out if out @ (middle - a) > 0 else out
        points.append(a + np.linspace(0.05, 0.95, PER_SIDE)[:, None] * (b - a))
        normals.append(np.repeat(out[None], PER_SIDE, 0))
    at = Anchor(corners_px, np.vstack(points), np.vstack(normals), np.ones(1), np.ones(1))
    steps = _profiles(_grey(frame), at.points, at.normals, 4.0)
    middle_step = np.abs(steps).argmax(1)
    signed = steps[np.arange(len(steps)), middle_step].reshape(4, PER_SIDE)
    typical = np.median(signed, axis=1)
    clear = np.abs(typical) > 4.0
    sign = np.repeat(np.sign(typical) * clear, PER_SIDE)
    return replace(at, sign=sign, strength=np.repeat(np.abs(typical), PER_SIDE))


def refined(frame: U8, corners_px: F64) -> F64 | None:
    """Place the four sides to a fraction of a pixel, each by the samples that agree; None without."""
    place = anchor(frame, corners_px)
    if (place.sign == 0).any():
        return None
    away, clear = _offsets(_profiles(_grey(frame), place.points, place.normals, 6.0), place, 6.0)
    lines = []
    for k in range(4):
        rows = slice(k * PER_SIDE, (k + 1) * PER_SIDE)
        if clear[rows].sum() < LEAST_SEEN * PER_SIDE:
            return None
        moved = place.points[rows] + away[rows, None] * place.normals[rows]
        vx, vy, x, y = cv2.fitLine(
            moved[clear[rows]].astype(np.float32), cv2.DIST_WELSCH, 0, 0.01, 0.01
        ).ravel()
        lines.append((np.array([x, y], np.float64), np.array([vx, vy], np.float64)))
    return np.array([_crossing(lines[k - 1], lines[k]) for k in range(4)])


def _crossing(one: tuple[F64, F64], other: tuple[F64, F64]) -> F64:
    reach = np.linalg.solve(np.column_stack([one[1], -other[1]]), other[0] - one[0])
    return np.asarray(one[0] + reach[0] * one[1])


def _grey(frame: U8) -> F32:
    grey = cv2.cvtColor(frame, cv2.COLOR_BGR2GRAY)
    return np.asarray(cv2.GaussianBlur(grey, (3, 3), 0), np.float32)


def _profiles(grey: F32, points: F64, normals: F64, reach: float) -> F32:
    """Return the outward brightness steps across the sides, (n, 2·reach)."""
    offsets = np.arange(-reach, reach + 1.0)
    at = points[:, None] + offsets[None, :, None] * normals[:, None]
    maps = at.astype(np.float32)
    values = cv2.remap(
        grey, maps[..., 0], maps[..., 1], cv2.INTER_LINEAR, borderMode=cv2.BORDER_REPLICATE
    )
    return np.asarray(np.diff(values, axis=1), np.float32)


def matrix(place: Anchor, pose: Pose) -> F64:
    """Return the homography from the first frame's pixels to this frame's (3 x 3)."""
    p = pose.parameters
    near = np.array([[1 + p[2], p[3], p[0]], [p[4], 1 + p[5], p[1]], [p[6], p[7], 1.0]])
    m, s = place.middle, place.scale
    to_unit = np.array([[1 / s, 0, -m[0] / s], [0, 1 / s, -m[1] / s], [0, 0, 1.0]])
    return np.asarray(np.linalg.inv(to_unit) @ near @ to_unit)


def pose_of(place: Anchor, corners_px: F64) -> Pose:
    """Return the pose that puts the square's corners at the given places (4, 2) [px]."""
    m, s = place.middle, place.scale
    first, now = (((c - m) / s).astype(np.float32) for c in (place.corners_px, corners_px))
    h = cv2.getPerspectiveTransform(first, now)
    h /= h[2, 2]
    order = (h[0, 2], h[1, 2], h[0, 0] - 1, h[0, 1], h[1, 0], h[1, 1] - 1, h[2, 0], h[2, 1])
    return Pose(np.array(order, np.float64), 1.0, 0.0)


def _moved(place: Anchor, pose: Pose) -> F64:
    return np.asarray(cv2.perspectiveTransform(place.points[None], matrix(place, pose))[0])


def follow(frame: U8, place: Anchor, before: Pose, *, usual: float = LEAST_SEEN) -> Pose:
    """Return the pose of a frame, starting from that of the frame before.

    Parameters
    ----------
    frame : ndarray (H, W, 3) uint8
        Blue, green, red.
    place : Anchor
        The square as first seen.
    before : Pose
        Pose of the frame before.
    usual : float
        Share of the samples that is usually seen; with much less, edges further away are tried.

    Returns
    -------
    Pose
        ``seen`` below 0.3 says that the square was lost.
    """
    grey = _grey(frame)
    pose = _refined(grey, place, before, (REACH_PX, 4.0))
    if pose.seen >= max(LEAST_SEEN, ENOUGH * usual):
        return pose
    far = _refined(grey, place, before, (FAR_PX, REACH_PX, 4.0))
    return max(pose, far, key=lambda p: (p.worst_side, p.seen))


def _refined(grey: F32, place: Anchor, pose: Pose, reaches: tuple[float, ...]) -> Pose:
    start = pose.parameters
    for reach in reaches:
        pose = _step(grey, place, pose, start, reach)
    return pose


def _step(grey: F32, place: Anchor, pose: Pose, start: F64, reach: float) -> Pose:
    """One search across the sides, one weighted Gauss-Newton step."""
    away, clear = _offsets(_profiles(grey, _moved(place, pose), place.normals, reach), place, reach)
    design = _design(place)
    prior, home = (NOISE_PX / STEP_SD) ** 2, (NOISE_PX / SWAY_SD) ** 2
    weight: F64 = clear.astype(np.float64)
    change = np.zeros(8)
    for _ in range(6):
        normal = (design * weight[:, None]).T @ design + np.diag(prior + home)
        right = design.T @ (weight * away) - prior * (pose.parameters - start)
        right -= home * pose.parameters
        change = np.asarray(np.linalg.solve(normal, right), np.float64)
        rest = away - design @ change
        spread = max(1.4826 * float(np.median(np.abs(rest[clear]))) if clear.any() else 1.0, 0.15)
        u = rest / (TUKEY * spread)
        weight = np.asarray(np.where(clear & (np.abs(u) < 1), (1 - u**2) ** 2, 0.0), np.float64)
    good = clear & (np.abs(rest) < 1.2)
    rms = float(np.sqrt((rest[good] ** 2).mean())) if good.any() else reach
    usable = max(int((place.sign != 0).sum()), 1)
    sides = good.reshape(4, -1).mean(1)[place.sign.reshape(4, -1)[:, 0] != 0]
    seen = float(good.sum()) / usable
    return Pose(pose.parameters + change, seen, rms, float(sides.min(initial=1.0)))


def _offsets(steps: F32, place: Anchor, reach: float) -> tuple[F64, Bools]:
    """Return how far each sample's edge lies outwards [px], and whether it is a clear one."""
    rise = steps.astype(np.float64) * place.sign[:, None]
    best = rise.argmax(1)
    rows = np.arange(len(rise))
    inner = np.clip(best, 1, rise.shape[1] - 2)
    low, mid, high = rise[rows, inner - 1], rise[rows, inner], rise[rows, inner + 1]
    bend = np.minimum(low - 2 * mid + high, -1e-6)
    shift = np.clip(0.5 * (low - high) / bend, -0.5, 0.5)
    clear = (place.sign != 0) & (rise[rows, best] > 0.35 * place.strength) & (best == inner)
    return inner + shift - reach + 0.5, clear


def _design(place: Anchor) -> F64:
    """Return how each sample's offset along its normal answers to the eight parameters (n, 8)."""
    unit = (place.points - place.middle) / place.scale
    x, y = unit[:, 0], unit[:, 1]
    nx, ny = place.normals[:, 0], place.normals[:, 1]
    along = -(nx * x + ny * y)
    columns = [nx, ny, nx * x, nx * y, ny * x, ny * y, along * x, along * y]
    return np.column_stack(columns) * place.scale
