"""The belief about a car's film, worked out anew: plain sums over a fine grid, panel by panel.

The same model as the product's, by other code: every panel's total and clear are one pair of
normals at each node of (the car's total, the car's clear, the mates' common part), and the grid is
finer and wider. Slow and dull on purpose.
"""

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from leastcut.inspect.film_model import Evidence
from leastcut.inspect.layers import LayerPrior

Array = NDArray[np.float64]
FACTORY, REPAINTED, FILLED, THIN = range(4)


@dataclass(frozen=True)
class Pair:
    """Total and clear of one panel in one state at every node: means, variances, covariance."""

    total: Array
    clear: Array
    total_var: float
    clear_var: float
    both: float


@dataclass(frozen=True)
class Scalar:
    """What is believed: weights, means and deviations (n, 4), and the pulled chances (n, 4)."""

    weight: Array
    mid: Array
    sd: Array
    chances: Array


def normal(x: Array | float, var: float) -> Array:
    return np.asarray(np.exp(-0.5 * np.square(x) / var) / math.sqrt(2.0 * math.pi * var))


def axes(prior: LayerPrior, level: float) -> tuple[Array, Array, Array, Array]:
    """Car's total and clear and the mates' part on a grid (z, y, h), and the prior weight."""
    z, y = np.linspace(-6, 6, 241), np.linspace(-5, 5, 61)
    h = np.linspace(-4.5, 4.5, 31)
    t_var = prior.total_car_var + level**2
    share = prior.clear_car_var / t_var  # regression of the clear on the total
    left = prior.clear_car_var - share**2 * t_var
    total = np.broadcast_to(
        prior.total_mean_um + math.sqrt(t_var) * z[:, None, None], (241, 61, 31)
    )
    clear = prior.clear_mean_um + share * (total - prior.total_mean_um)
    clear = clear + math.sqrt(left) * y[None, :, None]
    mate = np.broadcast_to(h, (241, 61, 31))
    weight = normal(z, 1.0)[:, None, None] * normal(y, 1.0)[None, :, None] * normal(h, 1.0)
    return total, clear, mate, weight


def pair(
    ev: Evidence, i: int, state: int, prior: LayerPrior, shared: float, at: tuple[Array, ...]
) -> Pair:
    total, clear, mate, _ = at
    part = math.sqrt(shared * prior.total_panel_var)
    ratio = prior.clear_panel_var / prior.total_panel_var
    cut, cut_var, spare = float(ev.cut[i]), float(ev.cut_var[i]), float(ev.spare_var[i])
    own_t = (1 - shared) * prior.total_panel_var + cut_var + float(ev.total_var[i])
    own_c = (1 - shared) * prior.clear_panel_var + cut_var
    if state in {FACTORY, THIN}:
        lost = prior.thin_cut_um if state == THIN else 0.0
        more = prior.thin_cut_sd_um**2 if state == THIN else 0.0
        mates = shared * prior.clear_panel_var * (1 - ratio)
        return Pair(
            total + part * mate - cut - lost,
            clear + ratio * part * mate - cut - lost,
            own_t + more,
            own_c + more + mates + spare,
            own_c + more,
        )
    sd = prior.repaint_clear_sd_um if state == REPAINTED else prior.fill_clear_sd_um
    sprayed = prior.repaint_clear_um
    if np.isfinite(ev.total[i]):  # at most half of the film is clear
        sprayed, sd = min(sprayed, ev.total[i] / 2), min(sd, ev.total[i] / 4)
    return Pair(
        total + part * mate - cut + prior.added_um,
        np.full_like(total, sprayed - cut),
        own_t + prior.added_sd_um**2,
        sd**2 + spare + cut_var,
        0.0,
    )


def likely(
    ev: Evidence, i: int, state: int, prior: LayerPrior, one: Pair, at: tuple[Array, ...]
) -> tuple[Array, Array, float]:
    """Likelihood of a panel's readings at every node; mean and variance of its clear after them."""
    fit, mean, var = np.ones_like(one.total), one.clear, one.clear_var
    if np.isfinite(ev.total[i]):
        off = ev.total[i] - one.total
        fit = normal(off, one.total_var)
        if state == FILLED:
            excess = np.maximum(ev.total[i] - at[0], 1e-3)
            fit = normal(np.log(excess) - prior.fill_log_um, prior.fill_log_sd**2) / excess
        mean = mean + one.both / one.total_var * off
        var -= one.both**2 / one.total_var
    if np.isfinite(ev.clear[i]):
        whole = var + float(ev.clear_var[i, state])
        off = ev.clear[i] - mean
        fit, mean = fit * normal(off, whole), mean + var / whole * off
        var -= var**2 / whole
    return fit, mean, var


def believed(ev: Evidence, prior: LayerPrior, *, level: float) -> Scalar:
    n = len(ev.cut)
    mates = len(set(ev.group.tolist())) < n and bool(np.isfinite(ev.total).any())
    shared = prior.mate_share if mates else 0.0
    at = axes(prior, level)
    told = [
        [likely(ev, i, s, prior, pair(ev, i, s, prior, shared, at), at) for s in range(4)]
        for i in range(n)
    ]
    chances = ev.chances
    for _ in range(3 if ev.beside.any() else 1):
        after = [node_weights(ev, told, chances, at[3], i) for i in range(n)]
        parts = [
            [(after[i] * chances[i, s] * told[i][s][0]).sum() for s in range(4)] for i in range(n)
        ]
        weight = np.array(parts) / np.sum(parts, axis=1, keepdims=True)
        used, chances = chances, pulled(ev, weight, prior)
    mid, sd = np.zeros((n, 4)), np.zeros((n, 4))
    for i in range(n):
        for s in range(4):
            fit, mean, var = told[i][s]
            w = after[i] * used[i, s] * fit
            mid[i, s] = (w * mean).sum() / w.sum()
            sd[i, s] = math.sqrt((w * (var + (mean - mid[i, s]) ** 2)).sum() / w.sum())
    return Scalar(weight, mid, sd, chances)


def node_weights(
    ev: Evidence,
    told: list[list[tuple[Array, Array, float]]],
    chances: Array,
    weight: Array,
    i: int,
) -> Array:
    """Weight of every node by all panels but panel i: mates share the node, others are summed out."""
    here = weight.copy()
    outer = np.ones(weight.shape[:2])
    inner = weight[0, 0] / weight[0, 0].sum()
    for group in set(ev.group.tolist()):
        members = [k for k in range(len(told)) if ev.group[k] == group]
        product = np.ones_like(weight)
        for k in members:
            if k != i:
                product = product * sum(chances[k, s] * told[k][s][0] for s in range(4))
        if i in members:
            here = here * product
        else:
            outer *= (product * inner).sum(axis=2)
            outer /= outer.max()
    return np.asarray(here * outer[:, :, None])


def pulled(ev: Evidence, weight: Array, prior: LayerPrior) -> Array:
    """Raise the odds of having been redone by what the neighbours show beyond what was thought."""
    chances = ev.chances.copy()
    for i in range(len(chances)):
        pull = 0.0
        for k in range(len(chances)):
            news = weight[k, REPAINTED] + weight[k, FILLED]
            news -= ev.chances[k, REPAINTED] + ev.chances[k, FILLED]
            pull += prior.neighbour_pull * ev.beside[i, k] * news
        chances[i, [REPAINTED, FILLED]] *= math.exp(pull)
        chances[i] /= chances[i].sum()
    return chances
