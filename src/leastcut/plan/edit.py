"""Change a layout by hand: pin, join, cut, move a seam; the rest adapts.

Every edit returns a whole new layout of the panel. Sections that are pinned stay as they are; the
others are laid out afresh over what is left, unless the edit names them.
"""

from collections.abc import Sequence

import shapely
from shapely.geometry.base import BaseGeometry

from leastcut.car.records import Panel, Polyline
from leastcut.plan.cells import cut_along, cut_into_cells
from leastcut.plan.geometry import SNAP_MM, parts, workable_area
from leastcut.plan.joins import joined, split_wide
from leastcut.plan.limits import Limits
from leastcut.plan.records import Layout, LayoutOptions
from leastcut.plan.sections import LayoutError, assemble, limits_for

# A seam may be drawn this roughly: crumbs below it go to their neighbour.
CRUMB_MM2 = 100.0


def keep_pinned(
    panel: Panel, layout: Layout, pinned: Sequence[str], options: LayoutOptions
) -> Layout:
    """Lay out a panel afresh around sections that stay as they are.

    Parameters
    ----------
    panel : Panel
        The panel, perhaps with another outline or keep-outs than before.
    layout : Layout
        The layout with the sections to keep.
    pinned : sequence of str
        Ids of the sections to keep.
    options : LayoutOptions
        Limits and stroke settings.

    Returns
    -------
    Layout
        Sections renumbered in order of work.

    Raises
    ------
    LayoutError
        If an id is unknown or a pinned section is beyond the limit.
    """
    area = workable_area(panel)
    limits = limits_for(panel, options, area)
    kept = [_cell(layout, name) for name in pinned]
    kept = [cell for whole in kept for cell in parts(shapely.intersection(whole, area))]
    for cell in kept:
        _must_fit(cell, area, limits, "the pinned section")
    rest = parts(shapely.difference(area, shapely.union_all(kept), grid_size=SNAP_MM))
    laid = [
        cell
        for piece in rest
        if piece.area >= CRUMB_MM2
        for cell in cut_into_cells(piece, limits, body_lines_mm=panel.body_lines_mm)
    ]
    # the overlap reaches into what is pinned, which the pieces by themselves do not know
    return assemble(panel, [*kept, *split_wide(laid, area, limits)], options, area)


def merge(panel: Panel, layout: Layout, ids: tuple[str, str], options: LayoutOptions) -> Layout:
    """Join two neighbouring sections into one.

    Parameters
    ----------
    panel : Panel
        The panel.
    layout : Layout
        Its layout.
    ids : pair of str
        The two sections.
    options : LayoutOptions
        Limits and stroke settings.

    Returns
    -------
    Layout
        One section fewer, renumbered in order of work.

    Raises
    ------
    LayoutError
        If an id is unknown, the two are no neighbours, or they are too large together.
    """
    area = workable_area(panel)
    limits = limits_for(panel, options, area)
    union = joined(_cell(layout, ids[0]), _cell(layout, ids[1]))
    if union is None:
        raise LayoutError(
            f"sections {ids[0]} and {ids[1]} have no seam in common",
            where=panel.id,
            do="Choose two sections side by side",
        )
    _must_fit(union, area, limits, f"{ids[0]} and {ids[1]} together")
    return assemble(panel, [*_others(layout, ids), union], options, area)


def split(
    panel: Panel, layout: Layout, section: str, line_mm: Polyline, options: LayoutOptions
) -> Layout:
    """Cut one section along a line.

    Parameters
    ----------
    panel : Panel
        The panel.
    layout : Layout
        Its layout.
    section : str
        Id of the section.
    line_mm : Polyline
        Where to cut [mm]; it is carried on a little at its ends.
    options : LayoutOptions
        Limits and stroke settings.

    Returns
    -------
    Layout
        One section more (or several), renumbered in order of work.

    Raises
    ------
    LayoutError
        If the id is unknown or the line does not cut the section.
    """
    pieces = _cut(_cell(layout, section), line_mm, panel.id, f"section {section}")
    return assemble(panel, [*_others(layout, (section,)), *pieces], options, workable_area(panel))


def move_seam(
    panel: Panel,
    layout: Layout,
    ids: tuple[str, str],
    line_mm: Polyline,
    options: LayoutOptions,
) -> Layout:
    """Draw the seam between two sections anew; a side that gets too large is cut again.

    Parameters
    ----------
    panel : Panel
        The panel.
    layout : Layout
        Its layout.
    ids : pair of str
        The two sections.
    line_mm : Polyline
        The new seam [mm].
    options : LayoutOptions
        Limits and stroke settings.

    Returns
    -------
    Layout
        Sections renumbered in order of work.

    Raises
    ------
    LayoutError
        If an id is unknown, the two are no neighbours, or the line does not divide them.
    """
    union = joined(_cell(layout, ids[0]), _cell(layout, ids[1]))
    if union is None:
        raise LayoutError(
            f"sections {ids[0]} and {ids[1]} have no seam in common",
            where=panel.id,
            do="Choose two sections side by side",
        )
    pieces = _cut(union, line_mm, panel.id, f"sections {ids[0]} and {ids[1]}")
    area = workable_area(panel)
    limits = limits_for(panel, options, area)
    return assemble(
        panel, [*_others(layout, ids), *split_wide(pieces, area, limits)], options, area
    )


def _cut(cell: shapely.Polygon, line_mm: Polyline, panel: str, name: str) -> list[shapely.Polygon]:
    pieces = [piece for piece in cut_along(cell, [line_mm]) if piece.area >= CRUMB_MM2]
    if len(pieces) < 2:
        raise LayoutError(
            f"the line does not divide {name}",
            where=panel,
            do="Draw it from border to border",
        )
    return pieces


def _cell(layout: Layout, name: str) -> shapely.Polygon:
    for section in layout.sections:
        if section.id == name:
            return shapely.Polygon(section.cell_mm)
    known = ", ".join(section.id for section in layout.sections)
    raise LayoutError(f"no section {name!r}", where=layout.panel, do=f"Choose one of {known}")


def _others(layout: Layout, without: tuple[str, ...]) -> list[shapely.Polygon]:
    return [shapely.Polygon(s.cell_mm) for s in layout.sections if s.id not in without]


def _must_fit(cell: BaseGeometry, area: BaseGeometry, limits: Limits, name: str) -> None:
    if not limits.fits(limits.worked(cell, area)):
        raise LayoutError(
            f"{name} would be larger than {limits.max_side_mm:.0f} mm with the overlap",
            do="Keep it smaller, or raise max_side_mm",
        )
