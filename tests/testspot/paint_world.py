"""Simulated paints with explicit scratches, noisy hands, photos, gauges and eyes.

A code path of its own: nothing of the package's model is used. A paint is a list of scratches, each
with a length and a depth; a cut removes those less deep; haze is made and removed in small steps.
Spreads are wider than the package's priors, and not every paint is lognormal.
"""

from dataclasses import dataclass, field

import numpy as np
from numpy.typing import NDArray

Array = NDArray[np.float64]

# What the package believes of the default ladder, typed anew: pad × liquid, and floor.
BELIEVED_CUT = (0.25, 1.0, 2.88, 4.32)
BELIEVED_FLOOR = (0.005, 0.02, 0.0525, 0.0875)
REFERENCE_UM = 0.5
MAX_SETS = 4
FINISH = {2: 0, 3: 0}  # heavy rungs are followed by two sets of the mildest
REQUIRED = {"daily": 0.85, "show": 0.95}


@dataclass
class Surface:
    """One place being worked: scratches, cut so far, haze."""

    depth: Array
    length: Array
    haze_depth: float
    cut: float = 0.0
    haze: float = 0.0

    def visible(self) -> float:
        """Return the visible share of the first scratch length."""
        left = float(self.length[self.depth > self.cut].sum() / self.length.sum())
        return min(left + (1.0 - left) * self.haze, 1.0)


