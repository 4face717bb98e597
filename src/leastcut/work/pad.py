"""Find the pad in one frame seen square on: a disc of known colour, partly hidden.

Each pixel speaks for the pad (+1), for the ground (-1), or for neither (an arm, a cord, glare).
The disc that gathers most is the coarse place; then rays from its middle look for the step from pad
to ground, and a circle is fitted to the steps found (weighted algebraic fit, Kåsa, IEEE Trans.
Instrum. Meas. 25 (1976) 8, iterated with outliers left out; from memory). Rays that end on an arm
do not count.
"""

from collections.abc import Sequence
from dataclasses import dataclass, replace
from functools import cache

import cv2
import numpy as np

from leastcut.inspect.arrays import F32, F64, Bools
from leastcut.work.look import FLOOR, Look

RAYS = 72
LEAST_SCORE = 0.28
LEAST_ARC = 0.3  # share of the rays that must end on ground for a size to be measured
UNLIKE = 3.6
HELD = 100.0  # rays that the known radius counts for: half a rim cannot tell size from place
RIVAL = 0.8  # of the score of the disc followed
LEAST_RIVAL = 0.45
GLARED = 0.6  # of the usual step from pad to paint that must be left
RIM_AGREES = 0.15
LOPSIDED = 0.5  # the rim seen must lie on both sides for a size to be measured


@dataclass(frozen=True)
class Disc:
    """The pad in one frame: middle [px of the raster], radius or nan, standard error, score."""

    x: float
    y: float
    radius: float
    sd: float
    score: float


NOWHERE = Disc(np.nan, np.nan, np.nan, np.nan, 0.0)


def votes(flat_lab: F32, look: Look, window: tuple[slice, slice], tells: Bools) -> F32:
    """Return for each pixel of a window how much it speaks for the pad, -1 to 1.

    Pixels outside `tells` say nothing: beyond the frame the raster is black, like a black pad.
    """
    picture = flat_lab[window]
    pad = ((picture - look.colour) / np.maximum(look.spread, FLOOR)) ** 2
    ground = ((picture - look.ground[window]) / (1.2 * FLOOR)) ** 2
    far_pad, far_ground = np.sqrt(pad.sum(-1)), np.sqrt(ground.sum(-1))
    vote = np.clip(0.7 * (far_ground - far_pad), -1, 1)
    telling = (np.minimum(far_pad, far_ground) < UNLIKE) & tells[window]
    # Tape of the pad's colour says nothing, nor does paint in glare that comes near to it.
    telling &= _apart(look, window) > np.clip(GLARED * look.gap, 2.5, 5.0)
    return np.asarray(np.where(telling, vote, 0.0), np.float32)


def _apart(look: Look, window: tuple[slice, slice]) -> F32:
    """Return how far the ground's colour is from the pad's."""
    gap = (look.ground[window] - look.colour) / np.maximum(look.spread, FLOOR)
    return np.asarray(np.sqrt((gap**2).sum(-1)), np.float32)


@cache
def _template(radius: float) -> F32:
    """Return an even disc whose rim is a little darker outside: the ring must not be pad."""
    reach = int(np.ceil(1.2 * radius)) + 1
    y, x = np.mgrid[-reach : reach + 1, -reach : reach + 1]
    r = np.hypot(x, y)
    inside = np.clip(radius + 0.5 - r, 0, 1)
    ring = np.clip(1.2 * radius + 0.5 - r, 0, 1) - inside
    return np.asarray((inside - 0.6 * ring) / inside.sum(), np.float32)


