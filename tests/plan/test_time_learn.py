import math

import numpy as np
import pytest
from shopcase import NAMES, Shop, logged, quotes_that_hold

from leastcut.car.records import Interval
from leastcut.plan.learn import Learnt, Timed, TimedError, learn


def test_p80_holds_four_times_in_five_after_twenty_jobs() -> None:
    p50, p80 = quotes_that_hold(300, 20, seed=3)
    assert 0.77 <= p80 <= 0.83
    assert 0.45 <= p50 <= 0.55


def test_a_steady_shop_is_learnt() -> None:
    jobs = [
        Timed(job=str(j), operation="clay", planned_minutes=20.0, actual_minutes=26.0)
        for j in range(200)
    ]
    assert learn(jobs).factor["clay"].mean == pytest.approx(1.3, rel=0.01)


def test_more_jobs_narrow_the_bounds() -> None:
    shop = Shop(np.random.default_rng(5))
    widths = []
    for n in (2, 10, 200):
        factor = learn(logged(shop.jobs(n))).factor["sets"]
        widths.append(math.log(factor.high / factor.low))
    assert widths[0] > widths[1] > widths[2]


def test_correlation_is_found() -> None:
    rng = np.random.default_rng(6)
    z = math.sqrt(0.6) * rng.standard_normal((300, 1)) + math.sqrt(0.4) * rng.standard_normal(
        (300, len(NAMES))
    )
    done = np.exp(0.2 * z)
    assert learn(logged((np.ones_like(done), done))).correlation == pytest.approx(0.6, abs=0.06)


def test_few_jobs_keep_to_the_prior() -> None:
    empty = learn([])
    assert (dict(empty.factor), empty.correlation, empty.n_jobs) == ({}, 0.3, 0)
    some = [
        Timed(job=j, operation=name, planned_minutes=10, actual_minutes=12)
        for j, name in (("a", "clay"), ("b", "dry"), ("c", "clay"))
    ]
    assert learn(some).correlation == 0.3  # no two operations of one job
    minutes = Interval(mean=10, low=8, high=12)
    assert Learnt(factor={}, correlation=0.3, n_jobs=0).scaled("clay", minutes) is minutes


@pytest.mark.parametrize("wrong", [0.0, -3.0, math.nan, math.inf])
def test_minutes_that_cannot_be(wrong: float) -> None:
    with pytest.raises(TimedError, match="clay"):
        learn([Timed(job="a", operation="clay", planned_minutes=10, actual_minutes=wrong)])
