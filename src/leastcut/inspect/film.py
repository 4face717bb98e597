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
from leastcut.inspect.area import READINGS_PER_SPOT, SPOTS_PER_AREA, areas_to_measure
from leastcut.inspect.budget import DEFAULT, ReserveRule, allowance_um
from leastcut.inspect.film_model import Evidence, Nodes, foresee
from leastcut.inspect.gauge import spread_of
from leastcut.inspect.layers import STATES, LayerPrior
from leastcut.inspect.records import (
    EarlierCut,
    FilmFinding,
    FilmHelp,
    FilmState,
    Gauge,
    Reading,
)
from leastcut.inspect.study import FilmError, Study, numbers_of, study
from leastcut.inspect.summary import is_readable

__all__ = ["FilmError", "assess", "budget_um", "findings_of", "would_help"]

Array = NDArray[np.float64]


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
        What is known of the paint's history and system.
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
    return findings_of(
        study(
            panels,
            readings,
            paint=paint,
            gauge=gauge,
            earlier=earlier,
            reserve=reserve,
            prior=prior,
        )
    )


def findings_of(known: Study) -> tuple[FilmFinding, ...]:
    """Return the finding of every panel of a study."""
    return tuple(_finding(known, i) for i in range(len(known.panels)))


def budget_um(known: Study, i: int) -> float:
    """Return what may be cut from panel i [µm]."""
    if known.paint.system == "matt":
        return 0.0
    mean, floor = float(known.numbers[i, 0]), float(known.numbers[i, 4])
    return allowance_um(mean, floor, removed_um=float(known.removed_um[i]), rule=known.rule)


def _finding(known: Study, i: int) -> FilmFinding:
    panel, summary = known.panels[i], known.summaries[i]
    mean, low, high = (float(x) for x in known.numbers[i, :3])
    shown = summary.shown
    state = _state(known, i)
    return FilmFinding(
        panel=panel.id,
        n_spots=shown.n_spots if shown else 0,
        n_readings=shown.n_readings if shown else 0,
        mean_um=shown.mean_um if shown else None,
        sd_um=shown.sd_um if shown else None,
        min_um=shown.min_um if shown else None,
        layer=summary.layer,
        clear_um=Interval(mean=mean, low=low, high=high),
        finding=state,
        reserve_um=known.rule.floor_um,
        budget_um=budget_um(known, i),
        confidence=known.rule.confidence,
        assumed=shown is None,
        flags=summary.flags + _flags(known, i),
        notes=_notes(known, i, state),
        chances=dict(zip(STATES, known.belief.weight[i].tolist(), strict=True)),
        low_um=float(known.numbers[i, 4]),
        removed_um=float(known.removed_um[i]),
    )


def _flags(known: Study, i: int) -> tuple[str, ...]:
    """Flag what weakens the evidence on a measured panel."""
    shown = known.summaries[i].shown
    if shown is None:
        return ()
    spots = SPOTS_PER_AREA * areas_to_measure(_area_m2(known.panels[i]))
    few = shown.n_spots < spots or shown.n_readings < READINGS_PER_SPOT * spots
    doubtful = ("gauge-doubtful",) if known.gauge.notes else ()
    return doubtful + (("few-readings",) if few else ())


def _area_m2(panel: Panel) -> float:
    corners = panel.outline_mm
    pairs = zip(corners, (*corners[1:], corners[0]), strict=True)
    return abs(sum(x0 * y1 - x1 * y0 for (x0, y0), (x1, y1) in pairs)) / 2e6


def _state(known: Study, i: int) -> FilmState:
    if known.summaries[i].shown:
        state = STATES[int(np.argmax(known.belief.weight[i]))]
        return "thin" if state == "repainted" and _far_below_the_car(known, i) else state
    return "unmeasured" if is_readable(known.panels[i].material, "total") else "unreadable"


_STRIPPED_UM = 25.0


def _far_below_the_car(known: Study, i: int) -> bool:
    """Tell whether a panel has so much less film than its car that a repaint is no explanation."""
    nodes = known.belief.nodes
    level = float(np.exp(nodes.log_weight[i]) @ nodes.total)
    return bool(known.evidence.total[i] < level - _STRIPPED_UM)


