"""From panel means to clear coat: the belief about one car, updated by everything measured on it.

The model. A car has a level of total film T0 and of clear C, shared by its panels; panels differ
about them. Each panel is in one of four states (factory, repainted, filled, thin). Given T0 and C
the panels are independent and, within a state, total and clear are jointly normal; so the two
shared levels are put on a grid and the rest is exact algebra: a mixture of normals for the clear of
each panel. The bias of the gauge adds to T0 and is integrated with it.
"""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.special import logsumexp

from leastcut.inspect.layers import LayerPrior

Array = NDArray[np.float64]

_T_NODES, _T_REACH = 121, 4.5
_C_NODES, _C_REACH = 17, 3.5


@dataclass(frozen=True)
class Evidence:
    """What was measured on each of n panels; NaN where nothing was.

    Attributes
    ----------
    total, total_var, clear, clear_var : ndarray, shape (n,)
        Mean of the corrected readings [µm] and its variance, the gauge's shared level left out.
    cut, cut_var : ndarray, shape (n,)
        Recorded earlier cuts [µm] and their variance.
    chances : ndarray, shape (n, 4)
        Probability of each state before measuring.
    spare_var : ndarray, shape (n,)
        Extra variance of the clear of panels painted apart from the body (plastic) [µm²].
    """

    total: Array
    total_var: Array
    clear: Array
    clear_var: Array
    cut: Array
    cut_var: Array
    chances: Array
    spare_var: Array


@dataclass(frozen=True)
class Nodes:
    """Grid of the car's shared levels: total and clear [µm], what varies within a node, weight."""

    total: Array
    clear: Array
    clear_var: float
    log_weight: Array


@dataclass(frozen=True)
class Belief:
    """Clear coat of n panels as mixtures over states, and the grid weights after all evidence.

    ``weight``, ``mid``, ``sd`` have shape (n, 4); ``density`` (n,) is the natural logarithm of the
    probability density of each panel's own evidence.
    """

    weight: Array
    mid: Array
    sd: Array
    nodes: Nodes
    density: Array


def believe(evidence: Evidence, prior: LayerPrior, *, level_um: float) -> Belief:
    """Update the belief about a car by the evidence on its panels.

    Parameters
    ----------
    evidence : Evidence
        Panel means, n panels.
    prior : LayerPrior
        Belief before measuring.
    level_um : float
        Standard uncertainty of the gauge's level, shared by all total readings [µm].

    Returns
    -------
    Belief
        Mixtures for the n panels.
    """
    nodes = _nodes(prior, level_um=level_um, split_clear=bool(np.isfinite(evidence.clear).any()))
    loglik, mid, var = _components(evidence, nodes, prior)
    per_panel = logsumexp(loglik, axis=2)
    log_weight = nodes.log_weight + per_panel.sum(axis=0)
    after = Nodes(nodes.total, nodes.clear, nodes.clear_var, log_weight - logsumexp(log_weight))
    share = loglik - per_panel[:, :, None] + after.log_weight[None, :, None]
    return _collapse(np.exp(share), mid, var, after, np.zeros(len(mid)))


def foresee(evidence: Evidence, prior: LayerPrior, nodes: Nodes) -> Belief:
    """Return what would be believed of each panel if its evidence alone were added to `nodes`.

    Each row of `evidence` is a separate thought: one possible outcome of measuring one panel.
    ``density`` of the result is how likely that outcome is.
    """
    loglik, mid, var = _components(evidence, nodes, prior)
    joint = loglik + nodes.log_weight[None, :, None]
    density = logsumexp(joint, axis=(1, 2))
    return _collapse(np.exp(joint - density[:, None, None]), mid, var, nodes, density)


def _nodes(prior: LayerPrior, *, level_um: float, split_clear: bool) -> Nodes:
    t_var, c_var = prior.total_car_var + level_um**2, prior.clear_car_var
    z = np.linspace(-_T_REACH, _T_REACH, _T_NODES)
    slope = c_var / t_var**0.5  # the clear is part of the total: their covariance is c_var
    rest = c_var - slope**2
    total = prior.total_mean_um + t_var**0.5 * z
    clear = prior.clear_mean_um + slope * z
    if not split_clear:
        return Nodes(total, clear, rest, -(z**2) / 2)
    y = np.linspace(-_C_REACH, _C_REACH, _C_NODES)
    step_var = rest * (y[1] - y[0]) ** 2 / 12  # a node stands for the cell around it
    grid = (clear[:, None] + rest**0.5 * y).ravel()
    weight = (-(z[:, None] ** 2) / 2 - y**2 / 2).ravel()
    return Nodes(np.repeat(total, _C_NODES), grid, step_var, weight)


