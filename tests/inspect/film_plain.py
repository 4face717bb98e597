"""The map of a panel worked out anew: plain matrix algebra, the textbook's formulas one by one."""

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.optimize import brentq
from scipy.spatial.distance import cdist
from scipy.stats import multivariate_normal, norm

from leastcut.car.records import Polygon
from leastcut.inspect.gauge import spread_of
from leastcut.inspect.raster import Raster, fill
from leastcut.inspect.study import Study

Array = NDArray[np.float64]


@dataclass(frozen=True)
class Field:
    """Located readings of one panel about their mean, and the process that bends its map."""

    places: Array
    values: Array
    noise: float
    sd: float
    length: float
    mean_sd: float
    usual: float
    fraction: float
    clear_var: float

    def cov(self, a: Array, b: Array) -> Array:
        s = math.sqrt(3.0) * cdist(a, b) / self.length
        return np.asarray(self.sd**2 * (1.0 + s) * np.exp(-s) + self.mean_sd**2)

    def after(self, at: Array, more: Array | None = None) -> tuple[Array, Array]:
        """Mean and variance at places, after the readings and one more at `more`, its value as foreseen."""
        places, values = self.places, self.values
        noise = np.full(len(values), self.noise)
        if more is not None:
            foreseen = self.after(more)[0]
            places, values = np.vstack([places, more]), np.append(values, foreseen)
            noise = np.append(noise, self.noise / 3.0)  # three readings
        before = np.full(len(at), self.sd**2 + self.mean_sd**2)
        if not len(values):
            return np.zeros(len(at)), before
        gain = self.cov(at, places) @ np.linalg.inv(self.cov(places, places) + np.diag(noise))
        return gain @ values, before - np.sum(gain * self.cov(at, places), axis=1)


def seen(raster: Raster, places: Array) -> Array:
    """Add how near an edge is: 150 mm at the edge, less by e every 25 mm."""
    cells = raster.frame.cell_of(places)
    return np.column_stack([places, 150.0 * np.exp(-raster.to_edge_mm[cells] / 25.0)])


def field(case: Study, raster: Raster) -> Field:
    """Work out the process of a study's first panel."""
    prior, shown = case.prior, case.summaries[0].shown
    clear_place = prior.clear_place_sd
    sds = [clear_place, prior.repaint_place_sd_um, prior.repaint_place_sd_um, clear_place]
    clear_var = sum(w * sd**2 for w, sd in zip(case.belief.weight[0], sds, strict=True))
    is_clear = case.summaries[0].layer == "clear"
    usual = clear_place if is_clear else math.sqrt(prior.total_place_var)
    whole = prior.total_place_var - clear_place**2 + clear_var
    fraction = 1.0 if is_clear else clear_var / whole
    noise = spread_of(case.gauge).repeat_um ** 2
    none = np.zeros((0, 3))
    bare = Field(none, np.zeros(0), noise, usual, 300.0, usual, usual, fraction, clear_var)
    if shown is None:
        return bare
    places = seen(raster, np.array([(r.x_mm, r.y_mm) for r in shown.kept]))
    values = shown.values_um - shown.mean_um
    fields = [
        Field(places, values, noise, usual * f, length, usual, usual, fraction, clear_var)
        for length in np.geomspace(80.0, 1200.0, 9)
        for f in np.geomspace(0.5, 4.0, 7)
        if f >= 1.0 or len(values) >= 4
    ]
    return max(fields, key=_score)


def _score(one: Field) -> float:
    """Log marginal likelihood with lognormal penalties on length and spread."""
    cov = one.cov(one.places, one.places) + one.noise * np.eye(len(one.values))
    fit = multivariate_normal.logpdf(one.values, np.zeros(len(one.values)), cov)
    away = math.log(one.length / 300.0) / 0.7
    wide = math.log(one.sd / one.usual) / 0.5
    return float(fit) - away**2 / 2.0 - wide**2 / 2.0


def clear_at(case: Study, one: Field, at: Array, more: Array | None = None) -> tuple[Array, Array]:
    """Mean of the clear and its spread from place to place at places seen by the film."""
    bend, var = one.after(at, more)
    if not len(one.values) and more is None:
        return np.full(len(at), case.numbers[0, 0]), np.full(len(at), math.sqrt(one.clear_var))
    missing = np.maximum(0.0, -bend - 2.5 * one.usual) * (1.0 - one.fraction)
    mean = np.maximum(0.0, case.numbers[0, 0] + one.fraction * bend - missing)
    return mean, np.sqrt(one.fraction**2 * var + (1.0 - one.fraction) * one.clear_var)


def thin_of(mean: Array, sd: Array) -> float:
    """The clear that 5 % of the places undercut."""
    return float(brentq(lambda x: norm.cdf((x - mean) / sd).mean() - 0.05, 0.0, mean.max() + 1.0))


def section(
    case: Study, raster: Raster, mean: Array, sd: Array, outline: Polygon
) -> tuple[float, float]:
    """Mean of the clear on a section's face, and the lower bound of its thinnest places."""
    cells = fill(raster.frame, outline) & raster.paint & (raster.to_edge_mm >= 25.0)
    own, spread = mean[cells], sd[cells]
    places = raster.frame.places_mm(cells)[:: max(1, len(own) // 50)]
    s = math.sqrt(3.0) * cdist(places, places) / 300.0
    shared = float(((1.0 + s) * np.exp(-s)).mean())
    own_doubt = norm.ppf(case.rule.confidence) * spread.mean() * math.sqrt(shared)
    doubt = math.hypot(case.numbers[0, 0] - case.numbers[0, 3], own_doubt)
    some = slice(None, None, max(1, len(own) // 400))
    return float(own.mean()), thin_of(own[some], spread[some]) - doubt
