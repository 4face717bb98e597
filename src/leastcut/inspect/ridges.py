"""Bright thin lines in an image: an oriented filter bank, its local noise, and line points.

Each level of an image pyramid is filtered with elongated second-derivative kernels in twelve
directions, put together from one smooth second derivative and short smoothers along; the largest response at each pixel is kept, divided by what texture and noise alone
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
import numpy.typing as npt

from leastcut.inspect.arrays import F32, F64, U8, Bools, Ints, bilinear

DIRECTIONS = 12
SIGMA_PX = 1.2  # across the line: a camera's own blur is 0.8 to 1.2 px
ALONG_PX = 3.2  # of one of the two smoothings along the line
TAPS = range(-5, 6, 2)
KERNEL_PX = 5  # OpenCV turns to a Fourier transform for kernels wider than 11 pixels
DERIVATIVE_PX = 4
REACH_PX = DERIVATIVE_PX + 2 * KERNEL_PX
BLOCK_PX = 48
TILE_PX = (128, 1000)  # a tile's arrays stay in the processor's cache
NAME_BITS = 15  # lowest bits of the response, which name the direction
# The 40 % point of the largest of the responses to white noise of unit standard deviation;
# recomputed by tests/inspect/test_photo_parts.py.
NOISE_QUANTILE = 0.4
NOISE_AT_QUANTILE = 1.202
# What a bright line of unit height and of a camera's blur (sigma 1.1 px) makes the bank answer.
LINE_GAIN = 3.45


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
def axis_kernels() -> tuple[F32, F32, F32]:
    """Return a Gaussian and its first and second derivative."""
    x = np.arange(-DERIVATIVE_PX, DERIVATIVE_PX + 1.0)
    g = np.exp(-((x / SIGMA_PX) ** 2) / 2)
    g /= g.sum()
    bend = ((x / SIGMA_PX) ** 2 - 1) * g / SIGMA_PX**2
    bend -= g * bend.sum()
    slope = x * g / SIGMA_PX**2
    return g.astype(np.float32), slope.astype(np.float32), bend.astype(np.float32)


@cache
def smoothers() -> tuple[F32, ...]:
    """Return one kernel per direction that smooths along it.

    Applied twice to the second derivative across, each makes a kernel of zero mean and unit energy.
    """
    return tuple(_smoother(np.pi * k / DIRECTIONS) for k in range(DIRECTIONS))


def _smoother(angle: float) -> F32:
    """Lay a sampled Gaussian along a direction; taps between two pixels are shared by both."""
    run, rise = np.cos(angle), np.sin(angle)
    steep = abs(rise) > abs(run)
    if steep:
        run, rise = rise, run
    kernel = np.zeros((2 * KERNEL_PX + 1, 2 * KERNEL_PX + 1))
    for i in TAPS:
        weight = np.exp(-((i / run / ALONG_PX) ** 2) / 2)
        low = int(np.floor(i * rise / run))
        share = i * rise / run - low
        kernel[low + KERNEL_PX, i + KERNEL_PX] += weight * (1 - share)
        if share > 0:
            kernel[low + 1 + KERNEL_PX, i + KERNEL_PX] += weight * share
    kernel = kernel.T if steep else kernel
    whole = _second_derivative(angle)
    for _ in range(2):
        padded = np.pad(whole, KERNEL_PX)
        whole = cv2.filter2D(padded, cv2.CV_64F, kernel, borderType=cv2.BORDER_CONSTANT)
    result: F32 = (kernel / (whole**2).sum() ** 0.25).astype(np.float32)
    return result


def _second_derivative(angle: float) -> F64:
    """Return the kernel of the second derivative square to a direction, bright lines positive."""
    g, slope, bend = (k.astype(np.float64) for k in axis_kernels())
    c, s = np.cos(angle), np.sin(angle)
    across = s * s * np.outer(g, bend) - 2 * s * c * np.outer(slope, slope)
    result: F64 = -(across + c * c * np.outer(bend, g))
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

    def one(corner: tuple[int, int]) -> None:
        inner, wide, part = zip(
            *(_spans(c, n, r.stop) for c, n, r in zip(corner, TILE_PX, (rows, cols), strict=True)),
            strict=True,
        )
        largest, first = _respond_tile(image[wide])
        best[inner], which[inner] = largest[part], first[part]

    corners = [
        (top, left)
        for top in range(rows.start, rows.stop, TILE_PX[0])
        for left in range(cols.start, cols.stop, TILE_PX[1])
    ]
    # Tiles stay in the processor's cache, and both libraries let go of the interpreter's lock.
    with ThreadPoolExecutor(max(1, cv2.getNumThreads())) as pool:
        list(pool.map(one, corners))
    return best, which


def _spans(start: int, size: int, end: int) -> tuple[slice, slice, slice]:
    """Return a tile's own pixels, those with its surroundings, and the first within the second."""
    stop = min(start + size, end)
    low = max(start - REACH_PX, 0)
    return slice(start, stop), slice(low, stop + REACH_PX), slice(start - low, stop - low)


