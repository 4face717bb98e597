import math

import numpy as np
import pytest

from leastcut.car.records import Interval
from leastcut.plan import time
from leastcut.plan.records import Operation


def operation(mean: float, low: float, high: float) -> Operation:
    minutes = Interval(mean=mean, low=low, high=high)
    return Operation(stage="work", name="x", minutes=minutes, source="test")


OPERATIONS = [operation(30, 20, 45), operation(12, 8, 18), operation(60, 60, 60)]


def moments(means: list[float], spreads: list[float], rho: float) -> tuple[float, float]:
    """Closed form: lognormals of mean m and log sd s have covariance m m' (exp(ρ s s') - 1).

    source: moments of the multivariate lognormal, any handbook; status: memory, derived from
    E[exp(N)] = exp(μ + σ²/2).
    """
    mean = sum(means)
    variance = 0.0
    for i, (m, s) in enumerate(zip(means, spreads, strict=True)):
        for j, (k, t) in enumerate(zip(means, spreads, strict=True)):
            variance += m * k * (math.exp((1.0 if i == j else rho) * s * t) - 1)
    return mean, math.sqrt(variance)


@pytest.mark.parametrize("rho", [0.0, 0.3, 0.8, 1.0])
def test_sums_agree_with_the_closed_form_moments(rho: float) -> None:
    drawn = time.simulate(
        6000.0, OPERATIONS, rng=np.random.default_rng(1), n=400_000, correlation=rho
    )
    spreads = [0.15, *(math.log(o.minutes.high / o.minutes.low) / 3.92 for o in OPERATIONS)]
    mean, sd = moments([100.0, 30, 12, 60], spreads, rho)
    assert drawn.mean() == pytest.approx(mean, rel=1e-3)
    assert drawn.std() == pytest.approx(sd, rel=0.01)


def test_one_lognormal_has_its_own_quantiles() -> None:
    only = time.total(0.0, [operation(30, 20, 45)], rng=np.random.default_rng(2), n=400_000)
    s = math.log(45 / 20) / 3.92
    assert only.p50 == pytest.approx(30 * math.exp(-s * s / 2), rel=2e-3)
    # source: standard normal table, z(0.80) = 0.8416; status: memory
    assert only.p80 == pytest.approx(30 * math.exp(-s * s / 2 + 0.8416 * s), rel=2e-3)


def test_fixed_durations_add_up_exactly() -> None:
    found = time.total(
        600.0, [operation(20, 20, 20)], rng=np.random.default_rng(3), section_spread=0.0
    )
    assert found.p50 == found.p80 == pytest.approx(30.0)


def test_more_correlation_widens_and_never_narrows() -> None:
    p80 = [
        time.total(6000.0, OPERATIONS, rng=np.random.default_rng(4), correlation=rho).p80
        for rho in (0.0, 0.5, 1.0)
    ]
    assert p80[0] < p80[1] < p80[2]


def test_same_seed_same_minutes() -> None:
    two = [time.total(600.0, OPERATIONS, rng=np.random.default_rng(7)) for _ in range(2)]
    assert two[0] == two[1]
