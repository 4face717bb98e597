"""What the lamp could show: where it mirrors, which scratches could glint, and the load behind.

A straight groove of direction t glints where (l + v) . t = 0: in the image, where it lies along a
circle round the lamp's mirror image, within a tolerance set by the lamp's size and the groove's
roughness. At distance r from the mirror image and at angle psi off that circle the deviation is
u = r |sin psi|, so one curve p(u), the chance that a scratch is seen, describes the photo. The
curve is learnt from the photo itself: given a line's direction, where in the photo it was seen is
distributed as p(u). Each line then stands for 1 / A(direction), A the area that could have shown
a line of its direction (Horvitz and Thompson's estimator), so trails of one direction are counted
as fairly as swirls.

source: glint condition and halo: Sampaio et al., arXiv 2407.00043; status: seen. Estimator:
Horvitz and Thompson, JASA 47, 663 (1952); status: from memory. The curve and its fit are ours.
"""

from dataclasses import dataclass
from typing import Any

import cv2
import numpy as np
import numpy.typing as npt

from leastcut.inspect.arrays import F32, F64, Bools, Ints, sums

ANGLES = 36
STEPS = 160
GRID = 56
DIMMEST_LAMP = 0.4  # linear light: a lamp mirrored in clear coat outshines what it lights
SMALLEST_LAMP_PX = 6.0  # radius
STRAY = 0.03  # share of lines that ignore the glint condition: fibres, deep chips


@dataclass(frozen=True)
class Elements:
    """Short pieces of the lines found: place [px], direction [rad], length [px], which scratch."""

    x: F64
    y: F64
    theta: F64
    length: F64
    owner: Ints


@dataclass(frozen=True)
class Field:
    """The measured part of the photo on a coarse grid: places [px] and area of each [px2]."""

    x: F64
    y: F64
    area: F64


@dataclass(frozen=True)
class Visibility:
    """p(u) = exp(-(u / reach)^sharpness), and the area that could show each direction.

    ``reach_px`` is infinite where the photo shows no sign of a point-like lamp: everything could
    be seen. ``lit_fraction`` is the share of directions, averaged over the area, that could show.
    """

    centre: tuple[float, float] | None
    reach_px: float
    sharpness: float
    lit_fraction: float


Lamp = tuple[float, float, float]  # centre x, y and radius of its mirror image [px]


