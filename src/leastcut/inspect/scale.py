"""Scale and frame: a taped or printed square of known inner side, or a typed scale.

The square is looked for at several brightness steps in a small copy of the photo, as a convex
four-sided patch whose sides are edges all along; its sides are then placed to a fraction of a
pixel in the full photo by fitting a line to the steepest point of many cross-sections, so that a
side hidden in part still counts.
"""

from dataclasses import dataclass

import cv2
import numpy as np
import numpy.typing as npt

from leastcut.errors import Refusal
from leastcut.inspect import fiducials, target
from leastcut.inspect.arrays import F32, F64, Bools, bilinear
from leastcut.inspect.records import ScaleFrom

SEARCH_PX = 640
TONES = (0.1, 0.2, 0.3, 0.4, 0.5, 0.6, 0.7, 0.8, 0.9, 0.98)  # quantiles of the photo's light
LEAST_SHARE = 0.04  # of the photo that the square must cover
EDGE_SAMPLES = 60
EDGE_REACH_PX = 5.0
LEAST_SUPPORT = 0.6  # of a side's samples that must lie on its line
TYPED_RELATIVE_SD = 0.01
PRINT_SD_MM = 0.25  # half of what the ruler check allows
PRINTED_OFF = 0.1  # share by which a print may come out too large or too small
SHEET_MARGIN = 1.5  # the sheet's paper, in sides of its square
TAPE_SD_MM = 0.5  # how well a person tapes a square of stated side; common practice, no source


@dataclass(frozen=True)
class Frame:
    """Where the photo's pixels lie on the panel.

    ``to_mm`` maps pixels to millimetres (a 3 x 3 homography); ``um_per_px`` is its scale in the
    middle of the measured area; ``corners_px`` the inner corners of the square, if one was used;
    ``sheet_px`` the outline of a printed sheet that lies beside the place.
    """

    to_mm: F64
    um_per_px: float
    relative_sd: float
    scale_from: ScaleFrom
    corners_px: F64 | None = None
    sheet_px: F64 | None = None

    def millimetres(self, x: F64, y: F64) -> tuple[F64, F64]:
        """Map pixels to millimetres on the panel."""
        h = self.to_mm
        w = h[2, 0] * x + h[2, 1] * y + h[2, 2]
        return (h[0, 0] * x + h[0, 1] * y + h[0, 2]) / w, (h[1, 0] * x + h[1, 1] * y + h[1, 2]) / w

    def area_scale(self, x: F64, y: F64) -> F64:
        """Square millimetres per square pixel at places in the photo."""
        h = self.to_mm
        w = h[2, 0] * x + h[2, 1] * y + h[2, 2]
        result: F64 = np.abs(np.linalg.det(h) / w**3)
        return result

    def inside(self, shape: tuple[int, ...], margin_px: float) -> Bools:
        """Return the measured area: within the square less a margin, or the whole photo."""
        mask = np.zeros(shape[:2], np.uint8)
        if self.corners_px is None:
            mask[:] = 1
            if self.sheet_px is not None:
                cv2.fillConvexPoly(mask, np.round(self.sheet_px).astype(np.int32), 0)
            return mask.view(np.bool_)
        middle = self.corners_px.mean(0)
        away = self.corners_px - middle
        inner = middle + away * (
            1 - margin_px * np.sqrt(2) / np.linalg.norm(away, axis=1, keepdims=True)
        )
        cv2.fillConvexPoly(mask, np.round(inner).astype(np.int32), 1)
        return mask.view(np.bool_)


def typed(um_per_px: float) -> Frame:
    """Return the frame of a photo taken square on at a typed scale."""
    mm = um_per_px / 1000
    return Frame(np.diag([mm, mm, 1.0]), um_per_px, TYPED_RELATIVE_SD, "typed")