def _box(usable: Bools) -> tuple[slice, slice]:
    """Return the rows and columns of the smallest upright box that holds the usable area."""
    rows, cols = np.flatnonzero(usable.any(1)), np.flatnonzero(usable.any(0))
    if not len(rows):
        return slice(0, 0), slice(0, 0)
    return slice(int(rows[0]), int(rows[-1]) + 1), slice(int(cols[0]), int(cols[-1]) + 1)


def _respond_tile(tile: F32) -> tuple[F32, U8]:
    """Return the largest response of the bank, 0 where all are negative, and its direction.

    The direction rides in the lowest bits of the response, so that one maximum keeps both; of
    positive numbers the bit patterns have the same order as the numbers.
    """
    g, slope, bend = axis_kernels()
    edge = cv2.BORDER_REFLECT_101
    xx = cv2.sepFilter2D(tile, cv2.CV_32F, bend, g, borderType=edge)
    yy = cv2.sepFilter2D(tile, cv2.CV_32F, g, bend, borderType=edge)
    twist = cv2.sepFilter2D(tile, cv2.CV_32F, slope, slope, borderType=edge)
    mean = cv2.addWeighted(xx, -0.5, yy, -0.5, 0.0)
    stretch = cv2.addWeighted(xx, 0.5, yy, -0.5, 0.0)
    best = np.zeros(tile.shape, np.int32)
    across, smooth = xx, yy
    for k, kernel in enumerate(smoothers()):
        turn = 2 * np.pi * k / DIRECTIONS
        cv2.addWeighted(stretch, np.cos(turn), twist, np.sin(turn), 0.0, dst=across)
        cv2.add(across, mean, dst=across)
        cv2.filter2D(across, cv2.CV_32F, kernel, dst=smooth, borderType=edge)
        cv2.filter2D(smooth, cv2.CV_32F, kernel, dst=across, borderType=edge)
        bits = across.view(np.int32)
        np.bitwise_and(bits, ~NAME_BITS, out=bits)
        np.bitwise_or(bits, k, out=bits)
        np.maximum(best, bits, out=best)
    return best.view(np.float32), (best & NAME_BITS).astype(np.uint8)


def halved(image: F32) -> F32:
    """Return the next level of the pyramid: pixel k lies between pixels 2 k and 2 k + 1.

    So a mirrored image of even size gives the mirrored level, which it would not were every other
    pixel left out.
    """
    half = np.array([1, 3, 3, 1], np.float32) / 8
    smooth = cv2.sepFilter2D(
        image, cv2.CV_32F, half, half, anchor=(1, 1), borderType=cv2.BORDER_REFLECT
    )
    result: F32 = np.ascontiguousarray(
        smooth[: image.shape[0] // 2 * 2 : 2, : image.shape[1] // 2 * 2 : 2]
    )
    return result


def full_px(at: npt.NDArray[Any], level: int) -> npt.NDArray[Any]:
    """Return where places in pixels of a pyramid level lie in pixels of the image."""
    result: npt.NDArray[Any] = (at + 0.5) * 2**level - 0.5
    return result


def level_px(at: npt.NDArray[Any], level: int) -> npt.NDArray[Any]:
    """Return where places in pixels of the image lie in pixels of a pyramid level."""
    result: npt.NDArray[Any] = (at + 0.5) / 2**level - 0.5
    return result


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
    filled = (np.maximum(filled, max(0.2 * middle, 1e-6)) / NOISE_AT_QUANTILE).astype(np.float32)
    if min(rows, cols) >= 3:
        filled = cv2.medianBlur(filled.astype(np.float32), 3)
    result: F32 = cv2.resize(filled, (width, height), interpolation=cv2.INTER_LINEAR)
    return result


def _middle(size: int, blocks: int) -> slice:
    """Return every fourth pixel of whole blocks, laid in the middle so that no corner is special."""
    start = max(size - blocks * BLOCK_PX, 0) // 2 + 1
    return slice(start, start + blocks * BLOCK_PX - 2, 4) if size >= BLOCK_PX else slice(None)


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
    px = full_px((x + shift * nx)[top], level)
    py = full_px((y + shift * ny)[top], level)
    snr = (here / noise.ravel()[flat])[top]
    return Points(
        px.astype(np.float32),
        py.astype(np.float32),
        k[top].astype(np.intp),
        snr.astype(np.float32),
        level,
    )
