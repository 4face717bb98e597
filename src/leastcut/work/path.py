"""From what was seen to the path of the pad: when it is down, how fast it moves."""

from dataclasses import dataclass
from itertools import pairwise

import numpy as np

from leastcut.inspect.arrays import F64, Bools, Ints
from leastcut.work.follow import Track

LIFTED = 1.055  # the pad looks this much larger when it is nearer to the camera
GAP_S = 1.0  # a pad hidden for less is taken to have gone straight on
WINDOW_S = 0.12  # half the time over which a speed is taken
STRAY_MM = 18.0
STILL_MM_S = 10.0


@dataclass(frozen=True)
class Path:
    """The pad's centre while it is down.

    Attributes
    ----------
    t_s, x_mm, y_mm : ndarray (n,)
        Times and places.
    vx_mm_s, vy_mm_s : ndarray (n,)
        Velocity.
    piece : ndarray (n,) of int
        Rises by one after each lift or longer gap.
    sd_mm : ndarray (n,)
        Standard uncertainty of a place.
    lifted_s, unseen_s : float
        Time with the pad off the paint, and out of sight.
    """

    t_s: F64
    x_mm: F64
    y_mm: F64
    vx_mm_s: F64
    vy_mm_s: F64
    piece: Ints
    sd_mm: F64
    lifted_s: float
    unseen_s: float

    @property
    def speed_mm_s(self) -> F64:
        """Speed at each place [mm/s]."""
        return np.hypot(self.vx_mm_s, self.vy_mm_s)

    @property
    def xy_mm(self) -> F64:
        """Places (n, 2) [mm]."""
        return np.column_stack([self.x_mm, self.y_mm])

    def spells_s(self) -> F64:
        """Return the time that each place stands for [s]; the sum is the time with the pad down."""
        step = np.diff(self.t_s) * (np.diff(self.piece) == 0)
        return np.asarray(0.5 * (np.append(step, 0.0) + np.insert(step, 0, 0.0)))


def down_path(track: Track) -> Path:
    """Return the path of the pad while it is down.

    A pad held off the paint is nearer to the camera and looks larger; places that stray from their
    neighbours in time are left out; short gaps are bridged.
    """
    seen = np.isfinite(track.x_mm) & ~_stray(track)
    lifted = seen & _lifted(track, seen)
    spell = _frame_spells(track.t_s)
    good = np.flatnonzero(seen & ~lifted)
    t = track.t_s[good]
    gap = np.diff(t) > GAP_S
    through_air = np.array([lifted[a:b].any() for a, b in pairwise(good)], bool)
    piece = np.concatenate([[0], np.cumsum(gap | through_air)]).astype(np.intp)[: len(t)]
    x, y = track.x_mm[good], track.y_mm[good]
    vx, vy = _velocity(t, x, y, piece)
    return Path(
        t, x, y, vx, vy, piece, track.sd_mm[good],
        float(spell[lifted].sum()), float(spell[~seen].sum()),
    )  # fmt: skip


def _frame_spells(t: F64) -> F64:
    step = np.diff(t)
    return np.asarray(0.5 * (np.append(step, 0.0) + np.insert(step, 0, 0.0)))


def _stray(track: Track) -> Bools:
    """Mark places far from the middle of the five around them."""
    x, y = track.x_mm, track.y_mm
    if len(x) < 5:
        return np.zeros(len(x), bool)
    index = np.clip(np.arange(len(x))[:, None] + np.arange(-2, 3), 0, len(x) - 1)
    with np.errstate(all="ignore"):
        middle = [_middle(v[index]) for v in (x, y)]
    return np.asarray(np.hypot(x - middle[0], y - middle[1]) > STRAY_MM + 0.05 * _stride(track))


def _middle(values: F64) -> F64:
    """Return the median of each row, nan counted as absent; nan where nothing is."""
    ordered = np.sort(values, axis=1)  # nan goes last
    count = np.isfinite(values).sum(1)
    low = np.clip((count - 1) // 2, 0, None)
    high = np.clip(count // 2, 0, values.shape[1] - 1)
    rows = np.arange(len(values))
    return np.asarray(0.5 * (ordered[rows, low] + ordered[rows, high]))


def _stride(track: Track) -> float:
    """Return a long step from frame to frame [mm]."""
    steps = np.hypot(np.diff(track.x_mm), np.diff(track.y_mm))
    steps = steps[np.isfinite(steps)]
    return float(np.quantile(steps, 0.95)) * 20 if len(steps) else 0.0


def _lifted(track: Track, seen: Bools) -> Bools:
    sizes = track.radius_mm.copy()
    measured = np.isfinite(sizes) & seen
    if measured.sum() < 5:
        return np.zeros(len(sizes), bool)
    usual = float(np.median(sizes[measured]))
    index = np.clip(np.arange(len(sizes))[:, None] + np.arange(-2, 3), 0, len(sizes) - 1)
    sizes[~measured] = np.nan
    return np.asarray(np.nan_to_num(_middle(sizes[index]), nan=usual) > LIFTED * usual)


def _velocity(t: F64, x: F64, y: F64, piece: Ints) -> tuple[F64, F64]:
    """Return the velocity over a short window about each place, within its piece."""
    vx, vy = np.zeros(len(t)), np.zeros(len(t))
    for number in np.unique(piece):
        rows = np.flatnonzero(piece == number)
        if len(rows) < 2:
            continue
        first = np.searchsorted(t[rows], t[rows] - WINDOW_S)
        last = np.searchsorted(t[rows], t[rows] + WINDOW_S, side="right") - 1
        last = np.minimum(np.maximum(last, first + 1), len(rows) - 1)
        first = np.minimum(first, last - 1)
        span = t[rows][last] - t[rows][first]
        vx[rows] = (x[rows][last] - x[rows][first]) / span
        vy[rows] = (y[rows][last] - y[rows][first]) / span
    return vx, vy
