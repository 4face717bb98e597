"""Clarity: how well bars are seen reflected in the paint.

Per bar width, C = (M - m) / (M + m) of the reflected bars, M and m the bright and dark extremes;
the optical comb of ISO 10215 and JIS K 7374 (numbers from memory). A photo adds its own blur and
veil, so compare like with like: same camera, distance and light.
"""

import msgspec
import numpy as np

from leastcut.errors import Refusal
from leastcut.inspect import fiducials, scale, survey, target
from leastcut.inspect.arrays import F32, F64

LEAST_PX_PER_BAR = (
    2.0  # of the photo: a bar narrower than this is the camera's limit, not the paint's
)
PROFILES = 24


class ClarityFinding(msgspec.Struct, frozen=True, kw_only=True):
    """Clarity per bar width [%]; None where the photo cannot resolve the bar itself.

    Attributes
    ----------
    clarity_percent : dict of str to float or None
        Bar width in mm as a word (``"0.5"``) to clarity.
    um_per_px : float or None
        Scale of the reflected sheet in the photo.
    """

    clarity_percent: dict[str, float | None]
    um_per_px: float | None
    refused: Refusal | None = None


def clarity(image: F32, *, side_mm: float = target.SIDE_MM) -> ClarityFinding:
    """Measure the clarity of a panel from a photo of the target's reflection.

    Parameters
    ----------
    image : ndarray (H, W, 3) or (H, W) float32
        Linear light.
    side_mm : float
        Inner side of the printed frame as measured, 100 mm on a true print.

    Returns
    -------
    ClarityFinding
        Refused when the frame or its corner marks cannot be found.
    """
    grey = survey.grey_of(image)
    root = survey.root_of(grey)
    frame = scale.square(root, side_mm)
    if isinstance(frame, Refusal):
        return _refused(frame)
    assert frame.corners_px is not None
    upright = fiducials.upright(grey, frame.corners_px)
    if upright is None:
        return _refused(
            Refusal(
                why="the target's corner marks cannot be told in the reflection",
                do="Show the whole target in the paint, evenly lit, and focus on its reflection",
            )
        )
    values = {f"{b.bar_mm:g}": _contrast(upright, b, frame.um_per_px) for b in target.bands()}
    named = {("1.0" if k == "1" else "2.0" if k == "2" else k): v for k, v in values.items()}
    return ClarityFinding(clarity_percent=dict(sorted(named.items())), um_per_px=frame.um_per_px)


def _refused(why: Refusal) -> ClarityFinding:
    return ClarityFinding(clarity_percent={}, um_per_px=None, refused=why)


def _contrast(upright: F32, band: target.Band, um_per_px: float) -> float | None:
    """Return (M - m) / (M + m) over one band, with the height of single bars taken together."""
    if band.bar_mm * 1000 / um_per_px < LEAST_PX_PER_BAR:
        return None
    margin = 0.15 * band.height
    rows = (
        np.linspace(band.y + margin, band.y + band.height - margin, PROFILES) * fiducials.PX_PER_MM
    )
    x0, x1 = (
        band.x * fiducials.PX_PER_MM,
        (band.x + 2 * band.bar_mm * len(band.bars)) * fiducials.PX_PER_MM,
    )
    strip = upright[np.round(rows).astype(int), round(x0) : round(x1)].astype(np.float64)
    ratios = [_fringe(row, 2 * band.bar_mm * fiducials.PX_PER_MM) for row in strip]
    return 100 * float(np.median(ratios))


def _fringe(row: F64, period_px: float) -> float:
    """Return the contrast of one line across the bars.

    All periods are laid over each other and averaged before the bright and dark extremes are
    read, so that noise does not count as contrast.
    """
    number = max(int(len(row) / period_px), 1)
    steps = max(round(period_px), 4)
    at = np.arange(number * steps) / steps * period_px
    cells = np.interp(at, np.arange(len(row)), row).reshape(number, steps)
    mean = cells.mean(0)
    top, bottom = float(mean.max()), float(mean.min())
    return (top - bottom) / max(top + bottom, 1e-9)
