"""From a wanted cut back to how to work: sets, stroke spacing and arm speed of each section.

The cut of a panel is linear in the time spent on its sections. Each section's unit map, one set at
the usual arm speed, is computed once; the least-squares weights that best add up to the wanted cut,
none negative and none beyond its cap, follow from it (dwell-time planning as in computer-controlled
polishing of optics: R. A. Jones, *Appl. Opt.* 16 (1977) 218; from memory). A hand cannot dwell at
will, so each weight is then rounded to whole sets and an arm speed that a hand can hold, and what is
left over is shown. Expect the shape of a section to be followed, not more: planners for machines
reach a twentieth of the wanted cut and less, a hand does not.
"""

from collections.abc import Callable, Mapping, Sequence

import msgspec
import numpy as np
import numpy.typing as npt
import shapely

from leastcut.car.records import Panel
from leastcut.plan.geometry import Array, workable_area
from leastcut.plan.records import Layout
from leastcut.polish.grid import Grid
from leastcut.polish.panel_cut import Worked, panel_cut
from leastcut.polish.records import PadMotion

Wanted = Callable[[Array, Array], Array]
Mask = npt.NDArray[np.bool_]


class SectionWork(msgspec.Struct, frozen=True, kw_only=True):
    """How to work one section, the mean cut wanted there and the mean cut to expect [µm]."""

    id: str
    sets: int
    arm_speed_mm_s: float
    stroke_spacing_mm: float
    wanted_um: float
    expected_um: float


class CutFit(msgspec.Struct, frozen=True, kw_only=True):
    """A way to work a panel towards a wanted cut, and what it misses.

    ``residual_rms_um`` and the percentiles are of expected less wanted cut over all workable
    places; ``wanted_rms_um`` is what would be missed by doing nothing.
    """

    sections: tuple[SectionWork, ...]
    wanted_rms_um: float
    residual_rms_um: float
    residual_p05_um: float
    residual_p95_um: float


class Hand(msgspec.Struct, frozen=True, kw_only=True):
    """What a hand can do: arm speeds [mm/s], most sets, and the spacings it may lay [mm]."""

    slowest_mm_s: float = 20.0
    usual_mm_s: float = 40.0
    fastest_mm_s: float = 80.0
    max_sets: int = 8


def per_section(layout: Layout, cut_um: Mapping[str, float]) -> Wanted:
    """Return a wanted cut that is even within each section: from a table of section ids [µm]."""

    def wanted(x_mm: Array, y_mm: Array) -> Array:
        total = np.zeros(np.shape(x_mm))
        for section in layout.sections:
            inside = shapely.contains_xy(shapely.Polygon(section.cell_mm), x_mm, y_mm)
            total = np.where(inside, cut_um.get(section.id, 0.0), total)
        return total

    return wanted


