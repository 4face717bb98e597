"""Clear coat left on every panel, and how much of it may be spent.

Task: from any number of gauge readings, or none, to a finding per panel with a stated confidence.
The statistics are in :mod:`leastcut.inspect.film_model`, the rule of the budget in
:mod:`leastcut.inspect.budget`, the beliefs about layers in :mod:`leastcut.inspect.layers`.
"""

from collections.abc import Sequence
from dataclasses import replace

import numpy as np
from numpy.typing import NDArray

from leastcut.car.records import Interval, Paint, Panel
from leastcut.errors import InputError
from leastcut.inspect import mixture
from leastcut.inspect.budget import DEFAULT, ReserveRule, allowance_um, removed_by_panel
from leastcut.inspect.film_model import Belief, Evidence, Nodes, believe, foresee
from leastcut.inspect.layers import STATES, LayerPrior, place_sds, prior_for
from leastcut.inspect.records import (
    EarlierCut,
    FilmFinding,
    FilmHelp,
    FilmState,
    Gauge,
    Reading,
)
from leastcut.inspect.summary import Summary, evidence_of, is_readable, summarise

Array = NDArray[np.float64]

THIN_PLACE_Z = 1.6448536269514722
"""The thinnest place worth speaking of: only 5 % of the panel is thinner (normal quantile)."""


class FilmError(InputError):
    """Readings that do not belong to the car at hand."""


def assess(
    panels: Sequence[Panel],
    readings: Sequence[Reading],
    *,
    paint: Paint,
    gauge: Gauge,
    earlier: Sequence[EarlierCut] = (),
    reserve: ReserveRule = DEFAULT,
    prior: LayerPrior | None = None,
) -> tuple[FilmFinding, ...]:
    """Say for every panel how much clear coat it has and how much may be cut today.

    Parameters
    ----------
    panels : sequence of Panel
        All panels of the car.
    readings : sequence of Reading
        What the gauge showed [µm], any number per panel and spot; may be empty.
    paint : Paint
        What is known of the paint's history.
    gauge : Gauge
        From :func:`leastcut.inspect.gauge.calibrate`.
    earlier : sequence of EarlierCut
        The car's ledger.
    reserve : ReserveRule
        What must stay.
    prior : LayerPrior or None
        Belief about layers; None takes the default for the paint's history.

    Returns
    -------
    tuple of FilmFinding
        One per panel, in the order of `panels`, measured or not.

    Raises
    ------
    FilmError
        If a reading or a ledger entry names a panel that is not among `panels`.
    """
    _check_names(panels, readings, earlier)
    prior = prior or prior_for(paint.history)
    summaries = summarise(panels, readings, gauge=gauge, prior=prior)
    evidence = evidence_of(panels, summaries, earlier, prior, gauge=gauge)
    belief = believe(evidence, prior, level_um=_level(gauge))
    removed = removed_by_panel(earlier)
    numbers = _numbers(belief, prior, reserve)
    return tuple(
        _finding(
            panel,
            summaries[panel.id],
            weight=belief.weight[i],
            numbers=[column[i] for column in numbers],
            removed_um=removed.get(panel.id, (0.0, 0.0))[0],
            reserve=reserve,
        )
        for i, panel in enumerate(panels)
    )


def _level(gauge: Gauge) -> float:
    return gauge.sd_um if gauge.level_um is None else gauge.level_um


def _check_names(
    panels: Sequence[Panel], readings: Sequence[Reading], earlier: Sequence[EarlierCut]
) -> None:
    known = {panel.id for panel in panels}
    named = [r.panel for r in readings] + [e.panel for e in earlier]
    for name in named:
        if name not in known:
            raise FilmError(
                f"{name!r} is not a panel of this car",
                where="film readings or ledger",
                do=f"Use one of {', '.join(sorted(known))}",
            )


def _numbers(belief: Belief, prior: LayerPrior, rule: ReserveRule) -> tuple[Array, ...]:
    """Mean, 95 % bounds, and the lower bound of the thinnest place, for each panel [µm]."""
    w, mid, sd = belief.weight, belief.mid, belief.sd
    thinnest = mid - THIN_PLACE_Z * np.array(place_sds(prior))
    return (
        mixture.mean(w, mid, sd),
        mixture.quantile(0.025, w, mid, sd),
        mixture.quantile(0.975, w, mid, sd),
        mixture.quantile(1 - rule.confidence, w, thinnest, sd),
    )


def _finding(
    panel: Panel,
    summary: Summary,
    *,
    weight: Array,
    numbers: Sequence[float],
    removed_um: float,
    reserve: ReserveRule,
) -> FilmFinding:
    mean, low, high, floor = (float(x) for x in numbers)
    state = _state(panel, summary, weight)
    budget = allowance_um(mean, floor, removed_um=removed_um, rule=reserve)
    assumed = summary.n_readings == 0
    return FilmFinding(
        panel=panel.id,
        n_spots=summary.n_spots,
        n_readings=summary.n_readings,
        mean_um=summary.mean_um,
        sd_um=summary.sd_um,
        min_um=summary.min_um,
        layer=summary.layer,
        clear_um=Interval(mean=mean, low=low, high=high),
        finding=state,
        reserve_um=reserve.floor_um,
        budget_um=budget,
        confidence=reserve.confidence,
        assumed=assumed,
        flags=summary.flags,
        notes=_notes(state, assumed=assumed, budget=budget, summary=summary),
    )