@dataclass
class World:
    """One car's paint, the true strengths of the ladder on it, and its worker."""

    rng: np.random.Generator
    wide: float = 1.0
    target: str = "daily"
    rich: bool = False
    budget_um: float = field(init=False)
    softness: float = field(init=False)
    strength: Array = field(init=False)
    floor: Array = field(init=False)
    transfer: float = field(init=False)
    eyes: np.random.Generator = field(init=False)

    def __post_init__(self) -> None:
        rng, wide = self.rng, self.wide
        # Chance of its own for whoever goes by eye: two ways to decide meet the same rival.
        self.eyes = rng.spawn(1)[0]
        self.softness = float(np.exp(rng.normal(0.0, 0.8 * wide)))
        self.strength = np.array(BELIEVED_CUT) * np.exp(rng.normal(0.0, 0.34 * wide, 4))
        self.floor = np.array(BELIEVED_FLOOR) * np.exp(rng.normal(0.0, 0.6 * wide, 4))
        self.transfer = float(np.exp(rng.normal(0.0, 0.08)))
        # source: clear coat 1.5 to 2 mil, at least 1.4 mil to stay (vehicle maker's service texts),
        # at most 0.3 mil taken (attributed to a vehicle maker, primary not found); status: seen
        clear = rng.normal(44.45, 3.2)
        self.budget_um = 1e3 if self.rich else float(np.clip(min(7.62, clear - 35.56), 0.5, None))
        self._median = 0.8 * float(np.exp(rng.normal(0.0, 0.52 * wide)))
        self._sigma = float(rng.uniform(0.7 - 0.4 * wide, 0.7 + 0.4 * wide))
        self._shape = rng.choice(["lognormal", "lognormal", "weibull"])
        self._haze_depth = float(rng.uniform(0.08, 0.18))
        self.car = self._surface(3000)

    def _surface(self, count: int, rng: np.random.Generator | None = None) -> Surface:
        rng = rng or self.rng
        if self._shape == "lognormal":
            depth = rng.lognormal(np.log(self._median), self._sigma, count)
        else:
            # A Weibull with the median and the 90 % quantile of that lognormal.
            shape = np.log(np.log(10.0) / np.log(2.0)) / (1.2815515655 * self._sigma)
            depth = self._median * (rng.exponential(1.0, count) / np.log(2.0)) ** (1.0 / shape)
        return Surface(depth, rng.exponential(12.0, count), self._haze_depth)

    def spot(self) -> Surface:
        """Return an untouched test spot: some 5 mm/cm² over a 610 mm square, 12 mm each."""
        return self._surface(1500)

    def work(
        self, place: Surface, rung: int, sets: int, rng: np.random.Generator | None = None
    ) -> float:
        """Work sets on a place in small steps; return the cut."""
        total = 0.0
        for _ in range(sets):
            per_set = REFERENCE_UM * self.softness * self.strength[rung]
            cut = per_set * float(np.exp((rng or self.rng).normal(0.0, 0.08)))
            for _ in range(20):
                gone = min(cut / 20 / place.haze_depth, 1.0)
                place.haze += (self.floor[rung] - place.haze) * gone
            total += cut
        place.cut += total
        return total

    def photo(self, before: float, after: float) -> tuple[float, float, float]:
        """Return removed fraction with 95 % bounds as two photos would give it."""
        sd = float(self.rng.uniform(0.015, 0.05))
        seen = 1.0 - after / before + float(self.rng.normal(0.0, sd))
        seen = min(seen, 1.0)
        return seen, seen - 1.96 * sd, min(seen + 1.96 * sd, max(seen, 1.0))

    def gauge(self, cut: float) -> tuple[float, float]:
        """Return the drop of the gauge's mean reading and its standard uncertainty."""
        # Twelve readings before and twelve after, 1 % of 120 µm each: 1.2·sqrt(2/12) µm.
        return cut + float(self.rng.normal(0.0, 0.49)), 0.49

    def verdict(self, before: float, after: float, haze: float) -> str:
        """Return the inspector's word."""
        if 1.0 - after / before < self.rng.normal(0.12, 0.04):
            return "unchanged"
        if after - haze > self.rng.normal(0.10, 0.03):
            return "some-left"
        return "hazy" if haze > self.rng.normal(0.06, 0.015) else "clean"

    def car_after(
        self, rung: int, sets: int, *, transfer: float | None = None
    ) -> tuple[float, float]:
        """Return cut and removed fraction on a fresh car after a candidate, exact hands."""
        ratio = self.transfer if transfer is None else transfer
        place = Surface(self.car.depth, self.car.length, self.car.haze_depth)
        todo = [(rung, sets)] + ([(FINISH[rung], 2)] if rung in FINISH else [])
        for which, count in todo:
            cut = count * REFERENCE_UM * self.softness * self.strength[which] * ratio
            place.haze = self.floor[which] + (place.haze - self.floor[which]) * float(
                np.exp(-cut / place.haze_depth)
            )
            place.cut += cut
        return place.cut, 1.0 - place.visible()

    def oracle(self) -> float | None:
        """Return the least cut that meets the target within the budget, None if there is none."""
        results = [self.car_after(r, s) for r in range(4) for s in range(1, MAX_SETS + 1)]
        good = [cut for cut, gone in results if gone >= REQUIRED[self.target]]
        return min((cut for cut in good if cut <= self.budget_um), default=None)

    def knower(self) -> tuple[float, float] | None:
        """Return cut and removed fraction for one who knows the paint, not the luck of this car.

        The rules are those asked of everyone: 0.9 to meet the target, 0.99 to stay within the
        budget, over the 8 % by which a car differs from its spots. None where nothing keeps them.
        More cut never leaves more scratches, so the chances are read at two quantiles.
        """
        low, high = (float(np.exp(0.08 * z)) for z in (-1.2815515655, 2.3263478740))
        good = [
            (self.car_after(r, s, transfer=1.0)[0], r, s)
            for r in range(4)
            for s in range(1, MAX_SETS + 1)
            if self.car_after(r, s, transfer=low)[1] >= REQUIRED[self.target]
            and self.car_after(r, s, transfer=high)[0] <= self.budget_um
        ]
        return self.car_after(*min(good)[1:]) if good else None

    def by_eye(self, *, fresh: bool = False) -> tuple[float, float]:
        """Return cut and removed fraction of the car when stepped up by eye until clean.

        Three sets (six passes: common practice, no source) of each rung until the eye finds it
        clean; then three sets of that rung, with its finishing step, everywhere. On one spot, the
        milder rungs have helped, so that the last alone may not do on the car; with `fresh` each
        rung has a place of its own.
        """
        place = self._surface(1500, self.eyes)
        rung = 0
        left = 0.10 if self.target == "daily" else 0.05
        for rung in range(4):
            place = self._surface(1500, self.eyes) if fresh else place
            self.work(place, rung, 3, self.eyes)
            if rung in FINISH:
                self.work(place, FINISH[rung], 2, self.eyes)
            if place.visible() < self.eyes.normal(left, 0.3 * left):
                break
        return self.car_after(rung, 3)
