"""How bright a photo is along lines known from elsewhere, which tells whether a scratch is still there.

Looking where a line must lie needs far less light than finding it, and answers also where nothing
is left. What chance alone would give is measured the same way along the same lines moved aside.
"""

from dataclasses import dataclass, replace

import cv2
import numpy as np

from leastcut.inspect import profile
from leastcut.inspect.arrays import F32, F64, Bools, Ints, bilinear, sums
from leastcut.inspect.linking import Runs

SPACING_PX = 2.0
STRETCH_PX = 16.0  # beyond both ends of a run: where its glint may have moved to
ASIDE_PX = 2  # how far off its place a line may lie: lens, and rest of the registration
FLANK_PX = (4, 6)
BRIGHT_PIECES = 15  # a scratch counts by the brightest stretch of this many pieces
STEP_PIECES = 2
BLUR_PX = 1.15  # a line's sigma for which a rise of 1 is answered with 1
CONTROL_PX = (-31.0, -23.0, 23.0, 31.0)


@dataclass(frozen=True)
class Trace:
    """Points along lines in one photo's pixels; ``owner`` names the line, ``run`` its part."""

    x: F64
    y: F64
    nx: F64
    ny: F64
    run: Ints
    owner: Ints
    count: int


def along(runs: Runs, owner: Ints, *, to_photo: F64 | None = None, aside_px: float = 0.0) -> Trace:
    """Return points along each run, lengthened at both ends.

    Parameters
    ----------
    runs : Runs
        Lines in the pixels of the photo where they were found.
    owner : ndarray (n,) int
        Which scratch each run belongs to.
    to_photo : ndarray (3, 3), optional
        From those pixels to those of the photo to be looked at.
    aside_px : float
        Moves the lines sideways, for what chance gives.
    """
    longer = replace(runs, t0=runs.t0 - STRETCH_PX, t1=runs.t1 + STRETCH_PX)
    cut = profile.pieces(longer, SPACING_PX)
    nx, ny = -np.sin(cut.theta), np.cos(cut.theta)
    x, y = cut.x + aside_px * nx, cut.y + aside_px * ny
    if to_photo is not None:
        ends = np.stack([np.stack([x + nx, y + ny], 1), np.stack([x - nx, y - ny], 1)])
        one, two = cv2.perspectiveTransform(ends, to_photo)
        x, y = ((one + two) / 2).T
        away = (one - two) / np.maximum(np.linalg.norm(one - two, axis=1, keepdims=True), 1e-9)
        nx, ny = away.T
    return Trace(x, y, nx, ny, cut.run, owner[cut.run], int(owner.max(initial=-1)) + 1)


def rises(grey: F32, trace: Trace, usable: Bools) -> tuple[F64, F64]:
    """Return the rise of light over both flanks at each point, and the shift that shows it best.

    Outside the `usable` area there is no rise: the rim of the lamp's image and tape look like lines.

    Returns
    -------
    rise : ndarray (n,)
        Linear light, for each scratch at the sideways shift where it is brightest as a whole.
    shift_px : ndarray (n,)
        That shift.
    """
    reach = ASIDE_PX + FLANK_PX[1]
    columns = np.stack(
        [
            bilinear(grey, trace.x + k * trace.nx, trace.y + k * trace.ny)
            for k in range(-reach, reach + 1)
        ]
    )
    weights = _across()
    shifts = np.arange(-ASIDE_PX, ASIDE_PX + 1)
    answers = np.stack([weights @ columns[d : d + len(weights)] for d in range(len(shifts))])
    answers = np.where(_inside(trace, usable), answers, 0.0)
    number = np.maximum(np.bincount(trace.owner, minlength=trace.count), 1)
    means = np.stack([sums(trace.owner, a, trace.count) / number for a in answers])
    chosen = means.argmax(0)[trace.owner]
    rise: F64 = answers[chosen, np.arange(len(trace.x))].astype(np.float64)
    return rise, shifts[chosen].astype(np.float64)


def _inside(trace: Trace, usable: Bools) -> Bools:
    """Tell which points lie in the usable area."""
    col, row = np.round(trace.x).astype(np.intp), np.round(trace.y).astype(np.intp)
    height, width = usable.shape
    within = (col >= 0) & (row >= 0) & (col < width) & (row < height)
    result: Bools = within & usable[np.clip(row, 0, height - 1), np.clip(col, 0, width - 1)]
    return result


def _across() -> F32:
    """Return weights that answer a line of unit rise with 1, and even light or a slope with 0."""
    k = np.arange(-FLANK_PX[1], FLANK_PX[1] + 1.0)
    line = np.exp(-((k / BLUR_PX) ** 2) / 2)
    middle = np.where(np.abs(k) <= 2, line, 0.0)
    flank = (np.abs(k) >= FLANK_PX[0]).astype(float)
    weights = middle / middle.sum() - flank / flank.sum()
    result: F32 = (weights / (weights @ line)).astype(np.float32)
    return result


def brightest(rise: F64, trace: Trace) -> F64:
    """Return, for each scratch, the middle rise of its brightest stretch.

    The middle of a stretch is not moved by another scratch that crosses it.
    """
    result = np.full(trace.count, -np.inf)
    if len(rise) < BRIGHT_PIECES:
        return np.zeros(trace.count)
    stretch = np.lib.stride_tricks.sliding_window_view(rise, BRIGHT_PIECES)[::STEP_PIECES]
    first = trace.run[: len(rise) - BRIGHT_PIECES + 1 : STEP_PIECES]
    last = trace.run[BRIGHT_PIECES - 1 :: STEP_PIECES]
    whole = first == last  # every run is long enough for one: it was lengthened at both ends
    middle = np.partition(stretch[whole], BRIGHT_PIECES // 2, axis=1)[:, BRIGHT_PIECES // 2]
    np.maximum.at(result, trace.owner[: len(stretch) * STEP_PIECES : STEP_PIECES][whole], middle)
    return np.where(np.isfinite(result), result, 0.0)


def aside(grey: F32, usable: Bools, runs: Runs, owner: Ints, to_photo: F64 | None = None) -> F64:
    """Return, (moves, n), the rises that the same lines show when moved aside to either side."""
    traced = [along(runs, owner, to_photo=to_photo, aside_px=move) for move in CONTROL_PX]
    return np.stack([brightest(rises(grey, trace, usable)[0], trace) for trace in traced])


def chance(moved: F64) -> float:
    """Return the rise that only one line in forty reaches where there is none.

    Lines moved aside answer (:func:`aside`); their middle and spread are used, since some of the
    places moved to do bear a line.
    """
    low, middle = np.quantile(moved, [0.1, 0.3])
    return float(middle + 3.3 * (middle - low))
