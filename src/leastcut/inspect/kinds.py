"""Sort scratches by kind of mark: deep by width and brightness, trail by shared direction.

deep : wider or brighter than a fine mark can be, whatever its direction.
trail : one of many fine marks that share a direction, beyond what marks of every direction give.
swirl : every other fine mark.

The direction test works on load per direction corrected for the light, since an uncorrected count
shows a ring round the lamp even where every direction is alike.
"""

from typing import Literal

import numpy as np

from leastcut.inspect.arrays import F64, Ints, line_turn

BINS = 36
FAMILY_RAD = 0.13  # half-width of a trail family
LEAST_MEMBERS = 6
LEAST_EXCESS = 3.0  # times the load of other directions

SWIRL, TRAIL, DEEP = 0, 1, 2
NAMES: tuple[Literal["swirl", "trail", "deep"], ...] = ("swirl", "trail", "deep")


def deepness(fwhm_px: F64, strength: F64, length: F64) -> F64:
    """Return how far each scratch stands out as wide and bright; above 1 it counts as deep.

    Parameters
    ----------
    fwhm_px, strength, length : ndarray (n,)
        Width as seen [px], brightest light across the line (height times width) and length [px].

    Notes
    -----
    A groove too narrow for the camera to resolve still sends light in proportion to its width, so
    brightness tells where width cannot. Weights and threshold were found with rendered photos.
    """
    if len(length) == 0:
        return np.zeros(0)
    usual = _weighted_quantile(fwhm_px, length, 0.4)
    middle = _weighted_quantile(strength, length, 0.5)
    wide = np.log(np.maximum(fwhm_px, 0.5) / max(usual, 0.5))
    bright = np.log(np.maximum(strength, 1e-9) / max(middle, 1e-9))
    result: F64 = (8.0 * wide + 0.9 * bright) / 3.5
    return result


def _weighted_quantile(value: F64, weight: F64, q: float) -> float:
    order = np.argsort(value)
    total = np.cumsum(weight[order])
    return float(value[order][np.searchsorted(total, q * total[-1])])


def sort(theta: F64, load: F64, depth: F64) -> Ints:
    """Return the kind of each scratch as an index into ``NAMES``.

    Parameters
    ----------
    theta, load, depth : ndarray (n,)
        Mean direction [rad], corrected load and :func:`deepness` of each scratch.
    """
    kind = np.full(len(theta), SWIRL, dtype=np.intp)
    deep = depth > 1
    kind[deep] = DEEP
    fine = np.flatnonzero(~deep)
    peak = _family(theta[fine], load[fine])
    if peak is not None:
        member = np.abs(line_turn(theta[fine] - peak)) < FAMILY_RAD
        kind[fine[member]] = TRAIL
    return kind


def _family(theta: F64, load: F64) -> float | None:
    """Return the direction that many scratches share beyond chance, or None."""
    if len(theta) < 2 * LEAST_MEMBERS:
        return None
    centres = (np.arange(BINS) + 0.5) * np.pi / BINS
    near = np.abs(line_turn(theta[None] - centres[:, None])) < FAMILY_RAD
    inside = near @ load
    best = int(inside.argmax())
    share = 2 * FAMILY_RAD / np.pi
    outside = float(load.sum() - inside[best])
    expected = outside * share / (1 - share)
    members = near[best]
    spread = float(np.sqrt((load**2)[~members].sum())) * share / (1 - share)
    enough = members.sum() >= LEAST_MEMBERS
    if not enough or inside[best] < LEAST_EXCESS * expected + 2 * spread:
        return None
    doubled = 2 * theta[members]
    weight = load[members]
    return float(np.arctan2(weight @ np.sin(doubled), weight @ np.cos(doubled)) / 2)


def rayleigh(theta: F64) -> float:
    """Return the probability that lines of no common direction look as aligned as these.

    Parameters
    ----------
    theta : ndarray (n,)
        Directions of lines [rad]; doubled inside, since a line has no head.

    Notes
    -----
    The approximation of Wilkie, Applied Statistics 32, 311 (1983), as given by Zar, Biostatistical
    Analysis; from memory. Its 5 % points agree with the printed ones (2.919 at n = 10, 2.970 at
    n = 30 for n R squared).

    Examples
    --------
    >>> rayleigh(np.zeros(10)) < 1e-4
    True
    """
    n = len(theta)
    if n < 2:
        return 1.0
    length = abs(np.exp(2j * theta).sum())
    return float(min(1.0, np.exp(np.sqrt(1 + 4 * n + 4 * (n**2 - length**2)) - (1 + 2 * n))))
