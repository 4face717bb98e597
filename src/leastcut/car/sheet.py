"""The pattern sheet: every panel of a car to one scale, like the pieces of a sewing pattern.

First a record (:func:`lay_out`), then a drawing of it (:func:`draw`), so that the page, the PDF
and the command show the same sheet. :func:`draw_panel` shows one panel large.
"""

from collections.abc import Mapping, Sequence

from leastcut.car._head_foot import description, foot, grade, head
from leastcut.car._label import IDENT, Dress, Label, inks_on, placed_names
from leastcut.car._layout import Placement, Sheet, SheetError, lay_out, on_sheet
from leastcut.car._marks import (
    Spot,
    arrow,
    dashes,
    grain,
    label_spot,
    notches,
    roomiest,
)
from leastcut.car._panel_view import draw_panel
from leastcut.car._svg import QUIET, document, link, safe, shape_path, tag, text
from leastcut.car.ramp import CHALK, INK, Ramp
from leastcut.car.records import Car, Panel, Point, Polygon, Polyline
from leastcut.car.units import UnitSystem

__all__ = ["Placement", "Sheet", "SheetError", "draw", "draw_panel", "lay_out", "on_sheet"]

Cells = Mapping[str, Sequence[tuple[str, Polygon]]]


def draw(
    sheet: Sheet,
    car: Car,
    *,
    values: Mapping[str, float | None] | None = None,
    value_name: str = "",
    value_unit: str = "",
    value_range: tuple[float, float] | None = None,
    decimals: int = 0,
    ramp: Ramp = CHALK,
    cells: Cells | None = None,
    units: UnitSystem = "metric",
    title: str | None = None,
    subtitle: str | None = None,
    links: Mapping[str, str] | None = None,
) -> str:
    """Return the pattern sheet as an SVG document.

    Parameters
    ----------
    sheet : Sheet
        From :func:`lay_out` for the panels of this car.
    car : Car
        The car; its label is the title unless another is given.
    values : mapping, optional
        A number per panel id. Panels without one, or with None, are hatched as not measured;
        without the mapping the pieces stay white.
    value_name, value_unit : str
        What the numbers are, for the legend.
    value_range : tuple of float, optional
        Ends of the ramp; from the values when left out.
    decimals : int
        Of the printed values.
    cells : mapping, optional
        Per panel id the sections as (id, polygon in the panel's mm).
    units : {"metric", "us"}
        Of the scale bar and the area.
    links : mapping, optional
        Where each piece leads, by panel id, for a sheet on a page.

    Returns
    -------
    str
        Well-formed SVG with title and description for screen readers.
    """
    panels = {panel.id: panel for panel in car.panels}
    dress = Dress(values, value_range, decimals, ramp)
    cells = cells or {}
    pairs = [(placement, panels[placement.panel]) for placement in sheet.placements]
    spots = {panel.id: label_spot(panel) for _, panel in pairs}
    labels = [
        _label(sheet, *pair, dress, spots[pair[1].id], on_edge=bool(cells.get(pair[1].id)))
        for pair in pairs
    ]
    body = [
        *head(sheet, car, dress, units=units, title=title, subtitle=subtitle),
        *(
            link(
                _piece(sheet, *pair, dress, label, spots[pair[1].id], cells.get(pair[1].id, ())),
                (links or {}).get(pair[1].id),
            )
            for pair, label in zip(pairs, labels, strict=True)
        ),
        *placed_names(labels, _names_room(sheet)),
        *foot(sheet, dress, units=units, value_words=f"{value_name} [{value_unit}]"),
    ]
    return document(
        sheet.page_mm,
        body,
        title=title or f"Pattern sheet of {car.label}",
        description=description(sheet, panels, dress, value_name, value_unit),
        ident=IDENT,
        role="group" if links else "img",
    )


