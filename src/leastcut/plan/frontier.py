"""Minutes against clear coat against finish: the plans no other beats, and three offers.

The finish is varied by what may be left of the scratches: ``left_factor`` 1 is what was asked, 3
leaves three times as much, ⅓ a third. The weight of clear coat is varied in minutes per micrometre.
"""

from collections.abc import Sequence
from dataclasses import replace
from typing import Literal

import msgspec
import numpy as np

from leastcut.plan.build import Around, plan_of
from leastcut.plan.choose import Choice, Inputs, choose_all
from leastcut.plan.records import FrontierPoint, Offer, PanelNeed

LEFT_FACTORS = (4.0, 2.0, 1.0, 0.5)
MINUTES_PER_UM = (0.0, 5.0, 20.0, 100.0)
OFFERS: tuple[tuple[Literal["light", "asked", "fine"], float, str], ...] = (
    ("light", 3.0, "Leaves three times the scratches of the plan asked for, and spends the least."),
    ("asked", 1.0, "The plan asked for."),
    (
        "fine",
        1 / 3,
        "Leaves a third of the scratches of the plan asked for, where the paint can pay.",
    ),
)


def with_left(inputs: Inputs, factor: float) -> Inputs:
    """Return inputs that may leave `factor` times the scratches."""
    return replace(inputs, panels=[_leaving(need, factor) for need in inputs.panels])


def _leaving(need: PanelNeed, factor: float) -> PanelNeed:
    if need.required <= 0:
        return need
    return msgspec.structs.replace(need, required=max(0.0, 1 - factor * (1 - need.required)))


def frontier(
    inputs: Inputs,
    *,
    left_factors: Sequence[float] = LEFT_FACTORS,
    minutes_per_um: Sequence[float] = MINUTES_PER_UM,
) -> tuple[FrontierPoint, ...]:
    """Trace the plans that no other beats.

    Parameters
    ----------
    inputs : Inputs
        The plan's inputs; its own weight of clear coat is not used.
    left_factors : sequence of float
        What may be left of the scratches, against what was asked.
    minutes_per_um : sequence of float
        Weights of clear coat to try.

    Returns
    -------
    tuple of FrontierPoint
        Sorted by minutes; none is beaten in minutes, clear coat and finish at once. Empty when no
        section needs anything.
    """
    points = []
    for factor in left_factors:
        for weight in minutes_per_um:
            weights = msgspec.structs.replace(inputs.weights, minutes_per_um=weight)
            choice = choose_all(replace(with_left(inputs, factor), weights=weights))
            if not np.isnan(choice.removed):
                points.append(_point(choice, weight, factor))
    kept = [p for p in points if not any(_beats(q, p) for q in points)]
    unique = {(p.work_minutes, p.cut_um): p for p in kept}
    return tuple(sorted(unique.values(), key=lambda p: (p.work_minutes, p.cut_um)))


def _point(choice: Choice, weight: float, factor: float) -> FrontierPoint:
    return FrontierPoint(
        work_minutes=choice.minutes,
        cut_um=choice.cut_um,
        removed_percent=100 * choice.removed,
        minutes_per_um=weight,
        left_factor=factor,
    )


def _beats(q: FrontierPoint, p: FrontierPoint) -> bool:
    """Tell whether q is as good as p in everything and better in something."""
    a = (q.work_minutes, q.cut_um, -q.removed_percent)
    b = (p.work_minutes, p.cut_um, -p.removed_percent)
    return all(x <= y + 1e-9 for x, y in zip(a, b, strict=True)) and any(
        x < y - 1e-9 for x, y in zip(a, b, strict=True)
    )


def offers(inputs: Inputs, *, around: Around, rng: np.random.Generator) -> tuple[Offer, ...]:
    """Return three offers for the client: light, as asked, fine.

    Raises
    ------
    leastcut.plan.menu.ChooseError
        If a layout's panel has no need, or the ladder is empty.
    """
    seed = int(rng.integers(2**32))
    found = []
    for name, factor, what in OFFERS:
        plan, figures = plan_of(
            with_left(inputs, factor), around=around, rng=np.random.default_rng(seed)
        )
        found.append(Offer(name=name, what=what, left_factor=factor, figures=figures, plan=plan))
    return tuple(found)
