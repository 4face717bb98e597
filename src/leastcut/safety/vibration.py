"""Hand-arm vibration of a day: A(8), exposure points, time to the action and limit values.

Method: ISO 5349-1:2001 by way of Directive 2002/44/EC, Annex A, part A, and the exposure points of
the HSE ready-reckoner (100 points = 2.5 m/s² A(8), 400 points = 5 m/s² A(8)).
"""

import math
from collections.abc import Sequence

from leastcut.safety.check import within
from leastcut.safety.records import Band, ToolUse, VibrationExposure

# source: Directive 2002/44/EC Art. 3(1), values of A(8); status: seen
ACTION_M_S2 = 2.5
LIMIT_M_S2 = 5.0
# source: HSE information sheet LP 246/31 par. 20 and 31, K where the maker gives none; status: seen
ASSUMED_K_FRACTION = 0.4
REFERENCE_MINUTES = 480.0
SOURCE = "Directive 2002/44/EC Art. 3 and Annex A; HSE exposure points ready-reckoner"


def exposure(uses: Sequence[ToolUse]) -> VibrationExposure:
    """Return the day's exposure of one person who uses these tools.

    Parameters
    ----------
    uses : sequence of ToolUse
        Magnitudes [m/s²], trigger minutes, and K [m/s²] where known; K is taken as 40 % of the
        magnitude where it is not. None at all is a day without vibration.

    Returns
    -------
    VibrationExposure
        A(8) [m/s²], points, times [min]. Times are infinite on a day without vibration.

    Raises
    ------
    ExposureError
        If a magnitude is not in (0, 100] m/s², K is negative or above 100 m/s², a time is negative,
        or the times add up to more than 24 h.

    Notes
    -----
    A(8) = sqrt(sum a_i² T_i / 8 h), points = 2 a² T per hour. Source: Directive 2002/44/EC Annex A;
    HSE LP 246/31 par. 23 and 24.

    Examples
    --------
    >>> day = exposure([ToolUse(magnitude_m_s2=5.0, minutes=180.0)])
    >>> round(day.a8_m_s2, 4), round(day.points), round(day.minutes_to_action)
    (3.0619, 150, 120)
    """
    for use in uses:
        _check(use)
    used = math.fsum(use.minutes for use in uses)
    within("minutes of all tools", used, 0.0, 1440.0, unit="min", why="a day has 24 h")
    typical = _mean_square([(use.magnitude_m_s2, use.minutes) for use in uses])
    high = _mean_square([(upper(use), use.minutes) for use in uses])
    rate, rate_high = _rate(uses, typical, used), _rate_high(uses, high, used)
    to_action, to_limit = _minutes_to(ACTION_M_S2, rate), _minutes_to(LIMIT_M_S2, rate)
    return VibrationExposure(
        a8_m_s2=math.sqrt(typical),
        points=_points(typical),
        minutes_to_action=to_action,
        minutes_to_limit=to_limit,
        minutes_left_to_action=max(0.0, to_action - used),
        minutes_left_to_limit=max(0.0, to_limit - used),
        a8_high_m_s2=math.sqrt(high),
        points_high=_points(high),
        minutes_to_action_high=_minutes_to(ACTION_M_S2, rate_high),
        minutes_to_limit_high=_minutes_to(LIMIT_M_S2, rate_high),
        band=_band(typical),
        band_high=_band(high),
        k_assumed=any(use.k_m_s2 is None for use in uses),
        action_m_s2=ACTION_M_S2,
        limit_m_s2=LIMIT_M_S2,
        source=SOURCE,
    )


def upper(use: ToolUse) -> float:
    """Return the magnitude raised by its uncertainty K, assumed to be 40 % where unknown [m/s²].

    Examples
    --------
    >>> upper(ToolUse(magnitude_m_s2=5.0, minutes=1.0))
    7.0
    """
    k = ASSUMED_K_FRACTION * use.magnitude_m_s2 if use.k_m_s2 is None else use.k_m_s2
    return use.magnitude_m_s2 + k


def total_value(x_m_s2: float, y_m_s2: float, z_m_s2: float) -> float:
    """Return the vibration total value of three axes [m/s²] (ISO 5349-1).

    Raises
    ------
    ExposureError
        If an axis is negative or above 100 m/s².

    Examples
    --------
    >>> round(total_value(2.1, 3.4, 1.2), 5)
    4.17253
    """
    axes = [("x", x_m_s2), ("y", y_m_s2), ("z", z_m_s2)]
    return math.hypot(*(within(f"axis {n}", v, 0.0, 100.0, unit="m/s²") for n, v in axes))


def points(magnitude_m_s2: float, minutes: float) -> float:
    """Return the exposure points of one tool: 2 a² per hour, not rounded (HSE ready-reckoner).

    Raises
    ------
    ExposureError
        As :func:`exposure`.

    Examples
    --------
    >>> points(5.0, 180.0)
    150.0
    """
    _check(ToolUse(magnitude_m_s2=magnitude_m_s2, minutes=minutes))
    return 2.0 * magnitude_m_s2**2 * minutes / 60.0


def a8_of_points(exposure_points: float) -> float:
    """Return the A(8) [m/s²] of so many exposure points: 2.5 sqrt(n / 100).

    Raises
    ------
    ExposureError
        If the points are negative.

    Examples
    --------
    >>> a8_of_points(400.0)
    5.0
    """
    within("points", exposure_points, 0.0, 1e6, unit="points")
    return ACTION_M_S2 * math.sqrt(exposure_points / 100.0)


def _check(use: ToolUse) -> None:
    within(
        "magnitude",
        use.magnitude_m_s2,
        1e-3,
        100.0,
        unit="m/s²",
        why="no hand-held tool shakes less or more",
    )
    within("minutes", use.minutes, 0.0, 1440.0, unit="min", why="a day has 24 h")
    if use.k_m_s2 is not None:
        within("K", use.k_m_s2, 0.0, 100.0, unit="m/s²")


def _mean_square(parts: list[tuple[float, float]]) -> float:
    """Return A(8)² [m²/s⁴] of (magnitude, minutes) pairs."""
    return math.fsum(a * a * t for a, t in parts) / REFERENCE_MINUTES


def _points(a8_squared: float) -> float:
    return 100.0 * a8_squared / ACTION_M_S2**2


def _rate(uses: Sequence[ToolUse], a8_squared: float, used: float) -> float:
    """Return a² [m²/s⁴] of this mix of tools, of their plain mean when none has run yet."""
    if used > 0.0:
        return a8_squared * REFERENCE_MINUTES / used
    return math.fsum(use.magnitude_m_s2**2 for use in uses) / max(1, len(uses))


def _rate_high(uses: Sequence[ToolUse], a8_squared: float, used: float) -> float:
    if used > 0.0:
        return a8_squared * REFERENCE_MINUTES / used
    return math.fsum(upper(use) ** 2 for use in uses) / max(1, len(uses))


def _minutes_to(level_m_s2: float, rate: float) -> float:
    return REFERENCE_MINUTES * level_m_s2**2 / rate if rate > 0.0 else math.inf


def _band(a8_squared: float) -> Band:
    """Reaching the action value counts as action; only exceeding the limit value breaks it."""
    if a8_squared > LIMIT_M_S2**2 * (1.0 + 1e-12):
        return "above limit"
    if a8_squared >= ACTION_M_S2**2 * (1.0 - 1e-12):
        return "at or above action"
    return "below action"
