"""Invented cars with known clear coat at every place: the truth that film findings are held against.

Its own code path: layers are drawn from bounded and skewed families on a grid of places, readings
come from a gauge with its own faults and a display that rounds. Nothing of leastcut.inspect is used
but the records that go in.

Film builds: typical ranges from memory of Streitberger & Doessel 2008 (e-coat 17-25, surfacer
25-40, base 12-25, clear 35-50, total 90-140 um), read as the range of 95 % of places; repaint and
past polishing: invented, common practice, no source.
"""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from leastcut.car.records import Panel
from leastcut.inspect.records import GaugeCheck, Reading

Array = NDArray[np.float64]

# id, side, facing, width, height, material
_BODY = [
    ("bonnet", "centre", "top", 1400, 1000),
    ("roof", "centre", "top", 1200, 1500),
    ("boot-lid", "centre", "top", 1300, 600),
    ("bumper-front", "centre", "front", 1700, 500),
    ("bumper-rear", "centre", "rear", 1700, 500),
    *(
        (f"{name}-{side}", side, "side", width, height)
        for side in ("left", "right")
        for name, width, height in (
            ("wing-front", 900, 600),
            ("door-front", 1100, 700),
            ("door-rear", 950, 700),
            ("quarter", 1000, 700),
            ("sill", 1600, 180),
        )
    ),
    ("tailgate", "centre", "rear", 1200, 600),
]
N_PANELS = len(_BODY)
_PLASTIC = [i for i, row in enumerate(_BODY) if row[0].startswith("bumper")]
_GRID = (10, 12)
_LAYERS = np.array([[1.0, 3.0], [17.0, 25.0], [25.0, 40.0], [12.0, 25.0], [35.0, 50.0]])


def panels() -> tuple[Panel, ...]:
    """Return the 16 panels of the invented car, rectangles in true size."""
    return tuple(
        Panel(
            id=name,
            name=name.replace("-", " "),
            side=side,
            facing=facing,
            outline_mm=((0.0, 0.0), (w, 0.0), (w, h), (0.0, h)),
            material="plastic" if i in _PLASTIC else "steel",
        )
        for i, (name, side, facing, w, h) in enumerate(_BODY)
    )


@dataclass(frozen=True)
class TrueCar:
    """Clear and total at every place: shape (16, rows, columns) [um]; state per panel."""

    clear: Array
    total: Array
    state: tuple[str, ...]
    car_total: float


def _bounded(rng: np.random.Generator, size: tuple[int, ...]) -> Array:
    """Zero-mean, unit-variance, bounded at +-3: a symmetric beta distribution."""
    return (rng.beta(4.0, 4.0, size) - 0.5) * 6.0


def _ripple(rng: np.random.Generator, n: int) -> Array:
    """Unit-variance smooth unevenness of n films: a few random waves across each panel."""
    y, x = np.meshgrid(np.linspace(0, 1, _GRID[0]), np.linspace(0, 1, _GRID[1]), indexing="ij")
    waves = np.zeros((n, *_GRID))
    for _ in range(5):
        kx, ky, phase = rng.uniform(1, 9, (3, n, 1, 1))
        waves += np.cos(kx * x + ky * y + 7 * phase)
    return waves / np.sqrt(2.5)


def _factory(rng: np.random.Generator) -> tuple[Array, Array, float]:
    """Draw under layers and clear of a whole factory car, and its level of total film."""
    mid, sd = _LAYERS.mean(axis=1), np.ptp(_LAYERS, axis=1) / 3.92
    car = mid + sd * np.sqrt(0.60) * _bounded(rng, (5,))
    panel = sd * np.sqrt(0.25) * _bounded(rng, (N_PANELS, 5))
    place = sd * np.sqrt(0.15) * np.stack([_ripple(rng, N_PANELS) for _ in sd], axis=-1)
    film = (car + panel)[:, None, None, :] + place
    build = rng.triangular(-26.0, 1.0, 25.0)  # primerless lines, double base coats
    under = film[..., :4].sum(axis=-1) + build
    return under, film[..., 4], float(car.sum() + build)


