"""What to do to each section: the least time and clear coat that meet the target there.

Every section has a menu (:mod:`leastcut.plan.menu`). One integer programme over all sections then
weighs minutes, clear coat and the changing of pads and liquids.
"""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field, replace
from typing import Literal

import numpy as np
from numpy.typing import NDArray

from leastcut.car.records import Interval
from leastcut.plan.menu import Menu, menu_card
from leastcut.plan.milp import ChoiceProblem, Solution, solve, used
from leastcut.plan.options import Effects, effects
from leastcut.plan.records import (
    Layout,
    PanelNeed,
    Relaxation,
    SectionPlan,
    Step,
    Weights,
    Wishes,
)
from leastcut.plan.wishes import limit_rows, relax_clear_coat, relax_limits
from leastcut.testspot.paint import PaintDraws
from leastcut.testspot.records import Process

Floats = NDArray[np.float64]

FULL_SECTION_MM2 = 610.0**2  # two feet square, the most that is worked at one time


@dataclass(frozen=True, kw_only=True)
class Inputs:
    """Everything the choice depends on; change one and choose again.

    Attributes
    ----------
    layouts : sequence of Layout
        The panels with their sections, in the order of work.
    panels : sequence of PanelNeed
        What each panel asks for and can afford.
    ladder : sequence of Process
        The processes at hand, in any order.
    draws : PaintDraws
        Equally likely paints.
    p_target : float
        Chance of meeting the target that a section should have, 0 to 1.
    p_accept : float or None
        Chance that a person has accepted where `p_target` cannot be paid; None accepts none.
    weights : Weights
        What a micrometre and a change of process are worth in minutes.
    wishes : Wishes
        What the whole car may use up.
    finish_step : bool
        Whether a finishing step follows a process that hazes.
    time_limit_s, gap : float
        When the solver may stop [s], [fraction of the cost].
    """

    layouts: Sequence[Layout]
    panels: Sequence[PanelNeed]
    ladder: Sequence[Process]
    draws: PaintDraws
    p_target: float = 0.9
    p_accept: float | None = None
    weights: Weights = field(default_factory=Weights)
    wishes: Wishes = field(default_factory=Wishes)
    finish_step: bool = True
    time_limit_s: float = 2.0
    gap: float = 1e-3


@dataclass(frozen=True, kw_only=True)
class Choice:
    """The chosen steps and what they come to.

    Attributes
    ----------
    sections : tuple of SectionPlan
        In the order of work.
    gap : float or None
        Proven: no plan costs less than this fraction below.
    by : str
        Which method found it.
    minutes : float
        Sets, wiping and changing of pads [min].
    cut_um : float
        Mean cut, weighted by area [µm].
    removed : float
        Share of the scratch length gone, expected, weighted by area; sections that need nothing
        are left out. NaN when no section needs anything.
    together : float
        Chance that every section that is worked meets the target: they share a paint. NaN when
        none is worked.
    relaxations : tuple of Relaxation
        Ways out where a wish cannot be met; the plan then leaves that wish aside.
    """

    sections: tuple[SectionPlan, ...]
    gap: float | None
    by: Literal["milp", "greedy", "infeasible", "out of time"]
    minutes: float
    cut_um: float
    removed: float
    together: float
    relaxations: tuple[Relaxation, ...]


def choose(
    layouts: Sequence[Layout],
    *,
    panels: Sequence[PanelNeed],
    ladder: Sequence[Process],
    draws: PaintDraws,
    p_target: float,
    weights: Weights | None = None,
    time_limit_s: float = 2.0,
    gap: float = 1e-3,
) -> tuple[tuple[SectionPlan, ...], float | None]:
    """Choose the steps of every section of the car.

    Parameters
    ----------
    layouts : sequence of Layout
        The panels with their sections, in the order of work.
    panels : sequence of PanelNeed
        What each panel asks for and can afford.
    ladder : sequence of Process
        The processes at hand, in any order.
    draws : PaintDraws
        Equally likely paints.
    p_target : float
        Chance of meeting the target that a section should have, 0 to 1.
    weights : Weights
        What a micrometre and a change of process are worth in minutes.
    time_limit_s, gap : float
        When the solver may stop [s], [fraction of the cost].

    Returns
    -------
    tuple of SectionPlan
        Sections in the order of work.
    float or None
        Proven gap: the plan costs at most this fraction more than the best one.

    Raises
    ------
    leastcut.plan.menu.ChooseError
        If a layout's panel has no need, or the ladder is empty.
    """
    found = choose_all(
        Inputs(
            layouts=layouts,
            panels=panels,
            ladder=ladder,
            draws=draws,
            p_target=p_target,
            weights=weights or Weights(),
            time_limit_s=time_limit_s,
            gap=gap,
        )
    )
    return found.sections, found.gap


