"""Mixtures of normal distributions that cannot go below zero: mean and quantiles of many at once."""

import numpy as np
from numpy.typing import NDArray
from scipy.special import ndtr

Array = NDArray[np.float64]

_HALVINGS = 32


def mean(weight: Array, mid: Array, sd: Array) -> Array:
    """Return the mean of each mixture, every component truncated at zero.

    Parameters
    ----------
    weight, mid, sd : ndarray, shape (..., k)
        Weights (summing to 1), and mean and standard deviation before truncation.

    Returns
    -------
    ndarray, shape (...)
        Means; formula of the truncated normal (Johnson, Kotz & Balakrishnan 1994, 13.10.1).
    """
    mid, z = _clipped(mid, sd)
    bell = np.exp(-(z**2) / 2) / np.sqrt(2 * np.pi)
    return np.asarray(np.sum(weight * (mid + sd * bell / ndtr(z)), axis=-1))


def quantile(p: float | Array, weight: Array, mid: Array, sd: Array) -> Array:
    """Return the p-quantile of each mixture, every component truncated at zero.

    Parameters
    ----------
    p : float or ndarray, shape (...)
        Probability, between 0 and 1.
    weight, mid, sd : ndarray, shape (..., k)
        As in :func:`mean`.

    Returns
    -------
    ndarray, shape (...)
        Quantiles, by halving the interval that must hold them 32 times.

    Examples
    --------
    >>> one = np.ones((1, 1))
    >>> float(quantile(0.5, one, 40 * one, 3 * one).round(6)[0])
    40.0
    """
    mid, z = _clipped(mid, sd)
    above_zero = ndtr(z)
    high = np.max(np.maximum(mid, 0.0) + 9 * sd, axis=-1)
    low = np.zeros_like(high)
    for _ in range(_HALVINGS):
        x = (low + high) / 2
        above = ndtr((mid - x[..., None]) / sd) / above_zero
        under = np.sum(weight * above, axis=-1) > 1 - p
        low, high = np.where(under, x, low), np.where(under, high, x)
    return np.asarray((low + high) / 2)


def _clipped(mid: Array, sd: Array) -> tuple[Array, Array]:
    """Keep components that lie wholly below zero within reach of double precision."""
    z = np.maximum(mid / sd, -30.0)
    return z * sd, z
