"""The planner against size, against a blanket plan, and its quotes against simulated shops."""

import json
import sys
import time
from collections.abc import Sequence
from dataclasses import replace
from pathlib import Path

import numpy as np

from leastcut.plan.calendar import schedule
from leastcut.plan.milp import ChoiceProblem, Limit, solve

sys.path.insert(0, str(Path(__file__).parents[1] / "tests" / "plan"))

from blanketcase import compare
from calendarcheck import faults
from shopcase import quotes_that_hold
from test_calendar_schedule import bookings, shop


def large(rng: np.random.Generator, *, limited: bool) -> ChoiceProblem:
    """120 sections × 15 options over 14 panels, six processes, tight couplings, two limits."""
    sections, options, processes = 120, 15, 6
    uses = np.zeros((options, processes), dtype=bool)
    for row in range(options):
        uses[row, rng.permutation(processes)[: rng.integers(1, 3)]] = True
    size = rng.uniform(0.5, 1.5, (sections, 1))
    minutes = size * rng.uniform(4, 25, options) * rng.uniform(0.8, 1.25, (sections, options))
    cut = 30 / minutes * rng.uniform(0.7, 1.4, (sections, options))
    cost = np.where(rng.random((sections, options)) < 0.75, minutes + 10 * cut, 400.0)
    plain = ChoiceProblem(
        cost=tuple(cost),
        uses=(uses,) * sections,
        group=tuple(int(g) for g in np.arange(sections) * 14 // sections),
        setup=rng.uniform(10, 60, processes),
        change=rng.uniform(2, 12, processes),
    )
    if not limited:
        return plain
    best = solve(plain, time_limit_s=20.0).choice
    rows = [_limit("minutes", minutes, best, 0.97), _limit("liquid", cut, best, 1.1)]
    return replace(plain, limits=tuple(rows))


def _limit(name: str, use: np.ndarray, best: Sequence[int], share: float) -> Limit:
    """Allow `share` of what the best plan without limits uses."""
    most = share * sum(float(use[s, o]) for s, o in enumerate(best))
    return Limit(name, tuple(use), np.zeros(6), np.zeros(6), most)


def size(n: int = 10) -> dict[str, dict[str, float]]:
    """Time and proven gap on the large instances, without and with limits; worst of `n`."""
    found = {}
    for limited in (False, True):
        seconds, gaps = [], []
        for seed in range(n):
            problem = large(np.random.default_rng(seed), limited=limited)
            begin = time.perf_counter()
            answer = solve(problem, gap=0.01, time_limit_s=2.0)
            seconds.append(time.perf_counter() - begin)
            gaps.append(float("inf") if answer.gap is None else answer.gap)
        found["with limits" if limited else "plain"] = {
            "seconds_worst": max(seconds),
            "seconds_median": float(np.median(seconds)),
            "gap_worst": max(gaps),
        }
    return found


def quotes() -> dict[str, dict[str, float]]:
    """How often P50 and P80 hold, by number of jobs learnt from."""
    return {
        f"{n} jobs": dict(zip(("p50", "p80"), quotes_that_hold(400, n, seed=11), strict=True))
        for n in (5, 20, 60)
    }


def blankets() -> dict[str, dict[str, float]]:
    """At the same promise, and at equal success."""
    return {
        "same promise": compare(150, seed=7, p_target=0.90, minutes_per_um=10.0),
        "same promise, other cars": compare(150, seed=21, p_target=0.90, minutes_per_um=10.0),
        "same promise, loads more even": compare(
            150, seed=7, p_target=0.90, minutes_per_um=10.0, load_spread=0.35
        ),
        "surer promise": compare(150, seed=7, p_target=0.93, minutes_per_um=20.0),
    }


def calendars(n: int = 3) -> dict[str, float]:
    """Time, broken rules and lateness of 30 cars, 4 bays, 6 people; worst of `n`."""
    seconds, broken, late = [], 0, []
    for seed in range(n):
        house, cars = shop(), bookings(30, seed)
        begin = time.perf_counter()
        table = schedule(house, cars, rng=np.random.default_rng(1), rounds=60)
        seconds.append(time.perf_counter() - begin)
        broken += len(faults(table, house, cars)) + len(table.unplaced)
        first = schedule(house, cars, rng=np.random.default_rng(1), rounds=0)
        late.append(sum(table.late.values()) / max(1, sum(first.late.values())))
    return {"seconds_worst": max(seconds), "broken": broken, "late_against_first": max(late)}


def main(only: Sequence[str] = ()) -> dict[str, object]:
    """Print and return every figure, or those named."""
    parts = {"size": size, "quotes": quotes, "blanket": blankets, "calendar": calendars}
    found = {name: part() for name, part in parts.items() if not only or name in only}
    print(json.dumps(found, indent=2))
    return found


if __name__ == "__main__":
    main(sys.argv[1:])
