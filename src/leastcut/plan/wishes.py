"""Wishes that cannot be met: which constraint stands in the way, and the cheapest relaxation.

Limits on the whole car (minutes, liquid at hand) are rows of the integer programme. Where it proves
infeasible, each limit in turn is made the objective while the others hold: the least amount that
would do. Clear coat is a limit of each panel; there the needed budget, the chance within the
budget, and the share of scratches that can be promised are worked out from the draws.
"""

from collections.abc import Sequence
from dataclasses import replace

import numpy as np
from numpy.typing import NDArray

from leastcut.plan.materials import Usage
from leastcut.plan.menu import P_BUDGET, Menu
from leastcut.plan.milp import ChoiceProblem, Limit, Solution, solve, spending
from leastcut.plan.options import Effects
from leastcut.plan.records import PanelNeed, Relaxation, Weights, Wishes
from leastcut.testspot.records import Process

Floats = NDArray[np.float64]

LEAST_PERCENT = 5.0  # a chance or a share below this is no offer, where anything else helps


def limit_rows(
    wishes: Wishes,
    menus: Sequence[Menu],
    *,
    table: Effects,
    ladder: Sequence[Process],
    weights: Weights,
    usage: Usage | None = None,
) -> tuple[Limit, ...]:
    """Write the wishes as rows over the menus' options."""
    use = usage or Usage()
    rows = []
    if wishes.minutes is not None:
        n = len(ladder)
        rows.append(
            Limit(
                name="minutes",
                use=tuple(menu.minutes for menu in menus),
                per_process=np.full(n, weights.minutes_per_process),
                per_change=np.full(n, weights.minutes_per_change),
                most=wishes.minutes,
            )
        )
    for i, process in enumerate(ladder):
        if process.label in wishes.liquid_ml:
            most = wishes.liquid_ml[process.label]
            rows.append(_liquid_row(i, menus, table=table, ladder=ladder, use=use, most=most))
    return tuple(rows)


def _liquid_row(
    i: int,
    menus: Sequence[Menu],
    *,
    table: Effects,
    ladder: Sequence[Process],
    use: Usage,
    most: float,
) -> Limit:
    """Liquid by area and sets, the priming of a fresh pad shared out over its area."""
    once = np.zeros(len(ladder))
    once[i] = use.priming_ml
    amounts = []
    for menu in menus:
        m2 = menu.section.area_mm2 / 1e6
        ml, priming = use.liquid_ml_per_m2 * m2, use.priming_ml * m2 / use.m2_per_pad
        sets = [[s for p, s in table.stacks[k] if p == i] for k in menu.which]
        amounts.append(np.array([ml * sum(s) + priming * len(s) for s in sets]))
    return Limit(
        name=f"liquid for {ladder[i].label}",
        use=tuple(amounts),
        per_process=once,
        per_change=np.zeros(len(ladder)),
        most=most,
    )


def relax_limits(problem: ChoiceProblem, *, time_limit_s: float = 2.0) -> tuple[Relaxation, ...]:
    """Return the ways out of an infeasible programme, the cheapest first.

    Parameters
    ----------
    problem : ChoiceProblem
        A programme whose limits leave nothing.
    time_limit_s : float
        Most time for each search [s].

    Returns
    -------
    tuple of Relaxation
        One limit moved alone, each; where no single one is enough, all of them moved together by
        the least sum of relative excesses.
    """
    alone = []
    for limit in problem.limits:
        others = tuple(other for other in problem.limits if other is not limit)
        found = _least(problem, (limit,), others, time_limit_s)
        if found.choice:
            alone.append(_said(limit, spending(problem, limit, found.choice)))
    if alone:
        return tuple(sorted(alone, key=lambda one: one.change))
    joint = _least(problem, problem.limits, (), time_limit_s)
    return tuple(
        _said(limit, spending(problem, limit, joint.choice), together=True)
        for limit in problem.limits
        if spending(problem, limit, joint.choice) > limit.most
    )


