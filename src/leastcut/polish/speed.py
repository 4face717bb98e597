"""How fast the pad's face slides over the paint, in the pad's frame and in the panel's.

A point of the pad at radius r moves with an orbit part a = e·Ω and a spin part b = ω·r whose
directions turn against each other at a steady rate, so its squared speed is a² + b² + 2ab·cos φ.
The mean over φ is a complete elliptic integral of the second kind. Seen from a fixed point of the
panel the same form holds with other parts, because the material under that point changes: there
a' = e·|Ω - ω| and b' = |ω|·r, with r the distance to the spindle's axis, and only those phases
count in which the pad covers the point.

Source: plane kinematics; the elliptic integral in the notation of Abramowitz & Stegun,
*Handbook of Mathematical Functions*, 17.3.3 (parameter m = k²).
"""

import math

import numpy as np
import numpy.typing as npt

from leastcut.polish.records import PadMotion

Array = npt.NDArray[np.float64]


def mean_speed(a: npt.ArrayLike, b: npt.ArrayLike) -> Array:
    """Return the mean of √(a² + b² + 2ab·cos φ) over a full turn of φ.

    Parameters
    ----------
    a, b : array_like
        The two speeds [any one unit], 0 or more; broadcast against each other.

    Returns
    -------
    ndarray
        (2/π)(a + b)·E(m) with m = 4ab/(a + b)².

    Examples
    --------
    >>> float(mean_speed(1.0, 1.0)) == 4 / np.pi
    True
    """
    from scipy.special import ellipe

    total = np.add(a, b, dtype=np.float64)
    m = _parameter(np.asarray(a, dtype=np.float64), np.asarray(b, dtype=np.float64))
    return np.asarray(2.0 / np.pi * total * ellipe(m), dtype=np.float64)


def _parameter(a: Array, b: Array) -> Array:
    """Return 4ab/(a + b)² as 1 - ((a - b)/(a + b))², which neither underflows nor passes 1."""
    total = a + b
    share = (a - b) / np.where(total > 0, total, 1.0)
    return np.asarray(1.0 - share**2)


def rms_speed(a: npt.ArrayLike, b: npt.ArrayLike) -> Array:
    """Return the root mean square of the same speed, √(a² + b²): never less than the mean."""
    return np.asarray(np.hypot(a, b), dtype=np.float64)


def orbit_rad_s(settings: PadMotion) -> float:
    """Return the orbit rate Ω [rad/s]."""
    return settings.orbits_per_min * math.tau / 60.0


def spin_rad_s(settings: PadMotion) -> float:
    """Return the spin ω [rad/s], positive in the sense of the orbit."""
    return settings.spin_rpm * math.tau / 60.0


def pad_point_speed_m_s(r_mm: npt.ArrayLike, settings: PadMotion) -> Array:
    """Return the mean sliding speed of a point of the pad (the pad's frame): wear and heat.

    Parameters
    ----------
    r_mm : array_like
        Distance from the pad's centre [mm].
    settings : PadMotion
        Throw, rates and size.

    Returns
    -------
    ndarray
        Mean speed [m/s], of the shape of `r_mm`.
    """
    r_m = np.asarray(r_mm, dtype=np.float64) * 1e-3
    a = settings.orbit_mm * 0.5e-3 * abs(orbit_rad_s(settings))
    return mean_speed(a, abs(spin_rad_s(settings)) * r_m)


