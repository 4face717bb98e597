"""Sections over many outlines: how many against what is provably needed, and how fast.

The area of a panel over the square of the limit is no fair floor: a section cannot bend round a
corner. A fair floor comes from linear programming. Give points of the panel weights so that no
section, wherever and however it lies, holds more than 1 in all; then the sum of the weights is a
number of sections that no layout whatever can go below. Weights are found by cutting planes over
all positions and directions of the square, each widened for the steps of the search, so that the
bound stays a bound.
"""

import json
import math
import os
import sys
import time
from pathlib import Path
from typing import Any

import numpy as np
import numpy.typing as npt
import shapely
from scipy.optimize import linprog

sys.path.insert(0, str(Path(__file__).parents[1] / "tests" / "plan"))

from sections_outlines import SIZES, faults, shape_of, sweep, unforced

from leastcut.car.bodies import build
from leastcut.car.records import Panel
from leastcut.plan.limits import Limits
from leastcut.plan.records import LayoutOptions
from leastcut.plan.sections import lay_out, limits_for

Array = npt.NDArray[np.float64]
SLIVER = 0.35  # share of the mean area
SIDE, OVERLAP, TURN, STEP = 610.0, 50.0, math.radians(1.5), 10.0


def bodies() -> list[tuple[str, Panel]]:
    """Return every panel of every demo body."""
    names = ("length_mm", "width_mm", "height_mm", "wheelbase_mm")
    return [
        (f"{body}-{panel.id}", panel)
        for body, size in SIZES.items()
        for panel in build(body, **dict(zip(names, size, strict=True)))  # type: ignore[arg-type]
    ]


def provable_floor(
    area: Any, *, enough: int, side: float = SIDE, points: int = 200, rounds: int = 40
) -> int:
    """Return a number of sections that no layout of `area` can go below, by linear programming.

    The search ends early where it cannot rise by a whole section any more: the sum of the weights
    falls from round to round, and its end is the best that the points can prove. `enough` is the
    number of sections of a layout at hand: a floor as high as that needs no further proof.
    """
    places = _points(area, points)
    around = [(0.0, 0.0)]
    around += [
        (0.499 * OVERLAP * math.cos(a), 0.499 * OVERLAP * math.sin(a))
        for a in np.arange(0, math.tau, math.pi / 4)
    ]
    spots = places[:, None, :] + np.array(around)
    there = shapely.contains_xy(area, spots[..., 0], spots[..., 1])
    there[:, 0] = True  # a section holds a place only with what of its overlap is on the panel
    frames = [_frame(spots, there, turn, side) for turn in np.arange(TURN / 2, math.pi / 2, TURN)]
    weights = np.full(len(places), 1.0)
    rows: list[npt.NDArray[np.bool_]] = []
    best = 0.0
    for turn in range(rounds):
        held = [_heaviest(frame, weights) for frame in frames]
        most = max(weight for weight, _ in held)
        best = max(best, float(weights.sum()) / most)
        if turn and (most < 1.01 or _whole(best) in {_whole(float(weights.sum())), enough}):
            break
        rows += [row for weight, row in held if turn == 0 or weight > 1.0001]
        solved = linprog(
            -np.ones(len(places)),
            A_ub=np.array(rows, dtype=float),
            b_ub=np.ones(len(rows)),
            bounds=(0, 1),
            method="highs",
        )
        weights = solved.x
    return _whole(best)


def _whole(bound: float) -> int:
    return max(1, math.ceil(bound - 1e-6))


def _points(area: Any, count: int) -> Array:
    x0, y0, x1, y1 = area.bounds
    pitch = math.sqrt(area.area / count)
    x, y = np.meshgrid(np.arange(x0 + pitch / 2, x1, pitch), np.arange(y0 + pitch / 2, y1, pitch))
    inside = shapely.contains_xy(area, x, y)
    edge = shapely.get_coordinates(shapely.segmentize(area.boundary, pitch))
    return np.vstack([np.column_stack([x[inside], y[inside]]), edge])


