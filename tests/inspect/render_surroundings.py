"""What real photos show besides scratches: rooms, second lamps, water marks, gaps, lint, phones.

Sizes are drawn wide. source: a phone's lens opens about 2.4 mm (f/1.8 at 4.3 mm); focused on paint
at 0.2 m, a room 1.5 m away is blurred over 2.4 (1.5 - 0.2) / 1.5 = 2.1 mm of paint (thin lens);
status: recomputed. Shut lines of 3 to 5 mm, water marks of 2 to 8 mm, dust and lint, sharpening
after demosaicing: common practice, no source.
"""

import cv2
import numpy as np
from render_parts import Array

MM_PER_CELL = 0.5


def room(rng: np.random.Generator, size_mm: tuple[float, float], count: int) -> Array:
    """Bars and boxes of light as a room's mirror image, out of focus, on a grid of half millimetres."""
    shape = tuple(int(s / MM_PER_CELL) + 80 for s in size_mm)
    canvas = np.zeros(shape, np.float32)
    for _ in range(count):
        centre = rng.uniform(0, 1, 2) * shape[::-1]
        length, width = rng.uniform(20, 200), rng.choice([rng.uniform(2, 8), rng.uniform(10, 60)])
        box = (tuple(centre), (length / MM_PER_CELL, width / MM_PER_CELL), rng.uniform(0, 180))
        light = float(np.exp(rng.uniform(np.log(0.005), np.log(0.12))))
        cv2.fillPoly(canvas, [np.round(cv2.boxPoints(box)).astype(np.int32)], light)
    blur = rng.uniform(0.8, 2.4) / 2.355 / MM_PER_CELL
    return cv2.GaussianBlur(canvas, (0, 0), blur)


def mirrored(light: Array, x_mm: Array, y_mm: Array, slopes: list[Array], lever_mm: float) -> Array:
    """The room as uneven paint mirrors it.

    A slope turns the ray by twice itself; on the panel the image of a thing at distance D, seen
    from E, moves by twice the slope times D E / (D + E).
    """
    at = [
        ((v + 2 * lever_mm * s) / MM_PER_CELL + 40).astype(np.float32)
        for v, s in zip((x_mm, y_mm), slopes, strict=True)
    ]
    return cv2.remap(light, at[0], at[1], cv2.INTER_LINEAR, borderMode=cv2.BORDER_REPLICATE)


def water_marks(rng: np.random.Generator, canvas: Array, count: int, px_per_mm: float) -> None:
    """Rims of dried drops: closed, uneven, 0.1 to 0.4 mm wide."""
    for _ in range(count):
        centre = rng.uniform(0.05, 0.95, 2) * canvas.shape[::-1]
        turn = np.linspace(0, 2 * np.pi, 160, endpoint=False)
        wave = sum(rng.normal(0, 0.06) * np.cos(k * turn + rng.uniform(0, 6.3)) for k in (2, 3, 4))
        radius = rng.uniform(1.0, 4.0) * px_per_mm * (1 + wave)
        ring = centre + np.stack([radius * np.cos(turn), radius * np.sin(turn)], 1)
        layer = np.zeros(canvas.shape, np.float32)
        thick = max(1, round(rng.uniform(0.1, 0.4) * px_per_mm))
        cv2.polylines(
            layer, [np.round(ring * 16).astype(np.int32)], True, 1.0, thick, cv2.LINE_AA, 4
        )
        canvas += layer * np.float32(rng.uniform(0.004, 0.03))


def gap(rng: np.random.Generator, shape: tuple[int, int], px_per_mm: float) -> tuple[Array, Array]:
    """A shut line across one corner of the photo: (share of dark, light of its rounded rims)."""
    side = rng.choice([-1.0, 1.0])
    turn = rng.uniform(-0.4, 0.4) + rng.choice([0, np.pi / 2])
    yy, xx = np.mgrid[: shape[0], : shape[1]].astype(np.float32)
    across = (xx - shape[1] / 2) * np.cos(turn) + (yy - shape[0] / 2) * np.sin(turn)
    away = (across - side * 0.38 * min(shape)) / px_per_mm
    half = rng.uniform(1.5, 2.5)
    dark = 1 / (1 + np.exp(np.minimum((np.abs(away) - half) / 0.08, 60.0)))
    width = rng.uniform(0.15, 0.4)
    rims = sum(np.exp(-0.5 * ((away - s * (half + 0.8)) / width) ** 2) for s in (-1, 1))
    return dark, rims * rng.uniform(0.02, 0.25)


def streak(
    rng: np.random.Generator, shape: tuple[int, int], centre: Array, px_per_mm: float
) -> Array:
    """A smear on the lens draws a soft band through the lamp."""
    turn = rng.uniform(0, np.pi)
    yy, xx = np.mgrid[: shape[0], : shape[1]].astype(np.float32)
    dx, dy = xx - centre[0], yy - centre[1]
    across = (dy * np.cos(turn) - dx * np.sin(turn)) / px_per_mm
    along = (dx * np.cos(turn) + dy * np.sin(turn)) / px_per_mm
    width = rng.uniform(0.5, 1.5)
    return rng.uniform(0.01, 0.08) * np.exp(-0.5 * (across / width) ** 2) / (1 + np.abs(along) / 20)


def lint(rng: np.random.Generator, canvas: Array, count: int, px_per_mm: float) -> None:
    """Curly fibres of a cloth, 1 to 6 mm long, 15 to 30 micrometres thick."""
    for _ in range(count):
        steps = int(rng.uniform(1, 6) / 0.06)
        turn = np.cumsum(rng.standard_normal(steps) * 0.22) + rng.uniform(0, 6.3)
        path = np.cumsum(np.stack([np.cos(turn), np.sin(turn)], 1) * 0.06 * px_per_mm, 0)
        line = rng.uniform(0.05, 0.95, 2) * canvas.shape[::-1] + path
        layer = [np.round(line * 16).astype(np.int32)]
        cv2.polylines(canvas, layer, False, float(rng.uniform(0.02, 0.2)), 1, cv2.LINE_AA, 4)


def phone(code: Array, denoise: float, sharpen: float) -> Array:
    """What a phone does after demosaicing: smooth what looks like noise, then sharpen (8-bit RGB)."""
    if denoise:
        code = cv2.bilateralFilter(code, 5, denoise, 1.3)
    if sharpen:
        soft = cv2.GaussianBlur(code, (0, 0), 1.2)
        code = cv2.addWeighted(code, 1 + sharpen, soft, -sharpen, 0)
    return code