_STATE_NOTES: dict[FilmState, str] = {
    "repainted": "Not the film of the rest of the car: repainted. Its clear coat is less certain.",
    "filled": "Far more film than any paint: filler. How much clear coat lies on it is not known.",
    "thin": "Less film than the rest of the car: sanded or polished hard before. Spend no more.",
    "unmeasured": "No reading on this panel: the clear coat is an assumption from typical paint.",
    "unreadable": "Plastic or composite: magnetic and eddy-current gauges cannot read it; assumed.",
    "factory": "",
}
_MATT = "Matt paint: polishing makes it shine in patches, and that cannot be undone. Do not polish."
_SINGLE = "Single-stage paint has no clear coat: the colour itself is cut and tints the pad."


def _notes(known: Study, i: int, state: FilmState) -> tuple[str, ...]:
    summary = known.summaries[i]
    notes = [_STATE_NOTES[state], *summary.notes]
    if summary.shown:
        notes += known.gauge.notes
        if summary.shown.deficit_um > 0:
            notes.append(
                f"One spot lacks {summary.shown.deficit_um:.0f} µm more than chance explains: the "
                "budget takes it that all of it is missing clear coat."
            )
    else:
        notes.append("The budget is an assumption: measure before you rely on it.")
    notes += {"matt": [_MATT], "single-stage": [_SINGLE]}.get(known.paint.system, [])
    if budget_um(known, i) == 0.0:
        notes.append(
            "Not worth the clear coat: clean and protect, leave deep scratches or refer them to a "
            "painter."
        )
    return tuple(note for note in notes if note)


_OUTCOMES = 96
_NEAR_UM, _FAR_UM = 45.0, 3000.0
_HELP_SPOTS = SPOTS_PER_AREA
_HELP_READINGS = SPOTS_PER_AREA * READINGS_PER_SPOT


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
    known = study(
        panels, readings, paint=paint, gauge=gauge, earlier=earlier, reserve=reserve, prior=prior
    )
    return help_of(known, findings)


def help_of(known: Study, findings: Sequence[FilmFinding]) -> tuple[FilmHelp, ...]:
    """Say what measuring more panels would add, as :func:`would_help`, from a study at hand.

    Parameters
    ----------
    known : Study
        What is known of the film.
    findings : sequence of FilmFinding
        What :func:`findings_of` says of it.
    """
    if known.paint.system == "matt":
        return ()
    found = [
        FilmHelp(
            panel=panel.id,
            gain_um=_then(known, i) - finding.budget_um,
            what=f"measure {panel.name} at {_HELP_SPOTS} spots, three readings each",
        )
        for i, (panel, finding) in enumerate(zip(known.panels, findings, strict=True))
        if finding.finding == "unmeasured"
    ]
    return tuple(sorted(found, key=lambda help_: -help_.gain_um))


def _then(known: Study, i: int) -> float:
    """Mean budget of panel i over everything that measuring it could show [µm]."""
    nodes = replace(known.belief.nodes, log_weight=known.belief.nodes.log_weight[i])
    thoughts = _thoughts(known, i, nodes)
    after = foresee(thoughts, known.prior, nodes)
    chance = np.exp(after.density) * np.gradient(thoughts.total)
    worn = not any(s.clear for s in known.summaries)
    numbers = numbers_of(after, known.prior, known.rule, worn=worn)
    removed = float(known.removed_um[i])
    budgets = [
        allowance_um(float(row[0]), float(row[4]), removed_um=removed, rule=known.rule)
        for row in numbers
    ]
    return float(chance @ budgets / chance.sum())


def _thoughts(known: Study, i: int, nodes: Nodes) -> Evidence:
    """Everything that measuring panel i could show, as panels of their own."""
    spread = spread_of(known.gauge)
    var = known.prior.total_place_var / _HELP_SPOTS + spread.repeat_um**2 / _HELP_READINGS
    around = float(np.exp(nodes.log_weight) @ nodes.total)
    near = np.linspace(-_NEAR_UM, _NEAR_UM, _OUTCOMES)
    outcomes = around + np.concatenate([near, np.geomspace(_NEAR_UM + 1, _FAR_UM, _OUTCOMES)])
    n = len(outcomes)
    same = {
        name: np.repeat(getattr(known.evidence, name)[[i]], n, axis=0)
        for name in ("clear", "clear_var", "cut", "cut_var", "spare_var", "group", "beside")
    }
    return Evidence(
        total=outcomes,
        total_var=np.full(n, var + spread.panel_um**2),
        chances=np.repeat(known.belief.chances[[i]], n, axis=0),
        **same,
    )
