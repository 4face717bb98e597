"""The drawings that the reports need, as SVG by name."""

from collections.abc import Mapping

import msgspec

from leastcut.car.records import Panel, Point
from leastcut.car.units import convert
from leastcut.handover.records import Dossier
from leastcut.handover.wall import panels_in_order
from leastcut.plan.records import Layout, Section

# Paper that the pattern sheet fills on page 1: the type width of A4, and what the tables leave.
SHEET_MM = (182.0, 140.0)


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

    return draw_sheet(
        lay_out(panels_in_order(dossier), page_mm=SHEET_MM, head_mm=17, foot_mm=12, margin_mm=1),
        dossier.car,
        cells={layout.panel: _cells(layout) for layout in dossier.layouts},
        units=dossier.units,
        title="Pieces in order of work, sections numbered",
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
        title="Clear coat of every panel, at least",
    )


def _cells(layout: Layout) -> list[tuple[str, tuple[Point, ...]]]:
    """Return a panel's cells, numbered as they are to be worked."""
    cells = {section.id: section.cell_mm for section in layout.sections}
    return [(str(n), cells[name]) for n, name in enumerate(layout.order, 1)]


def draw_one(dossier: Dossier, panel: Panel) -> str:
    """Draw one panel large."""
    from leastcut.car.sheet import draw_panel

    layout = next((one for one in dossier.layouts if one.panel == panel.id), None)
    sections = _sections(layout)
    return draw_panel(
        panel,
        sections=[] if layout is None else _cells(layout),
        strokes=[stroke for section in sections for stroke in section.strokes_mm],
        taped=panel.body_lines_mm,
        units=dossier.units,
    )


def _sections(layout: Layout | None) -> list[Section]:
    if layout is None:
        return []
    by_id = {section.id: section for section in layout.sections}
    return [by_id[name] for name in layout.order]
