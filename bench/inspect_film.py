"""Film: accuracy on invented cars, what happens when the cars are not as believed, and speed.

Run as ``python bench/inspect_film.py [cars]``; prints one JSON document.
"""

import json
import sys
import time
from collections.abc import Callable
from pathlib import Path
from typing import Any

import numpy as np

sys.path.insert(0, str(Path(__file__).parent.parent / "tests" / "inspect"))

import film_figures as figures
import film_truth as truth

from leastcut.car.records import Paint
from leastcut.inspect import gp
from leastcut.inspect.film import findings_of
from leastcut.inspect.film_map import draw_maps
from leastcut.inspect.gauge import calibrate
from leastcut.inspect.records import GaugeCheck, Reading
from leastcut.inspect.study import study


def best_of(work: Callable[[], object], n: int = 5) -> float:
    """Return the shortest of n wall times [s]."""
    times = []
    for _ in range(n):
        start = time.perf_counter()
        work()
        times.append(time.perf_counter() - start)
    return min(times)


def accuracy(n_cars: int, *, seed: int, clear_shift: float = 0.0) -> dict[str, Any]:
    """Return coverage, overcut, worth and detection for one population of cars."""
    t = figures.run(n_cars, seed=seed, clear_shift=clear_shift)
    total, clear = t.measured & ~t.clear_gauge, t.measured & t.clear_gauge
    groups = {
        "all_panels": np.ones_like(t.measured),
        "measured": t.measured,
        "total_gauge": total,
        "clear_gauge": clear,
        "total_gauge_factory": total & (t.state == 0),
        "total_gauge_redone": total & np.isin(t.state, (1, 2)),
        "total_gauge_thin": total & (t.state == 3),
        "unmeasured_metal": ~t.measured & ~t.plastic,
        "unmeasured_plastic": ~t.measured & t.plastic,
    }
    recall, alarms = figures.redone(t)
    return {
        "cars": n_cars,
        "recall_redone_40um": round(recall, 5),
        "false_alarms": round(alarms, 5),
        "thin_recall": round(float(np.mean(t.finding[total & (t.state == 3)] == 3)), 3),
        **{
            name: {
                "panels": int(rows.sum()),
                "coverage_95": round(figures.coverage(t, rows), 4),
                "overcut": round(figures.overcut(t, rows), 4),
                "mean_budget_um": round(float(t.budget[rows].mean()), 3),
                "worth_of_perfect": worth(t, rows),
            }
            for name, rows in groups.items()
        },
    }


def against_perfect_total(n_cars: int, *, seed: int) -> dict[str, Any]:
    """Compare an ordinary total gauge with a faultless one that reads 120 places of every panel."""
    rng = np.random.default_rng(seed)
    flawless = [GaugeCheck(known_um=k, shown_um=k) for k in (0.0, 125.0, 250.0) for _ in range(50)]
    sums = np.zeros(2)
    for _ in range(n_cars):
        car, gauge = truth.draw_car(rng), truth.draw_gauge(rng)
        usual = truth.draw_readings(car, gauge, rng, skip=0.0)
        every = [
            Reading(panel=panel.id, spot=str(k), reading_um=float(um))
            for i, panel in enumerate(truth.panels())
            if panel.material == "steel"
            for k, um in enumerate(car.total[i].ravel())
        ]
        for j, (rows, checks) in enumerate(
            ((usual, truth.draw_checks(gauge, rng)), (every, flawless))
        ):
            known = study(truth.panels(), rows, paint=Paint(), gauge=calibrate(checks))
            sums[j] += sum(f.budget_um for f in findings_of(known) if f.n_readings)
    return {"cars": n_cars, "ordinary_over_faultless": round(float(sums[0] / sums[1]), 3)}


def worth(t: figures.Trial, rows: Any) -> float | None:
    """Return the share of a perfect gauge's budget; None where that would allow nothing."""
    return round(figures.worth(t, rows), 3) if t.perfect[rows].any() else None


def car_of_200() -> list[Reading]:
    """Return 200 located readings over the metal panels of one invented car."""
    rng = np.random.default_rng(2)
    car, gauge = truth.draw_car(rng), truth.draw_gauge(rng)
    found: list[Reading] = []
    while len(found) < 200:
        found = truth.draw_readings(car, gauge, rng, skip=0.0)
    return found[:200]


