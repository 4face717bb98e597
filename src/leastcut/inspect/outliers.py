"""Readings that do not belong: Grubbs' test, one suspect at a time. Nothing is dropped here."""

import math
from functools import cache

import numpy as np
from numpy.typing import NDArray
from scipy.special import stdtrit

ALPHA = 0.01
"""How often a clean set of readings would raise a false suspicion."""

_FEWEST = 5
_MOST_SHARE = 0.2


@cache
def grubbs_limit(n: int, *, alpha: float = ALPHA) -> float:
    """Return the two-sided critical value of Grubbs' statistic max|x - mean|/s.

    Formula: Grubbs 1969, Technometrics 11, 1, as given in the NIST/SEMATECH e-Handbook, 1.3.5.17.1.

    Parameters
    ----------
    n : int
        Number of readings, at least 3.
    alpha : float
        Chance of a false alarm.

    Examples
    --------
    >>> round(grubbs_limit(8, alpha=0.05), 3)
    2.127
    """
    t2 = stdtrit(n - 2, 1 - alpha / (2 * n)) ** 2
    return float((n - 1) / n**0.5 * (t2 / (n - 2 + t2)) ** 0.5)


def suspects(values: NDArray[np.float64], *, alpha: float = ALPHA) -> tuple[int, ...]:
    """Return which readings stand out, the most extreme first.

    The test is repeated without the suspect, up to a fifth of the readings.

    Parameters
    ----------
    values : ndarray, shape (n,)
        Readings; fewer than five are too few to judge and give no suspects.
    alpha : float
        Chance of a false alarm at each step.

    Returns
    -------
    tuple of int
        Indices into `values`.

    Examples
    --------
    >>> suspects(np.array([118.0, 120.0, 119.0, 121.0, 118.0, 240.0]))
    (5,)
    """
    left = dict(enumerate(values.tolist()))
    found: list[int] = []
    while len(left) >= _FEWEST and len(found) < max(1, int(_MOST_SHARE * len(values))):
        mean = math.fsum(left.values()) / len(left)
        sd = (math.fsum((v - mean) ** 2 for v in left.values()) / (len(left) - 1)) ** 0.5
        reach, worst = max((abs(v - mean), i) for i, v in left.items())
        if reach <= grubbs_limit(len(left), alpha=alpha) * sd:
            break
        found.append(worst)
        del left[worst]
    return tuple(found)
