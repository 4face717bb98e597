"""From panel means to clear coat: the belief about one car, updated by everything measured on it.

The model. A car has a level of total film T0 and of clear C, shared by its panels; panels differ
about them, a panel and its mate on the other side partly in the same way. Each panel is in one of
four states (factory, repainted, filled, thin), more likely redone where its neighbours are. Given
T0, C and the mates' shared part the panels are independent and, within a state, total and clear are
jointly normal; so the shared quantities are put on a grid and the rest is exact algebra: a mixture
of normals for the clear of each panel. The bias of the gauge adds to T0 and is integrated with it.
The pull of the neighbours is a mean field (Bishop 2006, Pattern Recognition and Machine Learning,
section 10.1), iterated.
"""

from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from leastcut.inspect.layers import LayerPrior

Array = NDArray[np.float64]

_REACH, _C_REACH, _H_REACH = 4.5, 3.2, 2.8
_ROUNDS = 3
_MOST_CLEAR_SHARE = 0.5  # of a renewed panel's film that is clear: more cannot be believed
_NEGLIGIBLE = 18.0  # natural logarithm: nodes less likely than this next to the best are left out


@dataclass(frozen=True)
class Evidence:
    """What was measured on each of n panels; NaN where nothing was.

    Attributes
    ----------
    total, total_var, clear : ndarray, shape (n,)
        Means of the corrected readings [µm], and the variance of the total one, the gauge's shared
        level left out.
    clear_var : ndarray, shape (n, 4)
        Variance of the clear's mean in each state: sprayed by hand it varies more.
    cut, cut_var : ndarray, shape (n,)
        Recorded earlier cuts [µm] and their variance.
    chances : ndarray, shape (n, 4)
        Probability of each state before measuring.
    spare_var : ndarray, shape (n,)
        Extra variance of the clear of panels painted apart from the body (plastic) [µm²].
    group : ndarray of int, shape (n,)
        Panels with the same number are mates.
    beside : ndarray, shape (n, n)
        1 where panels are neighbours.
    """

    total: Array
    total_var: Array
    clear: Array
    clear_var: Array
    cut: Array
    cut_var: Array
    chances: Array
    spare_var: Array
    group: NDArray[np.intp]
    beside: Array


@dataclass(frozen=True)
class Nodes:
    """Grid of what panels share, g nodes: the car's total and clear, the mates' common part [µm].

    ``z`` is the total in its prior standard deviations; ``clear_var`` is what the clear varies
    within a node; ``log_weight`` is (g,) before and (n, g) after the evidence, natural logarithms;
    the innermost ``n_mate`` nodes differ in the mates' part alone.
    """

    z: Array
    total: Array
    clear: Array
    mate: Array
    clear_var: float
    log_weight: Array
    n_mate: int


@dataclass(frozen=True)
class Belief:
    """Clear coat of n panels as mixtures over states, and the grid weights after all evidence.

    ``weight``, ``mid``, ``sd`` have shape (n, 4); ``density`` (n,) is the natural logarithm of the
    probability density of each panel's own evidence; ``chances`` (n, 4) are the chances of the
    states after the neighbours' pull, before the panel's own readings.
    """

    weight: Array
    mid: Array
    sd: Array
    nodes: Nodes
    density: Array
    chances: Array


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
    coarse = _nodes(prior, evidence, level_um=level_um, within=(-_REACH, _REACH), coarse=True)
    fit, _, _ = _components(evidence, coarse, prior)
    per_panel = _log_sum_states(fit + _log(evidence.chances)[:, None, :])
    weight = _weigh(coarse, per_panel, evidence.group)[0]
    likely = coarse.z[weight > weight.max() - _NEGLIGIBLE]
    step = coarse.z[1] - coarse.z[0]
    within = (float(likely[0] - step), float(likely[-1] + step))
    nodes = _nodes(prior, evidence, level_um=level_um, within=within, coarse=False)
    after, share, mid, var, chances = _settle(evidence, prior, nodes)
    return _collapse(share, mid, var, after, np.zeros(len(mid)), chances)


def _settle(
    evidence: Evidence, prior: LayerPrior, nodes: Nodes
) -> tuple[Nodes, Array, Array, Array, Array]:
    """Weigh the nodes by all evidence until the neighbours' pull has settled."""
    fit, mid, var = _components(evidence, nodes, prior)
    chances = evidence.chances
    for _ in range(_ROUNDS if evidence.beside.any() else 1):
        loglik = fit + _log(chances)[:, None, :]
        per_panel = _log_sum_states(loglik)
        log_weight = _weigh(nodes, per_panel, evidence.group)
        share = np.exp(loglik - per_panel[:, :, None] + log_weight[:, :, None])
        chances = _pulled(evidence, share.sum(axis=1), prior)
    return replace(nodes, log_weight=log_weight), share, mid, var, chances


