"""The printed target's corner marks and widest bars: how the sheet lies, and whether it is the sheet."""

from typing import Any

import cv2
import numpy as np

from leastcut.inspect import target
from leastcut.inspect.arrays import F32, F64, bilinear

PX_PER_MM = 24.0  # the sheet is drawn upright at this scale: the finest bar spans three pixels
LEAST_SCORE = 0.08  # contrast of marks and widest bars, seen in a soft reflection
PRINT_SCORE = (
    0.4  # the same of ink on paper seen directly: light on scratched paint can reach a little
)


def upright(grey: F32, corners: F64) -> F32 | None:
    """Lay the sheet's inside upright, or return None where its marks are not to be seen.

    Parameters
    ----------
    grey : ndarray (H, W) float32
        Linear light.
    corners : ndarray (4, 2)
        Inner corners of the frame [px], in order round it.
    """
    found = _turn(grey, corners)
    if found is None:
        return None
    size = round(target.SIDE_MM * PX_PER_MM)
    result: F32 = cv2.warpPerspective(grey, found, (size, size), flags=cv2.INTER_LINEAR)
    return result


def recognised(grey: F32, corners: F64) -> bool:
    """Tell whether the square with these inner corners is the printed target, seen directly."""
    return _turn(grey, corners, PRINT_SCORE) is not None


def _turn(grey: F32, corners: F64, least: float = LEAST_SCORE) -> F64 | None:
    """Return the map from photo to sheet, trying the four turns and the mirror image."""
    size = target.SIDE_MM * PX_PER_MM
    flat = np.array([[0, 0], [size, 0], [size, size], [0, size]], np.float32)
    best: tuple[float, Any] = (least, None)
    for ring in (corners, corners[::-1]):  # a reflection shows the sheet mirrored
        for turn in range(4):
            quad = np.roll(ring, turn, axis=0).astype(np.float32)
            h = cv2.getPerspectiveTransform(quad, flat)
            score = _mark_score(grey, np.linalg.inv(h))
            if score > best[0]:
                best = (score, h)
    found: F64 | None = best[1]
    return found


def _mark_score(grey: F32, to_photo: F64) -> float:
    """Return how well marks and widest bars fit: the lesser of both contrasts."""
    offsets = np.array([[dx, dy] for dx in (-0.6, 0, 0.6) for dy in (-0.6, 0, 0.6)])
    light = [
        float(_light(grey, to_photo, offsets + np.array([x, y])).mean())
        for x, y, _ in target.marks()
    ]
    marks = (light[0] - max(light[1:])) / max(light[0], 1e-6)
    widest = target.bands()[0]
    x = np.array(widest.bars) + widest.bar_mm / 2
    y = np.full(len(x), widest.y + widest.height / 2)
    dark = float(_light(grey, to_photo, np.column_stack([x, y])).mean())
    gaps = float(_light(grey, to_photo, np.column_stack([x + widest.bar_mm, y])).mean())
    return min(marks, (gaps - dark) / max(gaps, 1e-6))


def _light(grey: F32, to_photo: F64, sheet_mm: F64) -> F32:
    """Return the light at points of the sheet [mm]."""
    points = (sheet_mm * PX_PER_MM)[None].astype(np.float64)
    at = cv2.perspectiveTransform(points, to_photo.astype(np.float64))[0]
    return bilinear(grey, at[:, 0], at[:, 1])