def square(root: F32, side_mm: float) -> Frame | Refusal:
    """Find the square of inner side `side_mm` and return the frame, or why it was not found."""
    corners = find_square(root)
    if corners is None:
        return Refusal(
            why="no taped or printed square was found in the photo",
            do="Show all four inner edges, in a tone that differs from the paint, or type the scale with --um-per-px",
        )
    flat = np.array([[0, 0], [side_mm, 0], [side_mm, side_mm], [0, side_mm]], np.float32)
    to_mm = cv2.getPerspectiveTransform(corners.astype(np.float32), flat).astype(np.float64)
    frame = Frame(to_mm, 1.0, TAPE_SD_MM / side_mm, "square", corners)
    middle = corners.mean(0)
    scale = float(np.sqrt(frame.area_scale(middle[:1], middle[1:])[0]) * 1000)
    return Frame(to_mm, scale, TAPE_SD_MM / side_mm, "square", corners)


def sheet(found: Frame, grey: F32, side_mm: float) -> Frame | None:
    """Return the frame for a square that is the printed target's, or None where it is not.

    What lies within the sheet's margin is left out of the measured area; everything else in the
    photo must lie in the sheet's plane. A print that came out larger or smaller is told by the
    side that was measured on it.
    """
    if abs(side_mm / target.SIDE_MM - 1) > PRINTED_OFF:
        return None
    if found.corners_px is None or not fiducials.recognised(grey, found.corners_px):
        return None
    middle = found.corners_px.mean(0)
    outer = middle + (found.corners_px - middle) * SHEET_MARGIN
    return Frame(found.to_mm, found.um_per_px, PRINT_SD_MM / side_mm, "target", None, outer)


def find_square(root: F32) -> F64 | None:
    """Return the inner corners of the square [px], from the top left clockwise as seen, or None."""
    step = max(1.0, max(root.shape) / SEARCH_PX)
    size = (round(root.shape[1] / step), round(root.shape[0] / step))
    small = cv2.GaussianBlur(cv2.resize(root, size, interpolation=cv2.INTER_AREA), (0, 0), 1.5)
    tones: F64 = np.quantile(small, TONES)
    contrast = 0.25 * float(tones[-2] - tones[0])
    found = [
        quad for quad in _quads(small, tones) if _support(small, quad, contrast) >= LEAST_SUPPORT
    ]
    if not found:
        return None
    inner = min(found, key=lambda q: cv2.contourArea(q.astype(np.float32)))
    ratio = np.array([root.shape[1] / size[0], root.shape[0] / size[1]])
    rough = _refine(root, (inner + 0.5) * ratio - 0.5, reach=9 * step)
    return _ordered(_refine(root, rough, reach=3.5 * step))


def _quads(small: F32, tones: F64) -> list[F64]:
    """Return convex four-sided outlines at several brightness steps, large ones only."""
    even = np.linspace(float(small.min()), float(tones[-1]), 14)[1:-1]
    steps = np.concatenate([np.unique(tones[:-1]), even])
    least = LEAST_SHARE * small.size
    quads = []
    for level in steps:
        mask = (small > level).astype(np.uint8)
        contours, _ = cv2.findContours(mask, cv2.RETR_LIST, cv2.CHAIN_APPROX_NONE)
        quads += [q for c in contours if cv2.contourArea(c) > least and (q := _four(c)) is not None]
    edge = np.array([small.shape[1] - 3, small.shape[0] - 3])
    return [q for q in quads if (q > 2).all() and (q < edge).all()]


def _four(contour: npt.NDArray[np.int32]) -> F64 | None:
    hull = cv2.convexHull(contour)
    if cv2.contourArea(contour) < 0.85 * cv2.contourArea(hull):
        return None
    for tolerance in (0.015, 0.025, 0.04):
        corners = cv2.approxPolyDP(hull, tolerance * cv2.arcLength(hull, True), True)
        if len(corners) == 4:
            quad: F64 = corners[:, 0].astype(np.float64)
            sides = np.linalg.norm(np.roll(quad, -1, 0) - quad, axis=1)
            share = cv2.contourArea(contour) / max(cv2.contourArea(corners), 1.0)
            return quad if sides.max() < 2.2 * sides.min() and share > 0.9 else None
    return None


