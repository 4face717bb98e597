"""Heat of the work: how much power rubs, how warm the paint may get, when to stop.

The rubbing turns the power μ·F·v̄ into heat. Foam insulates, so all of it is charged to the panel:
an upper bound. It can never exceed what the motor delivers. A thin sheet takes the heat up through
its whole thickness; a thick plastic part only near the surface (one-dimensional diffusion,
Carslaw & Jaeger, *Conduction of Heat in Solids*, 2.9).

No standard sets a safe temperature for clear coat. The limits below, warn at 45 °C and stop at
60 °C, are common practice without a published source, and can be changed. A surface of 60 °C also
burns skin within seconds (ISO 13732-1 gives contact times), so do not test it by hand.
"""

import math
from dataclasses import dataclass
from typing import Literal

import msgspec

from leastcut.car.records import Material
from leastcut.polish.footprint import volume_rate_mm3_s
from leastcut.polish.records import PadMotion
from leastcut.polish.speed import disc_mean_speed_m_s

Verdict = Literal["fine", "warm", "stop"]

FRICTION = 0.4  # lubricated foam on paint: not found; 0.2 to 0.6 is our prior
MOTOR_EFFICIENCY = 0.6  # small commutator motor and gear, from memory


class SurfaceHeat(msgspec.Struct, frozen=True, kw_only=True):
    """Friction power [W], the peak temperature of the paint [°C], and what to do."""

    power_w: float
    peak_c: float
    verdict: Verdict


@dataclass(frozen=True)
class Substrate:
    """What lies under the paint: a sheet that warms through, or a thick part that does not.

    ``conductivity`` [W/(m·K)], ``density`` [kg/m³], ``heat`` [J/(kg·K)], ``sheet_mm`` [mm].
    """

    conductivity: float
    density: float
    heat: float
    sheet_mm: float
    thick: bool = False


# Handbook values for mild steel, pure aluminium, polypropylene and glass-fibre laminate, from
# memory; sheet thicknesses are common practice. Unknown is treated as plastic: the hottest case.
_PLASTIC = Substrate(0.2, 950.0, 1900.0, 3.0, thick=True)
SUBSTRATES: dict[Material, Substrate] = {
    "steel": Substrate(50.0, 7850.0, 460.0, 0.75),
    "aluminium": Substrate(200.0, 2700.0, 900.0, 1.0),
    "plastic": _PLASTIC,
    "composite": Substrate(0.3, 1800.0, 1100.0, 3.0, thick=True),
    "unknown": _PLASTIC,
}


def friction_power_w(
    settings: PadMotion, *, friction: float = FRICTION, motor_w: float | None = None
) -> float:
    """Return the power rubbed into heat, bounded by the motor [W].

    Parameters
    ----------
    settings : PadMotion
        Machine, pad and force.
    friction : float
        Coefficient of friction of pad on paint.
    motor_w : float, optional
        Input power of the machine [W]; times its efficiency it bounds the result.

    Returns
    -------
    float
        Power [W].

    Examples
    --------
    >>> from leastcut.polish.records import PadSettings
    >>> still = PadSettings(spin_rpm=0, force_n=50)
    >>> round(friction_power_w(still, friction=0.5), 1)
    94.2
    """
    power = friction * settings.force_n * disc_mean_speed_m_s(settings)
    return power if motor_w is None else min(power, motor_w * MOTOR_EFFICIENCY)


def flux_w_m2(power_w: float, area_mm2: float) -> float:
    """Return the heat flux of a power over an area [W/m²]."""
    return power_w / (area_mm2 * 1e-6)


def standing_rise_k(
    flux: float, seconds: float, *, material: Material = "unknown", paint_um: float = 120.0
) -> float:
    """Return the rise of the paint's surface under a steady flux, nothing lost [K].

    Parameters
    ----------
    flux : float
        Heat flux [W/m²].
    seconds : float
        For how long [s].
    material : Material
        What lies under the paint.
    paint_um : float
        Thickness of all paint layers [µm]: over metal they hold a temperature drop of their own.

    Returns
    -------
    float
        Temperature rise [K].
    """
    under = SUBSTRATES[material]
    if under.thick:
        effusivity2 = under.conductivity * under.density * under.heat
        return 2.0 * flux * math.sqrt(seconds / (math.pi * effusivity2))
    through_paint = flux * paint_um * 1e-6 / 0.25  # polymer, W/(m·K)
    bulk = flux * seconds / (under.density * under.heat * under.sheet_mm * 1e-3)
    return bulk + min(through_paint, bulk)


def section_rise_k(
    power_w: float,
    area_mm2: float,
    seconds: float,
    *,
    loss_w_m2k: float = 25.0,
    material: Material = "unknown",
) -> float:
    """Return the mean rise of a section worked for a while, losing heat to air and car [K].

    Parameters
    ----------
    power_w : float
        Friction power [W].
    area_mm2 : float
        Area of the section [mm²].
    seconds : float
        How long it is worked [s].
    loss_w_m2k : float
        Loss to air, radiation and the inside of the panel [W/(m²·K)]; from memory.
    material : Material
        What lies under the paint.

    Returns
    -------
    float
        Temperature rise [K].
    """
    under = SUBSTRATES[material]
    capacity = under.density * under.heat * under.sheet_mm * 1e-3
    steady = flux_w_m2(power_w, area_mm2) / loss_w_m2k
    return steady * -math.expm1(-seconds * loss_w_m2k / capacity)


