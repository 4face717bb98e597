"""Bright thin lines in an image: an oriented filter bank, its local noise, and line points.

Each level of an image pyramid is filtered with elongated second-derivative kernels in ten
directions; the largest response at each pixel is kept, divided by what texture and noise alone
give in that neighbourhood, and thinned to points on the crest with a sub-pixel place.

source: second-derivative line detection with sub-pixel crest: Steger, IEEE TPAMI 20(2) 113 (1998);
oriented elongated kernels as matched filters: Chaudhuri et al., IEEE TMI 8 263 (1989);
status: the first seen, the second from memory.
"""

from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass
from functools import cache
from typing import Any

import cv2
import numpy as np

from leastcut.inspect.arrays import F32, F64, U8, Bools, Ints, bilinear

DIRECTIONS = 10
SIGMA_PX = 1.2  # across the line: a camera's own blur is 0.8 to 1.2 px
ALONG_PX = 3.2  # along the line
REACH_PX = 5  # 11 x 11 kernels run without a Fourier transform
BLOCK_PX = 48
STRIP_ROWS = 256
# The 40 % point of the largest of ten responses to white noise of unit standard deviation;
# recomputed by tests/inspect/test_photo_ridges.py.
NOISE_QUANTILE = 0.4
NOISE_AT_QUANTILE = 1.044
# What a bright line of unit height and of a camera's blur (sigma 1.1 px) makes the bank answer.
LINE_GAIN = 1.85


@dataclass(frozen=True)
class Points:
    """Points on the crests of lines, one row each, in pixels of the full image."""

    x: F32
    y: F32
    direction: Ints  # index of the kernel
    snr: F32
    level: int

    def __len__(self) -> int:
        return len(self.x)


@cache
def kernels() -> list[F32]:
    """Return the ten kernels, each of zero mean and unit energy."""
    r = np.arange(-REACH_PX, REACH_PX + 1, dtype=np.float64)
    x, y = np.meshgrid(r, r)
    return [_kernel(x, y, np.pi * k / DIRECTIONS) for k in range(DIRECTIONS)]


def _kernel(x: F64, y: F64, angle: float) -> F32:
    along = x * np.cos(angle) + y * np.sin(angle)
    across = y * np.cos(angle) - x * np.sin(angle)
    window = np.exp(-((along / ALONG_PX) ** 2) / 2)
    shape = (1 - (across / SIGMA_PX) ** 2) * np.exp(-((across / SIGMA_PX) ** 2) / 2) * window
    shape -= (
        window
        * np.exp(-((across / SIGMA_PX) ** 2) / 8)
        * (shape.sum() / (window * np.exp(-((across / SIGMA_PX) ** 2) / 8)).sum())
    )
    result: F32 = (shape / np.sqrt((shape**2).sum())).astype(np.float32)
    return result


def respond(image: F32, usable: Bools | None = None) -> tuple[F32, U8]:
    """Return the largest response of the bank and which kernel gave it.

    Parameters
    ----------
    image : ndarray (H, W) float32
        Light with its noise made even (a square root of linear light does that).
    usable : ndarray (H, W) bool, optional
        Where lines may be looked for: outside the smallest upright box round it the response is 0.
    """
    rows, cols = (slice(0, n) for n in image.shape) if usable is None else _box(usable)
    best = np.zeros(image.shape, np.float32)
    which = np.zeros(image.shape, np.uint8)
    wide = slice(max(cols.start - REACH_PX, 0), cols.stop + REACH_PX)
    across = slice(cols.start - wide.start, cols.stop - wide.start)

    def one(top: int) -> None:
        stop = min(top + STRIP_ROWS, rows.stop)
        halo = slice(max(top - REACH_PX, 0), stop + REACH_PX)
        inner = slice(top - halo.start, stop - halo.start)
        largest, first = _respond_strip(image[halo, wide])
        best[top:stop, cols], which[top:stop, cols] = largest[inner, across], first[inner, across]

    # Strips stay in the processor's cache, and both libraries let go of the interpreter's lock.
    with ThreadPoolExecutor(max(1, cv2.getNumThreads())) as pool:
        list(pool.map(one, range(rows.start, rows.stop, STRIP_ROWS)))
    return best, which


def _box(usable: Bools) -> tuple[slice, slice]:
    """Return the rows and columns of the smallest upright box that holds the usable area."""
    rows, cols = np.flatnonzero(usable.any(1)), np.flatnonzero(usable.any(0))
    if not len(rows):
        return slice(0, 0), slice(0, 0)
    return slice(int(rows[0]), int(rows[-1]) + 1), slice(int(cols[0]), int(cols[-1]) + 1)


