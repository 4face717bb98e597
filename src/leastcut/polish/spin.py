"""How fast a freely turning pad spins, and when it stalls.

The pad of an orbital machine hangs on a bearing and is free to turn. Three torques settle its spin
ω against the orbit rate Ω:

- the bearing drags it along: a constant part, and one in proportion to Ω - ω;
- the paint holds it back. With friction μ·p against the sliding velocity, the mean torque about
  the pad's own axis is the slope of the friction power with ω: μ·F·R·dg/dβ, where
  g(β) = ₂F₁(-½, -½; 2; β²) is the mean speed over the face in units of eΩ and β = ωR/(eΩ);
- on a curved panel, or tilted, the foam is squeezed and let go once a turn and loses a share of
  the work each time (hysteresis): a torque that does not fade as the pad slows. This is what
  stalls it. A dry pad rubs harder and sticks, so both parts grow.

The slope of g is derived from the same kinematics as the speed; the torques of bearing and foam
are not published and must be calibrated from one observed spin. Use the result to see which way a
change works, not as a measurement.
"""

import math
from collections.abc import Callable

import msgspec
import numpy as np

from leastcut.errors import InputError
from leastcut.polish.contact import FLAT, FOAM_KPA_PER_MM, Pose, contact_pressure, lift_mm
from leastcut.polish.records import PadMotion
from leastcut.polish.speed import orbit_rad_s

HYSTERESIS = 0.3  # share of the squeezing work lost a turn; soft foams, from memory
WET_FRICTION = 0.4  # lubricated foam on paint: not found; 0.2 to 0.6 is our prior
DRY_FACTOR = 1.8  # dry against wet friction; common practice, no source


class SpinError(InputError):
    """An observed spin that this model cannot have produced."""


class Bearing(msgspec.Struct, frozen=True, kw_only=True):
    """Drag of the pad's bearing: ``torque_nm`` + ``per_rad_s`` · (Ω - ω) [N·m]."""

    torque_nm: float = 0.01
    per_rad_s: float = 4e-4


class Spin(msgspec.Struct, frozen=True, kw_only=True):
    """The spin that the torques settle on [1/min]; 0 and ``stalled`` when they hold the pad."""

    rpm: float
    stalled: bool


def friction_torque_nm(settings: PadMotion, spin_rad_s: float, *, friction: float) -> float:
    """Return the mean torque by which a flat panel holds back the pad [N·m].

    Parameters
    ----------
    settings : PadMotion
        Machine, pad and force.
    spin_rad_s : float
        Spin of the pad [rad/s], 0 or more.
    friction : float
        Coefficient of friction.

    Returns
    -------
    float
        μ·F·R·g'(β); (2/3)·μ·F·R for a pad that only spins.
    """
    from scipy.special import hyp2f1

    radius = settings.pad_diameter_mm * 0.5e-3
    a = settings.orbit_mm * 0.5e-3 * abs(orbit_rad_s(settings))
    beta = spin_rad_s * radius / a if a > 0 else math.inf
    if beta <= 1.0 + 1e-12:
        slope = 0.25 * beta * float(hyp2f1(0.5, 0.5, 3.0, min(beta**2, 1.0)))
    else:
        slope = _slope_beyond(beta)
    return friction * settings.force_n * radius * slope


def _slope_beyond(beta: float) -> float:
    """Return dg/dβ for a rim that spins faster than it orbits, by quadrature of E and K."""
    from scipy.special import ellipe, ellipkm1

    if math.isinf(beta):
        return 2.0 / 3.0
    nodes, weights = np.polynomial.legendre.leggauss(64)
    t, w = 0.5 * (nodes + 1.0), 0.5 * weights
    total = 0.0
    for end in (0.0, beta):  # b = β·r/R, with the kink at b = 1
        b = 1.0 + (end - 1.0) * t**3
        m = np.minimum(4.0 * b / (1.0 + b) ** 2, 1.0)
        # d/db of (2/π)(1 + b)E(m) is ((1 + b)E - (1 - b)K)/(π b)
        slope = ((1.0 + b) * ellipe(m) - (1.0 - b) * ellipkm1(((1.0 - b) / (1.0 + b)) ** 2)) / (
            math.pi * b
        )
        total += float(np.sum(w * 3.0 * t**2 * abs(end - 1.0) * b**2 * slope))
    return 2.0 * total / beta**3


