"""More pictures of a finding: load map, histogram of widths, direction rose, before and after.

Charts are SVG text, drawn by hand so that they embed in pages and reports as vectors; values are
printed beside the marks, and no meaning hangs on colour alone.
"""

import cv2
import numpy as np

from leastcut.inspect.arrays import F32, F64, U8
from leastcut.inspect.pictures import encode
from leastcut.inspect.records import ScratchFinding

INK, BAR = "#1b1b1b", "#35618f"
_HEAD = (
    '<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 {w} {h}" role="img" '
    'aria-label="{label}" font-family="Atkinson Hyperlegible, sans-serif" font-size="11">'
)
ROSE_BINS = 18
CELLS_ACROSS = 24
FINE = 8  # steps per side of a cell, by which its measured share is told
HALF = 0.5  # of a cell: less says little


def _pieces(finding: ScratchFinding) -> tuple[F64, F64, F64, F64]:
    """Return middle x, y [px], direction [rad, y up] and length [mm] of every polyline step."""
    rows = []
    for scratch in finding.scratches:
        points = np.asarray(scratch.points_px, np.float64)
        step = np.diff(points, axis=0)
        length = np.hypot(step[:, 0], step[:, 1])
        share = length / max(float(length.sum()), 1e-9) * scratch.length_mm
        middle = (points[1:] + points[:-1]) / 2
        turn = np.arctan2(-step[:, 1], step[:, 0]) % np.pi
        rows.append(np.column_stack([middle, turn, share]))
    table = np.concatenate(rows) if rows else np.zeros((0, 4))
    return table[:, 0], table[:, 1], table[:, 2], table[:, 3]


def load_map(finding: ScratchFinding, shape: tuple[int, ...]) -> F32:
    """Return the load seen over the photo [mm/cm2] on a coarse grid, smoothed.

    Parameters
    ----------
    finding : ScratchFinding
        With its scratches.
    shape : tuple of int
        Height and width of the photo.
    """
    cell = max(shape[:2]) / CELLS_ACROSS
    grid = (int(np.ceil(shape[0] / cell)), int(np.ceil(shape[1] / cell)))
    x, y, _, length = _pieces(finding)
    edges = [np.arange(n + 1) * cell for n in grid]
    total = np.histogram2d(y, x, bins=edges, weights=length)[0].astype(np.float32)
    area_cm2 = (cell * (finding.um_per_px or 0.0) / 1e4) ** 2 * _measured(finding, grid, cell)
    over, under = (cv2.GaussianBlur(v, (0, 0), 0.8) for v in (total, area_cm2.astype(np.float32)))
    result: F32 = np.where(area_cm2 > 0, over / np.maximum(under, 1e-12), 0).astype(np.float32)
    return result


def _measured(finding: ScratchFinding, grid: tuple[int, int], cell: float) -> F32:
    """Return which share of each cell lies in the measured square; 1 where no square bounds it."""
    if not finding.square_px:
        return np.ones(grid, np.float32)
    fine = np.zeros((FINE * grid[0], FINE * grid[1]), np.float32)
    corners = np.round(np.array(finding.square_px) * FINE / cell - 0.5).astype(np.int32)
    cv2.fillConvexPoly(fine, corners, 1.0)
    result: F32 = cv2.resize(fine, grid[::-1], interpolation=cv2.INTER_AREA)
    return result


