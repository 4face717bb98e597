"""Divide a panel into sections and lay the strokes of each."""

import math

import shapely
from shapely.geometry.base import BaseGeometry

from leastcut.car.records import Panel, Polyline
from leastcut.errors import InputError
from leastcut.plan.cells import Limits, cut_into_cells
from leastcut.plan.geometry import (
    one_ring,
    parts,
    rotated,
    smallest_rectangle,
    workable_area,
)
from leastcut.plan.order import work_order
from leastcut.plan.records import Layout, Section, Stroke
from leastcut.plan.strokes import (
    Lattice,
    centre_region,
    centred_lattice,
    covered_share,
    crosshatch,
    pad_for,
)

HAND_ONLY = "too narrow for a pad: by hand"


class LayoutError(InputError):
    """Limits with which no section can be drawn."""


def lay_out(
    panel: Panel,
    *,
    max_side_mm: float = 610.0,
    overlap_mm: float = 50.0,
    stroke_spacing_mm: float = 40.0,
    pad_diameter_mm: float = 130.0,
    edge_margin_mm: float = 0.0,
) -> Layout:
    """Divide a panel into the fewest near-equal sections and lay their strokes.

    Parameters
    ----------
    panel : Panel
        Outline, keep-outs and body lines [mm].
    max_side_mm : float
        Greatest side of a section with its overlap, in its own smallest rectangle [mm]; 610 mm
        (2 ft) is common practice, no source.
    overlap_mm : float
        Width of the band that neighbours share [mm]: each cell grows by half of it.
    stroke_spacing_mm, pad_diameter_mm : float
        Distance of strokes, and the pad they are meant for [mm].
    edge_margin_mm : float
        How far inside the panel's edges the pad's rim stays [mm]; negative lets it hang over.

    Returns
    -------
    Layout
        Sections in the order of work, named "1", "2", …; none when nothing may be worked. The
        same panel always gives the same layout.

    Raises
    ------
    OutlineError
        If the outline or a keep-out is unsound.
    LayoutError
        If the limits contradict each other.
    """
    _check(max_side_mm, overlap_mm, stroke_spacing_mm, pad_diameter_mm, edge_margin_mm)
    area = workable_area(panel)
    if area.is_empty:
        return Layout(panel=panel.id, sections=(), order=(), covered_fraction=0.0, lower_bound=0)
    limits = Limits(max_side_mm, overlap_mm)
    cells = work_order(_cells(area, limits), panel)
    laying = _Laying(area, stroke_spacing_mm, pad_diameter_mm, edge_margin_mm, panel.body_lines_mm)
    sections = tuple(
        _section(cell, str(index), panel.id, limits, laying)
        for index, cell in enumerate(cells, start=1)
    )
    return Layout(
        panel=panel.id,
        sections=sections,
        order=tuple(section.id for section in sections),
        covered_fraction=min(1.0, sum(cell.area for cell in cells) / area.area),
        lower_bound=lower_bound(area.area, limits),
    )


def _check(side: float, overlap: float, spacing: float, pad: float, margin: float) -> None:
    ranges = (
        ("max_side_mm", side, 50.0, 5000.0),
        ("overlap_mm", overlap, 0.0, side / 2),
        ("stroke_spacing_mm", spacing, 2.0, 1000.0),
        ("pad_diameter_mm", pad, 10.0, 500.0),
        ("edge_margin_mm", margin, -pad / 2, 500.0),
    )
    for name, value, low, high in ranges:
        if not low <= value <= high:
            raise LayoutError(
                f"{name} is {value:g}", where=name, do=f"Give a number from {low:g} to {high:g}"
            )


def lower_bound(area_mm2: float, limits: Limits) -> int:
    """Return the fewest sections that could hold an area at all, by area alone."""
    return max(1, math.ceil(area_mm2 / limits.max_side_mm**2 - 1e-9))


def _cells(area: BaseGeometry, limits: Limits) -> list[shapely.Polygon]:
    """Cut along the panel's axes, or along the smallest rectangle's when that needs fewer."""
    best = cut_into_cells(area, limits)
    _, _, angle = smallest_rectangle(area)
    tilt = (angle + math.pi / 4) % (math.pi / 2) - math.pi / 4
    if abs(tilt) > math.radians(2.0) and len(best) > 1:
        turned = cut_into_cells(rotated(area, -tilt), limits)
        if len(turned) < len(best):
            best = [_as_polygon(rotated(cell, tilt)) for cell in turned]
    return best


def _as_polygon(shape: BaseGeometry) -> shapely.Polygon:
    return max(parts(shape), key=lambda p: p.area)


class _Laying:
    """What all sections of one panel share when their strokes are laid."""

    def __init__(
        self,
        area: BaseGeometry,
        spacing_mm: float,
        pad_mm: float,
        margin_mm: float,
        body_lines_mm: tuple[Polyline, ...],
    ) -> None:
        self.area, self.spacing_mm, self.pad_mm = area, spacing_mm, pad_mm
        self.margin_mm, self.body_lines_mm = margin_mm, body_lines_mm
        self._regions: dict[float, tuple[BaseGeometry, Lattice]] = {}

    def region(self, pad_mm: float) -> tuple[BaseGeometry, Lattice]:
        """Return where the centre of a pad may go on the panel, and the lines for it."""
        if pad_mm not in self._regions:
            free = centre_region(self.area, pad_mm=pad_mm, margin_mm=self.margin_mm)
            spacing = self.spacing_mm * min(1.0, pad_mm / self.pad_mm)
            self._regions[pad_mm] = (free, centred_lattice(free, spacing))
        return self._regions[pad_mm]


def _section(
    cell: shapely.Polygon, name: str, panel: str, limits: Limits, laying: _Laying
) -> Section:
    worked = limits.worked(cell, laying.area)
    width, height, _ = smallest_rectangle(worked)
    pad = pad_for(cell, laying.area, pad_mm=laying.pad_mm, margin_mm=laying.margin_mm)
    note, strokes = HAND_ONLY, tuple[Stroke, ...]()
    if pad > 0:
        free, lattice = laying.region(pad)
        strokes = crosshatch(
            shapely.intersection(free, cell), lattice, body_lines_mm=laying.body_lines_mm
        )
        note = "" if pad == laying.pad_mm else f"narrower than the pad: use one of {pad:g} mm"
        if not note and covered_share(strokes, cell, pad_mm=pad) < 0.85:
            note = "part of it is narrower than the pad: finish that with a smaller pad or by hand"
    return Section(
        id=name,
        panel=panel,
        cell_mm=one_ring(cell),
        worked_mm=one_ring(worked),
        width_mm=width,
        height_mm=height,
        area_mm2=cell.area,
        strokes_mm=strokes,
        note=note,
    )
