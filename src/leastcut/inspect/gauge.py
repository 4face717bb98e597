"""The gauge: what checks on bare metal and shims say about its readings.

A reading is pictured as shown = truth + bias + slope error + repeatability. Bias and slope are the
same for every reading of the day (their uncertainty is shared and does not average out); a part
changes from panel to panel (metal, curvature, temperature); repeatability is fresh each time.
Evaluation after JCGM 100:2008 (GUM): type A from the checks, type B from what is stated or assumed;
the line through the checks allows for the uncertainty of the shims as well (errors in both
variables).
"""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from leastcut.inspect.gum import rectangular
from leastcut.inspect.line import fit_both
from leastcut.inspect.records import Gauge, GaugeCheck

Array = NDArray[np.float64]

PIVOT_UM = 120.0
"""Where the bias is stated: a usual total film on a car [µm]."""

REPEAT_FRACTION = 0.01
"""Repeatability of a sound digital gauge: 1 % of the film. Source: General Motors service pages
(2000, 2009): older magnetic gauges at best 5 %, digital may be 1 %. status: seen"""

OLD_FRACTION = 0.05
"""What is believed of a gauge that is out of date or out of tolerance: 5 % of the film, the figure
for older magnetic gauges on the same pages. status: seen"""

UNCHECKED_FRACTION = 0.03
"""Standard uncertainty of the level of a gauge that nobody checked: 3 % of the film. Our
assumption, common practice, no source."""

PANEL_UM, UNCHECKED_PANEL_UM = 1.0, 1.8
"""What changes from panel to panel and does not average out on one [µm]: our assumption, common
practice, no source."""

TOLERANCE_UM, TOLERANCE_FRACTION = 2.0, 0.10
"""Largest error of the mean of checks that still counts as in tolerance: 10 % of the film (ISO
2360:2003 clause 8, status seen second-hand), but at least 2 µm (common practice, no source)."""

VALID_DAYS = 365.0
"""How long checks hold: a year. Common practice, no source."""

_SHIM_FRACTION = rectangular(0.01)  # a shim's value taken as good to 1 %, unless it says otherwise
_STATED_WEIGHT = 4  # the stated repeatability counts like this many residuals


@dataclass(frozen=True)
class _Levels:
    """Checks gathered by known thickness: mean error, its uncertainty, number of checks [µm]."""

    known: Array
    error: Array
    u_error: Array
    u_known: Array
    repeat: float


def calibrate(checks: Sequence[GaugeCheck], *, days_since: float | None = None) -> Gauge:
    """Work out bias, slope and uncertainty from checks on bare metal (known 0) and shims.

    Parameters
    ----------
    checks : sequence of GaugeCheck
        Any number, in any order; none gives an unbiased gauge with a wide stated uncertainty.
    days_since : float or None
        Age of the checks [d]; None is today's.

    Returns
    -------
    Gauge
        Bias and slope to take off readings, the uncertainty of a corrected reading and its parts,
        and notes that say what is wrong with the gauge, if anything.

    Examples
    --------
    >>> calibrate([]).checked
    False
    >>> gauge = calibrate([GaugeCheck(known_um=0, shown_um=2), GaugeCheck(known_um=125, shown_um=127)])
    >>> round(gauge.bias_um, 6)
    2.0
    >>> calibrate([GaugeCheck(known_um=125, shown_um=145)]).notes[0][:26]
    'The gauge is out of tolera'
    """
    if not checks:
        return _unchecked()
    levels = _gather(checks)
    gauge = _from_line(levels) if len(levels.known) > 1 else _from_one(levels)
    return _doubted(gauge, _doubts(levels, days_since))


def _unchecked() -> Gauge:
    note = "The gauge was not checked on bare metal and a shim: its readings count for less."
    return _gauge(
        0.0,
        0.0,
        repeat=REPEAT_FRACTION * PIVOT_UM,
        level=UNCHECKED_FRACTION * PIVOT_UM,
        panel=UNCHECKED_PANEL_UM,
        checked=False,
        notes=(note,),
    )


