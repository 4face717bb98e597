"""The printed target's corner marks: which way round the sheet lies, and whether it is the sheet."""

from typing import Any

import cv2
import numpy as np

from leastcut.inspect import target
from leastcut.inspect.arrays import F32, F64

PX_PER_MM = 24.0  # the sheet is drawn upright at this scale: the finest bar spans three pixels
LEAST_SCORE = 0.15  # of the open mark's light by which it outshines the filled ones


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
    """Tell whether the square with these inner corners is the printed target."""
    return _turn(grey, corners) is not None


def _turn(grey: F32, corners: F64) -> F64 | None:
    """Return the map from photo to sheet, trying the four turns and the mirror image."""
    size = target.SIDE_MM * PX_PER_MM
    flat = np.array([[0, 0], [size, 0], [size, size], [0, size]], np.float32)
    best: tuple[float, Any] = (LEAST_SCORE, None)
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
    """Return how well the marks fit: three dark, the open one bright in its middle."""
    marks = target.marks()
    offsets = np.array([[dx, dy] for dx in (-1.2, 0, 1.2) for dy in (-1.2, 0, 1.2)]) / 2
    light = []
    for x, y, _ in marks:
        points = (np.array([x, y]) + offsets) * PX_PER_MM
        at = cv2.perspectiveTransform(points[None], to_photo.astype(np.float64))[0]
        col = np.clip(at[:, 0].astype(int), 0, grey.shape[1] - 1)
        row = np.clip(at[:, 1].astype(int), 0, grey.shape[0] - 1)
        light.append(float(grey[row, col].mean()))
    bright = light[0]
    return (bright - max(light[1:])) / max(bright, 1e-6)
