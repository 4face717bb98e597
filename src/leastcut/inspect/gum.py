"""Uncertainty arithmetic after the GUM (JCGM 100:2008), as far as the gauge and gloss need it."""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.special import stdtrit

Array = NDArray[np.float64]


@dataclass(frozen=True)
class Estimate:
    """A value, its standard uncertainty, and the degrees of freedom behind that uncertainty."""

    value: float
    u: float
    dof: float


def type_a(values: Array) -> Estimate:
    """Return the mean of repeated readings with its type A uncertainty s/√n (GUM 4.2).

    Parameters
    ----------
    values : ndarray, shape (n,)
        Independent repeats, n at least 2; the result has their unit.

    Returns
    -------
    Estimate
        Mean, s/√n, n - 1. The mean is corrected by the mean of the residuals, so that large
        numbers with a small spread keep their digits.
    """
    mean = _mean(values)
    s = float(np.sqrt(np.sum((values - mean) ** 2) / (len(values) - 1)))
    return Estimate(mean, s / len(values) ** 0.5, len(values) - 1.0)


def _mean(values: Array) -> float:
    rough = float(values.mean())
    return rough + float((values - rough).mean())


def mean_covariance(columns: Array) -> Array:
    """Return the covariance matrix of the means of simultaneous readings (GUM 5.2.3).

    Parameters
    ----------
    columns : ndarray, shape (n, k)
        n simultaneous readings of k quantities.

    Returns
    -------
    ndarray, shape (k, k)
        Covariances of the k means.
    """
    around = columns - columns.mean(axis=0)
    n = len(columns)
    return np.asarray(around.T @ around / (n * (n - 1)))


def rectangular(half_width: float) -> float:
    """Return the standard uncertainty of a rectangular distribution, a/√3 (GUM 4.3.7)."""
    return float(half_width / 3**0.5)


def propagate(jacobian: Array, covariance: Array) -> Array:
    """Return the covariance of results from that of inputs, J V Jᵀ (GUM 5.2.2)."""
    return np.asarray(jacobian @ covariance @ jacobian.T)


def combined(contributions: Sequence[tuple[float, float]]) -> tuple[float, float]:
    """Combine independent contributions |c u| with their degrees of freedom (GUM 5.1.2, G.4.1).

    Parameters
    ----------
    contributions : sequence of (float, float)
        Contribution to the result's standard uncertainty, degrees of freedom (may be infinite).

    Returns
    -------
    float, float
        Combined standard uncertainty; effective degrees of freedom (Welch-Satterthwaite), infinite
        when nothing contributes.

    Examples
    --------
    >>> combined([(3.0, 8.0), (4.0, float("inf"))])[0]
    5.0
    """
    parts = np.array([u for u, _ in contributions])
    dof = np.array([nu for _, nu in contributions])
    u = float(np.sqrt(np.sum(parts**2)))
    weight = float(np.sum(parts**4 / dof))
    return u, (u**4 / weight if weight > 0 else float("inf"))


def coverage_factor(dof: float, *, level: float = 0.95) -> float:
    """Return Student's t that bounds `level` two-sidedly; degrees of freedom cut down (GUM G.4.1).

    Examples
    --------
    >>> round(coverage_factor(16.75, level=0.99), 4)
    2.9208
    """
    return float(stdtrit(np.floor(dof), (1 + level) / 2))