def _components(ev: Evidence, nodes: Nodes, prior: LayerPrior) -> tuple[Array, Array, Array]:
    """Log weight, mean and variance of the clear per panel, node and state: shapes (n, g, 4)."""
    with np.errstate(divide="ignore"):
        log_chance = np.log(ev.chances)[:, None, :]
    shift = np.array([0.0, prior.added_um, 0.0, -prior.thin_cut_um])
    spread = np.array([0.0, prior.added_sd_um, 0.0, prior.thin_cut_sd_um]) ** 2
    location = nodes.total[None, :, None] + shift - ev.cut[:, None, None]
    t_var = (prior.total_panel_var + ev.cut_var + ev.total_var)[:, None, None] + spread
    off = ev.total[:, None, None] - location
    seen = np.isfinite(ev.total)[:, None, None]
    loglik = log_chance + np.where(seen, _log_normal(off, t_var), 0.0)
    loglik[:, :, 2] = log_chance[:, :, 2] + _log_filled(ev, nodes, prior)
    mid, var, cov = _clear_given_state(ev, nodes, prior)
    gain = np.where(seen, cov / t_var, 0.0)
    mid = mid + np.where(seen, gain * off, 0.0)
    var = var - gain * cov
    return _with_clear_readings(ev, loglik, mid, np.broadcast_to(var, mid.shape))


def _log_normal(off: Array, var: Array) -> Array:
    return -(off**2) / (2 * var) - np.log(2 * np.pi * var) / 2


def _log_filled(ev: Evidence, nodes: Nodes, prior: LayerPrior) -> Array:
    """Log density of a panel's total with filler: its excess over the car is lognormal."""
    excess = np.maximum(ev.total[:, None] - nodes.total, 1e-3)
    log = np.log(excess)
    density = _log_normal(log - prior.fill_log_um, np.array(prior.fill_log_sd**2)) - log
    return np.where(np.isfinite(ev.total)[:, None], density, 0.0)


def _clear_given_state(ev: Evidence, nodes: Nodes, prior: LayerPrior) -> tuple[Array, Array, Array]:
    """Mean (n, g, 4) and variance (n, 1, 4) of the clear, and its covariance with the total."""
    shape = (len(ev.cut), len(nodes.total))
    factory = np.broadcast_to(nodes.clear, shape)
    renewed = np.full(shape, prior.repaint_clear_um)
    mid = np.stack([factory, renewed, renewed, factory - prior.thin_cut_um], axis=2)
    mid = mid - ev.cut[:, None, None]
    thin = prior.thin_cut_sd_um**2
    own = np.array([1.0, 0.0, 0.0, 1.0]) * prior.clear_panel_var + np.array([0.0, 0.0, 0.0, thin])
    known = np.array([1.0, 0.0, 0.0, 1.0])
    cov = (own + known * ev.cut_var[:, None])[:, None, :]
    renewed_var = np.array([0.0, prior.repaint_clear_sd_um**2, prior.fill_clear_sd_um**2, 0.0])
    var = own + known * nodes.clear_var + renewed_var
    return mid, (var + (ev.cut_var + ev.spare_var)[:, None])[:, None, :], cov


def _with_clear_readings(
    ev: Evidence, loglik: Array, mid: Array, var: Array
) -> tuple[Array, Array, Array]:
    """Condition every component on the readings of the clear, where there are any."""
    seen = np.isfinite(ev.clear)[:, None, None]
    off = np.where(seen, ev.clear[:, None, None] - mid, 0.0)
    whole = var + np.where(seen, ev.clear_var[:, None, None], 1.0)
    gain = np.where(seen, var / whole, 0.0)
    loglik = loglik + np.where(seen, _log_normal(off, whole), 0.0)
    return loglik, mid + gain * off, var * (1 - gain)


def _collapse(share: Array, mid: Array, var: Array, nodes: Nodes, density: Array) -> Belief:
    """Add up the grid: one normal per panel and state with the mixture's own mean and variance."""
    weight = share.sum(axis=1)
    safe = np.maximum(weight, 1e-300)
    mean = (share * mid).sum(axis=1) / safe
    square = (share * (var + (mid - mean[:, None, :]) ** 2)).sum(axis=1) / safe
    sd = np.sqrt(np.maximum(square, 1e-6))
    return Belief(weight / weight.sum(axis=1, keepdims=True), mean, sd, nodes, density)
