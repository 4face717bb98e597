"""What if: change one number and see what the plan answers."""

from collections.abc import Sequence
from dataclasses import replace

import msgspec
import numpy as np

from leastcut.plan.build import Around, plan_of
from leastcut.plan.choose import Inputs
from leastcut.plan.menu import ChooseError
from leastcut.plan.records import Answer, Change, Figures, PanelNeed, Plan
from leastcut.testspot.ladder import finish_floor, ordered, relative_cut
from leastcut.testspot.paint import FLOOR_SD, RELATIVE_CUT_SD, PaintDraws
from leastcut.testspot.records import Process


def ask(
    inputs: Inputs, change: Change, *, around: Around, rng: np.random.Generator
) -> tuple[Answer, Plan]:
    """Plan with and without a change, under the same chance.

    Parameters
    ----------
    inputs : Inputs
        The plan's inputs.
    change : Change
        What to change.
    around : Around
        The car and the shop.
    rng : numpy.random.Generator
        For durations, and for the cut of a process that was never tried.

    Returns
    -------
    Answer
        Figures before and after, sections worked otherwise, ways out of impossible wishes.
    Plan
        The plan after the change.

    Raises
    ------
    leastcut.plan.menu.ChooseError
        If the change names a panel or a process that is not there, or leaves no process.
    """
    seed = int(rng.integers(2**32))
    plans = [
        plan_of(each, around=around, rng=np.random.default_rng(seed))
        for each in (inputs, changed(inputs, change, rng=rng))
    ]
    (old, before), (new, after) = plans
    steps = {(s.panel, s.id): s.steps for s in old.sections}
    other = tuple(s.id for s in new.sections if steps[s.panel, s.id] != s.steps)
    answer = Answer(
        before=before,
        after=after,
        changed=other,
        relaxations=new.relaxations,
        say=_say(before, after, len(other)),
    )
    return answer, new


def changed(inputs: Inputs, change: Change, *, rng: np.random.Generator) -> Inputs:
    """Return the inputs with the change made; the given ones stay as they are.

    Raises
    ------
    leastcut.plan.menu.ChooseError
        If the change names a panel or a process that is not there, or leaves no process.
    """
    _known(change, inputs)
    kept = [process for process in inputs.ladder if process.label not in change.without]
    weights, wishes = inputs.weights, inputs.wishes
    if change.minutes_per_um is not None:
        weights = msgspec.structs.replace(weights, minutes_per_um=change.minutes_per_um)
    if change.minutes is not None:
        wishes = msgspec.structs.replace(wishes, minutes=change.minutes)
    return replace(
        inputs,
        ladder=ordered([*kept, *change.add]),
        draws=with_processes(inputs.draws, change.add, rng=rng),
        panels=[_need(need, change) for need in inputs.panels],
        finish_step=inputs.finish_step if change.finish_step is None else change.finish_step,
        p_target=inputs.p_target if change.p_target is None else change.p_target,
        weights=weights,
        wishes=wishes,
    )


def _known(change: Change, inputs: Inputs) -> None:
    panels = {need.panel for need in inputs.panels}
    for panel in [*change.budget_um, *change.required, *change.leave]:
        if panel not in panels:
            raise ChooseError(f"no panel {panel!r}", do=f"Use one of {', '.join(sorted(panels))}")
    labels = {process.label for process in inputs.ladder}
    for label in change.without:
        if label not in labels:
            raise ChooseError(f"no process {label!r}", do=f"Use one of {', '.join(sorted(labels))}")
    for process in change.add:
        if process.label in labels:
            raise ChooseError(f"there is a process {process.label!r} already", do="Call it else")


def _need(need: PanelNeed, change: Change) -> PanelNeed:
    new = need
    if need.panel in change.budget_um:
        budget = change.budget_um[need.panel]
        new = msgspec.structs.replace(new, budget_um=budget, section_budgets_um={})
    if need.panel in change.required:
        new = msgspec.structs.replace(new, required=change.required[need.panel])
    if need.panel in change.leave:
        new = msgspec.structs.replace(new, budget_um=0.0, note="by wish", section_budgets_um={})
    return new


def with_processes(
    draws: PaintDraws, added: Sequence[Process], *, rng: np.random.Generator
) -> PaintDraws:
    """Return the same paints with processes that were never tried: their cut is prior only."""
    n = len(draws.softness)
    for process in added:
        cut = relative_cut(process) * np.exp(RELATIVE_CUT_SD * rng.standard_normal((n, 1)))
        floor = finish_floor(process) * np.exp(FLOOR_SD * rng.standard_normal((n, 1)))
        draws = replace(
            draws,
            labels=(*draws.labels, process.label),
            relative_cut=np.hstack([draws.relative_cut, cut]),
            floor=np.hstack([draws.floor, np.minimum(floor, 1.0)]),
        )
    return draws


def _say(before: Figures, after: Figures, n_changed: int) -> str:
    """Say in one sentence what the change does."""
    if n_changed == 0:
        return "No section would be worked otherwise."
    minutes = after.minutes.p50 - before.minutes.p50
    cut = after.cut_um - before.cut_um
    return (
        f"{n_changed} sections would be worked otherwise: {_more(minutes, 'min', 0)}, "
        f"{_more(cut, 'µm of clear coat on the mean', 2)}."
    )


def _more(change: float, unit: str, digits: int) -> str:
    word = "more" if change >= 0 else "less"
    return f"{abs(change):.{digits}f} {unit} {word}"