def _gather(checks: Sequence[GaugeCheck]) -> _Levels:
    known, index = np.unique([c.known_um for c in checks], return_inverse=True)
    error = np.array([c.shown_um - c.known_um for c in checks])
    count = np.bincount(index)
    mean = np.bincount(index, weights=error) / count
    around = error - mean[index]
    stated = REPEAT_FRACTION * PIVOT_UM
    free = len(error) - len(known)
    pooled = (_STATED_WEIGHT * stated**2 + around @ around) / (_STATED_WEIGHT + free)
    return _Levels(known, mean, (pooled / count) ** 0.5, _SHIM_FRACTION * known, float(pooled**0.5))


def _from_one(levels: _Levels) -> Gauge:
    """Take checks at one thickness: they tell the bias there, the slope stays unsure."""
    away = UNCHECKED_FRACTION * abs(PIVOT_UM - float(levels.known[0]))
    level = np.sqrt(levels.u_error[0] ** 2 + levels.u_known[0] ** 2 + away**2)
    return _gauge(float(levels.error[0]), 0.0, repeat=levels.repeat, level=float(level))


def _from_line(levels: _Levels) -> Gauge:
    """Fit the error as a line in the thickness; read bias and its uncertainty off at the pivot."""
    line = fit_both(
        levels.known,
        levels.known + levels.error,
        u_x=levels.u_known,
        u_y=levels.u_error,
        pivot=PIVOT_UM,
    )
    level = line.at(PIVOT_UM)
    return _gauge(level.value - PIVOT_UM, line.slope - 1, repeat=levels.repeat, level=level.u)


def _doubts(levels: _Levels, days_since: float | None) -> tuple[str, ...]:
    allowed = np.maximum(TOLERANCE_UM, TOLERANCE_FRACTION * levels.known)
    doubts = [
        f"The gauge is out of tolerance: {error:+.1f} µm at {known:.0f} µm, more than "
        f"{limit:.1f} µm. Its readings count for less; have it adjusted."
        for known, error, limit in zip(levels.known, levels.error, allowed, strict=True)
        if abs(error) > limit
    ]
    if days_since is not None and days_since > VALID_DAYS:
        doubts.append(
            f"The gauge was last checked {days_since:.0f} days ago, more than {VALID_DAYS:.0f}: "
            "its readings count for less. Check it on bare metal and a shim."
        )
    return tuple(doubts)


def _doubted(gauge: Gauge, doubts: tuple[str, ...]) -> Gauge:
    """Widen a gauge that is out of date or out of tolerance."""
    if not doubts:
        return gauge
    assert gauge.repeat_um is not None
    assert gauge.level_um is not None
    doubt = OLD_FRACTION * PIVOT_UM
    return _gauge(
        gauge.bias_um,
        gauge.slope_error,
        repeat=gauge.repeat_um,
        level=float(np.hypot(gauge.level_um, doubt)),
        panel=doubt,
        notes=doubts,
    )


def _gauge(
    bias: float,
    slope: float,
    *,
    repeat: float,
    level: float,
    panel: float = PANEL_UM,
    checked: bool = True,
    notes: tuple[str, ...] = (),
) -> Gauge:
    return Gauge(
        bias_um=bias,
        sd_um=float(np.sqrt(repeat**2 + level**2 + panel**2)),
        checked=checked,
        slope_error=slope,
        repeat_um=repeat,
        level_um=level,
        panel_um=panel,
        notes=notes,
    )


def corrected(shown_um: NDArray[np.float64], gauge: Gauge) -> NDArray[np.float64]:
    """Take bias and slope error off readings.

    Parameters
    ----------
    shown_um : ndarray, float
        What the gauge showed [µm].
    gauge : Gauge
        Its checks.

    Returns
    -------
    ndarray, float
        Best estimates of the film [µm], same shape.
    """
    return PIVOT_UM + (shown_um - gauge.bias_um - PIVOT_UM) / (1 + gauge.slope_error)


@dataclass(frozen=True)
class Spread:
    """Parts of a reading's uncertainty [µm]: fresh each time, per panel, shared by all."""

    repeat_um: float
    panel_um: float
    level_um: float


def spread_of(gauge: Gauge) -> Spread:
    """Return the parts; a gauge known only by its total counts it wholly in each part.

    Examples
    --------
    >>> spread_of(Gauge(bias_um=0.0, sd_um=2.0, checked=True))
    Spread(repeat_um=2.0, panel_um=0.0, level_um=2.0)
    """
    return Spread(
        gauge.sd_um if gauge.repeat_um is None else gauge.repeat_um,
        gauge.panel_um,
        gauge.sd_um if gauge.level_um is None else gauge.level_um,
    )
