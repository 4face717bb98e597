"""Simulated cars: the plan against the worst section's sets everywhere.

The true paint is drawn from the stated prior; two trials on it, photographed with noise, teach the
planner; then both plans are worked on the true paint.
"""

from dataclasses import replace
from typing import TypedDict

import numpy as np
from plancases import layout, need

from leastcut.car.records import Interval
from leastcut.plan.choose import Inputs, choose_all
from leastcut.plan.records import PanelNeed, SectionPlan, Weights
from leastcut.testspot import paint
from leastcut.testspot.ladder import DEFAULT
from leastcut.testspot.records import Trial

PANELS = {"roof": 5, "bonnet": 5, "boot": 3, "door-fl": 4, "door-rl": 4, "wing-l": 2}


class CarResult(TypedDict):
    cut: float
    minutes: float
    met: float
    all_met: float


def true_paint(rng: np.random.Generator) -> paint.PaintDraws:
    """Draw one paint from the stated prior."""
    points = rng.standard_normal((1, 4 + 2 * len(DEFAULT)))
    return paint.unpack(points, paint.prior(DEFAULT), DEFAULT)


def learnt(truth: paint.PaintDraws, rng: np.random.Generator) -> paint.PaintDraws:
    """Return what two trials on one spot teach, seen through noisy photos."""
    trials, steps = [], []
    for label in (DEFAULT[0].label, DEFAULT[1].label):
        steps.append((label, 2))
        removed = float(paint.outcome(truth, steps)[1][0])
        seen = float(np.clip(removed + 0.03 * rng.standard_normal(), 0.01, 0.99))
        bounds = Interval(mean=seen, low=max(0.0, seen - 0.06), high=min(1.0, seen + 0.06))
        trials.append(Trial(process=label, sets=2, removed=bounds, since="spot"))
    return paint.learn(trials, DEFAULT, n=2048)


def panel_needs(rng: np.random.Generator, load_spread: float) -> list[PanelNeed]:
    """Give panels loads of their own; the same load is to be left everywhere."""
    loads = 10 * np.exp(load_spread * rng.standard_normal(len(PANELS)))
    left = 0.15 * np.median(loads)
    wanted = np.clip(1 - left / loads, 0.0, 0.99)
    return [need(p, float(r), budget_um=12.0) for p, r in zip(PANELS, wanted, strict=True)]


def worked(plans: list[tuple[SectionPlan, float]], truth: paint.PaintDraws) -> CarResult:
    """Work section plans on the true paint; each comes with the share required there."""
    cuts, met, minutes = [], [], 0.0
    for plan, required in plans:
        cut, removed = paint.outcome(truth, [(s.process, s.sets) for s in plan.steps])
        cuts.append(float(cut[0]))
        met.append(required <= 0 or float(removed[0]) >= required)
        minutes += sum(s.seconds for s in plan.steps) / 60
    return {"cut": sum(cuts), "minutes": minutes, "met": np.mean(met), "all_met": float(all(met))}


def one_car(
    rng: np.random.Generator, *, p_target: float, minutes_per_um: float, load_spread: float
) -> tuple[CarResult, CarResult] | None:
    """Plan one car both ways; None where the ladder cannot meet the target on every panel."""
    truth = true_paint(rng)
    needs = panel_needs(rng, load_spread)
    base = Inputs(
        layouts=[layout(panel, n) for panel, n in PANELS.items()],
        panels=needs,
        ladder=DEFAULT,
        draws=learnt(truth, rng),
    )
    usual = choose_all(base)
    if usual.relaxations:
        return None
    wanted = {n.panel: n.required for n in needs}
    worst = max(usual.sections, key=lambda plan: (wanted[plan.panel], plan.cut_um.mean))
    weights = Weights(minutes_per_um=minutes_per_um)
    ours = choose_all(replace(base, p_target=p_target, weights=weights)).sections
    required = [wanted[plan.panel] for plan in ours]
    return (
        worked(list(zip(ours, required, strict=True)), truth),
        worked([(worst, r) for r in required], truth),
    )


def compare(
    n: int, *, seed: int, p_target: float, minutes_per_um: float, load_spread: float = 0.6
) -> dict[str, float]:
    """Return ratios of clear coat and minutes, and how often the target is met, over `n` cars."""
    rng = np.random.default_rng(seed)
    tries = [
        one_car(rng, p_target=p_target, minutes_per_um=minutes_per_um, load_spread=load_spread)
        for _ in range(n)
    ]
    cars = [pair for pair in tries if pair is not None]
    ours = {k: np.array([a[k] for a, _ in cars]) for k in CarResult.__annotations__}
    blanket = {k: np.array([b[k] for _, b in cars]) for k in CarResult.__annotations__}
    return {
        "cars": len(cars),
        "cut_ratio": float(ours["cut"].sum() / blanket["cut"].sum()),
        "cut_ratio_mean_of_cars": float(np.mean(ours["cut"] / blanket["cut"])),
        "minutes_ratio": float(ours["minutes"].sum() / blanket["minutes"].sum()),
        "sections_met": float(ours["met"].mean()),
        "sections_met_blanket": float(blanket["met"].mean()),
        "cars_met": float(ours["all_met"].mean()),
        "cars_met_blanket": float(blanket["all_met"].mean()),
    }
