"""Pictures of a finding: overlay, centre lines, load map, widths, direction rose, before and after.

Kinds are told apart by line style as well as by colour: swirl solid, trail dashed, deep double.
Colours: three of the colour-blind-safe set of Okabe and Ito (2008); from memory.
"""

from functools import cache

import cv2
import numpy as np
import numpy.typing as npt

from leastcut.inspect.arrays import F32, U8
from leastcut.inspect.records import Kind, Scratch, ScratchFinding

COLOURS: dict[Kind, tuple[int, int, int]] = {
    "swirl": (86, 180, 233),
    "trail": (240, 228, 66),
    "deep": (230, 97, 0),
}
SHIFT = 4  # sub-pixel bits of the drawing functions
DASH_PX = 14.0
TABLE_TOP = 16383
BAND_ROWS = 32  # few enough for a band's numbers to stay in the processor's cache
DIMMED = 0.75


def encode(image: F32) -> U8:
    """Return linear light as an 8-bit RGB picture. source: IEC 61966-2-1; status: memory."""
    linear = image if image.ndim == 3 else np.repeat(image[..., None], 3, 2)
    code: U8 = np.empty(linear.shape, np.uint8)
    for top in range(0, len(linear), BAND_ROWS):
        steps = np.clip(linear[top : top + BAND_ROWS], 0, 1)
        steps *= np.float32(TABLE_TOP)
        steps += np.float32(0.5)
        band = code[top : top + BAND_ROWS]
        np.take(_srgb_table(), steps.astype(np.uint16), out=band, mode="clip")
    return code


@cache
def _srgb_table() -> U8:
    """Return the sRGB code of linear light in even steps, fine enough for 8 bits in the dark."""
    linear = np.arange(TABLE_TOP + 1) / TABLE_TOP
    code = np.where(linear <= 0.0031308, 12.92 * linear, 1.055 * linear ** (1 / 2.4) - 0.055)
    return np.round(code * 255).astype(np.uint8)


def _fixed(points: npt.ArrayLike) -> npt.NDArray[np.int32]:
    fixed: npt.NDArray[np.int32] = np.round(np.asarray(points, np.float64) * 2**SHIFT).astype(
        np.int32
    )
    return fixed


def centrelines(finding: ScratchFinding, shape: tuple[int, ...]) -> U8:
    """Return the centre lines, 255 on 0, one pixel wide, in the photo's own pixel frame."""
    canvas: U8 = np.zeros(shape[:2], np.uint8)
    lines = [_fixed(s.points_px) for s in finding.scratches if len(s.points_px) > 1]
    cv2.polylines(canvas, lines, False, 255, 1, cv2.LINE_8, SHIFT)
    return canvas


def overlay(image: F32, finding: ScratchFinding) -> U8:
    """Return the photo, greyed and dimmed, with the scratches drawn by kind.

    Parameters
    ----------
    image : ndarray (H, W, 3) float32
        Linear light.
    finding : ScratchFinding
        What :func:`leastcut.inspect.scratches.find` made of it.

    Returns
    -------
    ndarray (H, W, 3) uint8
        RGB.
    """
    canvas = _dimmed(encode(image))
    thick = max(1, round(max(canvas.shape) / 1600))
    for scratch in finding.scratches:
        _stroke(canvas, scratch, thick)
    return canvas


def _dimmed(code: U8) -> U8:
    """Return a picture in grey, the mean of its colours, and darker: by a table of their sum."""
    total = code[..., 0].astype(np.uint16)
    total += code[..., 1]
    total += code[..., 2]
    table = (np.arange(3 * 255 + 1) / 3 * DIMMED).astype(np.uint8)
    result: U8 = cv2.merge([table[total]] * 3)
    return result


def _stroke(canvas: U8, scratch: Scratch, thick: int) -> None:
    colour = COLOURS[scratch.kind]
    points = np.asarray(scratch.points_px, np.float64)
    if len(points) < 2:
        return
    if scratch.kind == "swirl":
        cv2.polylines(canvas, [_fixed(points)], False, colour, thick, cv2.LINE_AA, SHIFT)
    elif scratch.kind == "trail":
        cv2.polylines(
            canvas, _dashes(points, DASH_PX * thick), False, colour, thick, cv2.LINE_AA, SHIFT
        )
    else:
        run = points[-1] - points[0]
        normal = np.array([-run[1], run[0]]) / max(float(np.hypot(*run)), 1e-9)
        both = [_fixed(points + side * (1.5 + thick) * normal) for side in (-1, 1)]
        cv2.polylines(canvas, both, False, colour, thick, cv2.LINE_AA, SHIFT)


def _dashes(points: npt.NDArray[np.float64], dash: float) -> list[npt.NDArray[np.int32]]:
    """Cut a polyline into every other dash."""
    along = np.concatenate([[0.0], np.cumsum(np.hypot(*np.diff(points, axis=0).T))])
    starts = np.arange(0, along[-1], 1.7 * dash)
    cuts = [np.linspace(s, min(s + dash, along[-1]), 4) for s in starts]
    return [
        _fixed(np.column_stack([np.interp(c, along, points[:, k]) for k in (0, 1)])) for c in cuts
    ]
