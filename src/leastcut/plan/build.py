"""The whole plan from what is known: choice, day, time, materials, price."""

import math
from collections.abc import Sequence
from dataclasses import dataclass
from functools import partial
from typing import Any

import numpy as np

from leastcut.car.records import Car
from leastcut.plan.choose import Choice, Inputs, choose_all
from leastcut.plan.learn import SETS, Learnt
from leastcut.plan.materials import Usage, needed
from leastcut.plan.operations import day
from leastcut.plan.quote import price
from leastcut.plan.records import (
    Figures,
    Layout,
    Operation,
    PanelNeed,
    Plan,
    PriceEntry,
    Rates,
    SectionPlan,
    Weights,
    Wishes,
)
from leastcut.plan.rests import note_of, share_of, with_rests
from leastcut.plan.time import CORRELATION, PACE, total
from leastcut.plan.wishes import gathered, named
from leastcut.testspot.paint import PaintDraws
from leastcut.testspot.records import Process


@dataclass(frozen=True, kw_only=True)
class Around:
    """What stands around the choice: the car, the shop, and what it charges.

    Attributes
    ----------
    car : Car
        For areas, edges and panel count.
    n_trials : int
        Trials on the test spot.
    vibration_m_s2, vibration_k_m_s2 : float or None
        The machine's declared vibration and its K [m/s²]; None for the trade's usual rests.
    persons : int
        People who can polish on the same day.
    learnt : Learnt or None
        The shop's own pace, from its runs.
    usage : Usage or None
        Consumption figures.
    prices : sequence of PriceEntry
        The shop's price list.
    rates : Rates or None
        What the shop charges; None for no quote.
    """

    car: Car
    n_trials: int = 2
    vibration_m_s2: float | None = None
    vibration_k_m_s2: float | None = None
    persons: int = 1
    learnt: Learnt | None = None
    usage: Usage | None = None
    prices: Sequence[PriceEntry] = ()
    rates: Rates | None = None


def build(
    layouts: Sequence[Layout],
    *,
    car: Car,
    panels: Sequence[PanelNeed],
    ladder: Sequence[Process],
    draws: PaintDraws,
    rng: np.random.Generator,
    p_target: float = 0.9,
    weights: Weights | None = None,
    wishes: Wishes | None = None,
    n_trials: int = 2,
    learnt: Learnt | None = None,
    usage: Usage | None = None,
    prices: Sequence[PriceEntry] = (),
    rates: Rates | None = None,
) -> Plan:
    """Plan the car.

    Parameters
    ----------
    layouts, panels, ladder, draws, p_target, weights, wishes
        See :class:`leastcut.plan.choose.Inputs`.
    car, n_trials, learnt, usage, prices, rates
        See :class:`Around`.
    rng : numpy.random.Generator
        For the Monte Carlo over durations.

    Returns
    -------
    Plan
        ``section_minutes`` is the sum of the steps' seconds over 60.

    Raises
    ------
    leastcut.plan.menu.ChooseError
        If a layout's panel has no need, or the ladder is empty.
    leastcut.plan.quote.RatesError, leastcut.plan.money.MoneyError
        If the rates cannot be used.
    """
    inputs = Inputs(
        layouts=layouts,
        panels=panels,
        ladder=ladder,
        draws=draws,
        p_target=p_target,
        weights=weights or Weights(),
        wishes=wishes or Wishes(),
    )
    around = Around(
        car=car, n_trials=n_trials, learnt=learnt, usage=usage, prices=prices, rates=rates
    )
    return plan_of(inputs, around=around, rng=rng)[0]


def plan_of(inputs: Inputs, *, around: Around, rng: np.random.Generator) -> tuple[Plan, Figures]:
    """Return the plan and what it comes to.

    Raises
    ------
    leastcut.plan.menu.ChooseError
        If a layout's panel has no need, or the ladder is empty.
    leastcut.plan.quote.RatesError, leastcut.plan.money.MoneyError
        If the rates cannot be used.
    """
    choice = choose_all(inputs)
    sections = choice.sections
    seconds = math.fsum(step.seconds for section in sections for step in section.steps)
    operations = day(around.car, sections, n_trials=around.n_trials, learnt=around.learnt)
    operations, rest_note = _rested(operations, around, seconds)
    rates = around.rates
    materials = needed(
        sections,
        inputs.ladder,
        car=around.car,
        layouts=inputs.layouts,
        usage=around.usage,
        prices=around.prices,
        currency=rates.currency if rates else "EUR",
    )
    last = partial(total, seconds, rng=rng, **_pace(around.learnt))
    attended = last(operations=[o for o in operations if o.attended])
    risks = risks_of(sections, inputs.panels)
    plan = Plan(
        sections=sections,
        operations=operations,
        minutes=last(operations=operations),
        section_minutes=seconds / 60,
        materials=materials,
        price=price(attended, materials, rates=rates, risks=risks) if rates else None,
        proven_gap=choice.gap,
        notes=(*_notes(sections), *rest_note, *gathered(choice.relaxations)),
        relaxations=choice.relaxations,
    )
    return plan, figures_of(plan, choice)


def _rested(
    operations: tuple[Operation, ...], around: Around, seconds: float
) -> tuple[tuple[Operation, ...], tuple[str, ...]]:
    """Put the rests that this machine asks for into the day, with the reason for a second hand."""
    if around.vibration_m_s2 is None or seconds <= 0:
        return operations, ()
    share = share_of(
        seconds,
        magnitude_m_s2=around.vibration_m_s2,
        k_m_s2=around.vibration_k_m_s2,
        persons=around.persons,
    )
    return with_rests(operations, share), note_of(share)


def _pace(learnt: Learnt | None) -> dict[str, Any]:
    if learnt is None:
        return {"correlation": CORRELATION, "pace": PACE}
    return {"correlation": learnt.correlation, "pace": learnt.factor.get(SETS, PACE)}


def figures_of(plan: Plan, choice: Choice) -> Figures:
    """Put what a plan comes to into one line."""
    chances = [section.p_target for section in plan.sections if section.steps]
    return Figures(
        minutes=plan.minutes,
        work_minutes=choice.minutes,
        cut_um=choice.cut_um,
        removed_percent=None if math.isnan(choice.removed) else 100 * choice.removed,
        worst_percent=100 * min(chances) if chances else None,
        together_percent=None if math.isnan(choice.together) else 100 * choice.together,
        total=plan.price.total if plan.price else None,
    )


def risks_of(sections: Sequence[SectionPlan], panels: Sequence[PanelNeed]) -> tuple[str, ...]:
    """Say in plain words what may change the price or the finish."""
    known = {need.panel: need for need in panels}
    found = ["Earlier repairs or filler hidden under the paint may stop the work on a panel."]
    guessed = [name for name, need in known.items() if need.finding == "unmeasured"]
    if guessed:
        found.append(f"Film not measured, budget assumed: {named(guessed)}.")
    short = sorted({s.panel for s in sections if s.note and s.steps})
    if short:
        found.append(f"Marks will be left on purpose, for want of clear coat: {named(short)}.")
    found.append("Single marks deeper than the planned cut stay.")
    return tuple(found)


def _notes(sections: Sequence[SectionPlan]) -> tuple[str, ...]:
    """Gather the sections' notes, one line per note, in the order of work."""
    panels: dict[str, dict[str, int]] = {}
    for section in sections:
        if section.note:
            count = panels.setdefault(section.note, {})
            count[section.panel] = count.get(section.panel, 0) + 1
    return tuple(
        f"{named(list(count))} ({sum(count.values())} sections): {note}"
        for note, count in panels.items()
    )
