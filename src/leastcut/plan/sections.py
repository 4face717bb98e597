"""Divide a panel into sections and lay the strokes of each."""

import math
from dataclasses import dataclass

import shapely
from shapely.geometry.base import BaseGeometry

from leastcut.car.records import Panel
from leastcut.errors import InputError
from leastcut.plan.cells import cut_into_cells
from leastcut.plan.geometry import (
    LEAST_MM2,
    one_ring,
    parts,
    smallest_rectangle,
    workable_area,
)
from leastcut.plan.limits import Limits, area_bound
from leastcut.plan.order import work_order
from leastcut.plan.records import Layout, LayoutOptions, Section, Stroke
from leastcut.plan.strokes import (
    LEAST_STROKE_MM,
    SMALL_PADS_MM,
    Lattice,
    along_strip,
    centre_region,
    centred_lattice,
    crosshatch,
)

STRONG_MM = 500.0  # a smaller radius of curvature is strong; our own choice
AT_BENDS = "keep the pad flat and turn it with the panel, in shorter strokes there"
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
    options = LayoutOptions(
        max_side_mm=max_side_mm,
        overlap_mm=overlap_mm,
        stroke_spacing_mm=stroke_spacing_mm,
        pad_diameter_mm=pad_diameter_mm,
        edge_margin_mm=edge_margin_mm,
    )
    area = workable_area(panel)
    limits, cells = limits_for(panel, options, area), []
    if not area.is_empty:
        cells = cut_into_cells(area, limits, body_lines_mm=panel.body_lines_mm)
    return assemble(panel, cells, options, area)


def limits_for(panel: Panel, options: LayoutOptions, area: BaseGeometry) -> Limits:
    """Return how large a section of this panel may be.

    Parameters
    ----------
    panel : Panel
        Its curvature and width count.
    options : LayoutOptions
        The usual limit.
    area : shapely geometry
        The panel's workable area [mm].

    Returns
    -------
    Limits
        The limit, less on a panel that is strongly curved all over.

    Raises
    ------
    LayoutError
        If an option is out of range.
    """
    _check(options)
    share = 1.0 if bent_in_places(panel, area) else curvature_share(panel.curvature_radius_mm)
    if share < 1.0:
        free = centre_region(area, pad_mm=options.pad_diameter_mm, margin_mm=options.edge_margin_mm)
        share = 1.0 if free.is_empty else share
    return Limits(max(options.max_side_mm * share, 2 * options.overlap_mm), options.overlap_mm)


def assemble(
    panel: Panel, cells: list[shapely.Polygon], options: LayoutOptions, area: BaseGeometry
) -> Layout:
    """Put cells in order of work, grow them by the overlap and lay their strokes.

    Parameters
    ----------
    panel : Panel
        The panel.
    cells : list of shapely.Polygon
        Cells that tile its workable area [mm]; none for an empty plan.
    options : LayoutOptions
        Limits and stroke settings.
    area : shapely geometry
        The workable area [mm].

    Returns
    -------
    Layout
        The sections, named "1", "2", … in order.
    """
    cells = [cell for cell in cells if cell.area >= LEAST_MM2]
    limits = limits_for(panel, options, area)
    if not cells:
        return Layout(panel=panel.id, sections=(), order=(), covered_fraction=0.0, lower_bound=0)
    pads, bend = _Pads(area, options), ""
    if bent_in_places(panel, area):
        bend = f"bends with a radius of {panel.curvature_radius_mm:g} mm: {AT_BENDS}"
    sections = tuple(
        _section(cell, str(index), panel, limits.worked(cell, area), pads, bend)
        for index, cell in enumerate(work_order(cells, panel), start=1)
    )
    return Layout(
        panel=panel.id,
        sections=sections,
        order=tuple(section.id for section in sections),
        covered_fraction=min(1.0, sum(section.area_mm2 for section in sections) / area.area),
        lower_bound=area_bound(area, limits),
    )


