"""How uneven parallel strokes leave the paint, and how far apart they may be.

Strokes a distance d apart lay down the line spread of the footprint again and again. Far from the
ends the sum is periodic; its crest-to-trough difference over its mean is the ripple. The second
direction of a crosshatch adds the same ripple at right angles: the crest-to-trough share of the
whole stays, the rms share falls by √2.
"""

import math
from collections.abc import Callable, Sequence

import msgspec
import numpy as np

from leastcut.polish.footprint import footprint_um_s, reach_mm
from leastcut.polish.records import PadMotion, PadSettings
from leastcut.polish.speed import Array

Radial = Callable[[Array], Array]


class Ripple(msgspec.Struct, frozen=True, kw_only=True):
    """Unevenness of one family of strokes, as shares of the mean cut."""

    peak_to_valley: float
    rms: float


class SpacingAdvice(msgspec.Struct, frozen=True, kw_only=True):
    """The widest stroke spacing that keeps the ripple within a limit, for one pad."""

    pad_diameter_mm: float
    orbit_mm: float
    spacing_mm: float
    ripple_fraction: float


def line_spread(footprint: Radial, x_mm: Array, *, reach: float, samples: int = 2001) -> Array:
    """Integrate a radial footprint along a stroke: the cut across one stroke at unit speed.

    Parameters
    ----------
    footprint : callable
        Rate as a function of the distance from the axis [mm].
    x_mm : ndarray
        Distance from the stroke [mm].
    reach : float
        Where the footprint ends [mm].
    samples : int
        Points along the stroke.

    Returns
    -------
    ndarray
        Integral along the stroke, of the shape of `x_mm`.
    """
    y = np.linspace(-reach, reach, samples)
    values = footprint(np.hypot(np.asarray(x_mm)[..., None], y))
    return np.asarray(np.trapezoid(values, y, axis=-1))


class Spread:
    """The cut across one stroke, ready to be summed at any spacing.

    Parameters
    ----------
    footprint : callable
        Rate as a function of the distance from the axis [mm].
    reach : float
        Where the footprint ends [mm].
    """

    def __init__(self, footprint: Radial, *, reach: float) -> None:
        from scipy.interpolate import CubicSpline

        x = np.linspace(0.0, reach, 801)
        self.reach = reach
        self._across = CubicSpline(x, line_spread(footprint, x, reach=reach))

    def ripple(self, spacing_mm: float, *, samples: int = 240) -> Ripple:
        """Return the ripple of endless strokes `spacing_mm` apart, over one period."""
        x = spacing_mm * np.arange(samples) / samples
        count = math.ceil(self.reach / spacing_mm) + 1
        away = np.abs(x[:, None] - spacing_mm * np.arange(-count, count + 1))
        at = np.minimum(away, self.reach)
        total = np.where(away <= self.reach, self._across(at), 0.0).sum(axis=1)
        mean = float(total.mean())
        return Ripple(peak_to_valley=float(np.ptp(total)) / mean, rms=float(total.std()) / mean)


def gaussian_ripple(spacing_over_sd: float) -> Ripple:
    """Return the ripple of a Gaussian footprint in closed form (Poisson summation).

    Parameters
    ----------
    spacing_over_sd : float
        Stroke distance over the footprint's standard deviation.

    Returns
    -------
    Ripple
        Crest to trough 4(q + q⁹ + q²⁵ + …), rms √(2Σq^(2n²)), with q = exp(-2π²·(s/d)²).

    Examples
    --------
    >>> round(gaussian_ripple(2.0).peak_to_valley, 7)
    0.0287675
    """
    q = math.exp(-2.0 * (math.pi / spacing_over_sd) ** 2)
    orders = np.arange(1, 60)
    odd = orders[orders % 2 == 1]
    return Ripple(
        peak_to_valley=float(4.0 * np.sum(q ** (odd**2.0))),
        rms=float(np.sqrt(2.0 * np.sum(q ** (2.0 * orders**2.0)))),
    )


def disc_ripple(spacing_mm: float, settings: PadMotion, *, orders: int = 4000) -> Ripple:
    """Return the ripple of a pad that orbits without spin, as a Fourier series.

    Its footprint is a flat disc blurred by the orbit; its line spread has the harmonics
    [2·J₁(z)/z]·J₀(z·e/R) with z = 2πnR/d (Fourier transform of a disc times that of a ring).

    Parameters
    ----------
    spacing_mm : float
        Distance of the strokes [mm].
    settings : PadMotion
        Pad and throw; the spin is taken as 0.
    orders : int
        Harmonics summed.

    Returns
    -------
    Ripple
        Shares of the mean.
    """
    from scipy.special import j0, j1

    n = np.arange(1, orders + 1)
    z = math.pi * n * settings.pad_diameter_mm / spacing_mm
    c = 2.0 * j1(z) / z * j0(z * settings.orbit_mm / settings.pad_diameter_mm)
    x = np.linspace(0.0, 0.5, 1001)
    total = 1.0 + 2.0 * np.cos(2.0 * np.pi * np.outer(x, n)) @ c
    return Ripple(peak_to_valley=float(np.ptp(total)), rms=math.sqrt(2.0 * float(np.sum(c**2))))


def pad_spread(settings: PadMotion) -> Spread:
    """Return the cut across one stroke of a pad, spin and orbit included, up to a factor."""
    reach = reach_mm(settings)
    table_r = np.linspace(0.0, reach, 3000)
    table = footprint_um_s(table_r, settings, preston_um_per_kpa_m=1.0)
    return Spread(lambda r: np.interp(r, table_r, table, right=0.0), reach=reach)


def widest_spacing(settings: PadMotion, *, limit: float = 0.05) -> SpacingAdvice:
    """Return the widest spacing up to which every spacing keeps the ripple within a limit.

    The ripple does not rise steadily with the spacing, so wider ones may again be within the
    limit by luck; those are not advised, since an arm cannot hold them.

    Parameters
    ----------
    settings : PadMotion
        Machine and pad.
    limit : float
        Crest to trough over mean; one direction alone, which for a crosshatch is the same share.

    Returns
    -------
    SpacingAdvice
        Spacing [mm], to the nearest millimetre below, with its ripple.
    """
    spread = pad_spread(settings)
    best = 1.0
    for spacing in np.arange(4.0, settings.pad_diameter_mm, 1.0):
        if spread.ripple(float(spacing)).peak_to_valley > limit:
            break
        best = float(spacing)
    return SpacingAdvice(
        pad_diameter_mm=settings.pad_diameter_mm,
        orbit_mm=settings.orbit_mm,
        spacing_mm=best,
        ripple_fraction=spread.ripple(best).peak_to_valley,
    )


def spacing_table(
    pads_mm: Sequence[float], settings: PadSettings, *, limit: float = 0.05
) -> tuple[SpacingAdvice, ...]:
    """Return the advice for several pad sizes with otherwise equal settings."""
    sized = [msgspec.structs.replace(settings, pad_diameter_mm=size) for size in pads_mm]
    return tuple(widest_spacing(one, limit=limit) for one in sized)
