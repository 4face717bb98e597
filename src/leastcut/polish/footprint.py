"""The rate at which a standing pad cuts, as a function of the distance from the spindle's axis.

Preston: rate = k·p·v (F. W. Preston, *J. Soc. Glass Technol.* 11 (1927) 214), with the pressure
uniform over the pad, p = force/(πR²), and v the speed at a fixed point of the panel averaged over
the orbit. Its integral over the panel is k·force·v̄ with v̄ the mean speed over the pad's face:
the orbit's blur moves the cut about but neither adds nor takes any.
"""

import math
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from leastcut.polish.records import PadMotion
from leastcut.polish.speed import Array, disc_mean_speed_m_s, panel_point_speed_m_s


def pressure_kpa(settings: PadMotion) -> float:
    """Return the mean pressure under the pad, force/(πR²) [kPa]."""
    return settings.force_n * 1e3 / (math.pi * (settings.pad_diameter_mm * 0.5) ** 2)


def reach_mm(settings: PadMotion) -> float:
    """Return how far from the spindle's axis the pad cuts at all [mm]."""
    return 0.5 * (settings.pad_diameter_mm + settings.orbit_mm)


def footprint_um_s(
    r_mm: npt.ArrayLike, settings: PadMotion, *, preston_um_per_kpa_m: float
) -> Array:
    """Return the cut rate at a distance from the spindle's axis, orbit blur included.

    Parameters
    ----------
    r_mm : array_like
        Distance from the spindle's axis [mm].
    settings : PadMotion
        Machine, pad and force.
    preston_um_per_kpa_m : float
        Preston rate [µm/(kPa·m)].

    Returns
    -------
    ndarray
        Cut rate [µm/s], of the shape of `r_mm`.
    """
    factor = preston_um_per_kpa_m * pressure_kpa(settings)
    return factor * panel_point_speed_m_s(r_mm, settings)


def volume_rate_mm3_s(settings: PadMotion, *, preston_um_per_kpa_m: float) -> float:
    """Return the volume cut per second with the whole pad on the paint [mm³/s].

    Examples
    --------
    With k = 10⁻¹² /Pa, 50 N and a mean speed of 3.9327 m/s: 0.1966 mm³/s.

    >>> from leastcut.polish.records import PadSettings
    >>> pad = PadSettings(pad_diameter_mm=140, force_n=50)
    >>> round(volume_rate_mm3_s(pad, preston_um_per_kpa_m=1e-3), 6)
    0.196635
    """
    # 1 µm/(kPa·m) · N · m/s = 1e-3 µm·m²/s = 1 mm³/s
    return preston_um_per_kpa_m * settings.force_n * disc_mean_speed_m_s(settings)


@dataclass(frozen=True)
class Kernel:
    """A footprint on a square grid, its centre in the middle cell.

    Attributes
    ----------
    rate_um_s : ndarray, shape (2n + 1, 2n + 1)
        Mean cut rate over each cell [µm/s]; sums to the volume rate exactly.
    grid_mm : float
        Cell size [mm].
    """

    rate_um_s: Array
    grid_mm: float


def footprint_kernel(settings: PadMotion, *, preston_um_per_kpa_m: float, grid_mm: float) -> Kernel:
    """Return the footprint averaged over the cells of a grid.

    Parameters
    ----------
    settings : PadMotion
        Machine, pad and force.
    preston_um_per_kpa_m : float
        Preston rate [µm/(kPa·m)].
    grid_mm : float
        Cell size [mm].

    Returns
    -------
    Kernel
        Cell means scaled so that their sum times the cell area is the volume rate.
    """
    n = math.ceil(reach_mm(settings) / grid_mm + 0.5)
    fine = 5  # sub-cells per side: the rim is a ramp as wide as the throw, this resolves it
    centre = (np.arange((2 * n + 1) * fine) + 0.5) / fine - n - 0.5
    profile_r = np.linspace(0.0, (n + 1) * grid_mm * math.sqrt(2), 4096)
    profile = footprint_um_s(profile_r, settings, preston_um_per_kpa_m=preston_um_per_kpa_m)
    radius = np.hypot(centre[:, None], centre[None, :]) * grid_mm
    values = np.interp(radius, profile_r, profile)
    cells = values.reshape(2 * n + 1, fine, 2 * n + 1, fine).mean(axis=(1, 3))
    volume = volume_rate_mm3_s(settings, preston_um_per_kpa_m=preston_um_per_kpa_m)
    raw = float(cells.sum()) * grid_mm**2 * 1e-3
    return Kernel(cells * (volume / raw if raw > 0 else 0.0), grid_mm)