def curvature_share(radius_mm: float | None) -> float:
    """Return by how much sections shrink on a strongly curved panel.

    From a radius of STRONG_MM downwards the arm has to turn the machine within a section of the usual
    size, so the side shrinks with the root of the radius, to 85 % at least. Our own choice,
    no source. A strip narrower than the pad is not cut shorter: it turns about its length.

    Examples
    --------
    >>> curvature_share(None), curvature_share(3000.0), curvature_share(100.0)
    (1.0, 1.0, 0.85)
    """
    if radius_mm is None or radius_mm >= STRONG_MM:
        return 1.0
    return max(0.85, math.sqrt(radius_mm / STRONG_MM))


def bent_in_places(panel: Panel, area: BaseGeometry) -> bool:
    """Return whether a panel is strongly curved, but cannot be so over its whole length.

    A panel turns by half a circle at most, from one wheel arch round the nose to the other. What is
    longer than half the circle of its radius is flatter elsewhere: a bumper cover with its bends is.
    Its sections are of the usual size, and go round the bend with a note.

    Parameters
    ----------
    panel : Panel
        Its radius of curvature counts.
    area : shapely geometry
        Its workable area, developed [mm].

    Returns
    -------
    bool
        True for a radius under STRONG_MM and a length over half its circle.
    """
    radius = panel.curvature_radius_mm
    if radius is None or radius >= STRONG_MM or area.is_empty:
        return False
    return max(smallest_rectangle(area)[:2]) > math.pi * radius


def _check(options: LayoutOptions) -> None:
    pad = options.pad_diameter_mm
    ranges = {
        "max_side_mm": (50.0, 5000.0),
        "overlap_mm": (0.0, options.max_side_mm / 2),
        "stroke_spacing_mm": (2.0, 1000.0),
        "pad_diameter_mm": (10.0, 500.0),
        "edge_margin_mm": (-pad / 2, 500.0),
    }
    for name, (low, high) in ranges.items():
        value = getattr(options, name)
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


class _Pads:
    """The pad at hand and smaller ones for narrow places, the spacing in proportion.

    What a smaller one can reach is worked out when a section first asks for it.
    """

    def __init__(self, area: BaseGeometry, options: LayoutOptions) -> None:
        self.usual_mm = options.pad_diameter_mm
        self._area, self._options = area, options
        smaller = (size for size in SMALL_PADS_MM if size < self.usual_mm)
        self._sizes = [self.usual_mm, *smaller]
        self._made: dict[float, _Pad | None] = {}

    def fitting(self, cell: BaseGeometry) -> tuple[_Pad, BaseGeometry] | None:
        """Return the largest pad whose centre has room to move in a cell, and where."""
        for size in self._sizes:
            pad = self._pad(size)
            if pad is not None:
                region = shapely.MultiPolygon(parts(shapely.intersection(cell, pad.centre)))
                x0, y0, x1, y1 = region.bounds if not region.is_empty else (0.0, 0.0, 0.0, 0.0)
                if max(x1 - x0, y1 - y0) >= LEAST_STROKE_MM:
                    return pad, region
        return None

    def _pad(self, size: float) -> _Pad | None:
        """Return what a pad of a size can reach on the panel, or None if it fits nowhere."""
        if size not in self._made:
            given, share = self._options, size / self.usual_mm
            centre = centre_region(self._area, pad_mm=size, margin_mm=given.edge_margin_mm)
            self._made[size] = (
                None
                if centre.is_empty
                else _Pad(
                    size,
                    centre,
                    shapely.buffer(centre, size / 2, quad_segs=4),
                    centred_lattice(centre, given.stroke_spacing_mm * share),
                )
            )
        return self._made[size]


def _section(
    cell: shapely.Polygon,
    name: str,
    panel: Panel,
    worked: shapely.Polygon,
    pads: _Pads,
    bend: str,
) -> Section:
    width, height, _ = smallest_rectangle(worked)
    note, strokes = HAND_ONLY, tuple[Stroke, ...]()
    found = pads.fitting(cell)
    if found is not None:
        pad, region = found
        lines = panel.body_lines_mm
        if pad.size_mm < pads.usual_mm:
            strokes = along_strip(region, pad.lattice.spacing_mm, body_lines_mm=lines)
        else:
            strokes = crosshatch(region, pad.lattice, body_lines_mm=lines)
        note = _note(pad, cell, pads.usual_mm) or bend
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
