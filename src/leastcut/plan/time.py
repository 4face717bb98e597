"""How long the whole job takes: a Monte Carlo sum over operations that vary together.

Each duration is lognormal with the operation's mean and the ratio of its 95 % bounds; one common
factor (the day, the person, the car) ties them together with the correlation `correlation`.
"""

import math
from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray

from leastcut.car.records import Interval
from leastcut.errors import InputError
from leastcut.plan.records import Minutes, Operation

Floats = NDArray[np.float64]

Z975 = 1.959963984540054
CORRELATION = 0.3  # between the logarithms of any two durations: common practice, no source
# The time on the paint against its plan, with 95 % bounds: common practice, no source.
PACE = Interval(mean=1.0, low=0.75, high=1.33)


class ThreePointError(InputError):
    """A three-point estimate that is not in order."""


def log_sd(minutes: Interval) -> float:
    """Return the log standard deviation of a lognormal with these 95 % bounds."""
    if minutes.low <= 0 or minutes.high <= minutes.low:
        return 0.0
    return math.log(minutes.high / minutes.low) / (2 * Z975)


def simulate(
    section_seconds: float,
    operations: Sequence[Operation],
    *,
    rng: np.random.Generator,
    n: int = 20_000,
    correlation: float = CORRELATION,
    pace: Interval = PACE,
) -> Floats:
    """Draw the duration of the whole job.

    Returns
    -------
    (n,) array
        Durations [min].
    """
    means = np.array([section_seconds / 60 * pace.mean, *(o.minutes.mean for o in operations)])
    spreads = np.array([log_sd(pace), *(log_sd(o.minutes) for o in operations)])
    common = rng.standard_normal((n, 1))
    own = rng.standard_normal((n, means.size))
    z = math.sqrt(correlation) * common + math.sqrt(1 - correlation) * own
    drawn: Floats = means * np.exp(spreads * z - spreads**2 / 2)
    whole: Floats = drawn.sum(axis=1)
    return whole


def total(
    section_seconds: float,
    operations: Sequence[Operation],
    *,
    rng: np.random.Generator,
    n: int = 20_000,
    correlation: float = CORRELATION,
    pace: Interval = PACE,
) -> Minutes:
    """Return the duration that the job keeps to with even chance, and in four cases of five.

    Parameters
    ----------
    section_seconds : float
        Time on the paint over all sections [s].
    operations : sequence of Operation
        Everything else.
    rng : numpy.random.Generator
        Source of the draws.
    n : int
        Number of draws.
    correlation : float
        Correlation between the logarithms of any two durations, 0 to 1.
    pace : Interval
        Time on the paint over its plan.

    Returns
    -------
    Minutes
        P50 and P80 [min].
    """
    drawn = simulate(
        section_seconds,
        operations,
        rng=rng,
        n=n,
        correlation=correlation,
        pace=pace,
    )
    p50, p80 = np.quantile(drawn, [0.5, 0.8])
    return Minutes(p50=float(p50), p80=float(p80))


def pert(low: float, likely: float, high: float) -> Interval:
    """Return a duration typed as best case, likely and worst case [min].

    The mean is ``(low + 4 likely + high) / 6`` and the standard deviation ``(high − low) / 6``
    (the three-point estimate of PERT, 1959); the bounds are those of the lognormal with that mean
    and standard deviation.

    Raises
    ------
    ThreePointError
        If the three are not in order, or the best case is not above zero.

    Examples
    --------
    >>> pert(5, 8, 14).mean
    8.5
    """
    if not 0 < low <= likely <= high < math.inf:
        raise ThreePointError(
            f"{low:g}, {likely:g} and {high:g} min are not in order",
            do="Write best case, likely and worst case, each above zero",
        )
    mean, sd = (low + 4 * likely + high) / 6, (high - low) / 6
    spread = math.sqrt(math.log1p((sd / mean) ** 2))
    median = mean * math.exp(-(spread**2) / 2)
    return Interval(
        mean=mean,
        low=median * math.exp(-Z975 * spread),
        high=median * math.exp(Z975 * spread),
    )