def fit_cut(
    panel: Panel,
    layouts: Mapping[float, Layout],
    wanted: Wanted,
    settings: PadMotion,
    *,
    preston_um_per_kpa_m: float,
    most_um: Mapping[str, float] | None = None,
    hand: Hand | None = None,
    grid_mm: float = 10.0,
) -> CutFit:
    """Find sets, spacing and arm speed per section for a wanted cut.

    Parameters
    ----------
    panel : Panel
        The panel.
    layouts : mapping of float to Layout
        Its layout at each stroke spacing that may be used [mm]; the sections must be the same.
    wanted : callable
        Cut wanted at places x, y [mm] → [µm].
    settings : PadMotion
        Machine, pad and force.
    preston_um_per_kpa_m : float
        Preston rate of paint and process [µm/(kPa·m)].
    most_um : mapping, optional
        Mean cut that a section must not exceed, by id [µm]: its budget.
    hand : Hand, optional
        What the hand can do.
    grid_mm : float
        Cell size of the search [mm].

    Returns
    -------
    CutFit
        The work of each section and what it misses.
    """
    from scipy.optimize import lsq_linear

    able = Hand() if hand is None else hand
    spacings = sorted(layouts, reverse=True)
    maps = {
        spacing: _unit_maps(panel, layouts[spacing], settings, preston_um_per_kpa_m, able, grid_mm)
        for spacing in spacings
    }
    units, grid = maps[spacings[0]]
    sections = layouts[spacings[0]].sections
    inside, cells = _places(panel, layouts[spacings[0]], grid)
    x, y = np.meshgrid(grid.xs_mm(), grid.ys_mm())
    target = wanted(x, y)
    means = [max(float(unit[cell].mean()), 1e-12) for unit, cell in zip(units, cells, strict=True)]
    caps = [
        (most_um or {}).get(s.id, np.inf) / mean for s, mean in zip(sections, means, strict=True)
    ]
    matrix = np.stack([unit[inside] for unit in units], axis=1)
    bounds = (0.0, np.maximum(caps, 1e-9))
    weights = lsq_linear(matrix, target[inside], bounds=bounds, method="bvls").x
    total, works = np.zeros_like(target), list[tuple[int, float, float]]()
    for index, weight in enumerate(weights):
        sets, speed, spacing = _by_hand(float(weight), float(caps[index]), spacings, able)
        total += sets * able.usual_mm_s / speed * maps[spacing][0][index]
        works.append((sets, speed, spacing))
    rows = [
        SectionWork(
            id=section.id,
            sets=work[0],
            arm_speed_mm_s=work[1],
            stroke_spacing_mm=work[2],
            wanted_um=float(target[cell].mean()),
            expected_um=float(total[cell].mean()),
        )
        for section, work, cell in zip(sections, works, cells, strict=True)
    ]
    return _fit(tuple(rows), target[inside], total[inside])


def _fit(rows: tuple[SectionWork, ...], target: Array, total: Array) -> CutFit:
    missed = total - target
    return CutFit(
        sections=rows,
        wanted_rms_um=float(np.sqrt(np.mean(target**2))),
        residual_rms_um=float(np.sqrt(np.mean(missed**2))),
        residual_p05_um=float(np.percentile(missed, 5)),
        residual_p95_um=float(np.percentile(missed, 95)),
    )


def _unit_maps(
    panel: Panel,
    layout: Layout,
    settings: PadMotion,
    preston: float,
    hand: Hand,
    grid_mm: float,
) -> tuple[list[Array], Grid]:
    """Return the cut of one set at the usual arm speed, for each section, on one grid."""
    made = [
        panel_cut(
            [Worked(section.strokes_mm, 1, hand.usual_mm_s)],
            settings,
            preston_um_per_kpa_m=preston,
            outline_mm=panel.outline_mm,
            bare_mm=[keep_out.outline_mm for keep_out in panel.keep_outs],
            grid_mm=grid_mm,
        )
        for section in layout.sections
    ]
    return [one.depth_um for one in made], made[0].grid


def _places(panel: Panel, layout: Layout, grid: Grid) -> tuple[Mask, list[Mask]]:
    """Return masks of the grid: what may be worked, and each section's cell."""
    x, y = np.meshgrid(grid.xs_mm(), grid.ys_mm())
    cells = [
        shapely.contains_xy(shapely.Polygon(section.cell_mm), x, y) for section in layout.sections
    ]
    return shapely.contains_xy(workable_area(panel), x, y), cells


def _by_hand(
    weight: float, cap: float, spacings: Sequence[float], hand: Hand
) -> tuple[int, float, float]:
    """Return whole sets, an arm speed and a spacing whose cut is nearest to a weight.

    A weight of 1 is one set at the usual speed and the widest spacing. Of ways that are equally
    near, the fewest sets win, then the widest spacing.
    """
    best = (abs(weight), 0, hand.usual_mm_s, spacings[0])
    for sets in range(1, hand.max_sets + 1):
        for spacing in spacings:
            denser = spacings[0] / spacing
            exact = sets * hand.usual_mm_s * denser / max(weight, 1e-9)
            speed = float(np.clip(round(exact), hand.slowest_mm_s, hand.fastest_mm_s))
            made = sets * hand.usual_mm_s / speed * denser
            if made <= cap * 1.02:
                way = (round(abs(made - weight), 2), sets, speed, spacing)
                best = min(best, way, key=lambda w: (w[0], w[1], -w[3]))
    return best[1:]
