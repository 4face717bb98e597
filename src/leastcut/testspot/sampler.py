"""Posterior draws by adaptive importance sampling on fixed quasi-random points.

The parameters are standard normal before anything is seen. The prior points are re-weighted by a
softened likelihood, a heavy-tailed cloud is fitted to them, and so on until the whole likelihood is
in: the population Monte Carlo of Cappé, Guillin, Marin and Robert (J. Comput. Graph. Stat. 13, 907,
2004; from memory) with tempering. Nothing is random: the same evidence gives the same draws.
"""

from collections.abc import Callable
from functools import cache

import numpy as np
from numpy.typing import NDArray
from scipy.special import gammaincinv, gammaln, logsumexp, ndtri

Array = NDArray[np.float64]
LogLikelihood = Callable[[Array], Array]

_TAIL = 6.0  # degrees of freedom of the proposal: heavier than any normal
_DEFENCE = 0.1  # share of points kept on the prior, so that no weight can run away
_ENOUGH = 0.35  # share of effective points at which the cloud is good enough
_ROUNDS = 7


def halton(n: int, n_dims: int) -> Array:
    """Return `n` points of a digit-scrambled Halton sequence in the unit cube, shape (n, n_dims).

    Each base is a prime; digits are multiplied modulo the prime by the integer next to its golden
    section, which breaks the correlation between large bases.
    """
    return np.stack([_radical_inverse(n, base) for base in _primes(n_dims)], axis=1)


def _primes(count: int) -> list[int]:
    found: list[int] = []
    number = 2
    while len(found) < count:
        if all(number % prime for prime in found):
            found.append(number)
        number += 1
    return found


def _radical_inverse(n: int, base: int) -> Array:
    multiplier = max(1, round(base * 0.6180339887498949))
    index = np.arange(1, n + 1)
    value = np.zeros(n)
    scale = 1.0 / base
    while index.any():
        value += (index % base * multiplier % base) * scale
        index //= base
        scale /= base
    return np.clip(value, 0.5 / n / base, 1.0 - 0.5 / n / base)


@cache
def _normal_points(n: int, n_dims: int) -> tuple[Array, Array]:
    """Return standard normal points (n, n_dims) and the tail multipliers (n,) of the proposal."""
    unit = halton(n, n_dims + 1)
    spread = np.sqrt(_TAIL / (2.0 * gammaincinv(_TAIL / 2.0, unit[:, -1])))
    points = np.asarray(ndtri(unit[:, :-1]), dtype=np.float64)
    points.setflags(write=False)
    return points, spread


def posterior(log_likelihood: LogLikelihood, n_dims: int, *, n: int = 4096) -> tuple[Array, Array]:
    """Draw from the posterior of `n_dims` standard normal parameters.

    Parameters
    ----------
    log_likelihood : callable
        Maps parameters (n, n_dims) to log likelihoods (n,).
    n_dims : int
        Number of parameters, at least 1.
    n : int
        Number of points.

    Returns
    -------
    points : array, shape (n, n_dims)
    weights : array, shape (n,)
        Sum to 1.
    """
    points, _ = _normal_points(n, n_dims)
    likelihood = log_likelihood(points)
    correction = np.zeros(n)  # ln prior - ln proposal
    weights = _normalised(likelihood)
    for _ in range(_ROUNDS):
        if _effective(weights) >= _ENOUGH * n:
            break
        softened = _normalised(correction + _temper(likelihood, correction) * likelihood)
        points, correction = _cloud(points, softened)
        likelihood = log_likelihood(points)
        weights = _normalised(correction + likelihood)
    return points, weights


def resample(weights: Array, order: Array, *, n: int | None = None) -> NDArray[np.intp]:
    """Return indices of `n` equally likely draws: systematic resampling along `order`.

    Sorting by a quantity of interest first keeps its quantiles almost exact.
    """
    count = len(weights) if n is None else n
    ranked = np.argsort(order, kind="stable")
    edges = np.cumsum(weights[ranked])
    targets = (np.arange(count) + 0.5) / count * edges[-1]
    chosen: NDArray[np.intp] = ranked[np.searchsorted(edges, targets)]
    return chosen


def _normalised(log_weights: Array) -> Array:
    return np.asarray(np.exp(log_weights - logsumexp(log_weights)), dtype=np.float64)


def _effective(weights: Array) -> float:
    return float(1.0 / np.sum(weights**2))


def _temper(likelihood: Array, correction: Array) -> float:
    """Return the largest share of the likelihood that leaves a twentieth of the points alive."""
    low, high = 0.0, 1.0
    for _ in range(12):
        middle = 0.5 * (low + high)
        alive = _effective(_normalised(correction + middle * likelihood))
        low, high = (middle, high) if alive >= len(likelihood) / 20 else (low, middle)
    return high if high >= 1.0 else max(low, 1e-3)


def _cloud(points: Array, weights: Array) -> tuple[Array, Array]:
    """Return new points around the weighted ones, and ln prior - ln proposal at each."""
    n, n_dims = points.shape
    mean = weights @ points
    centred = points - mean
    cover = (weights[:, None] * centred).T @ centred + 1e-6 * np.eye(n_dims)
    factor = np.linalg.cholesky(cover)
    normal, spread = _normal_points(n, n_dims)
    moved = mean + spread[:, None] * (normal @ factor.T)
    # A run of the sequence is even over the cube; every tenth point would not be (bases 2 and 5).
    kept = np.arange(n) < round(_DEFENCE * n)
    moved = np.where(kept[:, None], normal, moved)
    scaled = np.linalg.solve(factor, (moved - mean).T)
    log_prior = -0.5 * np.sum(moved**2, axis=1)
    log_cloud = _log_student(np.sum(scaled**2, axis=0), n_dims) - np.sum(np.log(np.diag(factor)))
    proposal = np.logaddexp(np.log1p(-_DEFENCE) + log_cloud, np.log(_DEFENCE) + log_prior)
    return moved, log_prior - proposal


def _log_student(distance: Array, n_dims: int) -> Array:
    """Return the log density of the tail cloud against a standard normal's constant."""
    constant = (
        gammaln(0.5 * (_TAIL + n_dims)) - gammaln(0.5 * _TAIL) - 0.5 * n_dims * np.log(_TAIL / 2.0)
    )
    return np.asarray(
        constant - 0.5 * (_TAIL + n_dims) * np.log1p(distance / _TAIL), dtype=np.float64
    )