def foresee(evidence: Evidence, prior: LayerPrior, nodes: Nodes) -> Belief:
    """Return what would be believed of each panel if its evidence alone were added to `nodes`.

    Each row of `evidence` is a separate thought: one possible outcome of measuring one panel.
    ``density`` of the result is how likely that outcome is.
    """
    fit, mid, var = _components(evidence, nodes, prior)
    joint = fit + _log(evidence.chances)[:, None, :] + nodes.log_weight[None, :, None]
    density = _log_sum(joint.reshape(len(joint), -1), axis=1)
    share = np.exp(joint - density[:, None, None])
    return _collapse(share, mid, var, nodes, density, evidence.chances)


def _log_sum(x: Array, axis: int = -1) -> Array:
    """Return log of the sum of exp along one axis, without overflow."""
    top = x.max(axis=axis, keepdims=True)
    return np.asarray(np.log(np.exp(x - top).sum(axis=axis)) + top.squeeze(axis))


def _log_sum_states(x: Array) -> Array:
    """Return the same over the four states, the last axis: slice by slice, which is quicker."""
    parts = [x[..., k] for k in range(x.shape[-1])]
    top = parts[0]
    for part in parts[1:]:
        top = np.maximum(top, part)
    total = np.exp(parts[0] - top)
    for part in parts[1:]:
        total += np.exp(part - top)
    return np.asarray(np.log(total) + top)


def _log(chances: Array) -> Array:
    with np.errstate(divide="ignore"):
        return np.log(chances)


def _nodes(
    prior: LayerPrior, ev: Evidence, *, level_um: float, within: tuple[float, float], coarse: bool
) -> Nodes:
    """Lay the grid, only as fine as the evidence can tell its nodes apart."""
    t_var, c_var = prior.total_car_var + level_um**2, prior.clear_car_var
    totals, clears = np.isfinite(ev.total).any(), np.isfinite(ev.clear).any()
    mates = totals and len(np.unique(ev.group)) < len(ev.group)
    z = np.linspace(*within, (61 if coarse else 41) if totals else 9)
    y = np.linspace(-_C_REACH, _C_REACH, 13) if clears and not coarse else np.zeros(1)
    h = np.linspace(-_H_REACH, _H_REACH, 7) if mates and not coarse else np.zeros(1)
    grid = [axis.ravel() for axis in np.meshgrid(z, y, h, indexing="ij")]
    slope = c_var / t_var**0.5  # the clear is part of the total: their covariance is c_var
    rest = c_var - slope**2
    return Nodes(
        z=grid[0],
        total=prior.total_mean_um + t_var**0.5 * grid[0],
        clear=prior.clear_mean_um + slope * grid[0] + rest**0.5 * grid[1],
        mate=grid[2],
        clear_var=rest * (y[1] - y[0]) ** 2 / 12 if len(y) > 1 else rest,
        log_weight=-(grid[0] ** 2 + grid[1] ** 2) / 2,
        n_mate=len(h),
    )


def _weigh(nodes: Nodes, per_panel: Array, group: NDArray[np.intp]) -> Array:
    """Return the log weight of every node for every panel (n, g), all evidence considered."""
    n_groups, n_inner = int(group.max()) + 1, nodes.n_mate
    joint = np.zeros((n_groups, per_panel.shape[1]))
    np.add.at(joint, group, per_panel)
    log_mate = -(nodes.mate[:n_inner] ** 2) / 2
    inner = joint.reshape(n_groups, -1, n_inner) + log_mate - _log_sum(log_mate)
    outer = _log_sum(inner, axis=2)
    level = nodes.log_weight[::n_inner] + outer.sum(axis=0)
    level = level - _log_sum(level)
    weight = inner - outer[:, :, None] + level[None, :, None]
    return np.asarray(weight.reshape(n_groups, -1)[group])


def _pulled(ev: Evidence, share: Array, prior: LayerPrior) -> Array:
    """Raise the chance of repaint and filler beside panels that look redone, lower it elsewhere."""
    redone = share[:, 1:3].sum(axis=1) / share.sum(axis=1)
    before = ev.chances[:, 1:3].sum(axis=1)
    pull = np.zeros((len(redone), 4))
    pull[:, 1:3] = (prior.neighbour_pull * (ev.beside @ (redone - before)))[:, None]
    chances = ev.chances * np.exp(pull)
    return np.asarray(chances / chances.sum(axis=1, keepdims=True))