def load_picture(image: F32, finding: ScratchFinding) -> U8:
    """Return the photo under its load map, with the load [mm/cm2] written in every fourth cell.

    What was not measured keeps its tone.

    Parameters
    ----------
    image : ndarray (H, W, 3) float32
        Linear light.
    finding : ScratchFinding
        With its scratches.

    Returns
    -------
    ndarray (H, W, 3) uint8
        RGB, darker to lighter with the load (the cividis ramp: Nunez, Anderton and Renslow, PLOS
        ONE 13(7), 2018; from memory).
    """
    load = load_map(finding, image.shape)
    cell = max(image.shape[:2]) / CELLS_ACROSS
    size = round(load.shape[1] * cell), round(load.shape[0] * cell)
    height, width = image.shape[:2]
    grey = encode(image).mean(-1, keepdims=True)
    share = _measured(finding, load.shape, cell)
    ramp = np.clip(load / max(float(load.max()), 1e-9) * 255, 0, 255).astype(np.uint8)
    tint = cv2.applyColorMap(
        cv2.resize(ramp, size, interpolation=cv2.INTER_CUBIC), cv2.COLORMAP_CIVIDIS
    )[:height, :width, ::-1]
    within = np.full((height, width), 0.0 if finding.square_px else 0.65, np.float32)
    if finding.square_px:
        cv2.fillConvexPoly(within, np.round(np.array(finding.square_px)).astype(np.int32), 0.65)
    within = within[..., None]
    canvas: U8 = np.ascontiguousarray(((1 - within) * grey + within * tint).astype(np.uint8))
    font, scale = cv2.FONT_HERSHEY_SIMPLEX, cell / 60
    for row in range(1, load.shape[0], 4):
        for col in range(1, load.shape[1], 4):
            if load[row, col] < 0.5 or share[row, col] < HALF:
                continue
            at = round((col + 0.1) * cell), round((row + 0.7) * cell)
            text = f"{load[row, col]:.0f}"
            for colour, thick in (((0, 0, 0), 4), ((255, 255, 255), 1)):
                wide = max(1, round(thick * scale))
                cv2.putText(canvas, text, at, font, scale, colour, wide, cv2.LINE_AA)
    return canvas


def widths_svg(finding: ScratchFinding) -> str:
    """Return a histogram of scratch widths, by length, as SVG."""
    widths = np.array([s.width_um for s in finding.scratches])
    length = np.array([s.length_mm for s in finding.scratches])
    edges = np.array([0, 5, 10, 20, 30, 40, 60, 80, 120, 200], float)
    share = np.histogram(widths, edges, weights=length)[0] / max(float(length.sum()), 1e-9)
    bars = [
        f'<rect x="{30 + 28 * k}" y="{120 - 100 * v:.1f}" width="24" height="{100 * v:.1f}" fill="{BAR}"/>'
        f'<text x="{42 + 28 * k}" y="{116 - 100 * v:.1f}" text-anchor="middle" fill="{INK}">{100 * v:.0f}</text>'
        f'<text x="{42 + 28 * k}" y="134" text-anchor="middle" fill="{INK}">{edges[k + 1]:.0f}</text>'
        for k, v in enumerate(share)
    ]
    head = _HEAD.format(w=300, h=156, label="Share of scratch length by width")
    foot = f'<text x="155" y="150" text-anchor="middle" fill="{INK}">width up to, µm (share of length, %)</text></svg>'
    return "\n".join([head, *bars, foot])


def rose_svg(finding: ScratchFinding) -> str:
    """Return the directions of the scratches, by length, as a rose in SVG."""
    _, _, turn, length = _pieces(finding)
    share = np.histogram(turn, ROSE_BINS, (0, np.pi), weights=length)[0]
    share = share / max(float(share.max(initial=0.0)), 1e-9)
    petals = [_petal(k, r) + _petal(k + ROSE_BINS, r) for k, r in enumerate(np.sqrt(share))]
    head = _HEAD.format(w=220, h=220, label="Directions of the scratches")
    ring = f'<circle cx="110" cy="110" r="90" fill="none" stroke="{INK}" stroke-width="0.5"/>'
    return "\n".join([head, ring, *petals, "</svg>"])


def _petal(k: int, radius: float) -> str:
    width = np.pi / ROSE_BINS
    corners = [
        (np.cos(a) * 90 * radius, -np.sin(a) * 90 * radius) for a in (k * width, (k + 1) * width)
    ]
    points = " ".join(f"{110 + x:.1f},{110 + y:.1f}" for x, y in corners)
    return f'<polygon points="110,110 {points}" fill="{BAR}" stroke="#fff" stroke-width="0.5"/>'


def over(before: F32, after: F32, to_before: F64) -> tuple[U8, U8]:
    """Return both photos in the frame of the before photo, for a slider.

    Parameters
    ----------
    before, after : ndarray (H, W, 3) float32
        Linear light.
    to_before : ndarray (3, 3)
        From after pixels to before pixels, see :mod:`leastcut.inspect.registration`.
    """
    size = before.shape[1], before.shape[0]
    return encode(before), encode(cv2.warpPerspective(after, to_before, size))
