"""Is measuring worth what would_help says? Held against invented cars that are then measured."""

import film_truth as truth
import numpy as np

from leastcut.car.records import Paint
from leastcut.inspect.film import assess, would_help
from leastcut.inspect.gauge import calibrate
from leastcut.inspect.records import Reading

PANELS = truth.panels()
NAMES = [p.id for p in PANELS]


def five_spots(
    car: truth.TrueCar, name: str, gauge: truth.TrueGauge, rng: np.random.Generator
) -> list[Reading]:
    film = rng.choice(car.total[NAMES.index(name)].ravel(), 5)
    shown = gauge.show(np.repeat(film[:, None], 3, axis=1), rng)
    return [
        Reading(panel=name, spot=str(k), reading_um=float(um)) for k in range(5) for um in shown[k]
    ]


def test_promised_gain_is_earned_on_average() -> None:
    rng = np.random.default_rng(8)
    promised, earned = [], []
    for _ in range(160):
        car, true_gauge = truth.draw_car(rng), truth.draw_gauge(rng)
        gauge = calibrate(truth.draw_checks(true_gauge, rng))
        read = truth.draw_readings(car, true_gauge, rng, skip=0.4)
        before = assess(PANELS, read, paint=Paint(), gauge=gauge)
        ranked = would_help(before, PANELS, readings=read, paint=Paint(), gauge=gauge)
        if not ranked:
            continue
        best = ranked[int(rng.integers(len(ranked)))]
        more = read + five_spots(car, best.panel, true_gauge, rng)
        i = NAMES.index(best.panel)
        after = assess(PANELS, more, paint=Paint(), gauge=gauge)[i]
        promised.append(best.gain_um)
        earned.append(after.budget_um - before[i].budget_um)
    error = np.std(np.array(earned) - promised) / len(earned) ** 0.5
    assert np.mean(promised) > 1.0
    assert abs(np.mean(earned) - np.mean(promised)) < 3 * error < 0.6
    assert np.corrcoef(promised, earned)[0, 1] > 0.2