def _support(small: F32, quad: F64, contrast: float) -> float:
    """Return the least share, over the four sides, of samples with an edge of one polarity."""
    shares = []
    for a, b in zip(quad, np.roll(quad, -1, 0), strict=True):
        along, out = _side(a, b, quad.mean(0))
        points = a + np.linspace(0.08, 0.92, EDGE_SAMPLES)[:, None] * along
        rise = _at(small, points + 4 * out) - _at(small, points - 4 * out)
        shares.append(max((rise > contrast).mean(), (rise < -contrast).mean()))
    return float(min(shares))


def _side(a: F64, b: F64, middle: F64) -> tuple[F64, F64]:
    """Return a side's whole vector and the unit normal away from the middle."""
    along = b - a
    unit = along / max(float(np.linalg.norm(along)), 1e-9)
    out = np.array([unit[1], -unit[0]])
    if float(out @ (middle - a)) > 0:
        out = -out
    return along, out


def _at(image: F32, points: F64) -> F32:
    return bilinear(image, points[:, 0], points[:, 1])


def _refine(root: F32, quad: F64, *, reach: float) -> F64:
    """Place the four sides to a fraction of a pixel and return where they meet."""
    lines = [
        _edge_line(root, a, b, quad.mean(0), reach)
        for a, b in zip(quad, np.roll(quad, -1, 0), strict=True)
    ]
    corners = np.array([_meet(lines[k - 1], lines[k]) for k in range(4)])
    moved = np.linalg.norm(corners - quad, axis=1).max()
    return corners if moved < 6 * reach else quad


def _edge_line(root: F32, a: F64, b: F64, middle: F64, reach: float) -> tuple[F64, F64]:
    """Fit one side: a point on it and its direction, by repeatedly trimmed least squares."""
    along, out = _side(a, b, middle)
    offsets = np.arange(-reach, reach + 0.5, 1.0)
    bases = a + np.linspace(0.06, 0.94, 200)[:, None] * along
    grid = bases[:, None] + offsets[None, :, None] * out
    values = bilinear(root, grid[..., 0].ravel(), grid[..., 1].ravel()).reshape(len(bases), -1)
    step = np.gradient(cv2.blur(values, (3, 1)), axis=1)
    step *= np.sign(np.median(values[:, -3:].mean(1) - values[:, :3].mean(1)))
    power = np.clip(step, 0, None) ** 2 * _near_rough_edge(values, offsets)
    place = (power * offsets).sum(1) / np.maximum(power.sum(1), 1e-12)
    s = np.linspace(0.06, 0.94, 200)
    keep = step.max(1) > 0.4 * np.median(step.max(1))
    for _ in range(4):
        slope, start = np.polyfit(s[keep], place[keep], 1)
        rest = np.abs(place - start - slope * s)
        keep = rest <= max(3 * float(np.median(rest[keep])), 0.3)
    return a + start * out, along + slope * out


def _near_rough_edge(values: F32, offsets: F64) -> Bools:
    """Tell which offsets lie near where the inner tone ends, (n, m).

    The place follows from how much of each cross-section has the inner tone, so that a bright
    scratch beside the edge, which is thin, moves it by its own width only.
    """
    inner, outer = values[:, :3].mean(1, keepdims=True), values[:, -3:].mean(1, keepdims=True)
    flat = np.abs(outer - inner) < 1e-6
    share = np.clip((outer - values) / np.where(flat, 1.0, outer - inner), 0, 1)
    rough = offsets[0] - 0.5 + share.sum(1, keepdims=True)
    reach = max(EDGE_REACH_PX, 0.2 * (offsets[-1] - offsets[0]))
    result: Bools = np.abs(offsets[None] - rough) <= reach
    return result


def _meet(first: tuple[F64, F64], second: tuple[F64, F64]) -> F64:
    matrix = np.column_stack([first[1], -second[1]])
    t = np.linalg.solve(matrix, second[0] - first[0])
    result: F64 = first[0] + t[0] * first[1]
    return result


def _ordered(quad: F64) -> F64:
    """Turn the corner list so that it starts at the top left and runs clockwise as seen."""
    middle = quad.mean(0)
    turn = np.arctan2(quad[:, 1] - middle[1], quad[:, 0] - middle[0])
    quad = quad[np.argsort(turn)]
    start = int(np.argmin(quad.sum(1)))
    return np.roll(quad, -start, axis=0)
