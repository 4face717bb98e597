"""The drawings that the reports need, as SVG by name."""

from collections.abc import Iterable, Mapping, Sequence

import msgspec

from leastcut.car.records import Panel, Point
from leastcut.car.units import convert
from leastcut.handover.records import Dossier
from leastcut.handover.wall import panels_in_order, sheet_height_mm
from leastcut.plan.records import Layout, Section, Stroke

# Paper for the pattern sheet with its legend; the type width of A4 shows it at five sixths.
SHEET_MM = (220.0, 195.0)

# A panel's page, in mm: type width; height without head, settings and cautions; a table row; the
# least picture worth looking at; what the drawing needs beside and above the panel itself.
TYPE_MM, PAGE_MM, TABLE_ROW_MM, LEAST_MM = 182.0, 190.0, 11.2, 70.0
EDGE_MM, FRAME_MM = 16.0, 34.0


class Drawings(msgspec.Struct, frozen=True, kw_only=True):
    """The car on its pattern sheet and each panel with its sections, as SVG text."""

    car: str
    panels: Mapping[str, str]


def draw(dossier: Dossier) -> Drawings:
    """Draw the car with its sections, and every panel with its sections and strokes."""
    return Drawings(
        car=draw_sections(dossier),
        panels={panel.id: draw_one(dossier, panel) for panel in dossier.car.panels},
    )


def draw_sections(dossier: Dossier) -> str:
    """Draw the pattern sheet in order of work with the sections as numbered cells, no ground."""
    from leastcut.car.sheet import draw as draw_sheet
    from leastcut.car.sheet import lay_out

    order = panels_in_order(dossier)
    page = (TYPE_MM, sheet_height_mm(len(order), dossier.units))
    return draw_sheet(
        lay_out(order, page_mm=page, head_mm=14, foot_mm=12, margin_mm=1),
        dossier.car,
        cells={layout.panel: _cells(layout) for layout in dossier.layouts},
        units=dossier.units,
        title="Pattern sheet",
    )


def draw_film(dossier: Dossier) -> str:
    """Draw the pattern sheet with the least clear coat per panel as ground and as number."""
    from leastcut.car.ramp import CHALK, Ramp
    from leastcut.car.sheet import draw as draw_sheet
    from leastcut.car.sheet import lay_out
    from leastcut.handover.words import film_symbol

    metric = dossier.units == "metric"
    values = {
        state.panel: state.film.clear_um.low
        if metric
        else convert(state.film.clear_um.low, "micrometer", "thou")
        for state in dossier.panels
        if not state.film.assumed
    }
    return draw_sheet(
        lay_out(panels_in_order(dossier), page_mm=SHEET_MM, head_mm=17, foot_mm=12, margin_mm=1),
        dossier.car,
        values=values,
        value_name="clear coat, at least",
        value_unit=film_symbol(dossier.units),
        decimals=0 if metric else 2,
        ramp=Ramp("pale", CHALK.anchors[:3]),
        units=dossier.units,
        title="Clear coat, at least",
    )


def _cells(layout: Layout) -> list[tuple[str, tuple[Point, ...]]]:
    """Return a panel's cells, numbered as they are to be worked."""
    cells = {section.id: section.cell_mm for section in layout.sections}
    return [(str(n), cells[name]) for n, name in enumerate(layout.order, 1)]


def draw_one(dossier: Dossier, panel: Panel) -> str:
    """Draw one panel large, at the size that its page has room for."""
    from leastcut.car.sheet import draw_panel

    layout = next((one for one in dossier.layouts if one.panel == panel.id), None)
    sections = _sections(layout)
    rows = (
        len(sections) if any(s.steps for s in dossier.plan.sections if s.panel == panel.id) else 0
    )
    return draw_panel(
        panel,
        sections=[] if layout is None else _cells(layout),
        strokes=[stroke for section in sections for stroke in one_way(section.strokes_mm)],
        taped=panel.body_lines_mm,
        units=dossier.units,
        width_mm=_width(panel, rows),
        title="Sections",
    )


def _width(panel: Panel, rows: int) -> float:
    """Return the paper width that keeps the panel's proportion within the room above its table."""
    xs, ys = zip(*panel.outline_mm, strict=True)
    wide, high = max(xs) - min(xs), max(ys) - min(ys)
    room = PAGE_MM - TABLE_ROW_MM * rows
    if room < LEAST_MM:  # the table goes on to another page
        room = LEAST_MM + 30.0
    scale = min((TYPE_MM - EDGE_MM) / wide, max(room - FRAME_MM, 30.0) / high)
    return max(float(scale * wide + EDGE_MM), 90.0)


def one_way(strokes: Iterable[Stroke]) -> list[Stroke]:
    """Return the strokes that run as the first one does: the other direction crosses them."""
    runs = list(strokes)
    return [stroke for stroke in runs if alike(runs[0], stroke)]


def alike(one: Sequence[Point], other: Sequence[Point]) -> bool:
    """Return whether two strokes differ by less than 45 degrees, whichever way they run."""
    (ax, ay), (bx, by) = ((q[0] - p[0], q[1] - p[1]) for p, q in (one, other))
    return abs(ax * by - ay * bx) < abs(ax * bx + ay * by)


def _sections(layout: Layout | None) -> list[Section]:
    if layout is None:
        return []
    by_id = {section.id: section for section in layout.sections}
    return [by_id[name] for name in layout.order]