def panel_point_speed_m_s(r_mm: npt.ArrayLike, settings: PadMotion) -> Array:
    """Return the sliding speed at a fixed point of the panel, averaged over all time.

    Time in which the orbiting pad does not cover the point counts as zero, so that the result
    times pressure and the Preston rate is the rate of cut there. The integral over the phases with
    contact is an incomplete elliptic integral; the orbit's blur of the rim is exact in it.

    Parameters
    ----------
    r_mm : array_like
        Distance from the spindle's axis [mm].
    settings : PadMotion
        Throw, rates and size.

    Returns
    -------
    ndarray
        Mean speed times share of contact [m/s], of the shape of `r_mm`.
    """
    from scipy.special import ellipe, ellipeinc

    r = np.abs(np.asarray(r_mm, dtype=np.float64)) * 1e-3
    e, omega, spin = settings.orbit_mm * 0.5e-3, orbit_rad_s(settings), spin_rad_s(settings)
    a, b = e * abs(omega - spin), abs(spin) * r
    total = a + b
    m = _parameter(np.asarray(a), b)
    half = 0.5 * contact_half_angle(r * 1e3, settings)
    if (omega - spin) * spin >= 0:  # fastest where the pad leans towards the point
        part = ellipeinc(half, m)
    else:
        part = np.maximum(ellipe(m) - ellipeinc(np.pi / 2 - half, m), 0.0)
    return np.asarray(2.0 / np.pi * total * part, dtype=np.float64)


def contact_half_angle(r_mm: npt.ArrayLike, settings: PadMotion) -> Array:
    """Return half of the orbit's angle over which the pad covers a point of the panel [rad].

    Parameters
    ----------
    r_mm : array_like
        Distance of the point from the spindle's axis [mm], 0 or more.
    settings : PadMotion
        Throw and pad size.

    Returns
    -------
    ndarray
        π where the pad always covers the point, 0 where never.
    """
    r, e = np.asarray(r_mm, dtype=np.float64), settings.orbit_mm * 0.5
    radius = settings.pad_diameter_mm * 0.5
    if e < 1e-9:  # a millionth of a micrometre: no blur to speak of
        return np.where(r <= radius, np.pi, 0.0)
    with np.errstate(divide="ignore", invalid="ignore"):
        cosine = (r**2 + e**2 - radius**2) / (2.0 * r * e)
    cosine = np.where(r > 0, cosine, -1.0 if e <= radius else 1.0)
    return np.asarray(np.arccos(np.clip(cosine, -1.0, 1.0)), dtype=np.float64)


def disc_mean_speed_m_s(settings: PadMotion) -> float:
    """Return the mean sliding speed over the whole face of the pad [m/s].

    With β = ωR/(eΩ) ≤ 1 it is eΩ·₂F₁(-½, -½; 2; β²), the area mean of the series of the elliptic
    form; beyond, the same mean by quadrature. Times force and Preston rate it gives the volume
    cut per second, whatever the size of the pad.

    Parameters
    ----------
    settings : PadMotion
        Throw, rates and size.

    Returns
    -------
    float
        Mean speed [m/s].

    Examples
    --------
    >>> from leastcut.polish.records import PadSettings
    >>> round(disc_mean_speed_m_s(PadSettings(pad_diameter_mm=140)), 6)
    3.9327
    """
    from scipy.special import hyp2f1

    a = settings.orbit_mm * 0.5e-3 * abs(orbit_rad_s(settings))
    rim = settings.pad_diameter_mm * 0.5e-3 * abs(spin_rad_s(settings))
    if rim <= a:
        return float(a * hyp2f1(-0.5, -0.5, 2.0, (rim / a) ** 2)) if a > 0 else 0.0
    return _mean_beyond(a, rim)


def _mean_beyond(a: float, rim: float) -> float:
    """Area mean when the rim spins faster than it orbits: two smooth pieces, joined at b = a."""
    nodes, weights = np.polynomial.legendre.leggauss(48)
    t, w = 0.5 * (nodes + 1.0), 0.5 * weights
    total = 0.0
    kink = a / rim
    for end in (0.0, 1.0):  # cubed steps crowd the nodes at the kink, where both parts are equal
        b = kink + (end - kink) * t**3
        total += float(np.sum(w * 3.0 * t**2 * abs(end - kink) * b * mean_speed(kink, b)))
    return 2.0 * total * rim
