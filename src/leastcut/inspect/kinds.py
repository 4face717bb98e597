"""Sort scratches by kind of mark: deep by width and brightness, trail by shared direction.

deep : wider than a fine mark can be, whatever its direction.
trail : one of many fine marks that share a direction, beyond what marks of every direction give.
swirl : every other fine mark.

The direction test works on load per direction corrected for the light, since an uncorrected count
shows a ring round the lamp even where every direction is alike.
"""

from typing import Literal

import numpy as np

from leastcut.inspect.arrays import F64, Ints

DEEP_UM = 32.0
BINS = 36
FAMILY_RAD = 0.16  # half-width of a trail family
LEAST_MEMBERS = 6
LEAST_EXCESS = 3.0  # times the load of other directions

SWIRL, TRAIL, DEEP = 0, 1, 2
NAMES: tuple[Literal["swirl", "trail", "deep"], ...] = ("swirl", "trail", "deep")


def sort(theta: F64, load: F64, width_um: F64) -> Ints:
    """Return the kind of each scratch as an index into ``NAMES``.

    Parameters
    ----------
    theta, load, width_um : ndarray (n,)
        Mean direction [rad], corrected load and true width of each scratch.
    """
    kind = np.full(len(theta), SWIRL, dtype=np.intp)
    deep = width_um > DEEP_UM
    kind[deep] = DEEP
    fine = np.flatnonzero(~deep)
    peak = _family(theta[fine], load[fine])
    if peak is not None:
        member = np.abs(turn(theta[fine] - peak)) < FAMILY_RAD
        kind[fine[member]] = TRAIL
    return kind


def turn(angle: F64) -> F64:
    """Bring a difference of line directions into [-pi/2, pi/2)."""
    result: F64 = (angle + np.pi / 2) % np.pi - np.pi / 2
    return result


def _family(theta: F64, load: F64) -> float | None:
    """Return the direction that many scratches share beyond chance, or None."""
    if len(theta) < 2 * LEAST_MEMBERS:
        return None
    centres = (np.arange(BINS) + 0.5) * np.pi / BINS
    near = np.abs(turn(theta[None] - centres[:, None])) < FAMILY_RAD
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
