"""Units, money, time, the test spot and the mechanics of the pad, from a row's inputs."""

import dataclasses
import math
from collections.abc import Callable
from decimal import Decimal
from functools import cache

import numpy as np
from numpy.typing import NDArray
from published import Quantity

from leastcut.car import bodies, outline, units
from leastcut.car.records import BodyClass
from leastcut.plan import money, time
from leastcut.plan.records import Operation
from leastcut.polish import heat, ripple, speed
from leastcut.testspot import doubts, paint, sampler
from leastcut.testspot.paint import PaintDraws

Array = NDArray[np.float64]


def unit(text: str) -> float:
    """``quantity as written:unit``."""
    written, _, to = text.rpartition(":")
    return units.parse(written, to)


def paid(text: str) -> float:
    """``amount:currency`` as it is paid."""
    amount, currency = text.split(":")
    return float(money.rounded(Decimal(amount), currency))


def three_points(text: str) -> float:
    """``low:likely:high:mean`` or ``…:sd``."""
    *points, what = text.split(":")
    found = time.pert(*map(float, points))
    s = time.log_sd(found)
    return found.mean if what == "mean" else found.mean * math.sqrt(math.expm1(s * s))


IN_A_ROW = ((2, 3, 5), (5, 8, 14), (3, 4, 6), (1, 2, 3))


@cache
def row() -> Array:
    """Draws of four activities, one after the other."""
    operations = [
        Operation(stage="work", name="x", minutes=time.pert(*points), source="")
        for points in IN_A_ROW
    ]
    rng = np.random.default_rng(8)
    return time.simulate(0.0, operations, rng=rng, n=400_000, correlation=0.0)


def in_a_row(text: str) -> float:
    """``mean`` or ``sd`` of the four."""
    return float(row().mean() if text == "mean" else row().std())


SKELETON = np.array([0.05, 0.15, 0.25, 0.40, 0.60])
LEVELS, EVENTS = np.array([1, 1, 2, 2, 3, 3]), np.array([0, 0, 0, 0, 1, 1])


@cache
def reassessed() -> Array:
    """Posterior chance of an event at each of five levels after six trials."""

    def log_likelihood(z: Array) -> Array:
        chance = SKELETON[LEVELS] ** np.exp(np.sqrt(1.34) * z)
        found: Array = np.where(EVENTS == 1, np.log(chance), np.log1p(-chance)).sum(axis=1)
        return found

    points, weights = sampler.posterior(log_likelihood, 1, n=16384)
    mean: Array = weights @ SKELETON ** np.exp(np.sqrt(1.34) * points)
    return mean


def isotonic(text: str) -> float:
    """``place:value value …``: the monotone fit at a place."""
    place, values = text.split(":")
    numbers = [float(v) for v in values.split()]
    return float(doubts.isotonic(numbers, [1.0] * len(numbers))[int(place)])


def survivors(text: str) -> float:
    """Share of scratches left: ``median:sigma:cut``."""
    median, sigma, cut = map(float, text.split(":"))
    one = np.ones(1)
    draws = PaintDraws(
        labels=("a",),
        softness=one,
        ln_median=np.log(median) * one,
        sigma=sigma * one,
        relative_cut=np.ones((1, 1)),
        floor=np.zeros((1, 1)),
        transfer=one,
    )
    return 1.0 - float(paint.removed_fraction(draws, cut)[0])


def needed_cut(text: str) -> float:
    """Cut that clears a share: ``share:median:sigma``."""
    fraction, median, sigma = map(float, text.split(":"))
    return paint.cut_for(fraction, median_um=median, sigma=sigma)


def roof(text: BodyClass) -> float:
    """Area of the roof of a body of usual size [m²]."""
    panels = bodies.build(text, **dataclasses.asdict(bodies.DEFAULTS[text]))
    (found,) = (panel for panel in panels if panel.id == "roof")
    return outline.painted_area_m2(found)


def pair(function: Callable[[float, float], object]) -> Callable[[str], float]:
    """``one:other``."""
    return lambda text: float(function(*map(float, text.split(":"))))


def rippled(text: str) -> float:
    """``spacing over spread:peak`` or ``…:rms``."""
    ratio, what = text.split(":")
    found = ripple.gaussian_ripple(float(ratio))
    return found.rms if what == "rms" else found.peak_to_valley


QUANTITIES = {
    "unit": Quantity("car", "a quantity as written, in another unit", unit),
    "roof_m2": Quantity("car", "area of the roof of an ordinary car", roof),
    "places": Quantity("plan", "decimal places of a currency", lambda t: float(money.places(t))),
    "paid": Quantity("plan", "an amount as it is paid", paid),
    "three_points": Quantity("plan", "mean and spread of a time told as low, likely, high", three_points),
    "in_a_row": Quantity("plan", "four times told as low, likely, high, one after the other", in_a_row),
    "reassessed": Quantity("testspot", "chance at a level after six trials", lambda t: float(reassessed()[int(t) - 1])),
    "isotonic": Quantity("testspot", "monotone fit at a place", isotonic),
    "survivors": Quantity("testspot", "share of scratches left: median and sigma of depth, cut", survivors),
    "needed_cut": Quantity("testspot", "cut that clears a share: share, median and sigma of depth", needed_cut),
    "mean_speed": Quantity("polish", "mean speed from orbit and spin parts", pair(speed.mean_speed)),
    "ripple": Quantity("polish", "ripple of Gaussian strokes at a spacing over their spread", rippled),
    "band": Quantity("polish", "peak warmth under a moving band at a Péclet number", lambda t: heat.band_source_peak(float(t))),
}  # fmt: skip