def _components(ev: Evidence, nodes: Nodes, prior: LayerPrior) -> tuple[Array, Array, Array]:
    """Log fit, mean and variance of the clear per panel, node and state: shapes (n, g, 4)."""
    shift = np.array([0.0, prior.added_um, 0.0, -prior.thin_cut_um])
    spread = np.array([0.0, prior.added_sd_um, 0.0, prior.thin_cut_sd_um]) ** 2
    shared = prior.mate_share if nodes.mate.any() else 0.0
    common = (shared * prior.total_panel_var) ** 0.5 * nodes.mate
    location = (nodes.total + common)[None, :, None] + shift - ev.cut[:, None, None]
    own_var = (1 - shared) * prior.total_panel_var + ev.cut_var + ev.total_var
    t_var = own_var[:, None, None] + spread
    off = ev.total[:, None, None] - location
    seen = np.isfinite(ev.total)[:, None, None]
    fit = np.where(seen, _log_normal(off, t_var), 0.0)
    fit[:, :, 2] = _log_filled(ev, nodes, prior)
    mid, var, cov = _clear_given_state(ev, nodes, prior, shared)
    gain = np.where(seen, cov / t_var, 0.0)
    mid = mid + np.where(seen, gain * off, 0.0)
    return _with_clear_readings(ev, fit, mid, np.broadcast_to(var - gain * cov, mid.shape))


def _log_normal(off: Array, var: Array) -> Array:
    return np.asarray(-(off**2) / (2 * var) - np.log(2 * np.pi * var) / 2)


def _log_filled(ev: Evidence, nodes: Nodes, prior: LayerPrior) -> Array:
    """Log density of a panel's total with filler: its excess over the car is lognormal."""
    log = np.log(np.maximum(ev.total[:, None] - nodes.total, 1e-3))
    density = _log_normal(log - prior.fill_log_um, np.array(prior.fill_log_sd**2)) - log
    return np.where(np.isfinite(ev.total)[:, None], density, 0.0)


def _clear_given_state(
    ev: Evidence, nodes: Nodes, prior: LayerPrior, shared: float
) -> tuple[Array, Array, Array]:
    """Mean (n, g, 4) and variance (n, 1, 4) of the clear, and its covariance with the total."""
    shape = (len(ev.cut), len(nodes.total))
    ratio = prior.clear_panel_var / prior.total_panel_var  # clear's part of a panel's deviation
    common = ratio * (shared * prior.total_panel_var) ** 0.5 * nodes.mate
    factory = np.broadcast_to(nodes.clear + common, shape)
    most = _MOST_CLEAR_SHARE * np.where(np.isfinite(ev.total), ev.total, np.inf)
    renewed = np.broadcast_to(np.minimum(prior.repaint_clear_um, most)[:, None], shape)
    mid = np.stack([factory, renewed, renewed, factory - prior.thin_cut_um], axis=2)
    mid = mid - ev.cut[:, None, None]
    original = np.array([1.0, 0.0, 0.0, 1.0])
    thin = np.array([0.0, 0.0, 0.0, prior.thin_cut_sd_um**2])
    left = prior.clear_panel_var * shared * (1 - ratio)  # of the mates' part, given its total
    cov = original * ((1 - shared) * prior.clear_panel_var + ev.cut_var[:, None]) + thin
    renewed_sd = np.array([0.0, prior.repaint_clear_sd_um, prior.fill_clear_sd_um, 0.0])
    renewed_var = np.minimum(renewed_sd, most[:, None] / 2) ** 2
    var = cov + original * (nodes.clear_var + left) + renewed_var
    var = var + ev.spare_var[:, None] + (1 - original) * ev.cut_var[:, None]
    return mid, var[:, None, :], cov[:, None, :]


def _with_clear_readings(
    ev: Evidence, fit: Array, mid: Array, var: Array
) -> tuple[Array, Array, Array]:
    """Condition every component on the readings of the clear, where there are any."""
    if not np.isfinite(ev.clear).any():
        return fit, mid, var
    seen = np.isfinite(ev.clear)[:, None, None]
    off = np.where(seen, ev.clear[:, None, None] - mid, 0.0)
    whole = var + ev.clear_var[:, None, :]
    gain = np.where(seen, var / whole, 0.0)
    return fit + np.where(seen, _log_normal(off, whole), 0.0), mid + gain * off, var * (1 - gain)


def _collapse(
    share: Array, mid: Array, var: Array, nodes: Nodes, density: Array, chances: Array
) -> Belief:
    """Add up the grid: one normal per panel and state with the mixture's own mean and variance."""
    weight = share.sum(axis=1)
    safe = np.maximum(weight, 1e-300)
    mean = (share * mid).sum(axis=1) / safe
    square = (share * (var + (mid - mean[:, None, :]) ** 2)).sum(axis=1) / safe
    sd = np.sqrt(np.maximum(square, 1e-6))
    return Belief(weight / weight.sum(axis=1, keepdims=True), mean, sd, nodes, density, chances)
