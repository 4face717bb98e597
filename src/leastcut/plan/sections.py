"""Divide a panel into sections and lay the strokes of each."""

from dataclasses import dataclass

import shapely
from shapely.geometry.base import BaseGeometry

from leastcut.car.records import Panel
from leastcut.errors import InputError
from leastcut.plan.cells import cut_into_cells
from leastcut.plan.geometry import (
    one_ring,
    smallest_rectangle,
    workable_area,
)
from leastcut.plan.limits import Limits, area_bound
from leastcut.plan.order import work_order
from leastcut.plan.records import Layout, Section, Stroke
from leastcut.plan.strokes import (
    LEAST_STROKE_MM,
    SMALL_PADS_MM,
    Lattice,
    centre_region,
    centred_lattice,
    crosshatch,
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
    cells = work_order(cut_into_cells(area, limits), panel)
    pads = _pads(area, pad_diameter_mm, stroke_spacing_mm, edge_margin_mm)
    sections = tuple(
        _section(cell, str(index), panel, limits.worked(cell, area), pads, pad_diameter_mm)
        for index, cell in enumerate(cells, start=1)
    )
    return Layout(
        panel=panel.id,
        sections=sections,
        order=tuple(section.id for section in sections),
        covered_fraction=min(1.0, sum(cell.area for cell in cells) / area.area),
        lower_bound=area_bound(area, limits),
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


@dataclass(frozen=True)
class _Pad:
    """Where a pad's centre may go on a panel, what its face then reaches, and its lines."""

    size_mm: float
    centre: BaseGeometry
    reached: BaseGeometry
    lattice: Lattice


def _pads(area: BaseGeometry, pad_mm: float, spacing_mm: float, margin_mm: float) -> list[_Pad]:
    """Return the pad at hand and the smaller ones for narrow places, the spacing in proportion."""
    pads = []
    for size in (pad_mm, *(small for small in SMALL_PADS_MM if small < pad_mm)):
        centre = centre_region(area, pad_mm=size, margin_mm=margin_mm)
        if not centre.is_empty:
            reached = shapely.buffer(centre, size / 2, quad_segs=4)
            lattice = centred_lattice(centre, spacing_mm * size / pad_mm)
            pads.append(_Pad(size, centre, reached, lattice))
    return pads


def _fitting(pads: list[_Pad], cell: BaseGeometry) -> tuple[_Pad, BaseGeometry] | None:
    """Return the largest pad whose centre has room to move in a cell, and where."""
    for pad in pads:
        region = shapely.intersection(cell, pad.centre)
        x0, y0, x1, y1 = region.bounds if not region.is_empty else (0.0, 0.0, 0.0, 0.0)
        if max(x1 - x0, y1 - y0) >= LEAST_STROKE_MM:
            return pad, region
    return None


def _section(
    cell: shapely.Polygon,
    name: str,
    panel: Panel,
    worked: shapely.Polygon,
    pads: list[_Pad],
    pad_mm: float,
) -> Section:
    width, height, _ = smallest_rectangle(worked)
    note, strokes = HAND_ONLY, tuple[Stroke, ...]()
    found = _fitting(pads, cell)
    if found is not None:
        pad, region = found
        strokes = crosshatch(region, pad.lattice, body_lines_mm=panel.body_lines_mm)
        note = _note(pad, cell, pad_mm)
    return Section(
        id=name,
        panel=panel.id,
        cell_mm=one_ring(cell),
        worked_mm=one_ring(worked),
        width_mm=width,
        height_mm=height,
        area_mm2=cell.area,
        strokes_mm=strokes,
        note=note,
    )


def _note(pad: _Pad, cell: BaseGeometry, pad_mm: float) -> str:
    """Say where the pad at hand does not get in."""
    if pad.size_mm < pad_mm:
        return f"narrower than the pad: use one of {pad.size_mm:g} mm"
    if shapely.intersection(pad.reached, cell).area < 0.85 * cell.area:
        return "part of it is narrower than the pad: finish that with a smaller pad or by hand"
    return ""
