"""How well the ledger keeps its word: coverage and broken promises over ten-visit cars."""

import json
import sys
from pathlib import Path

import numpy as np

sys.path.insert(0, str(Path(__file__).parents[1] / "tests" / "handover"))

from ledger_life import life

from leastcut.handover.account import USUAL
from leastcut.handover.film_left import (
    RESERVE_UM,
    clear_left,
    corrections_left,
    usual_correction,
)


def measure(seed: int, cars: int, reserve_um: float) -> dict[str, float]:
    """Return coverage of the 95 % interval and the share of panels whose last promise breaks."""
    rng = np.random.default_rng(seed)
    held = promising = broken = promised = 0
    for _ in range(cars):
        one = life(rng)
        left = clear_left(one.ledger, "roof")
        held += left.clear_um.low <= one.clear_um <= left.clear_um.high
        usual = usual_correction(one.ledger, "roof", otherwise=USUAL)
        n = corrections_left(left, usual=usual, reserve_um=reserve_um).promised
        promised += n
        if n:
            promising += 1
            broken += bool(one.clear_um - one.coming_um[:n].sum() < reserve_um)
    return {
        "cars": cars,
        "coverage": held / cars,
        "panels_with_promise": promising,
        "broken_share": broken / promising,
        "mean_promised": promised / cars,
    }


def main() -> dict[str, dict[str, float]]:
    """Print and return the figures for a low and a usual reserve."""
    found = {f"reserve_{r:g}_um": measure(7, 5_000, r) for r in (25.0, RESERVE_UM)}
    print(json.dumps(found, indent=1))
    return found


if __name__ == "__main__":
    main()