def _names_room(sheet: Sheet) -> tuple[float, float, float, float]:
    """Return where names may stand: between title and legend."""
    width, height = sheet.page_mm
    return 0.0, 0.82 * sheet.head_mm, width, height - 0.72 * sheet.foot_mm


def _label(
    sheet: Sheet, placement: Placement, panel: Panel, dress: Dress, spot: Spot, *, on_edge: bool
) -> Label:
    place = _top_at(panel, spot) if on_edge else spot.centre
    return Label(
        at=on_sheet(sheet, placement, [place])[0],
        room=spot.radius * sheet.scale,
        number=placement.number,
        name=panel.name,
        words=dress.word(panel.id),
        ground=dress.fill(panel.id),
        outline=on_sheet(sheet, placement, panel.outline_mm),
        kept=tuple(on_sheet(sheet, placement, k.outline_mm) for k in panel.keep_outs),
        grade=grade(sheet),
        on_edge=on_edge,
    )


def _piece(
    sheet: Sheet,
    placement: Placement,
    panel: Panel,
    dress: Dress,
    label: Label,
    spot: Spot,
    cells: Sequence[tuple[str, Polygon]],
) -> str:
    def paper(points: Sequence[Point]) -> Polyline:
        return on_sheet(sheet, placement, points)

    ink, quiet = inks_on(label.ground)
    notched = notches(panel, size_mm=1.3 * label.grade / sheet.scale)
    outline = shape_path([label.outline])
    parts = [
        tag("title", _told(panel, placement, dress)),
        tag("path", d=outline, fill=label.ground, stroke=INK, stroke_width=0.35),
        *(dashes(paper(body_line), stroke=quiet) for body_line in panel.body_lines_mm),
        *(_cell(paper(p), name, ink, label.kept) for name, p in cells),
        *(_keep_out(points) for points in label.kept),
        *(tag("path", d=shape_path([paper(n)]), fill=INK) for n in notched),
        *label.draw(),
    ]
    if not label.on_edge:
        parts.append(_grain(sheet, placement, panel, label, spot))
    return tag("g", "".join(parts))


def _grain(sheet: Sheet, placement: Placement, panel: Panel, label: Label, spot: Spot) -> str:
    clear, longest = label.half_width / sheet.scale, 26.0 * label.grade / sheet.scale
    mark = grain(panel, spot, clear_mm=clear, longest_mm=longest)
    if mark is None:
        return ""
    tail, tip = on_sheet(sheet, placement, [mark.tail, mark.head])
    size = 2.0 * label.grade
    lying = abs(tip[0] - tail[0]) > abs(tip[1] - tail[1])
    word = "" if lying and label.room < 1.5 * size else mark.word
    return arrow(tail, tip, word, stroke=label.quiet, size=size)


def _told(panel: Panel, placement: Placement, dress: Dress) -> str:
    """Return what a pointer or screen reader is told of a piece."""
    word = dress.word(panel.id)
    return safe(f"{placement.number} {panel.name}" + (f": {word}" if word else ""))


def _keep_out(points: Sequence[Point]) -> str:
    return tag(
        "path",
        d=shape_path([points]),
        fill=f"url(#{IDENT}-keepout)",
        stroke=QUIET,
        stroke_width=0.2,
    )


def _cell(points: Polyline, name: str, ink: str, kept: Sequence[Polyline]) -> str:
    spot = roomiest(points, kept)
    size = min(2.6, 1.1 * spot.radius)
    edge = tag("path", d=shape_path([points]), stroke=ink, stroke_width=0.18)
    at = (spot.centre[0], spot.centre[1] + 0.35 * size)
    return edge + text(at, name, size=size, fill=ink)


def _top_at(panel: Panel, spot: Spot) -> Point:
    from shapely import LinearRing, LineString

    u = spot.centre[0]
    hits = LinearRing(panel.outline_mm).intersection(LineString([(u, spot.centre[1]), (u, 2e4)]))
    heights = [part.coords[0][1] for part in getattr(hits, "geoms", [hits])]
    return u, min(heights)
