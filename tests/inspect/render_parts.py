"""Pieces of the photo renderer that know nothing of a scene."""

import cv2
import numpy as np

Array = np.ndarray


def srgb(linear: Array) -> Array:
    """Encode linear light 0..1. source: IEC 61966-2-1; status: memory."""
    linear = np.clip(linear, 0, 1)
    return np.where(linear <= 0.0031308, 12.92 * linear, 1.055 * linear ** (1 / 2.4) - 0.055)


def unsrgb(code: Array) -> Array:
    return np.where(code <= 0.04045, code / 12.92, ((code + 0.055) / 1.055) ** 2.4)


def smooth_field(
    rng: np.random.Generator, shape: tuple[int, ...], scale_px: float, rms: float
) -> Array:
    """Gaussian random field of given correlation length and rms."""
    small = max(scale_px / 3, 1.0)
    size = (int(shape[0] / small) + 8, int(shape[1] / small) + 8)
    noise = cv2.GaussianBlur(rng.standard_normal(size).astype(np.float32), (0, 0), 3.0)
    noise *= rms / max(float(noise.std()), 1e-9)
    return cv2.resize(noise, (shape[1], shape[0]), interpolation=cv2.INTER_CUBIC)


def splat(shape: tuple[int, ...], x: Array, y: Array, value: Array) -> Array:
    canvas = np.zeros(shape[0] * shape[1])
    x0, y0 = np.floor(x).astype(int), np.floor(y).astype(int)
    fx, fy = x - x0, y - y0
    for dx, dy, part in (
        (0, 0, (1 - fx) * (1 - fy)),
        (1, 0, fx * (1 - fy)),
        (0, 1, (1 - fx) * fy),
        (1, 1, fx * fy),
    ):
        flat = np.clip(y0 + dy, 0, shape[0] - 1) * shape[1] + np.clip(x0 + dx, 0, shape[1] - 1)
        canvas += np.bincount(flat, value * part, minlength=canvas.size)
    return canvas.reshape(shape)
