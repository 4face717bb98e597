"""Invented scratches: drawn at random, kept as plain arrays, thinned by a cut.

A scratch is an arc on the panel: centre, direction, length, bend; depth and width of a V groove;
and a kind. After a plane cut h a groove of depth D and width w keeps its slopes and has depth D - h
and width w (1 - h / D); it is gone when h >= D.
"""

from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]
SWIRL, TRAIL, DEEP = 0, 1, 2


@dataclass(frozen=True, kw_only=True)
class Scratches:
    """Arcs on a panel, one row of each array per scratch.

    Attributes
    ----------
    x_mm, y_mm : ndarray of float, shape (n,)
        Middle of the arc, from the middle of the photographed place, y up.
    angle : ndarray of float, shape (n,)
        Direction at the middle [rad].
    length_mm, bend_per_mm : ndarray of float, shape (n,)
        Length along the arc, curvature (1 / radius, signed).
    depth_um, width_um : ndarray of float, shape (n,)
        Groove depth and width.
    kind : ndarray of int, shape (n,)
        ``SWIRL``, ``TRAIL`` or ``DEEP``.
    phase : ndarray of float, shape (n,)
        Where the along-scratch unevenness begins; stays with the scratch from photo to photo.
    reach_mm : float
        Centres lie within ± this in x and y.
    """

    x_mm: Floats
    y_mm: Floats
    angle: Floats
    length_mm: Floats
    bend_per_mm: Floats
    depth_um: Floats
    width_um: Floats
    kind: NDArray[np.int64]
    phase: Floats
    reach_mm: float

    def __len__(self) -> int:
        return len(self.x_mm)


def draw(
    rng: np.random.Generator,
    *,
    load_mm_per_cm2: float,
    depth_median_um: float,
    depth_sigma: float,
    trail_load_mm_per_cm2: float = 0.0,
    trail_angle: float = 0.6,
    deep_per_100_cm2: float = 3.0,
    reach_mm: float = 70.0,
) -> Scratches:
    """Draw the scratches of one place.

    Parameters
    ----------
    rng : numpy.random.Generator
        Source of chance.
    load_mm_per_cm2 : float
        Expected length of swirl scratches per area.
    depth_median_um, depth_sigma : float
        Depths are lognormal with this median and standard deviation of the logarithm.
    trail_load_mm_per_cm2, trail_angle : float
        Fine parallel trails of a machine, and their direction [rad].
    deep_per_100_cm2 : float
        Expected number of isolated deep marks.
    reach_mm : float
        Half the side of the square in which centres fall; beyond the photo, so that the load is
        even to its border.

    Returns
    -------
    Scratches
        In the order swirl, trail, deep.
    """
    area_cm2 = (2.0 * reach_mm) ** 2 / 100.0
    n_swirl = rng.poisson(load_mm_per_cm2 * area_cm2 / _MEAN_SWIRL_MM)
    n_trail = rng.poisson(trail_load_mm_per_cm2 * area_cm2 / _MEAN_TRAIL_MM)
    n_deep = rng.poisson(deep_per_100_cm2 * area_cm2 / 100.0)
    swirl_depth = depth_median_um * np.exp(depth_sigma * rng.standard_normal(n_swirl))
    return joined(
        _swirls(rng, swirl_depth, reach_mm),
        _trails(rng, n_trail, trail_angle, reach_mm),
        _deeps(rng, n_deep, reach_mm),
    )


# Lengths: lognormal, median and sigma of the logarithm. source: common practice, no source
_SWIRL_MM, _SWIRL_SIGMA = 9.0, 0.6
_MEAN_SWIRL_MM = _SWIRL_MM * float(np.exp(_SWIRL_SIGMA**2 / 2.0))
_TRAIL_MM, _TRAIL_SIGMA = 24.0, 0.35
_MEAN_TRAIL_MM = _TRAIL_MM * float(np.exp(_TRAIL_SIGMA**2 / 2.0))


def _swirls(rng: np.random.Generator, depth: Floats, reach: float) -> Scratches:
    n = len(depth)
    # Wash scratches are 1 to 10 µm wide; source: nano-scratch literature, from memory.
    width = np.clip(5.0 * np.sqrt(depth) * np.exp(0.3 * rng.standard_normal(n)), 2.0, 12.0)
    return _scattered(
        rng,
        reach,
        angle=rng.uniform(0.0, np.pi, n),
        length=_SWIRL_MM * np.exp(_SWIRL_SIGMA * rng.standard_normal(n)),
        bend=rng.choice([-1.0, 1.0], n) / rng.uniform(35.0, 250.0, n),
        depth=depth,
        width=width,
        kind=SWIRL,
    )


