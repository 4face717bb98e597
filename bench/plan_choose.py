"""The planner against brute size, against a blanket plan, and its quotes against simulated shops."""

import json
import sys
import time
from pathlib import Path

import msgspec
import numpy as np

from leastcut.plan import choose as choosing
from leastcut.plan.milp import ChoiceProblem, solve
from leastcut.plan.records import PanelNeed, Weights
from leastcut.testspot import paint
from leastcut.testspot.ladder import DEFAULT
from leastcut.testspot.records import Trial

sys.path.append(str(Path(__file__).parents[1] / "tests" / "plan"))
from plancases import layout, need

PANELS = {"roof": 5, "bonnet": 5, "boot": 3, "door-fl": 4, "door-rl": 4, "wing-l": 2}


def large(rng: np.random.Generator) -> ChoiceProblem:
    """120 sections × 15 options over 14 panels, six processes, tight couplings."""
    sections, options, processes = 120, 15, 6
    group = tuple(int(g) for g in np.sort(np.arange(sections) % 14))
    kits = [rng.permutation(processes)[: rng.integers(1, 3)] for _ in range(options)]
    uses = np.zeros((options, processes), dtype=bool)
    for row, kit in enumerate(kits):
        uses[row, kit] = True
    base = rng.uniform(4, 25, options)
    cost = []
    for _ in range(sections):
        allowed = rng.random(options) < 0.7
        allowed[-1] = True
        cost.append(np.where(allowed, base * rng.uniform(0.7, 1.4, options), 200.0))
    return ChoiceProblem(
        cost=tuple(cost),
        uses=tuple(uses for _ in range(sections)),
        group=group,
        setup=rng.uniform(10, 60, processes),
        change=rng.uniform(2, 12, processes),
    )


def size(n: int = 5) -> dict[str, float]:
    """Time and proven gap on the large instance; worst of `n`."""
    seconds, gaps = [], []
    for seed in range(n):
        problem = large(np.random.default_rng(seed))
        begin = time.perf_counter()
        found = solve(problem, gap=0.01, time_limit_s=2.0)
        seconds.append(time.perf_counter() - begin)
        gaps.append(float("inf") if found.gap is None else found.gap)
    return {"seconds_worst": max(seconds), "seconds_best": min(seconds), "gap_worst": max(gaps)}


def outcome_true(truth: paint.PaintDraws, steps: list[tuple[str, int]]) -> tuple[float, float]:
    """Return cut and removed fraction of `steps` on the one true paint."""
    cut, removed = paint.outcome(truth, steps)
    return float(cut[0]), float(removed[0])


def learnt(truth: paint.PaintDraws, rng: np.random.Generator) -> paint.PaintDraws:
    """Return what two trials on the test spot teach about the true paint."""
    trials, steps = [], []
    for label, sets in ((DEFAULT[0].label, 2), (DEFAULT[1].label, 2)):
        steps.append((label, sets))
        _, removed = outcome_true(truth, steps)
        seen = float(np.clip(removed + 0.03 * rng.standard_normal(), 0.01, 0.99))
        low, high = max(0.0, seen - 0.06), min(1.0, seen + 0.06)
        trials.append(
            Trial(
                process=label,
                sets=sets,
                removed=msgspec.convert({"mean": seen, "low": low, "high": high}, paint.Interval),
                since="spot",
            )
        )
    return paint.learn(trials, DEFAULT, n=2048)


def needs_of(rng: np.random.Generator) -> list[PanelNeed]:
    """Panels with loads of their own, the same load to be left everywhere."""
    loads = 10 * np.exp(0.6 * rng.standard_normal(len(PANELS)))
    left = 0.15 * np.median(loads)
    return [
        need(panel, float(np.clip(1 - left / load, 0.0, 0.99)), budget_um=12.0)
        for panel, load in zip(PANELS, loads, strict=True)
    ]


def one_car(rng: np.random.Generator, p_target: float = 0.9) -> dict[str, float] | None:
    """Plan one simulated car both ways; None where even the worst section cannot be met."""
    everyone = paint.unpack(
        rng.standard_normal((1, 3 + 2 * len(DEFAULT) + 1)), paint.prior(DEFAULT), DEFAULT
    )
    draws = learnt(everyone, rng)
    needs = needs_of(rng)
    layouts = [layout(panel, n) for panel, n in PANELS.items()]
    ours, _ = choosing.choose(
        layouts, panels=needs, ladder=DEFAULT, draws=draws, p_target=p_target, weights=Weights()
    )
    if any(plan.note and "chance" in plan.note for plan in ours):
        return None
    wanted = {n.panel: n.required for n in needs}
    worst = max(ours, key=lambda plan: (wanted[plan.panel], plan.cut_um.mean))
    table = {"ours": [], "blanket": []}
    for plan in ours:
        for name, source in (("ours", plan), ("blanket", worst)):
            steps = [(step.process, step.sets) for step in source.steps]
            cut, removed = outcome_true(everyone, steps)
            minutes = sum(s.seconds for s in source.steps) / 60
            table[name].append((cut, removed >= wanted[plan.panel], minutes))
    out = {"promised": float(np.mean([plan.p_target for plan in ours]))}
    for name, rows in table.items():
        out[f"{name}_cut"] = sum(row[0] for row in rows)
        out[f"{name}_met"] = sum(row[1] for row in rows) / len(rows)
        out[f"{name}_all"] = float(all(row[1] for row in rows))
        out[f"{name}_minutes"] = sum(row[2] for row in rows)
    return out


def blanket(n: int = 120, seed: int = 7) -> dict[str, float]:
    """Clear coat, minutes and success of the plan against the worst section's sets everywhere."""
    rng = np.random.default_rng(seed)
    cars = [car for car in (one_car(rng) for _ in range(n)) if car is not None]
    mean = {key: float(np.mean([car[key] for car in cars])) for key in cars[0]}
    return {
        "cars": len(cars),
        "cut_ratio": mean["ours_cut"] / mean["blanket_cut"],
        "minutes_ratio": mean["ours_minutes"] / mean["blanket_minutes"],
        "promised": mean["promised"],
        "sections_met": mean["ours_met"],
        "sections_met_blanket": mean["blanket_met"],
        "cars_met": mean["ours_all"],
        "cars_met_blanket": mean["blanket_all"],
    }


def main() -> dict[str, object]:
    """Print and return every figure."""
    found = {"size": size(), "blanket": blanket()}
    print(json.dumps(found, indent=2))
    return found


if __name__ == "__main__":
    main()