def locate(
    flat_lab: F32, look: Look, near: tuple[float, float] | None, reach_px: float, *, tells: Bools
) -> Disc:
    """Find the pad.

    Parameters
    ----------
    flat_lab : ndarray (n, n, 3) float32
        The frame in Lab.
    look : Look
        The pad and the ground.
    near : (x, y) or None
        Where it was [px]; None looks everywhere.
    reach_px : float
        How far from there to look.
    tells : ndarray (n, n) bool
        Which pixels the frame shows, over ground that is known.

    Returns
    -------
    Disc
        :data:`NOWHERE` when nothing gathers enough.
    """
    window = _window(flat_lab.shape, near, reach_px + 1.6 * look.radius_px)
    vote = votes(flat_lab, look, window, tells)
    kernel = _template(round(look.radius_px * 2) / 2)
    score = cv2.filter2D(vote, -1, kernel, borderType=cv2.BORDER_CONSTANT)
    _, high, _, (col, row) = cv2.minMaxLoc(score)
    if high < LEAST_SCORE:
        return NOWHERE
    return _rim(vote, look, (col, row), float(high), (window[1].start, window[0].start))


def _window(
    shape: tuple[int, ...], near: tuple[float, float] | None, reach: float
) -> tuple[slice, slice]:
    if near is None:
        return slice(0, shape[0]), slice(0, shape[1])
    x0, y0 = max(0, int(near[0] - reach)), max(0, int(near[1] - reach))
    x1, y1 = min(shape[1], int(near[0] + reach) + 2), min(shape[0], int(near[1] + reach) + 2)
    if x1 - x0 < 8 or y1 - y0 < 8:
        return slice(0, shape[0]), slice(0, shape[1])
    return slice(y0, y1), slice(x0, x1)


@cache
def _fan(radius: float) -> tuple[F64, F64, F64]:
    """Return cosines and sines of the rays, and the distances at which they are sampled."""
    angle: F64 = np.linspace(0, 2 * np.pi, RAYS, endpoint=False)
    r: F64 = np.arange(0.55 * radius, 1.5 * radius, 0.5)
    return np.cos(angle), np.sin(angle), r


def _rim(vote: F32, look: Look, at: tuple[int, int], score: float, corner: tuple[int, int]) -> Disc:
    smooth = cv2.blur(vote, (3, 3))
    x, y, radius = float(at[0]), float(at[1]), look.radius_px
    sd = 0.35 * radius / 10
    size = np.nan
    for _ in range(2):
        points = _steps(smooth, look.radius_px, x, y)
        fitted = _circle(points, look.radius_px, (x, y))
        if fitted is None:
            break
        x, y, radius, sd, arc = fitted
        size = radius if arc >= LEAST_ARC else np.nan
    return Disc(x + corner[0], y + corner[1], size, sd, score)


def _steps(smooth: F32, radius: float, x: float, y: float) -> F64:
    """Return the places where rays step from pad to ground (m, 2)."""
    cos, sin, r = _fan(round(radius * 2) / 2)
    at_x = (x + np.outer(cos, r)).astype(np.float32)
    at_y = (y + np.outer(sin, r)).astype(np.float32)
    seen = cv2.remap(smooth, at_x, at_y, cv2.INTER_LINEAR, borderMode=cv2.BORDER_CONSTANT)
    pad = seen > 0.25
    last = np.where(pad.any(1), pad.shape[1] - 1 - pad[:, ::-1].argmax(1), -1)
    first_ground = ((seen < -0.25) & (np.arange(len(r)) > last[:, None])).argmax(1)
    rows = np.arange(RAYS)
    ok = (last > 0) & (first_ground > last) & (first_ground - last < 8)
    middle = 0.5 * (r[last] + r[first_ground])
    return np.asarray(
        np.column_stack([x + cos * middle, y + sin * middle])[ok & (seen[rows, 0] > -0.25)]
    )