def _trails(rng: np.random.Generator, n: int, angle: float, reach: float) -> Scratches:
    return _scattered(
        rng,
        reach,
        angle=angle + 0.06 * rng.standard_normal(n),
        length=_TRAIL_MM * np.exp(_TRAIL_SIGMA * rng.standard_normal(n)),
        bend=np.full(n, 1.0 / 180.0) * np.exp(0.1 * rng.standard_normal(n)),
        depth=0.25 * np.exp(0.4 * rng.standard_normal(n)),
        width=np.clip(3.0 * np.exp(0.3 * rng.standard_normal(n)), 2.0, 6.0),
        kind=TRAIL,
    )


def _deeps(rng: np.random.Generator, n: int, reach: float) -> Scratches:
    return _scattered(
        rng,
        reach,
        angle=rng.uniform(0.0, np.pi, n),
        length=14.0 * np.exp(0.5 * rng.standard_normal(n)),
        bend=0.004 * rng.standard_normal(n),
        depth=rng.uniform(5.0, 11.0, n),
        width=rng.uniform(18.0, 40.0, n),
        kind=DEEP,
    )


def _scattered(
    rng: np.random.Generator,
    reach: float,
    *,
    angle: Floats,
    length: Floats,
    bend: Floats,
    depth: Floats,
    width: Floats,
    kind: int,
) -> Scratches:
    n = len(angle)
    return Scratches(
        x_mm=rng.uniform(-reach, reach, n),
        y_mm=rng.uniform(-reach, reach, n),
        angle=angle,
        length_mm=length,
        bend_per_mm=bend,
        depth_um=depth,
        width_um=width,
        kind=np.full(n, kind),
        phase=rng.uniform(0.0, 2.0 * np.pi, n),
        reach_mm=reach,
    )


def joined(*parts: Scratches) -> Scratches:
    """Return all scratches of several sets as one; the reach is the largest."""
    names = [name for name in Scratches.__dataclass_fields__ if name != "reach_mm"]
    arrays = {name: np.concatenate([getattr(part, name) for part in parts]) for name in names}
    return Scratches(**arrays, reach_mm=max(part.reach_mm for part in parts))


def kept(scratches: Scratches, keep: NDArray[np.bool_]) -> Scratches:
    """Return the scratches where `keep` is true."""
    names = [name for name in Scratches.__dataclass_fields__ if name != "reach_mm"]
    return replace(scratches, **{name: getattr(scratches, name)[keep] for name in names})


def cut(scratches: Scratches, cut_um: float) -> Scratches:
    """Return what a plane cut leaves: grooves no deeper than it are gone, others shrink.

    Parameters
    ----------
    scratches : Scratches
        Before.
    cut_um : float
        Clear coat removed [µm], 0 or more.

    Returns
    -------
    Scratches
        After, in the same order.
    """
    left = kept(scratches, scratches.depth_um > cut_um)
    share = 1.0 - cut_um / left.depth_um
    return replace(left, depth_um=left.depth_um - cut_um, width_um=left.width_um * share)


def points(scratches: Scratches, step_mm: float) -> tuple[Floats, Floats, Floats, NDArray[np.intp]]:
    """Return points along every scratch, `step_mm` apart.

    Returns
    -------
    x_mm, y_mm, angle : ndarray of float, shape (m,)
        Middles of pieces, and the scratch's direction there [rad].
    owner : ndarray of int, shape (m,)
        Row of the scratch that the piece belongs to.
    """
    pieces = np.maximum(1, np.ceil(scratches.length_mm / step_mm)).astype(np.intp)
    owner = np.repeat(np.arange(len(scratches)), pieces)
    first = np.repeat(np.cumsum(pieces) - pieces, pieces)
    share = (np.arange(len(owner)) - first + 0.5) / pieces[owner] - 0.5
    along = share * scratches.length_mm[owner]
    turn = scratches.bend_per_mm[owner] * along
    angle = scratches.angle[owner] + turn
    # chord of the arc: exact to third order in the turn, which stays below a radian
    middle = scratches.angle[owner] + 0.5 * turn
    chord = along * np.sinc(0.5 * turn / np.pi)
    return (
        scratches.x_mm[owner] + chord * np.cos(middle),
        scratches.y_mm[owner] + chord * np.sin(middle),
        angle,
        owner,
    )


def load_mm_per_cm2(
    scratches: Scratches, half_width_mm: float, half_height_mm: float, *, wider_um: float = 0.0
) -> float:
    """Return the length of scratches per area in a rectangle about the middle [mm/cm²].

    Parameters
    ----------
    scratches : Scratches
        The scratches of the place.
    half_width_mm, half_height_mm : float
        Half sides of the rectangle.
    wider_um : float
        Count only grooves wider than this.
    """
    step = 0.1
    x, y, _, owner = points(scratches, step)
    inside = (np.abs(x) <= half_width_mm) & (np.abs(y) <= half_height_mm)
    inside &= scratches.width_um[owner] > wider_um
    pieces = np.bincount(owner, minlength=len(scratches))
    length = scratches.length_mm / np.maximum(1, pieces)
    area_cm2 = 4.0 * half_width_mm * half_height_mm / 100.0
    return float(length[owner[inside]].sum() / area_cm2)
