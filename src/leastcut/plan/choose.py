"""What to do to each section: the least time and clear coat that meet the target there.

Every section has a menu: the stacks of steps that fit its budget and reach the target with the
asked chance; where none does, the stacks that come nearest. One integer programme over all
sections then weighs minutes, clear coat and the changing of pads and liquids.
"""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from leastcut.car.records import Interval
from leastcut.errors import InputError
from leastcut.plan.milp import ChoiceProblem, Limit, Solution, solve
from leastcut.plan.options import Effects, Stack, effects
from leastcut.plan.pace import set_seconds
from leastcut.plan.records import Layout, PanelNeed, Section, SectionPlan, Step, Weights
from leastcut.testspot.paint import PaintDraws
from leastcut.testspot.records import Process

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]

P_BUDGET = 0.95  # chance that a cut stays within the budget; the budget itself is a lower bound
NEAR = 0.01  # options this close in chance (or in fraction removed) count as equally good
HOPELESS = 0.05  # below this chance of the target, judge by the fraction removed instead


class ChooseError(InputError):
    """A plan was asked for panels or processes that are not there."""


@dataclass(frozen=True)
class Menu:
    """What may be done to one section.

    Attributes
    ----------
    section : Section
        The section.
    group : int
        Number of its panel.
    which : (m,) array
        Indices of the stacks on the menu.
    minutes : (m,) array
        Minutes of work of each, wiping included.
    cut_um, p_target : (m,) arrays
        Mean cut [µm] and chance of meeting the target.
    set_seconds : (P,) array
        Time of one set of every process here [s].
    note : str
        Why the menu is short, in plain words.
    """

    section: Section
    group: int
    which: Ints
    minutes: Floats
    cut_um: Floats
    p_target: Floats
    set_seconds: Floats
    note: str


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
        The processes at hand, mildest first.
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
    ChooseError
        If a layout's panel has no need, or the ladder is empty.
    """
    weights = weights or Weights()
    table = effects(ladder, draws=draws)
    menus = menu_card(
        layouts, panels=panels, ladder=ladder, table=table, p_target=p_target, weights=weights
    )
    problem = problem_of(menus, table=table, n_processes=len(ladder), weights=weights)
    solution = solve(problem, time_limit_s=time_limit_s, gap=gap)
    return read(menus, solution, panels=panels, ladder=ladder, table=table), solution.gap


def menu_card(
    layouts: Sequence[Layout],
    *,
    panels: Sequence[PanelNeed],
    ladder: Sequence[Process],
    table: Effects,
    p_target: float,
    weights: Weights,
) -> tuple[Menu, ...]:
    """Write the menu of every section, in the order of work.

    Raises
    ------
    ChooseError
        If a layout's panel has no need, or the ladder is empty.
    """
    if not ladder:
        raise ChooseError("there is no process at hand", do="List at least one process")
    needs = {need.panel: need for need in panels}
    menus = []
    for group, layout in enumerate(layouts):
        need = needs.get(layout.panel)
        if need is None:
            raise ChooseError(
                f"panel {layout.panel!r} has sections but no finding", do="Give its load and budget"
            )
        for section in _in_order(layout):
            budget = need.section_budgets_um.get(section.id, need.budget_um)
            which, chance, note = _allowed(table, need=need, budget_um=budget, p_target=p_target)
            once = np.array([set_seconds(section, process) for process in ladder])
            minutes = np.array([_minutes(table.stacks[k], once, weights) for k in which])
            cut = table.cut_um[which].mean(axis=1)
            keep = _undominated(minutes, cut, [_kit(table.stacks[k]) for k in which])
            kept = (which[keep], minutes[keep], cut[keep], chance[keep])
            menus.append(Menu(section, group, *kept, once, note))
    return tuple(menus)


def _in_order(layout: Layout) -> Iterator[Section]:
    """Yield the sections in the order of work; any that the order forgets come last."""
    place = {name: i for i, name in enumerate(layout.order)}
    yield from sorted(layout.sections, key=lambda section: place.get(section.id, len(place)))


def _allowed(
    table: Effects, *, need: PanelNeed, budget_um: float, p_target: float
) -> tuple[Ints, Floats, str]:
    """Return the stacks on the menu, their chance of meeting the target, and the note."""
    alone = np.array([0])
    if need.required <= 0:
        return alone, np.array([1.0]), "already meets the target: left alone"
    if budget_um <= 0:
        why = need.note or f"no clear coat to spend ({need.finding})"
        return alone, np.array([0.0]), f"left alone: {why}"
    chance = (table.removed >= need.required).mean(axis=1)
    within = (table.cut_um <= budget_um).mean(axis=1) >= P_BUDGET
    good = np.flatnonzero(within & (chance >= p_target))
    if good.size:
        return good, chance[good], ""
    which = _nearest(table, chance, within)
    return which, chance[which], _short(float(chance[which].max()), budget_um, within)


def _nearest(table: Effects, chance: Floats, within: NDArray[np.bool_]) -> Ints:
    """Return the stacks within budget that come as near the target as any."""
    hopeless = chance[within].max() < HOPELESS
    merit = table.removed.mean(axis=1) if hopeless else chance
    return np.flatnonzero(within & (merit >= merit[within].max() - NEAR))


def _short(chance: float, budget_um: float, within: NDArray[np.bool_]) -> str:
    if within.sum() == 1:
        return f"left alone: even the mildest process may cut more than {budget_um:.1f} µm"
    return (
        f"the target is met here with a chance of {chance:.0%} only: "
        f"the most that {budget_um:.1f} µm and this ladder allow"
    )


def _minutes(stack: Stack, once: Floats, weights: Weights) -> float:
    seconds = sum(sets * once[i] for i, sets in stack)
    return float(seconds / 60 + weights.minutes_per_step * len(stack))


def _kit(stack: Stack) -> frozenset[int]:
    return frozenset(i for i, _ in stack)


def _undominated(minutes: Floats, cut: Floats, kits: list[frozenset[int]]) -> Ints:
    """Drop an option when another with no process more takes no longer and cuts no more."""
    order = np.lexsort((cut, minutes))
    kept: list[int] = []
    for k in order:
        if not any(kits[j] <= kits[k] and cut[j] <= cut[k] for j in kept):
            kept.append(int(k))
    return np.array(sorted(kept))


def problem_of(
    menus: Sequence[Menu],
    *,
    table: Effects,
    n_processes: int,
    weights: Weights,
    limits: tuple[Limit, ...] = (),
) -> ChoiceProblem:
    """Turn the menus into the integer programme that the weights describe."""
    uses = []
    for menu in menus:
        rows = np.zeros((len(menu.which), n_processes), dtype=bool)
        for row, k in enumerate(menu.which):
            rows[row, [i for i, _ in table.stacks[k]]] = True
        uses.append(rows)
    return ChoiceProblem(
        cost=tuple(menu.minutes + weights.minutes_per_um * menu.cut_um for menu in menus),
        uses=tuple(uses),
        group=tuple(menu.group for menu in menus),
        setup=np.full(n_processes, weights.minutes_per_process),
        change=np.full(n_processes, weights.minutes_per_change),
        limits=limits,
    )


def read(
    menus: Sequence[Menu],
    solution: Solution,
    *,
    panels: Sequence[PanelNeed],
    ladder: Sequence[Process],
    table: Effects,
) -> tuple[SectionPlan, ...]:
    """Turn a solution back into steps per section."""
    needs = {need.panel: need for need in panels}
    return tuple(
        _section_plan(menu, o, need=needs[menu.section.panel], ladder=ladder, table=table)
        for menu, o in zip(menus, solution.choice, strict=True)
    )


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
    )


def _clear_after_low(need: PanelNeed, cut: Interval) -> float:
    """Return the lower 95 % bound of what is left: the two spreads add in quadrature."""
    spread = float(np.hypot(need.clear_mean_um - need.clear_low_um, cut.high - cut.mean))
    return max(0.0, need.clear_mean_um - cut.mean - spread)