def choose_all(inputs: Inputs) -> Choice:
    """Choose the steps of every section, wishes for the whole car included.

    Raises
    ------
    leastcut.plan.menu.ChooseError
        If a layout's panel has no need, or the ladder is empty.
    """
    table = effects(inputs.ladder, draws=inputs.draws, finish_step=inputs.finish_step)
    menus = menu_card(
        inputs.layouts,
        panels=inputs.panels,
        ladder=inputs.ladder,
        table=table,
        p_target=inputs.p_target,
        p_accept=inputs.p_accept,
        weights=inputs.weights,
        thin=not inputs.wishes.liquid_ml,
    )
    problem = _problem(menus, table, inputs)
    solution = solve(problem, time_limit_s=inputs.time_limit_s, gap=inputs.gap)
    relaxed = relax_clear_coat(inputs.panels, table=table, p_target=inputs.p_target)
    if not solution.choice and menus:
        relaxed = (*relax_limits(problem, time_limit_s=inputs.time_limit_s), *relaxed)
        problem = replace(problem, limits=())
        solution = solve(problem, time_limit_s=inputs.time_limit_s, gap=inputs.gap)
    return _choice(menus, problem, solution, table=table, inputs=inputs, relaxed=relaxed)


def _problem(menus: Sequence[Menu], table: Effects, inputs: Inputs) -> ChoiceProblem:
    """Turn the menus into the integer programme that the weights describe."""
    n_processes = len(inputs.ladder)
    uses = []
    for menu in menus:
        rows = np.zeros((len(menu.which), n_processes), dtype=bool)
        for row, k in enumerate(menu.which):
            rows[row, [i for i, _ in table.stacks[k]]] = True
        uses.append(rows)
    weights = inputs.weights
    return ChoiceProblem(
        cost=tuple(
            menu.minutes
            + weights.minutes_per_um * menu.section.area_mm2 / FULL_SECTION_MM2 * menu.cut_um
            for menu in menus
        ),
        uses=tuple(uses),
        group=tuple(menu.group for menu in menus),
        setup=np.full(n_processes, weights.minutes_per_process),
        change=np.full(n_processes, weights.minutes_per_change),
        limits=limit_rows(inputs.wishes, menus, table=table, ladder=inputs.ladder, weights=weights),
    )


def _choice(
    menus: Sequence[Menu],
    problem: ChoiceProblem,
    solution: Solution,
    *,
    table: Effects,
    inputs: Inputs,
    relaxed: tuple[Relaxation, ...],
) -> Choice:
    """Add up what the solution comes to."""
    needs = {need.panel: need for need in inputs.panels}
    pairs = list(zip(menus, solution.choice, strict=True))
    area = np.array([menu.section.area_mm2 for menu in menus])
    cut = np.array([menu.cut_um[o] for menu, o in pairs])
    removed = np.array([table.removed[menu.which[o]].mean() for menu, o in pairs])
    asked = np.array([needs[menu.section.panel].required > 0 for menu in menus], dtype=bool)
    minutes = sum(float(menu.minutes[o]) for menu, o in pairs) + _shared(problem, solution)
    return Choice(
        sections=tuple(
            _section_plan(
                menu, o, need=needs[menu.section.panel], ladder=inputs.ladder, table=table
            )
            for menu, o in pairs
        ),
        gap=solution.gap,
        by=solution.by,
        minutes=minutes,
        cut_um=_mean(cut, area),
        removed=_mean(removed[asked], area[asked]),
        together=_together(menus, solution, table=table, needs=needs),
        relaxations=relaxed,
    )


def _together(
    menus: Sequence[Menu], solution: Solution, *, table: Effects, needs: Mapping[str, PanelNeed]
) -> float:
    """Return the share of likely paints on which every section that is worked meets the target."""
    worked = {
        (int(menu.which[o]), needs[menu.section.panel].required)
        for menu, o in zip(menus, solution.choice, strict=True)
        if menu.which[o] > 0
    }
    if not worked:
        return float("nan")
    return float(np.all([table.removed[k] >= required for k, required in worked], axis=0).mean())


def _shared(problem: ChoiceProblem, solution: Solution) -> float:
    """Return the minutes of setting up and changing processes."""
    table = used(problem, solution.choice)
    return float(table.any(axis=0) @ problem.setup + table.sum(axis=0) @ problem.change)


def _mean(values: Floats, weight: Floats) -> float:
    return float(values @ weight / weight.sum()) if values.size else float("nan")


def _section_plan(
    menu: Menu, o: int, *, need: PanelNeed, ladder: Sequence[Process], table: Effects
) -> SectionPlan:
    k = int(menu.which[o])
    steps = tuple(
        Step(process=ladder[i].label, sets=sets, seconds=sets * float(menu.set_seconds[i]))
        for i, sets in table.stacks[k]
    )
    low, high = np.quantile(table.cut_um[k], [0.025, 0.975])
    cut = Interval(mean=float(table.cut_um[k].mean()), low=float(low), high=float(high))
    return SectionPlan(
        panel=menu.section.panel,
        id=menu.section.id,
        steps=steps,
        cut_um=cut,
        clear_after_low_um=_clear_after_low(need, cut),
        p_target=float(menu.p_target[o]),
        note=menu.note,
        area_mm2=menu.section.area_mm2,
    )


def _clear_after_low(need: PanelNeed, cut: Interval) -> float:
    """Return the lower 95 % bound of what is left: the two spreads add in quadrature."""
    spread = float(np.hypot(need.clear_mean_um - need.clear_low_um, cut.high - cut.mean))
    return max(0.0, need.clear_mean_um - cut.mean - spread)