def _state(panel: Panel, summary: Summary, weight: Array) -> FilmState:
    if summary.n_readings:
        return STATES[int(np.argmax(weight))]
    return "unmeasured" if is_readable(panel.material, "total") else "unreadable"


_STATE_NOTES: dict[FilmState, str] = {
    "repainted": "More film than the rest of the car: repainted. Its clear coat is less certain.",
    "filled": "Far more film than any paint: filler. Clear coat over filler is unknown territory.",
    "thin": "Less film than the rest of the car: sanded or polished hard before. Do not spend more.",
    "unmeasured": "No reading on this panel: the clear coat is an assumption from typical paint.",
    "unreadable": "Plastic or composite: magnetic and eddy-current gauges cannot read it; assumed.",
    "factory": "",
}


def _notes(state: FilmState, *, assumed: bool, budget: float, summary: Summary) -> tuple[str, ...]:
    notes = [_STATE_NOTES[state], *summary.notes]
    if assumed:
        notes.append("The budget is an assumption: measure before you rely on it.")
    if budget == 0.0:
        notes.append("Nothing may be cut here: clean, protect, or refer to a painter.")
    return tuple(note for note in notes if note)


_OUTCOMES = 96
_NEAR_UM, _FAR_UM = 45.0, 3000.0
_HELP_SPOTS, _HELP_READINGS = 5, 15


def would_help(
    findings: Sequence[FilmFinding],
    panels: Sequence[Panel],
    *,
    readings: Sequence[Reading] = (),
    paint: Paint,
    gauge: Gauge,
    earlier: Sequence[EarlierCut] = (),
    reserve: ReserveRule = DEFAULT,
    prior: LayerPrior | None = None,
) -> tuple[FilmHelp, ...]:
    """Say what measuring each panel that has no reading yet is expected to add to its budget.

    The value of information: over everything that five spots of three readings could show, the mean
    of the budget that would then be allowed, less the budget allowed now.

    Parameters
    ----------
    findings : sequence of FilmFinding
        What :func:`assess` returned for the same arguments, in the order of `panels`.
    panels, readings, paint, gauge, earlier, reserve, prior
        As in :func:`assess`.

    Returns
    -------
    tuple of FilmHelp
        Panels that can be measured and were not, largest gain first.
    """
    prior = prior or prior_for(paint.history)
    summaries = summarise(panels, readings, gauge=gauge, prior=prior)
    evidence = evidence_of(panels, summaries, earlier, prior, gauge=gauge)
    belief = believe(evidence, prior, level_um=_level(gauge))
    removed = removed_by_panel(earlier)
    found = [
        FilmHelp(
            panel=panel.id,
            gain_um=_then(
                evidence,
                i,
                belief,
                prior,
                gauge=gauge,
                removed_um=removed.get(panel.id, (0.0, 0.0))[0],
                rule=reserve,
            )
            - finding.budget_um,
            what=f"measure {panel.name} at {_HELP_SPOTS} spots, three readings each",
        )
        for i, (panel, finding) in enumerate(zip(panels, findings, strict=True))
        if finding.finding == "unmeasured"
    ]
    return tuple(sorted(found, key=lambda help_: -help_.gain_um))


def _then(
    evidence: Evidence,
    i: int,
    belief: Belief,
    prior: LayerPrior,
    *,
    gauge: Gauge,
    removed_um: float,
    rule: ReserveRule,
) -> float:
    """Mean budget of panel i over everything that measuring it could show [µm]."""
    nodes = replace(belief.nodes, log_weight=belief.nodes.log_weight[i])
    chances = belief.chances[[i]]
    thoughts = _thoughts(evidence, i, nodes, chances, prior, gauge)
    after = foresee(thoughts, prior, nodes)
    chance = np.exp(after.density) * np.gradient(thoughts.total)
    mean, _, _, floor = _numbers(after, prior, rule)
    budgets = [
        allowance_um(float(m), float(f), removed_um=removed_um, rule=rule)
        for m, f in zip(mean, floor, strict=True)
    ]
    return float(chance @ budgets / chance.sum())


def _thoughts(
    evidence: Evidence, i: int, nodes: Nodes, chances: Array, prior: LayerPrior, gauge: Gauge
) -> Evidence:
    """Everything that measuring panel i could show, as panels of their own."""
    repeat = gauge.sd_um if gauge.repeat_um is None else gauge.repeat_um
    var = prior.total_place_var / _HELP_SPOTS + repeat**2 / _HELP_READINGS
    around = float(np.exp(nodes.log_weight) @ nodes.total)
    near = np.linspace(-_NEAR_UM, _NEAR_UM, _OUTCOMES)
    outcomes = around + np.concatenate([near, np.geomspace(_NEAR_UM + 1, _FAR_UM, _OUTCOMES)])
    same = {
        name: np.repeat(getattr(evidence, name)[[i]], len(outcomes), axis=0)
        for name in ("clear", "clear_var", "cut", "cut_var", "spare_var", "group", "beside")
    }
    return Evidence(
        total=outcomes,
        total_var=np.full(len(outcomes), var),
        chances=np.repeat(chances, len(outcomes), axis=0),
        **same,
    )