def _least(
    problem: ChoiceProblem,
    limits: Sequence[Limit],
    others: tuple[Limit, ...],
    time_limit_s: float,
) -> Solution:
    """Minimise what is used of `limits`, each against what it allows, while `others` hold."""
    scale = [1 / max(limit.most, 1e-9) for limit in limits]
    pairs = list(zip(scale, limits, strict=True))
    cost = tuple(
        np.sum([k * limit.use[s] for k, limit in pairs], axis=0) for s in range(len(problem.cost))
    )
    setup = np.sum([k * limit.per_process for k, limit in pairs], axis=0)
    change = np.sum([k * limit.per_change for k, limit in pairs], axis=0)
    relaxed = replace(problem, cost=cost, setup=setup, change=change, limits=others)
    return solve(relaxed, time_limit_s=time_limit_s, gap=1e-6)


def _said(limit: Limit, needed: float, *, together: bool = False) -> Relaxation:
    unit = "min" if limit.name == "minutes" else "ml"
    change = needed / max(limit.most, 1e-9) - 1
    also = " together with the other limits" if together else " alone"
    return Relaxation(
        constraint=limit.name,
        allowed=limit.most,
        needed=needed,
        unit=unit,
        change=change,
        say=f"{limit.name}: {limit.most:.0f} {unit} allowed, {needed:.0f} {unit} would do{also}",
    )


def relax_clear_coat(
    panels: Sequence[PanelNeed], *, table: Effects, p_target: float
) -> tuple[Relaxation, ...]:
    """Return, for every panel whose budget cannot pay for the target, the ways out.

    More clear coat, a lower chance, or fewer scratches removed: the least relative change first.

    Returns
    -------
    tuple of Relaxation
        Panel by panel; nothing for panels without any budget, which are left alone on purpose.
    """
    found: list[Relaxation] = []
    for need in panels:
        if need.required > 0 and need.budget_um > 0:
            found += sorted(_ways_out(need, table, p_target), key=lambda one: one.change)
    return tuple(found)


def _ways_out(need: PanelNeed, table: Effects, p_target: float) -> list[Relaxation]:
    chance = (table.removed >= need.required).mean(axis=1)
    cost = np.quantile(table.cut_um, P_BUDGET, axis=1)
    within = (table.cut_um <= need.budget_um).mean(axis=1) >= P_BUDGET
    if (within & (chance >= p_target)).any():
        return []
    ways = []
    if (chance >= p_target).any():
        needed = float(cost[chance >= p_target].min())
        ways.append(_way(need.panel, "clear coat", need.budget_um, needed, "µm"))
    ways.append(_way(need.panel, "chance", 100 * p_target, 100 * float(chance[within].max()), "%"))
    promised = np.quantile(table.removed[within], 1 - p_target, axis=1)
    share = 100 * float(promised.max())
    ways.append(_way(need.panel, "removed", 100 * need.required, share, "%"))
    worth = [way for way in ways if way.unit == "µm" or way.needed >= LEAST_PERCENT]
    return worth or ways


def _way(panel: str, what: str, allowed: float, needed: float, unit: str) -> Relaxation:
    words = {
        "clear coat": f"{allowed:.1f} µm may be cut, {needed:.1f} µm would meet the target",
        "chance": f"accept a chance of {needed:.0f} % instead of {allowed:.0f} %",
        "removed": f"promise {needed:.0f} % of the scratches gone instead of {allowed:.0f} %",
    }
    return Relaxation(
        constraint=what,
        panel=panel,
        allowed=allowed,
        needed=needed,
        unit=unit,
        change=abs(needed / allowed - 1),
        say=words[what],
    )


def gathered(relaxations: Sequence[Relaxation]) -> tuple[str, ...]:
    """Return the cheapest way out of each constraint in words, panels alike in one line.

    Examples
    --------
    >>> gathered([])
    ()
    """
    panels: dict[str, list[str]] = {}
    seen: set[str] = set()
    for one in relaxations:
        if not one.panel or one.panel not in seen:
            panels.setdefault(one.say, []).append(one.panel)
            seen.add(one.panel)
    return tuple(f"{named(names)}: {say}" if any(names) else say for say, names in panels.items())


def named(panels: Sequence[str], most: int = 4) -> str:
    """Return panel names for a sentence, the rest counted.

    Examples
    --------
    >>> named(["roof", "bonnet", "boot"], most=2)
    'roof, bonnet and 1 more'
    """
    rest = len(panels) - most
    return ", ".join(panels[:most]) + (f" and {rest} more" if rest > 0 else "")
