"""Small cars and paints for the planning tests, made without the code under test."""

from collections.abc import Sequence
from typing import Any

import numpy as np

from leastcut.car.records import Car, Interval, KeepOut, Panel, Polygon
from leastcut.plan.records import Layout, PanelNeed, Section, Stroke
from leastcut.testspot.paint import PaintDraws
from leastcut.testspot.records import Process

WAY = {"arm_speed_mm_s": 40.0, "stroke_spacing_mm": 40.0}
FINE = Process(label="fine", pad="foam-finishing", liquid="finishing", max_sets=3, **WAY)
MID = Process(label="mid", pad="foam-polishing", liquid="medium", max_sets=4, **WAY)
HARD = Process(label="hard", pad="microfibre", liquid="heavy", max_sets=3, **WAY)
LADDER = (FINE, MID, HARD)


def square(x: float, y: float, side: float) -> Polygon:
    return ((x, y), (x + side, y), (x + side, y + side), (x, y + side))


def serpentine(strokes: list[Stroke]) -> tuple[Stroke, ...]:
    """Walk every second stroke backwards."""
    return tuple((b, a) if k % 2 else (a, b) for k, (a, b) in enumerate(strokes))


def section(panel: str, i: int, side: float = 500.0) -> Section:
    cell = square(i * side, 0.0, side)
    lines = np.arange(20.0, side, 40.0)
    x0, x1 = i * side, (i + 1) * side
    across = [((x0, float(y)), (x1, float(y))) for y in lines]
    down = [((x0 + float(x), 0.0), (x0 + float(x), side)) for x in lines]
    return Section(
        id=f"{panel}-{i + 1}",
        panel=panel,
        cell_mm=cell,
        worked_mm=cell,
        width_mm=side,
        height_mm=side,
        area_mm2=side * side,
        strokes_mm=serpentine(across) + serpentine(down),
    )


def layout(panel: str, n: int, side: float = 500.0) -> Layout:
    sections = tuple(section(panel, i, side) for i in range(n))
    order = tuple(s.id for s in reversed(sections))
    return Layout(panel=panel, sections=sections, order=order, covered_fraction=1.0, lower_bound=n)


def need(panel: str, required: float = 0.85, budget_um: float = 6.0, **more: Any) -> PanelNeed:
    facts = {"clear_mean_um": 45.0, "clear_low_um": 38.0, "finding": "factory"} | more
    load = Interval(mean=10.0, low=8.0, high=12.0)
    return PanelNeed(panel=panel, load=load, required=required, budget_um=budget_um, **facts)


def car(panels: dict[str, int], side: float = 500.0) -> Car:
    badge = KeepOut(name="badge", outline_mm=square(100.0, 100.0, 50.0))
    return Car(
        label="invented",
        body="two-box",
        length_mm=4200.0,
        width_mm=1800.0,
        height_mm=1500.0,
        wheelbase_mm=2600.0,
        panels=tuple(
            Panel(
                id=name,
                name=name,
                side="left",
                facing="side",
                outline_mm=((0.0, 0.0), (n * side, 0.0), (n * side, side), (0.0, side)),
                keep_outs=(badge,),
                body_lines_mm=(((0.0, 250.0), (n * side, 250.0)),),
            )
            for name, n in panels.items()
        ),
    )


def paint(
    ladder: Sequence[Process] = LADDER, *, seed: int = 1, n: int = 800, spread: float = 0.15
) -> PaintDraws:
    """A paint known to a stated spread: relative cuts 0.4, 1, 2.2, … against the middle one."""
    rng = np.random.default_rng(seed)
    cuts = np.array([0.4, 1.0, 2.2, 3.0, 4.0][: len(ladder)])
    return PaintDraws(
        labels=tuple(process.label for process in ladder),
        softness=np.exp(spread * rng.standard_normal(n)),
        ln_median=np.log(0.6) + spread * rng.standard_normal(n),
        sigma=0.6 * np.exp(0.3 * spread * rng.standard_normal(n)),
        relative_cut=cuts * np.exp(0.5 * spread * rng.standard_normal((n, len(ladder)))),
        floor=np.full((n, len(ladder)), 1e-3) * np.linspace(1, 60, len(ladder)),
        transfer=np.ones(n),
    )
