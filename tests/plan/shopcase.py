"""Invented shops whose days are gamma, not lognormal: another law than the one assumed."""

import numpy as np

from leastcut.car.records import Interval
from leastcut.plan.learn import Timed, learn
from leastcut.plan.records import Operation
from leastcut.plan.time import total

PLANNED = {"wash": 30, "clay": 27, "dry": 14, "tape": 20, "look": 36, "trials": 15, "sets": 600}
PLANNED |= {"wipe": 60, "pads": 25, "prove": 40, "protect": 30, "clean up": 15, "move": 5}
NAMES = list(PLANNED)
Run = tuple[np.ndarray, np.ndarray]


class Shop:
    """Own pace per operation, own scatter, and a factor common to all operations of a job."""

    def __init__(self, rng: np.random.Generator) -> None:
        self.rng = rng
        self.bias = np.exp(rng.normal(0, 0.3, len(NAMES)))
        self.shape = 1 / rng.uniform(0.1, 0.35, len(NAMES)) ** 2
        self.job_shape = 1 / rng.uniform(0.05, 0.25) ** 2

    def jobs(self, n: int) -> Run:
        planned = np.array(list(PLANNED.values())) * self.rng.lognormal(0, 0.25, (n, 1))
        own = self.rng.gamma(self.shape, 1 / self.shape, planned.shape)
        whole = self.rng.gamma(self.job_shape, 1 / self.job_shape, (n, 1))
        return planned, planned * self.bias * own * whole


def logged(run: Run) -> list[Timed]:
    return [
        Timed(job=str(j), operation=name, planned_minutes=p, actual_minutes=a)
        for j, (row, done) in enumerate(zip(*run, strict=True))
        for name, p, a in zip(NAMES, row, done, strict=True)
    ]


def quotes_that_hold(n_shops: int, n_jobs: int, seed: int) -> tuple[float, float]:
    """Return how often the next five jobs of each shop keep to P50 and to P80."""
    rng = np.random.default_rng(seed)
    kept = []
    for _ in range(n_shops):
        shop = Shop(rng)
        own = learn(logged(shop.jobs(n_jobs)))
        for planned, done in zip(*shop.jobs(5), strict=True):
            exact = [Interval(mean=p, low=p, high=p) for p in planned]
            pairs = zip(NAMES, exact, strict=True)
            day = [
                Operation(stage="work", name=name, minutes=own.scaled(name, m), source="")
                for name, m in pairs
            ]
            quote = total(0.0, day, rng=rng, n=1500, correlation=own.correlation)
            kept.append((done.sum() <= quote.p50, done.sum() <= quote.p80))
    return tuple(np.mean(kept, axis=0))
