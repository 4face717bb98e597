"""How much the lamp could show, from how bright the lines are and how they fade along themselves.

A groove's glint falls off as exp(-u^2 / 2 s^2), u its distance off the circle round the lamp (see
:mod:`leastcut.inspect.light`): every scratch fades along itself at one rate, so the fading of many
tells s to a few percent. With it each piece tells how bright it were if turned right for this lamp,
and so in which area it would have been seen: where its glint still rises over what the ground, and
noise, ask for. It counts by one over that area (Horvitz and Thompson's estimator, its chances known
piece by piece), whether scratches are all alike bright or not, which the places of lines alone tell
only in part.

source: Gaussian fall-off of the glint with the tolerance of lamp and groove: Raymond, Guennebaud,
Barla, ACM TOG 35(4) 2016; status: seen. Estimator: Horvitz and Thompson, JASA 47, 663 (1952);
status: memory. Numbers below: found with rendered photos.
"""

from dataclasses import dataclass, replace

import cv2
import numpy as np

from leastcut.inspect import light
from leastcut.inspect.arrays import F32, F64, Bools, bilinear, sums
from leastcut.inspect.light import Corrected, Elements, Field
from leastcut.inspect.linking import Runs
from leastcut.inspect.profile import Pieces
from leastcut.inspect.survey import DARK_ROOT, visible_rise

SIDES_PX = (4, 5, 6)
CLIPPED = 0.97
FAINTEST = 0.3  # of what counts as visible: less is not told from noise
GROUND_STEP_PX = 4
GROUND_MEDIAN = 9  # of those steps
NEAR_REACH = 1.3  # pieces further off are another light's
REACH_IN_SPREADS = 2.3  # usual reach over s
SPREAD_LOG_SD = 0.2  # of that ratio
SPREAD_GAIN = 1.08  # s comes out so much too wide: directions and places have errors of their own
LEAST_PIECES = 10
UNTOLD_SD = 0.5  # of 1 / s^2, where the lines do not tell
# Logarithms of a rise, 0 what counts as visible at its ground
FROM = -0.1  # measured rise from which nearly every piece is found
NOISE_FROM = 0.2
NOISE_NEED = 4.3  # signal over noise that the finder asks for, over its share of a visible rise
SHARPLY = 4.0  # how sharply noise takes over there
CLEAR = 0.3  # above that a scratch, turned right, is found anywhere near its circle
SPAN = 1.6  # of brightness above, from which the fainter ones are told
TRULY = -0.5  # a rise of what counts as visible, as it is measured: blur takes the rest
STEP = 0.05
LOWEST, HIGHEST = -3.0, 15.0
PLACES_WORTH = 20.0  # scratches: with fewer the places of lines tell more than their brightness
LEAST_AREA = 0.01


@dataclass(frozen=True)
class Shine:
    """Logarithms of how bright each piece of line is, and of what the photo asks for.

    ``rise`` is each piece's rise over what counts as visible at its ground; ``need`` is what counts
    there against the middle of the photo, ``place_need`` the same at each place of the field;
    ``noise`` is the rise that noise and texture ask for, over what counts as visible.
    """

    rise: F64
    unclipped: Bools
    need: F64
    place_need: F64
    noise: float


def measure(grey: F32, usable: Bools, runs: Runs, cut: Pieces, place: Field) -> Shine:
    """Measure how bright each piece of each run is, and how bright it must be to be seen.

    Parameters
    ----------
    grey : ndarray (H, W)
        Linear light.
    usable : ndarray (H, W) bool
        Where lines were looked for.
    runs, cut : Runs, Pieces
        The lines, and the pieces they were cut into.
    place : Field
        The usable area on a coarse grid.
    """
    crest, side = _across(grey, cut)
    root, ground = np.sqrt(crest + DARK_ROOT**2), np.sqrt(side + DARK_ROOT**2)
    rise = np.log(np.maximum((crest - side) / _visible(side), FAINTEST))
    need = _need(grey, usable)
    return Shine(
        rise,
        (crest < CLIPPED) & (rise > 0),
        _at(need, cut.x, cut.y),
        _at(need, place.x, place.y),
        _noise((root - ground) / visible_rise(side.astype(np.float32)), runs, cut),
    )


