"""Everything worked out about a car's film once, for findings, maps and advice alike."""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from leastcut.car.records import Paint, Panel
from leastcut.errors import InputError
from leastcut.inspect import mixture
from leastcut.inspect.budget import DEFAULT, ReserveRule, removed_by_panel
from leastcut.inspect.film_model import Belief, Evidence, believe
from leastcut.inspect.gauge import spread_of
from leastcut.inspect.kinship import mate_groups, neighbours
from leastcut.inspect.layers import LayerPrior, place_sds, prior_for
from leastcut.inspect.records import EarlierCut, Gauge, Reading
from leastcut.inspect.summary import Summary, summarise

Array = NDArray[np.float64]

THIN_SHARE = 0.05
"""The thinnest place worth speaking of: only this share of a panel is thinner."""

THIN_PLACE_Z = 1.6448536269514722
"""The same as a quantile of the normal distribution."""

_PLASTIC_SPARE_VAR = 4.0  # plastic parts are painted apart from the body: our assumption [µm²]
_PLASTIC_REPAINT_FACTOR = 2.0  # and repainted more often: common practice, no source
_CLEAR_SHARE = 0.35  # a relative fault of the level weighs on the clear by its part of the film


class FilmError(InputError):
    """Readings that do not belong to the car at hand."""


@dataclass(frozen=True)
class Study:
    """The car, what was read, and what is believed of each of its n panels.

    ``numbers`` is (n, 5) [µm]: mean of the clear, its 95 % bounds, its lower bound at the rule's
    confidence, and that bound for the thinnest place of the panel.
    """

    panels: tuple[Panel, ...]
    paint: Paint
    gauge: Gauge
    rule: ReserveRule
    prior: LayerPrior
    summaries: tuple[Summary, ...]
    evidence: Evidence
    belief: Belief
    numbers: Array
    removed_um: Array


def study(
    panels: Sequence[Panel],
    readings: Sequence[Reading],
    *,
    paint: Paint,
    gauge: Gauge,
    earlier: Sequence[EarlierCut] = (),
    reserve: ReserveRule = DEFAULT,
    prior: LayerPrior | None = None,
) -> Study:
    """Put the evidence on a car's film together.

    Parameters
    ----------
    panels, readings, paint, gauge, earlier, reserve, prior
        As in :func:`leastcut.inspect.film.assess`.

    Returns
    -------
    Study
        What every later question needs.

    Raises
    ------
    FilmError
        If a reading or a ledger entry names a panel that is not among `panels`.
    """
    _check_names(panels, readings, earlier)
    prior = prior or prior_for(paint.history)
    summaries = summarise(panels, readings, gauge=gauge, prior=prior)
    evidence = _evidence(panels, summaries, earlier, prior, gauge)
    belief = believe(evidence, prior, level_um=spread_of(gauge).level_um)
    deficit = np.array([s.shown.deficit_um if s.shown else 0.0 for s in summaries])
    worn = not any(s.clear for s in summaries)
    numbers = numbers_of(belief, prior, reserve, worn=worn)
    numbers[:, 4] -= deficit
    return Study(
        panels=tuple(panels),
        paint=paint,
        gauge=gauge,
        rule=reserve,
        prior=prior,
        summaries=summaries,
        evidence=evidence,
        belief=belief,
        numbers=numbers,
        removed_um=evidence.cut,
    )


def _check_names(
    panels: Sequence[Panel], readings: Sequence[Reading], earlier: Sequence[EarlierCut]
) -> None:
    known = {panel.id for panel in panels}
    for name in [r.panel for r in readings] + [e.panel for e in earlier]:
        if name not in known:
            raise FilmError(
                f"{name!r} is not a panel of this car",
                where="film readings or ledger",
                do=f"Use one of {', '.join(sorted(known))}",
            )


def numbers_of(belief: Belief, prior: LayerPrior, rule: ReserveRule, *, worn: bool) -> Array:
    """Return mean, 95 % bounds, lower bound, and that of the thinnest place: (n, 5) [µm].

    `worn` tells that no reading shows how much the car was polished before. Such a car was either
    not polished or lost a fair amount: the two cases are kept apart, because their sum has a longer
    lower tail than one normal of the same variance.
    """
    w, mid, sd = _by_past(belief, prior) if worn else (belief.weight, belief.mid, belief.sd)
    low = 1 - rule.confidence
    thinnest = mid - THIN_PLACE_Z * np.resize(place_sds(prior), w.shape[1])
    levels = np.array([0.025, 0.975, low, low])[:, None]
    bounds = mixture.quantile(levels, w, np.stack([mid, mid, mid, thinnest]), sd)
    return np.column_stack([mixture.mean(w, mid, sd), bounds.T])


_ORIGINAL = np.array([1.0, 0.0, 0.0, 1.0])  # states whose clear is as old as the car


def _by_past(belief: Belief, prior: LayerPrior) -> tuple[Array, Array, Array]:
    """Split the states with original paint into not polished before and polished before."""
    chance = prior.past_chance
    rest = np.maximum(1e-6, belief.sd**2 - _ORIGINAL * prior.past_var)
    fresh = belief.mid + _ORIGINAL * prior.past_mean_um
    return (
        np.hstack([belief.weight * (1 - chance), belief.weight * chance]),
        np.hstack([fresh, fresh - _ORIGINAL * prior.past_cut_um]),
        np.sqrt(np.hstack([rest, rest + _ORIGINAL * prior.past_cut_sd_um**2])),
    )


def _evidence(
    panels: Sequence[Panel],
    summaries: Sequence[Summary],
    earlier: Sequence[EarlierCut],
    prior: LayerPrior,
    gauge: Gauge,
) -> Evidence:
    """Line the summaries up as arrays, one entry per panel."""
    removed = removed_by_panel(earlier)
    spread = spread_of(gauge)
    totals, clears = [s.total for s in summaries], [s.clear for s in summaries]
    cuts = np.array([removed.get(p.id, (0.0, 0.0)) for p in panels]).reshape(-1, 2)
    apart = np.array([p.material == "plastic" for p in panels], dtype=bool)
    hand = np.array(place_sds(prior)) ** 2 - prior.clear_place_sd**2
    shared = (spread.level_um**2 + spread.panel_um**2) * _CLEAR_SHARE**2
    return Evidence(
        total=np.array([m.mean_um if m else np.nan for m in totals]),
        total_var=np.array([m.var + spread.panel_um**2 if m else 1.0 for m in totals]),
        clear=np.array([m.mean_um if m else np.nan for m in clears]),
        clear_var=np.array(
            [m.var + shared + hand / m.n_spots if m else 1.0 + hand for m in clears]
        ).reshape(-1, 4),
        cut=cuts[:, 0],
        cut_var=cuts[:, 1] ** 2,
        chances=_chances(prior, apart),
        spare_var=np.where(apart, _PLASTIC_SPARE_VAR, 0.0),
        group=mate_groups(panels),
        beside=neighbours(panels),
    )


def _chances(prior: LayerPrior, apart: NDArray[np.bool_]) -> Array:
    factor = np.ones((len(apart), 4))
    factor[apart, 1] = _PLASTIC_REPAINT_FACTOR
    chances = factor * np.array(prior.chances)
    return np.asarray(chances / chances.sum(axis=1, keepdims=True))