def draw_car(
    rng: np.random.Generator, *, repaint: float = 0.08, clear_shift: float = 0.0
) -> TrueCar:
    """Draw one car: factory paint, past polishing, and now and then a panel that was redone.

    `clear_shift` moves the clear of every factory panel: a maker whose coat is not the usual one.
    """
    under, clear, level = _factory(rng)
    clear, level = clear + clear_shift, level + clear_shift
    if rng.random() < 0.5:
        worn = rng.gamma(1.8, 1.33)
        clear = clear - (worn * rng.uniform(0.6, 1.4, N_PANELS))[:, None, None]
        level -= worn
    state = ["factory"] * N_PANELS
    hit = rng.random(N_PANELS)
    for i in range(N_PANELS):
        if hit[i] < repaint:
            state[i] = "repainted"
        elif hit[i] < repaint + 0.01:
            state[i] = "filled"
        elif hit[i] < repaint + 0.015:
            state[i] = "thin"
            clear[i] = clear[i] - rng.uniform(6.0, 24.0)
            continue
        else:
            continue
        fresh = rng.normal(55.0, 8.0) - rng.gamma(3.0, 2.3) + 3.0 * _ripple(rng, 1)[0]
        body = rng.lognormal(6.1, 0.7) if state[i] == "filled" else rng.uniform(0.0, 60.0)
        under[i] = under[i] + clear[i] + body + rng.uniform(12.0, 30.0)
        clear[i] = fresh
    clear = np.maximum(clear, 0.5)
    return TrueCar(clear=clear, total=under + clear, state=tuple(state), car_total=level)


@dataclass(frozen=True)
class TrueGauge:
    """A gauge with faults: shown = offset + (1 + slope) film + scatter, rounded to the display."""

    offset: float
    slope: float
    scatter: float
    step: float

    def show(self, film: Array, rng: np.random.Generator) -> Array:
        """Return what the display shows."""
        noisy = self.offset + (1 + self.slope) * film
        noisy = noisy + self.scatter * np.maximum(film, 50.0) * rng.standard_normal(film.shape)
        return np.round(noisy / self.step) * self.step


def draw_gauge(rng: np.random.Generator) -> TrueGauge:
    """Draw a digital gauge of the ordinary kind."""
    return TrueGauge(
        offset=rng.uniform(-2.0, 2.0), slope=rng.uniform(-0.03, 0.03), scatter=0.01, step=1.0
    )


def draw_clear_gauge(rng: np.random.Generator) -> TrueGauge:
    """Draw a gauge that resolves the clear coat: 2 % scatter, small faults."""
    return TrueGauge(
        offset=rng.uniform(-0.7, 0.7), slope=rng.uniform(-0.03, 0.03), scatter=0.02, step=1.0
    )


def draw_checks(gauge: TrueGauge, rng: np.random.Generator) -> list[GaugeCheck]:
    """Check the gauge on bare metal and two shims, three times each."""
    known = np.repeat([0.0, 125.0, 250.0], 3)
    true = known * np.repeat(1 + rng.uniform(-0.01, 0.01, 3), 3)
    shown = gauge.show(true, rng)
    return [GaugeCheck(known_um=k, shown_um=float(s)) for k, s in zip(known, shown, strict=True)]


def draw_readings(
    car: TrueCar,
    gauge: TrueGauge,
    rng: np.random.Generator,
    *,
    layer: str = "total",
    skip: float = 0.1,
) -> list[Reading]:
    """Walk round the car: three to eight spots a panel, one to three readings a spot."""
    film = car.total if layer == "total" else car.clear
    found: list[Reading] = []
    for i, (name, _, _, width, height) in enumerate(_BODY):
        if rng.random() < skip or (layer == "total" and i in _PLASTIC):
            continue
        n, m = int(rng.integers(3, 9)), int(rng.integers(1, 4))
        row, column = rng.integers(0, _GRID[0], n), rng.integers(0, _GRID[1], n)
        shown = gauge.show(np.repeat(film[i, row, column][:, None], m, axis=1), rng)
        x = (column + 0.5) * width / _GRID[1]
        y = (row + 0.5) * height / _GRID[0]
        found += [
            Reading(
                panel=name,
                spot=f"{k + 1}",
                reading_um=max(1.0, float(value)),
                layer=layer,
                x_mm=float(x[k]),
                y_mm=float(y[k]),
            )
            for k in range(n)
            for value in shown[k]
        ]
    return found