def _visible(ground: F64) -> F64:
    """Return the light by which a line must rise over its ground to count as visible."""
    root = np.sqrt(ground + DARK_ROOT**2)
    result: F64 = (root + visible_rise(ground.astype(np.float32))) ** 2 - root**2
    return result


def _across(grey: F32, cut: Pieces) -> tuple[F64, F64]:
    """Return each piece's brightest light, and that of its brighter side."""
    nx, ny = -np.sin(cut.theta), np.cos(cut.theta)

    def at(k: int) -> F64:
        result: F64 = np.maximum(bilinear(grey, cut.x + k * nx, cut.y + k * ny), 0.0)
        return result

    crest = np.max([at(k) for k in (-1, 0, 1)], axis=0)
    sides = [np.min([at(sign * k) for k in SIDES_PX], axis=0) for sign in (-1, 1)]
    return crest, np.maximum(*sides)


def _need(grey: F32, usable: Bools) -> F64:
    """Return the log of the light that a line needs to be seen, on a coarse map, 0 in the middle."""
    first = GROUND_STEP_PX // 2
    thin = cv2.sqrt(cv2.max(grey[first::GROUND_STEP_PX, first::GROUND_STEP_PX], 0))
    code = np.clip(np.round(255 * thin), 0, 255).astype(np.uint8)
    code = cv2.medianBlur(code, GROUND_MEDIAN)
    asked = np.log(_visible((np.arange(256) / 255.0) ** 2))  # by code
    within = usable[first::GROUND_STEP_PX, first::GROUND_STEP_PX]
    middle = int(np.median(code[within] if within.any() else code))
    result: F64 = (asked - asked[middle])[code]
    return result