def _respond_strip(strip: F32) -> tuple[F32, U8]:
    best: Any = None
    which = np.zeros(strip.shape, np.uint8)
    for k, kernel in enumerate(kernels()):
        response = cv2.filter2D(strip, cv2.CV_32F, kernel, borderType=cv2.BORDER_REFLECT_101)
        if best is None:
            best = response
            continue
        larger = cv2.compare(response, best, cv2.CMP_GT).view(np.bool_)
        np.copyto(which, k, where=larger)
        best = cv2.max(best, response, dst=best)
    return best, which


def local_noise(best: F32, usable: Bools) -> F32:
    """Return what texture and noise alone answer around each pixel, as a standard deviation.

    The 40 % point within blocks is used: lines cover less than half of any block. Unusable
    pixels are left out; blocks without any usable one take the middle of all.
    """
    height, width = best.shape
    rows, cols = max(1, height // BLOCK_PX), max(1, width // BLOCK_PX)
    crop = (_middle(height, rows), _middle(width, cols))
    values = np.where(usable[crop], best[crop], np.nan)
    blocks = _blocks(values, rows, cols)
    count = np.isfinite(blocks).sum(1)
    blocks = np.sort(blocks, axis=1)  # nan sorts last
    at = np.clip((count * NOISE_QUANTILE).astype(np.intp), 0, blocks.shape[1] - 1)
    grid = np.where(count > 20, blocks[np.arange(len(blocks)), at], np.nan)
    middle = float(np.nanmedian(grid)) if np.isfinite(grid).any() else 1.0
    filled = np.where(np.isfinite(grid), grid, middle).reshape(rows, cols).astype(np.float32)
    filled = (np.maximum(filled, 0.2 * middle) / NOISE_AT_QUANTILE).astype(np.float32)
    if min(rows, cols) >= 3:
        filled = cv2.medianBlur(filled.astype(np.float32), 3)
    result: F32 = cv2.resize(filled, (width, height), interpolation=cv2.INTER_LINEAR)
    return np.maximum(result, np.float32(1e-6))


def _middle(size: int, blocks: int) -> slice:
    """Return every third pixel of whole blocks, laid in the middle so that no corner is special."""
    start = max(size - blocks * BLOCK_PX, 0) // 2 + 1
    return slice(start, start + blocks * BLOCK_PX - 2, 3) if size >= BLOCK_PX else slice(None)


def _blocks(values: F32, rows: int, cols: int) -> F32:
    """Cut an array into rows x cols equal blocks, one per row of the result."""
    h, w = values.shape[0] // rows, values.shape[1] // cols
    cut = values[: rows * h, : cols * w].reshape(rows, h, cols, w)
    return cut.transpose(0, 2, 1, 3).reshape(rows * cols, h * w)


def crest(best: F32, which: U8, noise: F32, usable: Bools, *, floor: F32, level: int) -> Points:
    """Return the points where the response is largest across the line.

    Parameters
    ----------
    floor : ndarray (H, W) float32
        Smallest response kept.
    level : int
        Pyramid level; coordinates are returned in pixels of level 0.
    """
    keep = (best > floor) & usable
    keep[:2] = keep[-2:] = False
    keep[:, :2] = keep[:, -2:] = False
    flat = np.flatnonzero(keep)
    y, x = np.divmod(flat, best.shape[1])
    k = which.ravel()[flat]
    angle = np.pi * k / DIRECTIONS
    nx, ny = -np.sin(angle).astype(np.float32), np.cos(angle).astype(np.float32)
    here = best.ravel()[flat]
    ahead = bilinear(best, x + nx, y + ny)
    behind = bilinear(best, x - nx, y - ny)
    top = (here >= ahead) & (here > behind)
    bend = np.minimum(ahead + behind - 2 * here, -1e-9)
    shift = np.clip((behind - ahead) / (2 * bend), -0.7, 0.7)
    scale = float(2**level)
    px = (x + shift * nx)[top] * scale  # pyramid pixel k lies on pixel 2 k of the finer level
    py = (y + shift * ny)[top] * scale
    snr = (here / noise.ravel()[flat])[top]
    return Points(
        px.astype(np.float32),
        py.astype(np.float32),
        k[top].astype(np.intp),
        snr.astype(np.float32),
        level,
    )