def passing_rise_k(
    flux: float,
    *,
    length_mm: float,
    speed_mm_s: float,
    material: Material = "unknown",
    paint_um: float = 120.0,
) -> float:
    """Return the peak rise as the pad passes over a point once [K].

    A pad moves so fast against the spread of heat that each point sees a plain flux for the time
    the pad takes to pass (the high-speed limit of the moving band source; J. C. Jaeger, *Proc. R.
    Soc. N.S.W.* 76 (1942) 203).

    Parameters
    ----------
    flux : float
        Heat flux under the pad [W/m²].
    length_mm : float
        Length of the pad along the stroke [mm].
    speed_mm_s : float
        Arm speed [mm/s].
    material : Material
        What lies under the paint.
    paint_um : float
        Thickness of all paint layers [µm].

    Returns
    -------
    float
        Temperature rise [K].
    """
    return standing_rise_k(flux, length_mm / speed_mm_s, material=material, paint_um=paint_um)


def band_source_peak(peclet: float) -> float:
    """Return the greatest π·k·V·T/(2·q·α) under Jaeger's moving band source.

    Parameters
    ----------
    peclet : float
        V·l/(2α) with l the half-length of the band.

    Returns
    -------
    float
        The dimensionless peak; 2·√(π·Pe) for a fast band.
    """
    from scipy.integrate import quad
    from scipy.optimize import minimize_scalar
    from scipy.special import k0e

    def rise(x: float) -> float:
        # e^u·K0|u| = k0e(|u|)·e^(u - |u|), split at its pole
        def integrand(u: float) -> float:
            return float(k0e(abs(u)) * math.exp(u - abs(u)))

        before, after = quad(integrand, x - peclet, 0.0), quad(integrand, 0.0, x + peclet)
        return float(before[0] + after[0])

    found = minimize_scalar(
        lambda x: -rise(x), bounds=(-peclet, peclet), method="bounded", options={"xatol": 1e-9}
    )
    return -float(found.fun)


def judge_c(surface_c: float, *, warn_c: float = 45.0, stop_c: float = 60.0) -> Verdict:
    """Return what to do at a surface temperature: go on, ease off, or stop.

    Examples
    --------
    >>> judge_c(30), judge_c(50), judge_c(61)
    ('fine', 'warm', 'stop')
    """
    if surface_c >= stop_c:
        return "stop"
    return "warm" if surface_c >= warn_c else "fine"


def surface_peak(
    settings: PadMotion,
    *,
    area_mm2: float,
    seconds: float,
    arm_speed_mm_s: float,
    material: Material = "unknown",
    start_c: float = 20.0,
    friction: float = FRICTION,
    motor_w: float | None = None,
    warn_c: float = 45.0,
    stop_c: float = 60.0,
) -> SurfaceHeat:
    """Estimate how warm the paint of a section gets: the mean rise, and the pad's passing on top.

    Parameters
    ----------
    settings : PadMotion
        Machine, pad and force.
    area_mm2 : float
        Area of the section [mm²].
    seconds : float
        How long it is worked without a break [s].
    arm_speed_mm_s : float
        Arm speed [mm/s].
    material : Material
        What lies under the paint.
    start_c : float
        Temperature of the panel before [°C]; in the sun far above the air's.
    friction : float
        Coefficient of friction; 0.2 to 0.6 is our prior.
    motor_w : float, optional
        Input power of the machine [W]: the bound.
    warn_c, stop_c : float
        Limits [°C]; common practice, no published standard.

    Returns
    -------
    SurfaceHeat
        Power, peak temperature and what to do. An upper estimate: all heat goes to the panel.
    """
    power = friction_power_w(settings, friction=friction, motor_w=motor_w)
    face = math.pi * (settings.pad_diameter_mm / 2) ** 2
    passing = passing_rise_k(
        flux_w_m2(power, face),
        length_mm=settings.pad_diameter_mm,
        speed_mm_s=arm_speed_mm_s,
        material=material,
    )
    rise = section_rise_k(power, area_mm2, seconds, material=material)
    peak = start_c + rise + passing
    return SurfaceHeat(
        power_w=power, peak_c=peak, verdict=judge_c(peak, warn_c=warn_c, stop_c=stop_c)
    )


def heat_per_cut_j_m2(depth_um: float, *, preston_um_per_kpa_m: float, friction: float) -> float:
    """Return the heat that a cut costs per area, (μ/k)·h [J/m²], however it is reached.

    Examples
    --------
    >>> round(heat_per_cut_j_m2(1.0, preston_um_per_kpa_m=1e-3, friction=0.5))
    500000
    """
    return friction * depth_um * 1e3 / preston_um_per_kpa_m


def power_from_volume_w(
    settings: PadMotion, *, preston_um_per_kpa_m: float, friction: float
) -> float:
    """Return the friction power implied by the volume cut per second [W]: a check of the two."""
    rate = volume_rate_mm3_s(settings, preston_um_per_kpa_m=preston_um_per_kpa_m)
    return friction * rate / preston_um_per_kpa_m