def _circle(
    points: F64, radius: float, start: tuple[float, float]
) -> tuple[float, float, float, float, float] | None:
    """Fit a circle whose radius is held near the pad's; return x, y, r, standard error, arc."""
    if len(points) < 0.15 * RAYS:
        return None
    x, y, r = start[0], start[1], radius
    keep = np.ones(len(points), bool)
    for _ in range(4):
        away = points - (x, y)
        far = np.hypot(away[:, 0], away[:, 1])
        unit = away / np.maximum(far, 1e-6)[:, None]
        design = np.column_stack([unit, np.ones(len(points))])[keep]
        held = np.diag([1e-3, 1e-3, HELD])  # the pad's size hardly changes
        right = design.T @ (far - r)[keep] - held @ [0.0, 0.0, r - radius]
        dx, dy, dr = np.linalg.solve(design.T @ design + held, right)
        x, y, r = x + dx, y + dy, r + dr
        rest = np.hypot(points[:, 0] - x, points[:, 1] - y) - r
        keep = np.abs(rest) < max(3 * 1.4826 * float(np.median(np.abs(rest))), 0.8)
    if np.hypot(x - start[0], y - start[1]) > 0.5 * radius or keep.sum() < 0.12 * RAYS:
        return None
    sd = float(np.sqrt(2 * ((rest[keep] ** 2).mean() + 0.05) / keep.sum()))
    free = float(np.median(np.hypot(points[keep, 0] - x, points[keep, 1] - y)))
    one_sided = float(np.hypot(*(points[keep] - (x, y)).mean(0))) > LOPSIDED * free
    return x, y, free, sd, 0.0 if one_sided else float(keep.sum()) / RAYS


def rival_px(flat_lab: F32, look: Look, disc: Disc, *, tells: Bools) -> float:
    """Return how far off another whole disc is that is nearly as good [px], 0 without one."""
    rest = tells.astype(np.uint8)
    cv2.circle(rest, (round(disc.x), round(disc.y)), round(1.1 * look.radius_px), 0, -1)
    other = locate(flat_lab, look, None, 0.0, tells=rest > 0)
    if not np.isfinite(other.radius) or other.score < max(RIVAL * disc.score, LEAST_RIVAL):
        return 0.0
    return float(np.hypot(other.x - disc.x, other.y - disc.y))


def chosen(likely: Sequence[Look], pictures: Sequence[tuple[F32, Bools]]) -> Look:
    """Return the look whose discs are best filled and show a rim of the learnt size most often.

    Takes pictures in Lab, each with the pixels that the camera shows.
    """
    if len(likely) == 1:
        return likely[0]
    return max(likely, key=lambda look: _merit(look, pictures))


def _merit(look: Look, pictures: Sequence[tuple[F32, Bools]]) -> float:
    discs = [locate(picture, look, None, 0.0, tells=shows) for picture, shows in pictures]
    rims = [abs(d.radius / look.radius_px - 1) < RIM_AGREES for d in discs]
    filled = sum(d.score * (1.0 if rim else 0.3) for d, rim in zip(discs, rims, strict=True))
    return filled * look.radius_px  # a small disc is filled by chance, by a bit of an arm


def sharpened(look: Look, pictures: Sequence[tuple[F32, Bools]]) -> Look:
    """Return the look with the pad's colour taken anew from where the pad was found.

    Takes pictures in Lab, each with the pixels that the camera shows.

    Grouping by colour may mix the pad with glare or tape; between hub and rim most is pad.
    """
    shades = []
    for picture, shows in pictures:
        disc = locate(picture, look, None, 0.0, tells=shows)
        if not disc.score:
            continue
        rows, cols = np.ogrid[: picture.shape[0], : picture.shape[1]]
        away = np.hypot(rows - disc.y, cols - disc.x) / look.radius_px
        here = picture[(away > 0.5) & (away < 0.9) & shows]
        shades.append(here[:: max(1, len(here) // 300)])
    if len(shades) < 3:
        return look
    colours = np.concatenate(shades)
    colour = np.median(colours, axis=0).astype(np.float32)
    near = np.abs(colours - colour).max(1) < 45
    spread = 1.4826 * np.median(np.abs(colours[near] - colour), axis=0)
    spread = np.clip(spread, FLOOR, 2.5 * FLOOR).astype(np.float32)
    return replace(look, colour=colour, spread=spread)
