"""What one more trial is worth: the loss it is expected to spare against the minutes it takes.

Pre-posterior analysis (Raiffa and Schlaifer, Applied Statistical Decision Theory, 1961; from
memory): for each trial that may be done, outcomes are foreseen from the paints still likely, the
paints are weighted anew under each outcome, and the decision that would then be taken is priced.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from functools import cache

import numpy as np
from numpy.typing import NDArray
from scipy.special import ndtri

from leastcut.testspot import paint, sampler
from leastcut.testspot.paint import PaintDraws
from leastcut.testspot.records import Candidate
from leastcut.testspot.rules import Prices

Array = NDArray[np.float64]

_PAINTS = 800  # paints that carry the weighting
_OUTCOMES = 32  # outcomes foreseen for each trial
_CERTAIN = 6.0  # normal score that stands for certainty
_PHOTO_SD = 0.035  # expected standard uncertainty of a removed fraction


@dataclass(frozen=True)
class Effects:
    """Candidates over a thinner set of paints.

    ``cut`` and ``meets`` are tables (n_paints, n_candidates); ``tried`` (n_candidates,). The
    ``*_shift`` carry what the thinning and the lognormal shape lose against the full set of paints,
    so that a trial that teaches nothing is worth nothing.
    """

    draws: PaintDraws
    cut: Array
    meets: Array
    log_cut: Array
    tried: NDArray[np.bool_]
    cut_factor: Array
    meets_shift: Array
    within_shift: Array


@dataclass(frozen=True)
class Limits:
    """What a decision must keep to."""

    p_target: float
    p_within: float
    budget_um: float | None
    prices: Prices


def effects(
    draws: PaintDraws,
    steps: Sequence[Sequence[tuple[str, int]]],
    candidates: Sequence[Candidate],
    *,
    required: float,
    tried: Sequence[bool],
    limits: Limits,
) -> Effects:
    """Return what each candidate (its steps in `steps`) does to a thinner set of the paints."""
    thin = np.linspace(0, len(draws.softness) - 1, _PAINTS).astype(np.intp)
    few = paint.take(draws, thin)
    results = [paint.outcome(few, stack) for stack in steps]
    cut = np.stack([cut for cut, _ in results], axis=1)
    meets = np.stack([gone >= required for _, gone in results], axis=1).astype(np.float64)
    even = np.full((1, len(cut)), 1.0 / len(cut))
    within = np.array([candidate.p_within_budget for candidate in candidates])
    return Effects(
        draws=few,
        cut=cut,
        meets=meets,
        log_cut=np.log(cut),
        tried=np.asarray(tried, dtype=bool),
        cut_factor=np.array([c.cut_um.mean for c in candidates]) / cut.mean(axis=0),
        meets_shift=np.array([c.p_target for c in candidates]) - meets.mean(axis=0),
        within_shift=_probit(within) - _within_score(np.log(cut), even, limits)[0],
    )


def _probit(chance: Array) -> Array:
    return np.asarray(ndtri(np.clip(chance, 1e-4, 1.0 - 1e-4)))


def loss(table: Effects, weights: Array, tried: NDArray[np.bool_], limits: Limits) -> Array:
    """Return the loss [min] of the best decision under each row of weights (k, n_paints), (k,).

    Priced is the decision that the rules allow. The least cut among the proven costs its clear
    coat, and one trial more if it was never tried, whatever an unproven one might have spared.
    With nothing proven, the best that can be paid also costs its chance to miss the target.
    """
    score = _within_score(table.log_cut, weights, limits) + table.within_shift
    meets = np.clip(weights @ table.meets + table.meets_shift, 0.0, 1.0)
    cut = weights @ table.cut * table.cut_factor
    return _price(meets, cut, score >= float(ndtri(limits.p_within)), tried, limits)


def _price(
    meets: Array,
    cut: Array,
    payable: NDArray[np.bool_],
    tried: NDArray[np.bool_],
    limits: Limits,
) -> Array:
    prices = limits.prices
    another = prices.spot_min + prices.look_min + 2.0 * prices.set_min
    cost = prices.um_min * cut + np.where(tried, 0.0, another)
    proven = payable & (meets >= limits.p_target)
    least = np.min(np.where(proven, cost, np.inf), axis=1)
    nothing = prices.miss_min + prices.um_min * (limits.budget_um or 0.0)
    missed = np.where(payable, cost + prices.miss_min * (1.0 - meets), nothing)
    return np.asarray(np.where(proven.any(axis=1), least, np.min(missed, axis=1)))


def _within_score(log_cut: Array, weights: Array, limits: Limits) -> Array:
    """Return the normal score of the chance to stay within budget, the cut taken as lognormal.

    Shape (k, n_candidates).
    """
    if limits.budget_um is None:
        return np.full((len(weights), log_cut.shape[1]), _CERTAIN)
    if not limits.budget_um > 0.0:
        return np.full((len(weights), log_cut.shape[1]), -_CERTAIN)
    mean = weights @ log_cut
    spread = np.sqrt(np.maximum(weights @ log_cut**2 - mean**2, 1e-12))
    return np.asarray(np.clip((np.log(limits.budget_um) - mean) / spread, -_CERTAIN, _CERTAIN))


def loss_now(candidates: Sequence[Candidate], tried: Sequence[bool], limits: Limits) -> float:
    """Return the loss of deciding without another trial [min]."""
    meets = np.array([[c.p_target for c in candidates]])
    cut = np.array([[c.cut_um.mean for c in candidates]])
    payable = np.array([[c.p_within_budget >= limits.p_within for c in candidates]])
    return float(_price(meets, cut, payable, np.asarray(tried), limits)[0])


def loss_after(
    table: Effects,
    shown: Array,
    cut_um: Array,
    *,
    tried: NDArray[np.bool_],
    limits: Limits,
    gauge_sd_um: float | None,
) -> float:
    """Return the loss expected after a trial, its own minutes not counted [min].

    Parameters
    ----------
    table : Effects
        The candidates.
    shown : array, shape (n_paints,)
        Removed fraction that the trial's photos would show under each paint.
    cut_um : array, shape (n_paints,)
        Cut of the trial [µm].
    tried : array of bool, shape (n_candidates,)
        Which candidates' processes have been tried once the trial is done.
    limits : Limits
        What the decision keeps to.
    gauge_sd_um : float or None
        Standard uncertainty of a gauge difference [µm], None if there is no gauge.
    """
    source, noise = _foreseen(len(shown))
    seen = shown[source] + _PHOTO_SD * noise[:, 0]
    log = -0.5 * np.square((seen[:, None] - shown) / _PHOTO_SD)
    if gauge_sd_um is not None:
        read = cut_um[source] + gauge_sd_um * noise[:, 1]
        log -= 0.5 * ((read[:, None] - cut_um) / gauge_sd_um) ** 2
    weights = np.exp(log - log.max(axis=1, keepdims=True))
    weights /= weights.sum(axis=1, keepdims=True)
    return float(np.mean(loss(table, weights, tried, limits)))


@cache
def _foreseen(n: int) -> tuple[NDArray[np.intp], Array]:
    """Return which paints the outcomes are foreseen from, and their errors in standard units."""
    source = ((np.arange(_OUTCOMES) + 0.5) / _OUTCOMES * n).astype(np.intp)
    return source, np.asarray(ndtri(sampler.halton(_OUTCOMES, 3)[:, 1:]))
