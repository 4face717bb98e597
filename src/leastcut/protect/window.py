"""When the last layer may go on: dew point, margin of the surface above it, humidity.

Methods: Magnus form with the coefficients of Alduchov and Eskridge (1996), -40 to 50 °C; the margin
of 3 °C and the humidity below 85 % of ISO 8502-4 and ISO 12944-7 practice. The two are different
rules: with the surface at air temperature, 3 °C needs less than 82.9 % at 20 °C, so both are asked.
"""

import math

from leastcut.errors import InputError
from leastcut.protect.records import Limits, Window
from leastcut.safety.check import within

# source: Alduchov & Eskridge 1996, J. Appl. Meteorol. 35, 601; status: A and B seen
MAGNUS_A, MAGNUS_B_C, MAGNUS_C_PA = 17.625, 243.04, 610.94


class WindowError(InputError):
    """Limits of a product that contradict themselves."""


def dew_point_c(air_c: float, rh_percent: float) -> float:
    """Return the temperature at which the air's water condenses [°C].

    Parameters
    ----------
    air_c : float
        Air temperature [°C], -40 to 60.
    rh_percent : float
        Relative humidity [%], 0.1 to 100.

    Returns
    -------
    float
        Dew point over water [°C], within 0.03 °C of the reference equation of state for 5 to
        40 °C and 20 to 100 %.

    Raises
    ------
    ExposureError
        If an argument is out of range.

    Notes
    -----
    g = ln(RH/100) + A T / (B + T), Td = B g / (A - g). Source: Alduchov & Eskridge 1996.

    Examples
    --------
    >>> round(dew_point_c(20.0, 50.0), 3)
    9.261
    """
    within("air temperature", air_c, -40.0, 60.0, unit="°C")
    within("humidity", rh_percent, 0.1, 100.0, unit="%", why="air holds at most 100 %")
    g = math.log(rh_percent / 100.0) + MAGNUS_A * air_c / (MAGNUS_B_C + air_c)
    return MAGNUS_B_C * g / (MAGNUS_A - g)


def saturation_pa(air_c: float) -> float:
    """Return the vapour pressure of water at saturation [Pa].

    Raises
    ------
    ExposureError
        If the temperature is outside -40 to 60 °C.

    Examples
    --------
    >>> round(saturation_pa(20.0), 1)
    2333.4
    """
    within("air temperature", air_c, -40.0, 60.0, unit="°C")
    return MAGNUS_C_PA * math.exp(MAGNUS_A * air_c / (MAGNUS_B_C + air_c))


def surface_rh_percent(air_c: float, rh_percent: float, surface_c: float) -> float:
    """Return the relative humidity of the air that touches the surface [%]; over 100 it wets.

    Raises
    ------
    ExposureError
        If an argument is out of range.

    Examples
    --------
    >>> round(surface_rh_percent(20.0, 50.0, 20.0), 6)
    50.0
    """
    within("humidity", rh_percent, 0.1, 100.0, unit="%", why="air holds at most 100 %")
    return rh_percent * saturation_pa(air_c) / saturation_pa(surface_c)


def window(
    air_c: float, rh_percent: float, surface_c: float, *, limits: Limits | None = None
) -> Window:
    """Return whether the last layer may go on now, and why.

    Parameters
    ----------
    air_c, surface_c : float
        Air and surface temperature [°C].
    rh_percent : float
        Relative humidity of the air [%].
    limits : Limits or None
        What the product's data sheet says; None takes the general limits.

    Returns
    -------
    Window
        Dew point and margin [°C], a verdict, and every reason that speaks against it.

    Raises
    ------
    ExposureError
        If an argument is out of range (humidity above 100 %, a surface of 200 °C).
    WindowError
        If a lower limit stands above its upper one.

    Examples
    --------
    >>> window(20.0, 50.0, 20.0).ok
    True
    >>> window(20.0, 90.0, 20.0).why
    'the surface is 1.7 °C above the dew point, 3 °C needed; 90 % humidity, below 85 % needed'
    """
    bounds = limits or Limits()
    check_limits(bounds)
    dew = dew_point_c(air_c, rh_percent)
    within(
        "surface temperature",
        surface_c,
        -40.0,
        150.0,
        unit="°C",
        why="no paint bears more, and solvents near it would catch fire",
    )
    margin = surface_c - dew
    against = _against(bounds, margin, air_c, rh_percent, surface_c)
    fits = f"the surface is {margin:.1f} °C above the dew point, humidity {rh_percent:.0f} %"
    return Window(dew_point_c=dew, margin_c=margin, ok=not against, why="; ".join(against) or fits)


def check_limits(limits: Limits) -> None:
    """Check that limits can all hold at once.

    Raises
    ------
    WindowError
        If a lower limit stands above its upper one.
    """
    pairs = (
        ("air temperature", limits.air_c_min, limits.air_c_max),
        ("surface temperature", limits.surface_c_min, limits.surface_c_max),
        ("humidity", limits.rh_percent_min, limits.rh_percent_max),
    )
    for name, low, high in pairs:
        if not low <= high:
            raise WindowError(
                f"the least {name} {low:g} is above the greatest {high:g}",
                where="limits",
                do="Copy both from the product's data sheet",
            )


def _against(
    limits: Limits, margin: float, air_c: float, rh_percent: float, surface_c: float
) -> list[str]:
    """Return every reason against, most telling first."""
    reasons = []
    if margin < limits.margin_c - 1e-9:
        side = "above" if margin >= 0.0 else "below"
        reasons.append(
            f"the surface is {abs(margin):.1f} °C {side} the dew point, "
            f"{limits.margin_c:g} °C needed"
        )
    if rh_percent >= limits.rh_percent_max:
        reasons.append(f"{rh_percent:g} % humidity, below {limits.rh_percent_max:g} % needed")
    if rh_percent < limits.rh_percent_min:
        reasons.append(f"{rh_percent:g} % humidity, at least {limits.rh_percent_min:g} % needed")
    sides = (
        ("air", air_c, limits.air_c_min, limits.air_c_max),
        ("surface", surface_c, limits.surface_c_min, limits.surface_c_max),
    )
    for name, value, low, high in sides:
        if not low <= value <= high:
            reasons.append(f"the {name} is at {value:g} °C, {low:g} to {high:g} °C allowed")
    return reasons
