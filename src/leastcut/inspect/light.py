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

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

import cv2
import numpy as np
import numpy.typing as npt
from scipy.spatial import cKDTree

from leastcut.inspect.arrays import F32, F64, Bools, Ints, line_turn, sums

ANGLES = 36
STEPS = 160
GRID = 56
DIMMEST_LAMP = 0.4  # linear light: a lamp mirrored in clear coat outshines what it lights
SMALLEST_LAMP_PX = 6.0  # radius
MOST_LAMPS = 4


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


def highlights(grey: F32, inside: Bools) -> tuple[Lamp, ...]:
    """Return the patches that may be a lamp's mirror image, the largest first; a few at most.

    Compact patches of nearly full brightness count; long bands (tape, a window frame), specks and
    patches over a third of the photo do not. A second lamp or a bright wall is among them: which
    one the scratches lie round is for :func:`correct` to say.
    """
    step = max(1, max(grey.shape) // 500)
    small = cv2.resize(
        np.where(inside, grey, 0).astype(np.float32), None, fx=1 / step, fy=1 / step,
        interpolation=cv2.INTER_AREA,
    )  # fmt: skip
    top = float(small.max())
    if top < DIMMEST_LAMP:
        return ()
    count, _, stats, centres = cv2.connectedComponentsWithStats(
        (small > 0.6 * top).astype(np.uint8)
    )
    found: list[Lamp] = []
    for k in range(1, count):
        _, _, w, h, area = (float(v) for v in stats[k])
        compact = area / (w * h) > 0.35 and max(w, h) < 4 * min(w, h)
        large = area * step**2 >= np.pi * SMALLEST_LAMP_PX**2  # a speck or a chip is smaller
        if compact and large and area < small.size / 3:
            x, y = ((float(c) + 0.5) * step - 0.5 for c in centres[k])
            found.append((x, y, step * float(np.sqrt(area / np.pi))))
    return tuple(sorted(found, key=lambda lamp: -lamp[2])[:MOST_LAMPS])


def field(usable: Bools) -> Field:
    """Return the usable part of the photo on a coarse grid."""
    height, width = usable.shape
    step = max(height, width) / GRID
    shape = (max(2, round(width / step)), max(2, round(height / step)))
    eighth = (max(shape[0], width // 8), max(shape[1], height // 8))  # a whole step is much faster
    share = cv2.resize(usable.astype(np.float32), eighth, interpolation=cv2.INTER_AREA)
    share = cv2.resize(share, shape, interpolation=cv2.INTER_AREA)
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
    """One photo and one lamp as tables over direction and logarithm of the deviation.

    ``area``, ``weight`` and ``line`` are (ANGLES, STEPS): the area, the scratches counted by their
    places, and the line length [px], at each direction and deviation. A curve is then tried in a
    few thousand operations. ``at`` says where in the tables each piece of line lies.
    """

    def __init__(
        self, elements: Elements, length: F64, place: Field, centre: tuple[float, float]
    ) -> None:
        angles = (np.arange(ANGLES) + 0.5) * np.pi / ANGLES
        grid_u = deviation(place.x[:, None], place.y[:, None], angles[None], centre)
        u = deviation(elements.x, elements.y, elements.theta, centre)
        top = float(max(grid_u.max(), u.max())) + 1.0
        self.u = np.geomspace(1.0, top, STEPS)
        rate = (STEPS - 1) / np.log(top)
        counted = PLACES_PER_SCRATCH * len(np.unique(elements.owner))
        share = elements.length / max(elements.length.sum(), 1e-9) * counted
        everywhere = np.arange(ANGLES)[None] + 0 * grid_u
        self.at = self._cell(angle_bin(elements.theta), u, rate)
        self.area = self._table(self._cell(everywhere, grid_u, rate), place.area[:, None])
        self.weight = self._table(self.at, share)
        self.line = self._table(self.at, length)
        self.total = float(place.area.sum())

    @staticmethod
    def _cell(angle: npt.NDArray[Any], u: F64, rate: float) -> Ints:
        step = np.round(np.log(np.maximum(u, 1.0)) * rate).astype(np.intp)
        return angle.astype(np.intp) * STEPS + step

    @staticmethod
    def _table(cell: Ints, value: F64) -> F64:
        spread = np.broadcast_to(value, cell.shape).ravel()
        return sums(cell.ravel(), spread, ANGLES * STEPS).reshape(ANGLES, STEPS)

    def density(self, reach: float, sharpness: float) -> tuple[F64, F64]:
        """Return how thickly lines lit by this lamp lie at each cell, and each direction's area."""
        seen = chance(self.u, reach, sharpness)
        areas = np.maximum(self.area @ seen, 1.0)
        return seen[None] / areas[:, None], areas

    def log_likelihood(self, reaches: F64) -> F64:
        """Return it for every reach, sharpness and share of strays, (R, Q, S)."""
        filled = self.weight > 0
        weight, stray = self.weight[filled], np.asarray(STRAY)[:, None]
        table = np.empty((len(reaches), len(SHARPNESS), len(STRAY)))
        for i, reach in enumerate(reaches.tolist()):
            for j, sharpness in enumerate(SHARPNESS):
                own = self.density(reach, sharpness)[0][filled]
                table[i, j] = np.log((1 - stray) * own + stray / self.total) @ weight
        return table


def angle_bin(theta: F64) -> Ints:
    """Return which of the direction bins a direction falls in."""
    return np.clip((theta % np.pi / np.pi * ANGLES).astype(np.intp), 0, ANGLES - 1)


SHARPNESS = (0.7, 1.0, 1.4, 2.0, 2.8, 4.0, 6.0)
SHARPNESS_LOG_SD = 0.3  # about 2: a Gaussian lobe is likeliest
STRAY = (0.01, 0.03, 0.08, 0.2)  # share of lines that another light shows, or that are none
STRAY_LOG_PRIOR = (0.0, 0.0, -1.0, -2.5)
PLACES_PER_SCRATCH = 2.0  # a scratch shows where its glint begins and where it ends
REACH_IN_LAMPS = 5.0  # likeliest reach, in radii of the lamp's mirror image
REACH_LOG_SD = 1.2  # a groove's own roughness widens it by a factor that is not known
HIDING_PX = 2.0  # lines nearer than this along each other hide one another; rendered photos
TWIN_ALONG_PX = 2.0  # half the length of a piece
TWIN_ACROSS_PX = 4.0
TWIN_RAD = 0.25
LEAST_GAIN = 40.0  # of log-likelihood, before a lamp outside the photo is believed in
LEAST_WEIGHT = 1e-4
SMALLER_GAIN = 6.0  # before a smaller patch than the largest is taken for the lamp


@dataclass(frozen=True)
class Corrected:
    """Length per area behind what was seen, with its relative uncertainty from the light alone."""

    per_px: float  # px of line per px2
    relative_sd: float
    shares: F64  # per element: its part of per_px
    visibility: Visibility
    lamp: Lamp | None = None  # the patch round which the lines lie
    gain: float = 1.0  # by what the brightness of the lines changed what their places told


@dataclass(frozen=True)
class _Tried:
    """A lamp, the photo's tables round it, and the log-probabilities (R, Q, S) of its curve."""

    lamp: Lamp
    fit: _Fit
    reaches: F64
    table: F64


def correct(elements: Elements, place: Field, lamps: Sequence[Lamp]) -> Corrected:
    """Return the line length per area, corrected for what the light could not show.

    Of several bright patches that is the lamp round which the lines lie best. The curve's two
    numbers, and the share of lines that follow no curve (a second lamp's glints, specks in a row),
    are averaged over a grid weighted by their likelihood, so that a photo with few scratches
    carries the full doubt about them; each line counts by its chance to be no stray. Without a lamp
    in view one outside the photo is looked for by where the lines' normals meet, and believed only
    when the lines' places clearly speak for it.
    """
    total = max(float(place.area.sum()), 1.0)
    length = elements.length * hidden(elements, place)
    plain = length / total
    first = lamps[0] if lamps else None
    whole = Visibility(None, float("inf"), 2.0, 1.0)
    nothing = Corrected(float(plain.sum()), 0.0, plain, whole, first)
    if len(elements.x) < 3:
        return nothing
    if first is not None:
        tried = [_try(elements, length, place, lamp) for lamp in lamps]
        best = max(tried, key=lambda t: t.table.max() - SMALLER_GAIN * (t.lamp != first))
        return _average(best, length, best.lamp)
    guess = _try(elements, length, place, (*meeting_point(elements), 0.0))
    if guess.table.max() < -float(guess.fit.weight.sum()) * np.log(total) + LEAST_GAIN:
        return nothing
    return _average(guess, length, None)


def _try(elements: Elements, length: F64, place: Field, lamp: Lamp) -> _Tried:
    """Weigh every curve round one lamp; a radius of 0 says nothing about its reach."""
    fit = _Fit(elements, length, place, lamp[:2])
    far = float(np.hypot(place.x - lamp[0], place.y - lamp[1]).max())
    reaches = np.geomspace(max(4.0, far / 150), 8 * far, 40)
    table = fit.log_likelihood(reaches) + np.asarray(STRAY_LOG_PRIOR)
    table -= 0.5 * (np.log(np.asarray(SHARPNESS) / 2.0) / SHARPNESS_LOG_SD)[:, None] ** 2
    if lamp[2]:
        usual = np.log(REACH_IN_LAMPS * max(lamp[2], 3.0))
        table -= 0.5 * ((np.log(reaches) - usual) / REACH_LOG_SD)[:, None, None] ** 2
    return _Tried(lamp, fit, reaches, table)


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


def once(x: F64, y: F64, theta: F64) -> F64:
    """Return the share at which each piece of line counts, so that none is counted twice.

    Where runs of one scratch overlap, or a bright line was found beside itself, pieces of one
    direction lie on one another: they share what one of them counts.
    """
    pairs = cKDTree(np.column_stack([x, y])).query_pairs(
        float(np.hypot(TWIN_ALONG_PX, TWIN_ACROSS_PX)), output_type="ndarray"
    )
    a, b = pairs[:, 0], pairs[:, 1]
    dx, dy, cos, sin = x[b] - x[a], y[b] - y[a], np.cos(theta[a]), np.sin(theta[a])
    twin = (np.abs(line_turn(theta[a] - theta[b])) < TWIN_RAD) & (
        np.abs(dx * cos + dy * sin) < TWIN_ALONG_PX
    )
    twin &= np.abs(dy * cos - dx * sin) < TWIN_ACROSS_PX
    result: F64 = 1 / (1.0 + np.bincount(pairs[twin].ravel(), minlength=len(x)))
    return result


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


def _average(tried: _Tried, length: F64, lamp: Lamp | None) -> Corrected:
    """Average the load over the table of log-probabilities of the curve's numbers."""
    fit, table = tried.fit, tried.table
    weight = np.exp(table - table.max())
    weight[weight < LEAST_WEIGHT * weight.sum()] = 0.0
    weight /= weight.sum()
    count = np.zeros_like(fit.line)
    first, second, lit = 0.0, 0.0, 0.0
    for i, j, k in np.argwhere(weight > 0).tolist():
        w, stray = float(weight[i, j, k]), STRAY[k]
        own, areas = fit.density(float(tried.reaches[i]), SHARPNESS[j])
        own = (1 - stray) * own
        part = own / (own + stray / fit.total) / areas[:, None]
        log_load = float(np.log(max(float((part * fit.line).sum()), 1e-300)))
        count, first, second = count + w * part, first + w * log_load, second + w * log_load**2
        lit += w * float(areas.mean() / fit.total)
    spread = float(np.sqrt(max(second - first**2, 0.0)))
    shares, middle = length * count.ravel()[fit.at], float(np.exp(first))
    reach, sharpness, _ = np.unravel_index(int(table.argmax()), table.shape)
    seen = Visibility(tried.lamp[:2], float(tried.reaches[reach]), SHARPNESS[sharpness], lit)
    return Corrected(middle, spread, shares * (middle / shares.sum()), seen, lamp)
