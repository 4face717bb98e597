"""How good are the test spot's decisions? 2,000 simulated paints, and the time of one decision."""

import argparse
import json
import sys
import time
from pathlib import Path
from typing import Any

sys.path.insert(0, str(Path(__file__).parents[1] / "tests" / "testspot"))

from career import deciles, figures, run_many

from leastcut.car.records import Interval
from leastcut.testspot import decide, ladder
from leastcut.testspot.records import Trial


def decision_ms() -> float:
    """Return the least time of one decision after two trials [ms]."""
    trials = [
        Trial(
            process=ladder.DEFAULT[rung].label,
            sets=2,
            removed=Interval(mean=gone, low=gone - 0.06, high=gone + 0.06),
            spot=str(rung),
        )
        for rung, gone in ((0, 0.2), (1, 0.7))
    ]
    spent = []
    for _ in range(10):
        start = time.perf_counter()
        decide.assess(trials, ladder.DEFAULT, budget_um=7.0)
        spent.append(time.perf_counter() - start)
    return 1e3 * min(spent)


def main(count: int = 2000, seed: int = 2026) -> dict[str, Any]:
    """Print and return the figures: budget roomy, and budget by the published limits."""
    found: dict[str, Any] = {"decision_ms": decision_ms()}
    for name, rich in (("budget_no_matter", True), ("budget_by_published_limits", False)):
        careers = run_many(count, seed=seed, rich=rich)
        found[name] = figures(careers)
        worst = max(abs(told - came) for told, came, _ in found[name]["calibration"])
        found[name]["worst_decile_gap"] = worst
        found[name]["within_budget_calibration"] = deciles(
            [pair for career in careers for pair in career.within]
        )
    print(json.dumps(found, indent=1, default=float))
    return found


if __name__ == "__main__":
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--cars", type=int, default=2000)
    parser.add_argument("--seed", type=int, default=2026, help="another number draws other paints")
    chosen = parser.parse_args()
    main(chosen.cars, chosen.seed)
