"""A Gaussian process over places on a panel: Matérn 3/2, unknown constant mean, nugget.

Formulas: Rasmussen & Williams 2006, Gaussian Processes for Machine Learning, algorithm 2.1 and
equations 4.17 (Matérn), 2.30 (marginal likelihood). Readings at the same place are pooled first,
which leaves the posterior as it is and makes the matrices small.
"""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.linalg import solve_triangular

Array = NDArray[np.float64]

_ROOT3 = 3**0.5


@dataclass(frozen=True)
class Spots:
    """Pooled readings: places (n, d), means (n,), variance of the mean (n,)."""

    place: Array
    value: Array
    noise_var: Array


@dataclass(frozen=True)
class Shape:
    """Standard deviation of the field, its correlation length (unit of place), sd of its mean."""

    sd: float
    length: float
    mean_sd: float


def pool(place: Array, value: Array, noise_var: Array) -> Spots:
    """Merge readings at equal places by inverse variance.

    Parameters
    ----------
    place : ndarray, shape (n, d)
        Where each reading was taken.
    value, noise_var : ndarray, shape (n,)
        Readings and their variances, positive.

    Returns
    -------
    Spots
        One entry per different place.
    """
    where, index = np.unique(place, axis=0, return_inverse=True)
    index = index.reshape(-1)
    precision = np.bincount(index, weights=1 / noise_var)
    return Spots(where, np.bincount(index, weights=value / noise_var) / precision, 1 / precision)


def correlation(a: Array, b: Array, length: float) -> Array:
    """Return the Matérn 3/2 correlation between places a (m, d) and b (n, d), shape (m, n)."""
    t = np.zeros((len(a), len(b)))
    for column in range(a.shape[1]):  # one plane at a time keeps the memory flat
        t += np.subtract.outer(a[:, column], b[:, column]) ** 2
    t = np.sqrt(t) * (_ROOT3 / length)
    return np.asarray((1 + t) * np.exp(-t))


def condition(spots: Spots, at: Array, *, shape: Shape) -> tuple[Array, Array]:
    """Return mean and variance of the field at places, given pooled readings.

    Parameters
    ----------
    spots : Spots
        What was read; the prior mean is zero with standard deviation `shape.mean_sd`.
    at : ndarray, shape (m, d)
        Where to predict.
    shape : Shape
        Hyperparameters.

    Returns
    -------
    ndarray, ndarray, shape (m,)
        Posterior mean, and variance of the field itself (without the nugget).
    """
    if not len(spots.value):
        return np.zeros(len(at)), np.full(len(at), shape.sd**2 + shape.mean_sd**2)
    lower = _factor(spots, shape)
    cross = shape.sd**2 * correlation(spots.place, at, shape.length) + shape.mean_sd**2
    half = solve_triangular(lower, cross, lower=True, check_finite=False)
    mean = half.T @ solve_triangular(lower, spots.value, lower=True, check_finite=False)
    var = shape.sd**2 + shape.mean_sd**2 - np.einsum("ij,ij->j", half, half)
    return mean, np.maximum(var, 0.0)


def covariance(spots: Spots, at: Array, to: Array, *, shape: Shape) -> Array:
    """Return the posterior covariance of the field between places at (m, d) and to (k, d)."""
    before = shape.sd**2 * correlation(at, to, shape.length) + shape.mean_sd**2
    if not len(spots.value):
        return before
    lower = _factor(spots, shape)
    one, two = (
        solve_triangular(
            lower,
            shape.sd**2 * correlation(spots.place, places, shape.length) + shape.mean_sd**2,
            lower=True,
            check_finite=False,
        )
        for places in (at, to)
    )
    return np.asarray(before - one.T @ two)


def log_likelihood(spots: Spots, *, shape: Shape) -> float:
    """Return the log marginal likelihood of pooled readings.

    It differs from that of the single readings by a constant that does not depend on the shape.
    """
    lower = _factor(spots, shape)
    white = solve_triangular(lower, spots.value, lower=True, check_finite=False)
    n = len(spots.value)
    return float(-white @ white / 2 - np.log(np.diag(lower)).sum() - n * np.log(2 * np.pi) / 2)


def _factor(spots: Spots, shape: Shape) -> Array:
    cov = shape.sd**2 * correlation(spots.place, spots.place, shape.length) + shape.mean_sd**2
    cov[np.diag_indices_from(cov)] += spots.noise_var
    return np.asarray(np.linalg.cholesky(cov))


LENGTHS_MM = np.geomspace(80.0, 1200.0, 9)
SD_FACTORS = np.geomspace(0.5, 4.0, 7)
USUAL_LENGTH_MM = 300.0
"""How far film varies together on a panel [mm]. Our assumption, common practice, no source."""

_LENGTH_SPREAD = 0.7
_FACTOR_SPREAD = 0.5
_FEW = 4


def choose_shape(panels: list[Spots], *, sd: float, mean_sd: float) -> list[Shape]:
    """Choose hyperparameters for the panels of one car by penalised marginal likelihood.

    One correlation length for the car, one standard deviation per panel, each on a grid; lognormal
    penalties keep few readings from running away, and a panel with fewer than four places keeps at
    least the usual standard deviation (the floor).

    Parameters
    ----------
    panels : list of Spots
        Pooled deviations of each panel from its mean, places in mm; may be empty.
    sd : float
        Usual standard deviation from place to place.
    mean_sd : float
        Standard deviation of a panel's unknown mean deviation.

    Returns
    -------
    list of Shape
        One per entry of `panels`.
    """
    if not panels:
        return []
    score = np.stack([_scores(spots, sd, mean_sd) for spots in panels])
    away = np.log(LENGTHS_MM / USUAL_LENGTH_MM) / _LENGTH_SPREAD
    length = int(np.argmax(score.max(axis=2).sum(axis=0) - away**2 / 2))
    best = np.argmax(score[:, length, :], axis=1)
    return [
        Shape(sd * float(SD_FACTORS[k]), float(LENGTHS_MM[length]), mean_sd) for k in best.tolist()
    ]


def _scores(spots: Spots, sd: float, mean_sd: float) -> Array:
    """Penalised log likelihood on the grid, shape (lengths, factors), all matrices at once."""
    corr = np.stack([correlation(spots.place, spots.place, length) for length in LENGTHS_MM])
    var = (sd * SD_FACTORS) ** 2
    cov = var[None, :, None, None] * corr[:, None] + mean_sd**2 + np.diag(spots.noise_var)
    lower = np.linalg.cholesky(cov)
    white = np.linalg.solve(lower, np.broadcast_to(spots.value[:, None], (*cov.shape[:3], 1)))
    fit = -np.sum(white[..., 0] ** 2, axis=-1) / 2
    fit = fit - np.log(np.diagonal(lower, axis1=-2, axis2=-1)).sum(axis=-1)
    fit = fit - (np.log(SD_FACTORS) / _FACTOR_SPREAD) ** 2 / 2
    if len(spots.value) < _FEW:
        fit[:, SD_FACTORS < 1] = -np.inf
    return np.asarray(fit)
