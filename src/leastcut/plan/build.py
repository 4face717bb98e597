"""The whole plan from what is known: choice, day, time, materials, price."""

import math
from collections.abc import Sequence
from functools import partial

import numpy as np

from leastcut.car.records import Car
from leastcut.plan.choose import choose
from leastcut.plan.learn import SETS, Learnt
from leastcut.plan.materials import Usage, needed
from leastcut.plan.operations import day
from leastcut.plan.quote import price
from leastcut.plan.records import (
    Layout,
    PanelNeed,
    Plan,
    PriceEntry,
    Rates,
    SectionPlan,
    Weights,
)
from leastcut.plan.time import CORRELATION, PACE, total
from leastcut.testspot.paint import PaintDraws
from leastcut.testspot.records import Process


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
    n_trials: int = 2,
    learnt: Learnt | None = None,
    usage: Usage | None = None,
    prices: Sequence[PriceEntry] = (),
    rates: Rates | None = None,
) -> Plan:
    """Plan the car.

    Parameters
    ----------
    layouts : sequence of Layout
        The panels with their sections, in the order of work.
    car : Car
        For areas, edges and panel count.
    panels : sequence of PanelNeed
        What each panel asks for and can afford.
    ladder : sequence of Process
        The processes at hand.
    draws : PaintDraws
        Equally likely paints.
    rng : numpy.random.Generator
        For the Monte Carlo over durations.
    p_target : float
        Chance of meeting the target that each section should have.
    weights : Weights
        What a micrometre and a change of process are worth in minutes.
    n_trials : int
        Trials on the test spot.
    learnt : Learnt or None
        The shop's own pace, from its runs.
    usage : Usage
        Consumption figures.
    prices : sequence of PriceEntry
        The shop's price list.
    rates : Rates or None
        What the shop charges; None for no quote.

    Returns
    -------
    Plan
        ``section_minutes`` is the sum of the steps' seconds over 60.

    Raises
    ------
    leastcut.plan.choose.ChooseError
        If a layout's panel has no need, or the ladder is empty.
    leastcut.plan.quote.RatesError, leastcut.plan.money.MoneyError
        If the rates cannot be used.
    """
    sections, gap = choose(
        layouts, panels=panels, ladder=ladder, draws=draws, p_target=p_target, weights=weights
    )
    seconds = math.fsum(step.seconds for section in sections for step in section.steps)
    operations = day(car, sections, n_trials=n_trials, learnt=learnt)
    currency = rates.currency if rates else "EUR"
    materials = needed(
        sections, ladder, car=car, layouts=layouts, usage=usage, prices=prices, currency=currency
    )
    correlation = learnt.correlation if learnt else CORRELATION
    pace = learnt.factor.get(SETS, PACE) if learnt else PACE
    last = partial(total, seconds, rng=rng, correlation=correlation, pace=pace)
    attended = last(operations=[o for o in operations if o.attended])
    risks = risks_of(sections, panels)
    return Plan(
        sections=sections,
        operations=operations,
        minutes=last(operations=operations),
        section_minutes=seconds / 60,
        materials=materials,
        price=price(attended, materials, rates=rates, risks=risks) if rates else None,
        proven_gap=gap,
        notes=_notes(sections),
    )


def risks_of(sections: Sequence[SectionPlan], panels: Sequence[PanelNeed]) -> tuple[str, ...]:
    """Say in plain words what may change the price or the finish."""
    known = {need.panel: need for need in panels}
    found = ["Earlier repairs or filler hidden under the paint may stop the work on a panel."]
    guessed = [name for name, need in known.items() if need.finding == "unmeasured"]
    if guessed:
        found.append(f"Film not measured, budget assumed: {', '.join(guessed)}.")
    short = sorted({s.panel for s in sections if s.note and s.steps})
    if short:
        found.append(f"Marks will be left on purpose, for want of clear coat: {', '.join(short)}.")
    found.append("Single marks deeper than the planned cut stay.")
    return tuple(found)


def _notes(sections: Sequence[SectionPlan]) -> tuple[str, ...]:
    """Gather the sections' notes, one line per panel and note, in the order of work."""
    seen: dict[tuple[str, str], int] = {}
    for section in sections:
        if section.note:
            key = (section.panel, section.note)
            seen[key] = seen.get(key, 0) + 1
    return tuple(f"{panel} ({n} sections): {note}" for (panel, note), n in seen.items())