def _at(coarse: F64, x: F64, y: F64) -> F64:
    row, col = (
        np.clip(np.round((v - GROUND_STEP_PX // 2) / GROUND_STEP_PX), 0, size - 1).astype(np.intp)
        for v, size in zip((y, x), coarse.shape, strict=True)
    )
    return coarse[row, col]


def _noise(rise: F64, runs: Runs, cut: Pieces) -> float:
    """Return the log of the rise that is lost in noise, read from the finder's excess over it."""
    size = len(runs)
    length = np.maximum(sums(cut.run, cut.length, size), 1e-9)
    mean = sums(cut.run, cut.length * np.maximum(rise, FAINTEST / 2), size) / length
    fine = runs.level == 0
    if fine.sum() < LEAST_PIECES // 3:
        return -1.0
    hidden = NOISE_NEED * mean[fine] / np.maximum(runs.snr[fine], 1.0)
    return float(np.log(_middle(hidden, length[fine])))


def _middle(value: F64, weight: F64) -> float:
    """Return the weighted median."""
    order = np.argsort(value)
    total = np.cumsum(weight[order])
    return float(value[order][np.searchsorted(total, total[-1] / 2)])


def refine(corrected: Corrected, elements: Elements, place: Field, shine: Shine) -> Corrected:
    """Return the load that the brightness of the lines tells, where a lamp is in view.

    With few scratches the places of the lines tell more, with many their brightness: the logarithms
    of both loads are averaged, the brightness weighing as n / (n + 20).
    """
    seen = corrected.visibility
    if corrected.lamp is None or seen.centre is None or not np.isfinite(seen.reach_px):
        return corrected
    total = float(place.area.sum())
    u = light.deviation(elements.x, elements.y, elements.theta, seen.centre)
    fall, fall_sd = _fall(elements, shine, u, seen.reach_px)
    lack = u**2 * fall + shine.need
    bright = _of_scratch(elements, shine.rise + lack)
    excess = float(np.logaddexp(0.0, SHARPLY * (shine.noise - NOISE_FROM))) / SHARPLY
    least = FROM + excess
    counted = elements.length * light.hidden(elements, place) * (bright >= lack + least)
    clear = least + CLEAR
    area = _areas(
        place, shine, seen.centre, fall, elements.theta, np.maximum(bright, clear) - least
    )
    shares = counted * _for_fainter(bright, clear) / np.maximum(area, LEAST_AREA * total)
    if shares.sum() <= 0:
        return corrected
    scratches = len(np.unique(elements.owner))
    trust = scratches / (scratches + PLACES_WORTH)
    per_px = float(shares.sum()) ** trust * corrected.per_px ** (1 - trust)
    return replace(
        corrected,
        per_px=per_px,
        gain=per_px / corrected.per_px,
        relative_sd=trust * fall_sd / 2 + (1 - trust) * corrected.relative_sd,
        shares=shares * (per_px / shares.sum()),
        visibility=replace(seen, lit_fraction=min(1.0, float(counted.sum()) / total / per_px)),
    )


def _fall(elements: Elements, shine: Shine, u: F64, reach_px: float) -> tuple[float, float]:
    """Return 1 / (2 s^2) [1/px2] and its relative standard uncertainty.

    Each scratch's slope of log brightness over u^2; the weighted median of them all, so that a
    second lamp's lines do not matter; drawn towards what the reach of the places makes likely.
    """
    usual = (REACH_IN_SPREADS / reach_px) ** 2 / 2
    use = shine.unclipped & (u < NEAR_REACH * reach_px)
    if use.sum() < LEAST_PIECES:
        return usual, UNTOLD_SD
    owner = np.unique(elements.owner[use], return_inverse=True)[1].astype(np.intp)
    size, weight = int(owner.max()) + 1, elements.length[use]
    total = sums(owner, weight, size)

    def about_mean(v: F64) -> F64:
        result: F64 = v - (sums(owner, weight * v, size) / total)[owner]
        return result

    off, rise = about_mean(u[use] ** 2), about_mean(shine.rise[use])
    lever = sums(owner, weight * off**2, size)
    told = lever > 1e-9
    if not told.any():
        return usual, UNTOLD_SD
    slope = -sums(owner, weight * off * rise, size)[told] / lever[told]
    share = np.minimum(lever[told], np.quantile(lever[told], 0.9))
    middle = max(_middle(slope, share), 0.05 * usual)
    spread = 1.48 * _middle(np.abs(slope - middle), share)  # of a normal law, from the median
    sd = 1.25 * spread / np.sqrt(share.sum() ** 2 / (share**2).sum()) / middle
    trust = (2 * SPREAD_LOG_SD) ** 2 / ((2 * SPREAD_LOG_SD) ** 2 + sd**2)
    return usual * (middle / usual) ** trust * SPREAD_GAIN**2, float(np.sqrt(trust) * sd)


def _of_scratch(elements: Elements, value: F64) -> F64:
    """Return for each piece the mean over its scratch."""
    size = int(elements.owner.max()) + 1
    weight = np.maximum(sums(elements.owner, elements.length, size), 1e-9)
    result: F64 = (sums(elements.owner, elements.length * value, size) / weight)[elements.owner]
    return result


def _for_fainter(bright: F64, clear: float) -> F64:
    """Return by how much each scratch counts for the ones too faint to be found wherever they lie.

    Those between what counts as visible and what is surely found are taken to be as many per step
    of log brightness as those just above.
    """
    just_above = (bright >= clear) & (bright < clear + SPAN)
    result: F64 = np.where(just_above, 1 + (clear - TRULY) / SPAN, bright >= clear)
    return result


def _areas(
    place: Field, shine: Shine, centre: tuple[float, float], fall: float, theta: F64, excess: F64
) -> F64:
    """Return in what area each piece would be seen: where it lacks less than its `excess` [px2]."""
    angles = (np.arange(light.ANGLES) + 0.5) * np.pi / light.ANGLES
    u = light.deviation(place.x[:, None], place.y[:, None], angles[None], centre)
    steps = int((HIGHEST - LOWEST) / STEP)

    def step(v: F64) -> F64:
        result: F64 = np.clip((v - LOWEST) / STEP, 0, steps - 1)
        return result

    lack = step(u**2 * fall + shine.place_need[:, None]).astype(np.intp)
    cell = lack + np.arange(light.ANGLES)[None] * steps
    area = np.broadcast_to(place.area[:, None], cell.shape).ravel()
    table = sums(cell.ravel(), area, light.ANGLES * steps).reshape(light.ANGLES, steps)
    upto = np.cumsum(table, axis=1)
    result: F64 = upto[light.angle_bin(theta), step(excess).astype(np.intp)]
    return result