def _frame(spots: Array, there: npt.NDArray[np.bool_], turn: float, side: float) -> tuple[Any, ...]:
    """Return, per point, which steps of the square's corner hold it, along both directions."""
    widened = side * (math.cos(TURN / 2) + math.sin(TURN / 2)) + STEP
    ranges = []
    for axis in ((math.cos(turn), math.sin(turn)), (-math.sin(turn), math.cos(turn))):
        along = spots @ np.array(axis)
        low = np.where(there, along, np.inf).min(axis=1)
        high = np.where(there, along, -np.inf).max(axis=1)
        first = np.ceil((high - widened) / STEP).astype(int)
        last = np.floor(low / STEP).astype(int)
        ranges += [first - first.min(), last - first.min()]
    return tuple(ranges)


def _heaviest(frame: tuple[Any, ...], weights: Array) -> tuple[float, npt.NDArray[np.bool_]]:
    """Return the heaviest square in one direction, and which points it holds."""
    a, b, c, d = frame
    table = np.zeros((b.max() + 3, d.max() + 3))
    for i, j, sign in ((a, c, 1), (b + 1, c, -1), (a, d + 1, -1), (b + 1, d + 1, 1)):
        np.add.at(table, (i, j), sign * weights)
    total = table.cumsum(axis=0).cumsum(axis=1)
    i, j = divmod(int(total.argmax()), total.shape[1])
    return float(total[i, j]), (a <= i) & (b >= i) & (c <= j) & (d >= j)


def measure(cases: list[tuple[str, Panel]]) -> dict[str, float]:
    """Lay out every case; compare it with the provable floor."""
    rows, wrong, floors = [], 0, dict[tuple[float, float], int]()
    for _, panel in cases:
        start = time.process_time()
        made = lay_out(panel)
        seconds = time.process_time() - start
        area, count = shape_of(panel), len(made.sections)
        side = limits_for(panel, LayoutOptions(), area).max_side_mm
        wrong += len(faults(panel, made, limit=side))
        smallest = min(s.area_mm2 for s in made.sections) * count / area.area
        plain = max(1, math.ceil(area.area / SIDE**2))
        alike = round(area.area, 1), round(area.length, 1)  # left and right are mirror images
        if alike not in floors:
            floors[alike] = provable_floor(area, enough=count, side=side)
        floor = max(floors[alike], made.lower_bound)
        rows.append(
            (
                count / plain,
                count / made.lower_bound,
                smallest,
                seconds,
                count / floor,
                floor / plain,
                count,
                floor,
                len(unforced(panel, made, Limits(side, OVERLAP))) if smallest < SLIVER else 0,
            )
        )
    table = np.array(rows)
    return {
        "outlines": len(cases),
        "faults": wrong,
        "sections": int(table[:, 6].sum()),
        "provable_floor": int(table[:, 7].sum()),
        "count_over_plain_area_bound": float(table[:, 0].mean()),
        "count_over_own_area_bound": float(table[:, 1].mean()),
        "count_over_provable_floor": float(table[:, 4].mean()),
        "provable_floor_over_plain_area_bound": float(table[:, 5].mean()),
        "at_the_floor": int((table[:, 4] == 1.0).sum()),
        "under_35_percent": int((table[:, 2] < SLIVER).sum()),
        "under_35_percent_unforced": int((table[:, 8] > 0).sum()),
        "cpu_ms_mean": 1e3 * float(table[:, 3].mean()),
        "cpu_ms_max": 1e3 * float(table[:, 3].max()),
        "over_50_ms": int((table[:, 3] > 0.05).sum()),
        "machine_load": os.getloadavg()[0],
    }


def main() -> dict[str, dict[str, float]]:
    """Print and return the figures for demo bodies and for the sweep of shapes."""
    found = {
        "bodies": measure(bodies()),
        "sweep": measure(list(sweep(320))),
    }
    print(json.dumps(found, indent=1))
    return found


if __name__ == "__main__":
    main()
