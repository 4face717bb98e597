"""The gauge: what checks on bare metal and shims say about its readings.

A reading is pictured as shown = truth + bias + slope error + repeatability. Bias and slope are the
same for every reading of the day (their uncertainty is shared and does not average out);
repeatability is fresh each time. Evaluation after JCGM 100:2008 (GUM): type A from the checks, type
B from what is stated or assumed.
"""

from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray

from leastcut.inspect.records import Gauge, GaugeCheck

PIVOT_UM = 120.0
"""Where the bias is stated: a usual total film on a car [µm]."""

REPEAT_FRACTION = 0.01
"""Repeatability of a sound digital gauge: 1 % of the film. Source: General Motors service pages
(2000, 2009): older magnetic gauges at best 5 %, digital may be 1 %. status: seen"""

UNCHECKED_FRACTION = 0.03
"""Standard uncertainty of the level of a gauge that nobody checked: 3 % of the film. Our
assumption, common practice, no source."""

_SHIM_FRACTION = 0.01 / 3**0.5  # a shim's value taken as good to 1 %, rectangular (GUM 4.3.7)


def calibrate(checks: Sequence[GaugeCheck]) -> Gauge:
    """Work out bias and uncertainty from checks on bare metal (known 0) and shims.

    Parameters
    ----------
    checks : sequence of GaugeCheck
        Any number, in any order; none gives an unbiased gauge with a wide stated uncertainty.

    Returns
    -------
    Gauge
        Bias and slope to take off readings, standard uncertainty of one corrected reading.

    Examples
    --------
    >>> calibrate([]).checked
    False
    >>> gauge = calibrate([GaugeCheck(known_um=0, shown_um=2), GaugeCheck(known_um=125, shown_um=127)])
    >>> round(gauge.bias_um, 6)
    2.0
    """
    if not checks:
        return _gauge(
            0.0, 0.0, repeat=REPEAT_FRACTION * PIVOT_UM, level=UNCHECKED_FRACTION * PIVOT_UM
        )
    known = np.array([c.known_um for c in checks])
    shown = np.array([c.shown_um for c in checks])
    return _line(known, shown) if np.ptp(known) > 0 else _offset(known, shown)


def _offset(known: NDArray[np.float64], shown: NDArray[np.float64]) -> Gauge:
    """Take checks at one thickness: they tell the bias there, the slope stays unsure."""
    error = shown - known
    repeat = _pooled(error, n_fitted=1)
    span = abs(PIVOT_UM - float(known[0]))
    level = np.hypot(repeat / len(error) ** 0.5, UNCHECKED_FRACTION * span)
    shim = _SHIM_FRACTION * float(known[0])
    return _gauge(
        float(error.mean()), 0.0, repeat=repeat, level=float(np.hypot(level, shim)), checked=True
    )


def _line(known: NDArray[np.float64], shown: NDArray[np.float64]) -> Gauge:
    """Fit the error of the gauge as a line in the true thickness and read it off at the pivot."""
    error, x = shown - known, known - PIVOT_UM
    design = np.column_stack([np.ones_like(x), x])
    (bias, slope), *_ = np.linalg.lstsq(design, error)
    repeat = _pooled(error - design @ (bias, slope), n_fitted=2)
    spread = np.linalg.inv(design.T @ design)[0, 0] ** 0.5
    level = np.hypot(repeat * spread, _SHIM_FRACTION * PIVOT_UM)
    return _gauge(float(bias), float(slope), repeat=repeat, level=float(level), checked=True)


def _pooled(residual: NDArray[np.float64], *, n_fitted: int) -> float:
    """Repeatability from residuals, pooled with the stated one worth four readings."""
    stated, weight = REPEAT_FRACTION * PIVOT_UM, 4
    around = residual - residual.mean() if n_fitted == 1 else residual
    free = max(0, len(residual) - n_fitted)
    return float(((weight * stated**2 + around @ around) / (weight + free)) ** 0.5)


def _gauge(
    bias: float, slope: float, *, repeat: float, level: float, checked: bool = False
) -> Gauge:
    return Gauge(
        bias_um=bias,
        sd_um=float(np.hypot(repeat, level)),
        checked=checked,
        slope_error=slope,
        repeat_um=repeat,
        level_um=level,
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
