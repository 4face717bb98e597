"""What film findings are worth on many invented cars: the figures that tests and benches share."""

from dataclasses import dataclass

import film_truth as truth
import numpy as np
from numpy.typing import NDArray

from leastcut.car.records import Paint, Polygon
from leastcut.inspect.budget import allowance_um
from leastcut.inspect.film import findings_of
from leastcut.inspect.film_map import draw_maps, section_budgets
from leastcut.inspect.gauge import calibrate
from leastcut.inspect.records import FilmFinding
from leastcut.inspect.study import Study, study

Array = NDArray[np.float64]
RESERVE_UM = 25.4
PANELS = truth.panels()
PLASTIC = np.array([p.material == "plastic" for p in PANELS])
STATES = ("factory", "repainted", "filled", "thin", "unmeasured", "unreadable")


@dataclass(frozen=True)
class Trial:
    """One row per panel of every car; lengths in um."""

    clear_gauge: NDArray[np.bool_]
    measured: NDArray[np.bool_]
    plastic: NDArray[np.bool_]
    state: NDArray[np.intp]
    finding: NDArray[np.intp]
    mean: Array
    thin: Array
    low: Array
    high: Array
    budget: Array
    perfect: Array
    excess: Array
    section_thin: Array
    section_budget: Array


def run(n_cars: int, *, seed: int, clear_shift: float = 0.0, with_sections: bool = False) -> Trial:
    """Assess invented cars and hold the findings against the truth.

    One car in five is read with a gauge that resolves the clear, one in ten not at all; seven
    gauges in ten were checked.
    """
    rng = np.random.default_rng(seed)
    rows: list[list[tuple[float, ...]]] = []
    for _ in range(n_cars):
        car = truth.draw_car(rng, clear_shift=clear_shift)
        kind = rng.random()
        layer = "clear" if kind < 0.2 else "total"
        gauge = truth.draw_gauge(rng) if layer == "total" else truth.draw_clear_gauge(rng)
        checks = truth.draw_checks(gauge, rng) if rng.random() < 0.7 else []
        skip = 1.0 if kind > 0.9 else 0.1
        readings = truth.draw_readings(car, gauge, rng, layer=layer, skip=skip)
        known = study(PANELS, readings, paint=Paint(), gauge=calibrate(checks))
        sections = _sections(known, car) if with_sections else np.zeros((len(PANELS), 2))
        rows.append(_rows(car, findings_of(known), sections, clear_gauge=layer == "clear"))
    table = np.array(rows).reshape(-1, 14).T
    return Trial(*(column.astype(bool) for column in table[:3]),
                 *(column.astype(np.intp) for column in table[3:5]), *table[5:])  # fmt: skip


def _rows(
    car: truth.TrueCar,
    findings: tuple[FilmFinding, ...],
    sections: Array,
    *,
    clear_gauge: bool,
) -> list[tuple[float, ...]]:
    mean = car.clear.mean(axis=(1, 2))
    thin = np.quantile(car.clear, 0.05, axis=(1, 2))
    excess = car.total.mean(axis=(1, 2)) - car.car_total
    return [
        (
            clear_gauge,
            f.n_readings > 0,
            PLASTIC[i],
            STATES.index(car.state[i]),
            STATES.index(f.finding),
            mean[i],
            thin[i],
            f.clear_um.low,
            f.clear_um.high,
            f.budget_um,
            allowance_um(mean[i], thin[i]),
            excess[i],
            *sections[i],
        )
        for i, f in enumerate(findings)
    ]


def _sections(known: Study, car: truth.TrueCar) -> Array:
    """Return the true thin place and the budget of the left half of every panel."""
    found = []
    maps = draw_maps(known, grid_mm=50.0)
    for i, (panel, drawn) in enumerate(zip(PANELS, maps, strict=True)):
        (_, _), (_, _), (w, h), _ = panel.outline_mm
        half: Polygon = ((0.0, 0.0), (w / 2, 0.0), (w / 2, h), (0.0, h))
        (section,) = section_budgets(known, drawn, [("left", half)])
        columns = car.clear.shape[2] // 2
        found.append((np.quantile(car.clear[i, :, :columns], 0.05), section.budget_um))
    return np.array(found)


def coverage(t: Trial, rows: NDArray[np.bool_]) -> float:
    """Return how often the 95 % interval holds the panel's true mean."""
    return float(np.mean(((t.low <= t.mean) & (t.mean <= t.high))[rows]))


def overcut(t: Trial, rows: NDArray[np.bool_]) -> float:
    """Return how often cutting the whole budget leaves less than the reserve at the thin place."""
    return float(np.mean(((t.budget > 0) & (t.thin - t.budget < RESERVE_UM))[rows]))


def worth(t: Trial, rows: NDArray[np.bool_]) -> float:
    """Return the mean budget over what the rule would allow if the clear were known exactly."""
    return float(t.budget[rows].mean() / t.perfect[rows].mean())


def redone(t: Trial, *, least_um: float = 40.0) -> tuple[float, float]:
    """Return recall and false alarms for repainted or filled panels read with a total gauge."""
    read = t.measured & ~t.clear_gauge
    alarm = np.isin(t.finding, (1, 2))
    truly = read & np.isin(t.state, (1, 2)) & (t.excess >= least_um)
    clean = read & np.isin(t.state, (0, 3))
    return float(alarm[truly].mean()), float(alarm[clean].mean())