def foam_torque_nm(
    settings: PadMotion,
    pose: Pose,
    *,
    stiffness_kpa_per_mm: float = FOAM_KPA_PER_MM,
    hysteresis: float = HYSTERESIS,
) -> float:
    """Return the torque by which squeezing the foam once a turn holds back the pad [N·m].

    Each ring of the pad goes through the pressures around it once a turn. The energy of its foam
    swings between least and greatest, and the share `hysteresis` of that swing is lost; the loss a
    turn over 2π is the torque.

    Parameters
    ----------
    settings : PadMotion
        Pad size and force.
    pose : Pose
        Curvature of the panel and tilt; equal radii squeeze all round alike.
    stiffness_kpa_per_mm : float
        Foam stiffness [kPa/mm].
    hysteresis : float
        Share of the swing that is lost.

    Returns
    -------
    float
        Torque [N·m], whatever the spin.
    """
    contact = contact_pressure(settings, pose, stiffness_kpa_per_mm=stiffness_kpa_per_mm)
    step = settings.pad_diameter_mm / 2 / 48
    r = (np.arange(48)[:, None] + 0.5) * step
    turn = np.linspace(0.0, math.tau, 180, endpoint=False)
    lift = lift_mm(r * np.cos(turn), r * np.sin(turn), pose)
    squeeze = np.maximum(contact.squeeze_mm - lift, 0.0)
    energy = 0.5 * stiffness_kpa_per_mm * squeeze**2  # kPa·mm = J/m²
    # the energy a ring takes up in its rises of one turn, per area; times its area [m²]
    rise = np.maximum(np.diff(energy, axis=1, append=energy[:, :1]), 0.0).sum(axis=1)
    ring_m2 = math.tau * r[:, 0] * step * 1e-6
    return hysteresis * float(np.sum(rise * ring_m2)) / math.tau


def free_spin(
    settings: PadMotion,
    pose: Pose = FLAT,
    *,
    bearing: Bearing | None = None,
    friction: float = WET_FRICTION,
    dry: bool = False,
    stiffness_kpa_per_mm: float = FOAM_KPA_PER_MM,
) -> Spin:
    """Return the spin on which bearing, paint and foam settle.

    Parameters
    ----------
    settings : PadMotion
        Machine, pad and force; its own spin is not used.
    pose : Pose
        Curvature of the panel and tilt of the machine.
    bearing : Bearing, optional
        Drag of the bearing.
    friction : float
        Coefficient of friction of a primed pad.
    dry : bool
        Whether the pad has run dry: friction and foam torque grow.
    stiffness_kpa_per_mm : float
        Foam stiffness [kPa/mm].

    Returns
    -------
    Spin
        Never above the orbit rate; falls with force, curvature, tilt and a dry pad.
    """
    drag = Bearing() if bearing is None else bearing
    factor = DRY_FACTOR if dry else 1.0
    omega = abs(orbit_rad_s(settings))
    foam = factor * foam_torque_nm(settings, pose, stiffness_kpa_per_mm=stiffness_kpa_per_mm)

    def surplus(spin: float) -> float:
        held = friction_torque_nm(settings, spin, friction=factor * friction)
        return drag.torque_nm + drag.per_rad_s * (omega - spin) - held - foam

    return _settle(surplus, omega)


def _settle(surplus: Callable[[float], float], omega: float) -> Spin:
    from scipy.optimize import brentq

    if surplus(0.0) <= 0.0:
        return Spin(rpm=0.0, stalled=True)
    if surplus(omega) >= 0.0:
        return Spin(rpm=omega * 60.0 / math.tau, stalled=False)
    found = float(brentq(surplus, 0.0, omega, xtol=1e-9))
    return Spin(rpm=found * 60.0 / math.tau, stalled=False)


def calibrated_bearing(
    settings: PadMotion, *, observed_rpm: float, friction: float = WET_FRICTION
) -> Bearing:
    """Return the bearing that gives an observed spin on a flat, primed panel.

    Parameters
    ----------
    settings : PadMotion
        Machine, pad and force of the observation.
    observed_rpm : float
        Spin seen, by counting a mark on the pad [1/min].
    friction : float
        Coefficient of friction assumed.

    Returns
    -------
    Bearing
        With the usual constant part and the slope that fits.

    Raises
    ------
    SpinError
        If the spin is not between 0 and the orbit rate.
    """
    omega, spin = abs(orbit_rad_s(settings)), observed_rpm * math.tau / 60.0
    if not 0.0 < spin < omega:
        raise SpinError(
            f"a spin of {observed_rpm:g} a minute",
            where="observed_rpm",
            do=f"Give a number between 0 and the orbit rate, {settings.orbits_per_min:g}",
        )
    held = friction_torque_nm(settings, spin, friction=friction)
    usual = Bearing().torque_nm
    if held <= usual:
        return Bearing(torque_nm=held, per_rad_s=0.0)
    return Bearing(torque_nm=usual, per_rad_s=(held - usual) / (omega - spin))
