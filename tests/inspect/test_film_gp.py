"""Our Gaussian process against a general-purpose library, and its own relations."""

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from numpy.typing import NDArray
from sklearn.gaussian_process import GaussianProcessRegressor
from sklearn.gaussian_process.kernels import ConstantKernel, Matern

from leastcut.inspect.gp import (
    SD_FACTORS,
    Shape,
    Spots,
    choose_shape,
    condition,
    covariance,
    log_likelihood,
    pool,
)

Array = NDArray[np.float64]


def cloud(seed: int, n: int, places: int) -> tuple[Array, Array]:
    rng = np.random.default_rng(seed)
    spots = rng.uniform(0, 1000, (places, 2))
    x = spots[np.arange(n) % places]
    return x, 3 * np.sin(x[:, 0] / 200) + rng.normal(0, 1.2, n)


def library(x: Array, y: Array, shape: Shape, noise: float) -> GaussianProcessRegressor:
    kernel = ConstantKernel(shape.mean_sd**2) + ConstantKernel(shape.sd**2) * Matern(
        shape.length, nu=1.5
    )
    return GaussianProcessRegressor(kernel, alpha=noise, optimizer=None).fit(x, y)


@pytest.mark.parametrize(("n", "places"), [(1, 1), (12, 4), (60, 60), (200, 40)])
@pytest.mark.parametrize("length", [90.0, 400.0])
def test_posterior_agrees_with_scikit_learn(n: int, places: int, length: float) -> None:
    # source: scikit-learn GaussianProcessRegressor on the single readings; status: recomputed
    x, y = cloud(n, n, places)
    at = np.random.default_rng(1).uniform(-100, 1100, (300, 2))
    shape = Shape(sd=3.0, length=length, mean_sd=5.0)
    mean, sd = library(x, y, shape, 1.44).predict(at, return_std=True)
    spots = pool(x, y, np.full(n, 1.44))
    assert len(spots.value) == min(n, places)
    ours, var = condition(spots, at, shape=shape)
    assert np.abs(ours - mean).max() < 1e-6
    assert np.abs(np.sqrt(var) - sd).max() < 1e-6


def test_covariance_agrees_with_scikit_learn() -> None:
    x, y = cloud(2, 40, 10)
    at = np.random.default_rng(1).uniform(0, 1000, (30, 2))
    shape = Shape(sd=3.0, length=250.0, mean_sd=5.0)
    _, cov = library(x, y, shape, 1.44).predict(at, return_cov=True)
    ours = covariance(pool(x, y, np.full(40, 1.44)), at[:12], at[12:], shape=shape)
    assert np.abs(ours - cov[:12, 12:]).max() < 1e-6


def test_likelihood_agrees_with_scikit_learn() -> None:
    x, y = cloud(3, 25, 25)
    shape = Shape(sd=2.0, length=180.0, mean_sd=4.0)
    theirs = library(x, y, shape, 1.44).log_marginal_likelihood_value_
    assert log_likelihood(pool(x, y, np.full(25, 1.44)), shape=shape) == pytest.approx(
        theirs, abs=1e-6
    )


def test_pooling_changes_the_likelihood_by_a_constant() -> None:
    x, y = cloud(4, 30, 6)
    spots = pool(x, y, np.full(30, 1.44))
    gaps = [
        library(x, y, shape, 1.44).log_marginal_likelihood_value_
        - log_likelihood(spots, shape=shape)
        for shape in (Shape(2.0, 100.0, 4.0), Shape(5.0, 700.0, 1.0))
    ]
    assert gaps[0] == pytest.approx(gaps[1], abs=1e-6)


def test_no_readings_leave_the_prior() -> None:
    nothing = Spots(np.zeros((0, 2)), np.zeros(0), np.zeros(0))
    at = np.zeros((3, 2))
    mean, var = condition(nothing, at, shape=Shape(2.0, 100.0, 1.0))
    assert mean.tolist() == [0, 0, 0]
    assert var.tolist() == [5, 5, 5]
    assert covariance(nothing, at, at, shape=Shape(2.0, 100.0, 1.0)).tolist() == [[5.0] * 3] * 3


@settings(max_examples=30, deadline=None)
@given(st.integers(0, 1000), st.integers(2, 12))
def test_more_readings_never_widen_the_map(seed: int, n: int) -> None:
    x, y = cloud(seed, n, n)
    at = np.random.default_rng(seed).uniform(0, 1000, (20, 2))
    shape = Shape(3.0, 300.0, 5.0)
    few = condition(pool(x[:-1], y[:-1], np.full(n - 1, 1.44)), at, shape=shape)[1]
    more = condition(pool(x, y, np.full(n, 1.44)), at, shape=shape)[1]
    assert np.all(more <= few + 1e-9)


def field(seed: int, n: int, sd: float, length: float) -> Spots:
    """Draw a field by its covariance from scikit-learn's kernel, read at n places."""
    rng = np.random.default_rng(seed)
    x = rng.uniform(0, 1200, (n, 2))
    root = np.linalg.cholesky(sd**2 * Matern(length, nu=1.5)(x) + 1e-9 * np.eye(n))
    return Spots(x, root @ rng.normal(size=n) + rng.normal(0, 0.3, n), np.full(n, 0.09))


@pytest.mark.parametrize("length", [120.0, 600.0])
def test_shape_is_found_from_many_readings(length: float) -> None:
    shapes = choose_shape([field(s, 60, 3.0, length) for s in range(6)], sd=3.0, mean_sd=3.0)
    assert length / 1.6 < shapes[0].length < length * 1.6
    assert 2.0 < np.mean([s.sd for s in shapes]) < 4.2


def test_few_readings_keep_the_floor_of_the_spread() -> None:
    equal = Spots(np.array([[0.0, 0.0], [500.0, 0.0], [0.0, 500.0]]), np.zeros(3), np.full(3, 1.0))
    (shape,) = choose_shape([equal], sd=3.0, mean_sd=3.0)
    assert shape.sd >= 3.0
    many = Spots(np.random.default_rng(0).uniform(0, 900, (12, 2)), np.zeros(12), np.full(12, 1.0))
    (shape,) = choose_shape([many], sd=3.0, mean_sd=3.0)
    assert shape.sd == pytest.approx(3.0 * SD_FACTORS[0], rel=0.5)
    assert choose_shape([], sd=3.0, mean_sd=3.0) == []
