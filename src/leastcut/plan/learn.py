"""A shop's own pace: operation times learnt from its runs.

For every operation the logarithm of actual over planned minutes is normal with unknown mean and
variance; a normal-inverse-gamma prior, as wide as the defaults admit, is updated by the shop's runs
(conjugate formulas: Gelman et al., Bayesian Data Analysis, 3rd ed., §3.3; from memory). Operations
of one job vary together (the day, the person, the car); their mean correlation is estimated too,
because it decides how wide the sum is.
"""

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import msgspec
import numpy as np
from numpy.typing import NDArray

from leastcut.car.records import Interval
from leastcut.errors import InputError

Floats = NDArray[np.float64]

SETS = "sets"  # the name under which the time on the paint itself is logged
Z975 = 1.959963984540054

# Prior, common practice without source: a shop is within a factor of two of the default (log sd
# 0.35), its days scatter by 22 %, and this is worth four degrees of freedom.
PRIOR_BIAS_SD = 0.35
PRIOR_SPREAD = 0.22
PRIOR_FREEDOM = 4.0
PRIOR_CORRELATION = 0.3
PRIOR_JOBS = 3.0  # how many jobs the prior correlation is worth


class TimedError(InputError):
    """A logged duration that cannot be."""


class Timed(msgspec.Struct, frozen=True, kw_only=True):
    """One operation of one finished job: planned by the default norm, and as it came [min]."""

    job: str
    operation: str
    planned_minutes: float
    actual_minutes: float


@dataclass(frozen=True)
class Learnt:
    """What the runs teach.

    Attributes
    ----------
    factor : mapping of str to Interval
        Actual over planned minutes of the next job, by operation: mean and 95 % bounds.
    correlation : float
        Between the logarithms of any two durations of one job.
    n_jobs : int
        Jobs behind it.
    """

    factor: Mapping[str, Interval]
    correlation: float
    n_jobs: int

    def scaled(self, operation: str, minutes: Interval) -> Interval:
        """Return a default duration as this shop will take; unchanged where nothing is known."""
        own = self.factor.get(operation)
        if own is None:
            return minutes
        planned = minutes.mean  # the default's own bounds give way to the shop's
        return Interval(mean=planned * own.mean, low=planned * own.low, high=planned * own.high)


def learn(timed: Sequence[Timed]) -> Learnt:
    """Learn a shop's pace from its finished jobs.

    Parameters
    ----------
    timed : sequence of Timed
        Logged operations in any order; operations without a duration are left out of the log.

    Returns
    -------
    Learnt
        Factors for the operations seen; without any log the prior correlation and no factor.

    Raises
    ------
    TimedError
        If a duration is not a positive number.

    Examples
    --------
    >>> slow = [
    ...     Timed(job=str(j), operation="clay", planned_minutes=20, actual_minutes=30)
    ...     for j in range(20)
    ... ]
    >>> 1.4 < learn(slow).factor["clay"].mean < 1.6
    True
    """
    for one in timed:
        check(one)
    jobs = sorted({one.job for one in timed})
    names = sorted({one.operation for one in timed})
    log = np.full((len(jobs), len(names)), np.nan)
    for one in timed:
        ratio = one.actual_minutes / one.planned_minutes
        log[jobs.index(one.job), names.index(one.operation)] = math.log(ratio)
    factor = {name: _predict(log[:, k]) for k, name in enumerate(names)}
    return Learnt(factor=factor, correlation=_correlation(log), n_jobs=len(jobs))


def check(one: Timed) -> Timed:
    """Return a logged operation as it is, or say what is wrong with it.

    Raises
    ------
    TimedError
        If a duration is not a positive number.
    """
    for minutes in (one.planned_minutes, one.actual_minutes):
        if not (math.isfinite(minutes) and minutes > 0):
            raise TimedError(
                f"{minutes} min for {one.operation!r}", where=one.job, do="Write minutes above 0"
            )
    return one


def _predict(column: Floats) -> Interval:
    """Return actual over planned for the next job: posterior predictive of one operation.

    The predictive is Student's t; its variance is matched by a normal, so the factor is lognormal.
    """
    y = column[~np.isnan(column)]
    n = y.size
    k0 = (PRIOR_SPREAD / PRIOR_BIAS_SD) ** 2
    k, freedom = k0 + n, PRIOR_FREEDOM + n
    mean = float(y.sum()) / k
    squares = PRIOR_FREEDOM * PRIOR_SPREAD**2 + float(((y - y.mean()) ** 2).sum())
    squares += k0 * n / k * float(y.mean()) ** 2
    sd = math.sqrt(squares / (freedom - 2) * (1 + 1 / k))
    return Interval(
        mean=math.exp(mean + sd**2 / 2),
        low=math.exp(mean - Z975 * sd),
        high=math.exp(mean + Z975 * sd),
    )


def _correlation(log: Floats) -> float:
    """Return the mean correlation of two operations over the jobs, held towards the prior."""
    n_jobs, n_names = log.shape
    if n_jobs < 3 or n_names < 2:
        return PRIOR_CORRELATION
    centred = log - np.nanmean(log, axis=0)
    spread = np.sqrt(np.nansum(centred**2, axis=0) / (n_jobs - 1))
    z = np.nan_to_num(np.divide(centred, spread, where=spread > 0, out=np.zeros_like(centred)))
    seen = (~np.isnan(log)).sum(axis=1)
    pairs = float((seen * (seen - 1)).sum())
    together = float((z.sum(axis=1) ** 2 - (z**2).sum(axis=1)).sum())
    found = together / pairs * n_jobs / (n_jobs - 1) if pairs else PRIOR_CORRELATION
    held = (n_jobs * found + PRIOR_JOBS * PRIOR_CORRELATION) / (n_jobs + PRIOR_JOBS)
    return float(np.clip(held, 0.0, 0.95))