def speed() -> dict[str, Any]:
    """Return the times of a whole car with maps at 10 mm [s]."""
    readings, panels = car_of_200(), truth.panels()

    def whole() -> None:
        known = study(panels, readings, paint=Paint(), gauge=calibrate([]))
        findings_of(known)
        draw_maps(known, grid_mm=10.0)

    return {
        "readings": len(readings),
        "panels": len(panels),
        "findings_s": best_of(
            lambda: findings_of(study(panels, readings, paint=Paint(), gauge=calibrate([])))
        ),
        "findings_and_maps_s": best_of(whole),
    }


def process_ratio(n: int, places: int, points: int = 2500) -> dict[str, Any]:
    """Time the same posterior by our process and by scikit-learn's general regressor."""
    from sklearn.gaussian_process import GaussianProcessRegressor
    from sklearn.gaussian_process.kernels import ConstantKernel, Matern

    rng = np.random.default_rng(0)
    x = rng.uniform(0, 1000, (places, 2))[np.arange(n) % places]
    y = rng.normal(0, 3, n)
    at = rng.uniform(0, 1000, (points, 2))
    kernel = ConstantKernel(25.0) + ConstantKernel(9.0) * Matern(300.0, nu=1.5)

    def theirs() -> Any:
        fit = GaussianProcessRegressor(kernel, alpha=1.44, optimizer=None).fit(x, y)
        return fit.predict(at, return_std=True)

    def ours() -> Any:
        spots = gp.pool(x, y, np.full(n, 1.44))
        return gp.condition(spots, at, shape=gp.Shape(3.0, 300.0, 5.0))

    (mean, sd), (our_mean, our_var) = theirs(), ours()
    slow, fast = best_of(theirs), best_of(ours)
    return {
        "readings": n,
        "places": places,
        "points": points,
        "largest_difference": float(
            max(np.abs(mean - our_mean).max(), np.abs(sd - np.sqrt(our_var)).max())
        ),
        "scikit_learn_s": slow,
        "ours_s": fast,
        "ratio": round(slow / fast, 1),
    }


def shape_ratio() -> dict[str, Any]:
    """Time choosing hyperparameters for 14 panels of 6 places by both; answers differ in method."""
    from sklearn.gaussian_process import GaussianProcessRegressor
    from sklearn.gaussian_process.kernels import ConstantKernel, Matern

    rng = np.random.default_rng(1)
    panels = [
        gp.Spots(rng.uniform(0, 1000, (6, 2)), rng.normal(0, 3, 6), np.full(6, 0.5))
        for _ in range(14)
    ]

    def theirs() -> None:
        for spots in panels:
            kernel = ConstantKernel(9.0, (1.0, 100.0)) * Matern(300.0, (80.0, 1200.0), nu=1.5)
            GaussianProcessRegressor(kernel, alpha=0.5).fit(spots.place, spots.value)

    import warnings

    with warnings.catch_warnings():
        warnings.simplefilter("ignore")  # its optimiser warns at the ends of the ranges
        slow = best_of(theirs, 3)
    fast = best_of(lambda: gp.choose_shape(panels, sd=3.0, mean_sd=3.0))
    return {"scikit_learn_s": slow, "ours_s": fast, "ratio": round(slow / fast, 1)}


def main(n_cars: int = 2000) -> dict[str, Any]:
    """Run everything."""
    return {
        "cars_as_believed": accuracy(n_cars, seed=11),
        "clear_4um_thinner_than_believed": accuracy(n_cars // 4, seed=12, clear_shift=-4.0),
        "clear_4um_thicker_than_believed": accuracy(n_cars // 4, seed=13, clear_shift=4.0),
        "total_gauge_against_a_faultless_one": against_perfect_total(n_cars // 10, seed=14),
        "speed": speed(),
        "process": [process_ratio(*case) for case in ((200, 200), (300, 100), (300, 60), (15, 5))],
        "hyperparameters": shape_ratio(),
    }


if __name__ == "__main__":
    print(json.dumps(main(*(int(a) for a in sys.argv[1:2])), indent=1))