def highlight(grey: F32, inside: Bools) -> Lamp | None:
    """Return the centre x, y and radius [px] of the lamp's mirror image, or None.

    The largest compact patch of nearly full brightness counts; long bands (tape, a window frame)
    and patches over a third of the photo do not.
    """
    step = max(1, max(grey.shape) // 500)
    small = cv2.resize(
        np.where(inside, grey, 0).astype(np.float32), None, fx=1 / step, fy=1 / step,
        interpolation=cv2.INTER_AREA,
    )  # fmt: skip
    top = float(small.max())
    if top < DIMMEST_LAMP:
        return None
    count, _, stats, centres = cv2.connectedComponentsWithStats(
        (small > 0.6 * top).astype(np.uint8)
    )
    best: Lamp | None = None
    for k in range(1, count):
        _, _, w, h, area = (float(v) for v in stats[k])
        compact = area / (w * h) > 0.35 and max(w, h) < 4 * min(w, h)
        large = area * step**2 >= np.pi * SMALLEST_LAMP_PX**2  # a speck or a chip is smaller
        if compact and large and area < small.size / 3 and (best is None or area > best[2]):
            best = (float(centres[k][0]), float(centres[k][1]), area)
    if best is None:
        return None
    return (
        (best[0] + 0.5) * step - 0.5,
        (best[1] + 0.5) * step - 0.5,
        step * float(np.sqrt(best[2] / np.pi)),
    )


def field(usable: Bools) -> Field:
    """Return the usable part of the photo on a coarse grid."""
    height, width = usable.shape
    step = max(height, width) / GRID
    shape = (max(2, round(width / step)), max(2, round(height / step)))
    share = cv2.resize(usable.astype(np.float32), shape, interpolation=cv2.INTER_AREA)
    yy, xx = np.mgrid[: shape[1], : shape[0]]
    x, y = (xx + 0.5) * width / shape[0], (yy + 0.5) * height / shape[1]
    area = share * (width / shape[0]) * (height / shape[1])
    keep = share > 0.02
    return Field(x[keep].astype(float), y[keep].astype(float), area[keep].astype(float))


def deviation(x: F64, y: F64, theta: F64, centre: tuple[float, float]) -> F64:
    """Return u = r |sin psi| [px]: how far a direction is off the circle round the lamp."""
    result: F64 = np.abs((x - centre[0]) * np.cos(theta) + (y - centre[1]) * np.sin(theta))
    return result


def window_area(place: Field, centre: tuple[float, float], window_px: float, theta: F64) -> F64:
    """Return, for each direction, the area within which it deviates less than `window_px` [px2]."""
    angles = (np.arange(ANGLES) + 0.5) * np.pi / ANGLES
    u = deviation(place.x[:, None], place.y[:, None], angles[None], centre)
    cell = float(np.sqrt(np.median(place.area)))
    within = np.clip((window_px - u) / cell + 0.5, 0, 1)  # cells cut by the rim count in part
    areas: F64 = place.area @ within
    result: F64 = areas[angle_bin(theta)]
    return result


def chance(u: F64, reach: float, sharpness: float) -> F64:
    """Return the chance that a scratch at deviation `u` is seen."""
    result: F64 = np.exp(-((u / reach) ** sharpness))
    return result


class _Fit:
    """The likelihood of one photo, as tables over direction and logarithm of the deviation.

    ``area`` and ``weight`` are (ANGLES, STEPS): the area, and the line length found, at each
    direction and deviation; a curve is then tried in a few thousand operations.
    """

    def __init__(self, elements: Elements, place: Field, centre: tuple[float, float]) -> None:
        angles = (np.arange(ANGLES) + 0.5) * np.pi / ANGLES
        grid_u = deviation(place.x[:, None], place.y[:, None], angles[None], centre)
        u = deviation(elements.x, elements.y, elements.theta, centre)
        top = float(max(grid_u.max(), u.max())) + 1.0
        self.u = np.geomspace(1.0, top, STEPS)
        rate = (STEPS - 1) / np.log(top)
        self.bin = angle_bin(elements.theta)
        scratches = len(np.unique(elements.owner))
        share = elements.length / max(elements.length.sum(), 1e-9) * scratches
        self.area = self._table(
            np.arange(ANGLES)[None] + 0 * grid_u, grid_u, place.area[:, None], rate
        )
        self.weight = self._table(self.bin, u, share, rate)
        self.total = float(place.area.sum())

    @staticmethod
    def _table(angle: npt.NDArray[Any], u: F64, value: F64, rate: float) -> F64:
        step = np.round(np.log(np.maximum(u, 1.0)) * rate).astype(np.intp)
        flat = (angle.astype(np.intp) * STEPS + step).ravel()
        spread = np.broadcast_to(value, u.shape).ravel()
        return sums(flat, spread, ANGLES * STEPS).reshape(ANGLES, STEPS)

    def areas(self, reach: float, sharpness: float) -> F64:
        """Area that could show each direction [px2]."""
        result: F64 = self.area @ chance(self.u, reach, sharpness)
        return result

    def log_likelihood(self, reach: float, sharpness: float) -> float:
        """Log-likelihood, each scratch counted once."""
        seen = chance(self.u, reach, sharpness)
        areas = np.maximum(self.area @ seen, 1.0)
        density = (1 - STRAY) * seen[None] / areas[:, None] + STRAY / self.total
        return float((self.weight * np.log(density)).sum())


def angle_bin(theta: F64) -> Ints:
    """Return which of the direction bins a direction falls in."""
    return np.clip((theta % np.pi / np.pi * ANGLES).astype(np.intp), 0, ANGLES - 1)


SHARPNESS = (0.7, 1.0, 1.4, 2.0, 2.8, 4.0, 6.0)
REACH_IN_LAMPS = 2.5  # likeliest reach, in radii of the lamp's mirror image
REACH_LOG_SD = 1.2  # a groove's own roughness widens it by a factor that is not known
HIDING_PX = 10.0  # lines this close along each other are told apart only in part; found with rendered photos
LEAST_GAIN = 20.0  # of log-likelihood, before a lamp outside the photo is believed in


@dataclass(frozen=True)
class Corrected:
    """Length per area behind what was seen, with its relative uncertainty from the light alone."""

    per_px: float  # px of line per px2
    relative_sd: float
    shares: F64  # per element: its part of per_px
    visibility: Visibility


def correct(elements: Elements, place: Field, lamp: Lamp | None) -> Corrected:
    """Return the line length per area, corrected for what the light could not show.

    The curve's two numbers are averaged over a grid weighted by their likelihood, so that a photo
    with few scratches carries the full doubt about them. Without a lamp in view one outside the
    photo is looked for by where the lines' normals meet, and believed only when the lines' places
    clearly speak for it.
    """
    total = max(float(place.area.sum()), 1.0)
    factor = hidden(elements, place)
    plain = elements.length * factor / total
    nothing = Corrected(float(plain.sum()), 0.0, plain, Visibility(None, float("inf"), 2.0, 1.0))
    if len(elements.x) < 3:
        return nothing
    centre = lamp[:2] if lamp else meeting_point(elements)
    fit = _Fit(elements, place, centre)
    far = float(np.hypot(place.x - centre[0], place.y - centre[1]).max())
    reaches = np.geomspace(max(4.0, far / 150), 8 * far, 40)
    table = np.array([[fit.log_likelihood(r, q) for q in SHARPNESS] for r in reaches])
    table -= 0.5 * (np.log(np.asarray(SHARPNESS) / 2.0) / 0.5) ** 2  # a Gaussian lobe is likeliest
    if lamp is None:
        if table.max() < -float(fit.weight.sum()) * np.log(total) + LEAST_GAIN:
            return nothing
    else:
        usual = np.log(REACH_IN_LAMPS * max(lamp[2], 3.0))
        table -= 0.5 * ((np.log(reaches)[:, None] - usual) / REACH_LOG_SD) ** 2
    return _average(fit, elements.length * factor, table, reaches, centre)


def meeting_point(elements: Elements) -> tuple[float, float]:
    """Return where the normals of the lines meet best, by reweighted least squares."""
    cos, sin = np.cos(elements.theta), np.sin(elements.theta)
    offset = elements.x * cos + elements.y * sin
    weight = elements.length.copy()
    centre = np.array([elements.x.mean(), elements.y.mean()])
    for _ in range(12):
        matrix = np.array(
            [[weight @ cos**2, weight @ (cos * sin)], [weight @ (cos * sin), weight @ sin**2]]
        )
        right = np.array([weight @ (cos * offset), weight @ (sin * offset)])
        centre = np.linalg.solve(matrix + 1e-9 * np.trace(matrix) * np.eye(2), right)
        miss = np.abs(centre[0] * cos + centre[1] * sin - offset)
        weight = elements.length / np.maximum(miss, 0.2 * float(np.median(miss)) + 1.0)
    return float(centre[0]), float(centre[1])


def hidden(elements: Elements, place: Field) -> F64:
    """Return by how much each piece must count for the lines hidden along others near it.

    Of lines of density d [px per px2] strewn at random a share exp(-d w) lies clear of all others
    by the width w; what is seen, s, then stands for d = -log(1 - s w) / w.
    """
    size = float(np.sqrt(np.median(place.area))) if len(place.area) else 1.0
    col, row = (elements.x / (2 * size)).astype(np.intp), (elements.y / (2 * size)).astype(np.intp)
    shape = (int(row.max(initial=0)) + 1, int(col.max(initial=0)) + 1)
    flat = row * shape[1] + col
    seen = sums(flat, elements.length, shape[0] * shape[1]) / (2 * size) ** 2
    smooth = cv2.blur(seen.reshape(shape), (3, 3), borderType=cv2.BORDER_REFLECT)
    share = np.clip(smooth.ravel()[flat] * HIDING_PX, 1e-6, 0.7)
    result: F64 = -np.log1p(-share) / share
    return result


def _average(
    fit: _Fit, length: F64, table: F64, reaches: F64, centre: tuple[float, float]
) -> Corrected:
    """Average the load over the table of log-probabilities of the curve's two numbers."""
    weight = np.exp(table - table.max())
    weight /= weight.sum()
    shares, first, second, lit = np.zeros(len(length)), 0.0, 0.0, 0.0
    for (i, j), w in np.ndenumerate(weight):
        if w < 1e-4:
            continue
        areas = fit.areas(float(reaches[i]), SHARPNESS[j])
        part = length / np.maximum(areas[fit.bin], 1.0)
        log_load = float(np.log(part.sum()))
        shares, first, second = shares + w * part, first + w * log_load, second + w * log_load**2
        lit += w * float(areas.mean() / fit.total)
    spread = float(np.sqrt(max(second - first**2, 0.0)))
    middle = float(np.exp(first))
    i, j = np.unravel_index(int(table.argmax()), table.shape)
    seen = Visibility(centre, float(reaches[i]), SHARPNESS[j], float(lit))
    return Corrected(middle, spread, shares * (middle / shares.sum()), seen)
