"""Array types, and three small operations that the steps of the line finder share."""

from typing import Any

import numpy as np
import numpy.typing as npt

F32 = npt.NDArray[np.float32]
F64 = npt.NDArray[np.float64]
U8 = npt.NDArray[np.uint8]
Bools = npt.NDArray[np.bool_]
Ints = npt.NDArray[np.intp]


def sums(labels: Ints, values: npt.NDArray[Any], size: int) -> F64:
    """Return the sum of `values` under each label 0 to `size` - 1."""
    return np.bincount(labels, values, minlength=size).astype(np.float64)


def line_turn(angle: F64) -> F64:
    """Bring a difference of line directions into [-pi/2, pi/2)."""
    result: F64 = (angle + np.pi / 2) % np.pi - np.pi / 2
    return result


def bilinear(image: F32, x: npt.NDArray[Any], y: npt.NDArray[Any]) -> F32:
    """Sample `image` between its pixels; outside, the nearest edge pixel."""
    flat = image.ravel()
    height, width = image.shape
    x = np.clip(x, 0, width - 1.001)
    y = np.clip(y, 0, height - 1.001)
    at, x0 = y.astype(np.intp), x.astype(np.intp)
    fx, fy = (x - x0).astype(np.float32), (y - at).astype(np.float32)
    at *= width
    at += x0
    rest, above = np.float32(1) - fx, np.float32(1) - fy
    upper = flat.take(at) * rest + flat[1:].take(at) * fx
    lower = flat[width:].take(at) * rest + flat[width + 1 :].take(at) * fx
    result: F32 = upper * above + lower * fy
    return result
