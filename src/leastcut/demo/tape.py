"""Strips of light masking tape around a square, as a camera sees them."""

import cv2
import numpy as np
from numpy.typing import NDArray

from leastcut.demo.scratches import Floats

Image = NDArray[np.float32]
COLOUR = (0.80, 0.66, 0.40)  # linear reflectance of cream crepe paper; common practice, no source
_SHIFT = 4  # fractional bits of the polygon corners


def corners(square_mm: float, turn: float) -> Floats:
    """Return the inner corners of a turned square [mm], shape (4, 2), lower left first."""
    half = square_mm / 2.0
    square = np.array([[-half, -half], [half, -half], [half, half], [-half, half]])
    return _turned(square, turn)


def _turned(shape: Floats, turn: float) -> Floats:
    c, s = np.cos(turn), np.sin(turn)
    turned: Floats = shape @ np.array([[c, s], [-s, c]])
    return turned


def light(
    height: int,
    width: int,
    square_mm: float,
    tape_mm: float,
    turn: float,
    to_px: Floats,
    rng: np.random.Generator,
) -> tuple[Image, Image]:
    """Return how much of each pixel the tape covers, and how bright its paper is there.

    Parameters
    ----------
    height, width : int
        Size of the photo.
    square_mm, tape_mm, turn : float
        Inner side of the square, width of the tape, turn of the square [rad].
    to_px : ndarray, shape (3, 3)
        From panel millimetres to pixels.
    rng : numpy.random.Generator
        Chance of the torn ends and of the paper's grain.

    Returns
    -------
    mask, cover : ndarray of float32, shape (height, width)
        Coverage 0 to 1; coverage times relative brightness.
    """
    mask = np.zeros((height, width), np.uint8)
    tone = np.zeros((height, width), np.uint8)
    for strip in range(4):
        outline = _strip(strip, square_mm, tape_mm, turn, rng)
        pixels = cv2.perspectiveTransform(outline[None].astype(np.float64), to_px)[0]
        corner = np.round(pixels * 2**_SHIFT).astype(np.int32)
        cv2.fillPoly(mask, [corner], 255, cv2.LINE_AA, _SHIFT)
        cv2.fillPoly(tone, [corner], int(rng.integers(215, 250)), cv2.LINE_AA, _SHIFT)
    cover = tone.astype(np.float32) * np.float32(1.0 / 255.0)
    cover *= _grain(height, width, rng)
    return mask.astype(np.float32) * np.float32(1.0 / 255.0), cover


def _strip(
    side: int, square_mm: float, tape_mm: float, turn: float, rng: np.random.Generator
) -> Floats:
    """Return the outline of one strip: straight along the tape, torn at both ends."""
    half = square_mm / 2.0
    reach = half + tape_mm * 1.25
    teeth = 9
    across = np.linspace(half, half + tape_mm, teeth)
    left = -reach + rng.normal(0.0, 0.35, teeth)
    right = reach + rng.normal(0.0, 0.35, teeth)
    outline = np.concatenate(
        [
            np.column_stack([left, -across]),
            np.column_stack([right, -across])[::-1],
        ]
    )
    return _turned(outline, turn + side * np.pi / 2.0)


def _grain(height: int, width: int, rng: np.random.Generator) -> Image:
    """Return the crepe of the paper: fine ridges on a small tile, repeated."""
    tile = np.pad(rng.standard_normal((256, 256), dtype=np.float32), 16, mode="wrap")
    ridges = cv2.GaussianBlur(tile, (0, 0), sigmaX=1.2, sigmaY=3.0)[16:-16, 16:-16]
    ridges *= np.float32(0.05) / ridges.std()
    repeats = (height // 256 + 1, width // 256 + 1)
    grain: Image = np.tile(np.float32(1.0) + ridges, repeats)[:height, :width]
    return grain
