"""The pattern sheet: every panel of a car to one scale, like the pieces of a sewing pattern.

First a record (:func:`lay_out`), then a drawing of it (:func:`draw`), so that the page, the PDF
and the command show the same sheet. :func:`draw_panel` shows one panel large.
"""

from collections.abc import Mapping, Sequence

from leastcut.car._label import IDENT, Dress, Label, inks_on
from leastcut.car._layout import Placement, Sheet, SheetError, lay_out, on_sheet
from leastcut.car._marks import (
    Spot,
    arrow,
    dashes,
    grain,
    label_spot,
    legend,
    notches,
    number_mark,
    roomiest,
    scale_bar,
    swatch,
)
from leastcut.car._panel_view import draw_panel
from leastcut.car._svg import QUIET, document, num, safe, shape_path, tag, text
from leastcut.car.outline import painted_area_m2
from leastcut.car.ramp import CHALK, INK, Ramp
from leastcut.car.records import Car, Panel, Point, Polygon, Polyline
from leastcut.car.units import UnitSystem, show

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

    Returns
    -------
    str
        Well-formed SVG with title and description for screen readers.
    """
    panels = {panel.id: panel for panel in car.panels}
    dress = Dress(values, value_range, decimals, ramp)
    pieces = [
        _piece(sheet, placement, panels[placement.panel], dress, (cells or {}).get(placement.panel))
        for placement in sheet.placements
    ]
    body = [*_head(sheet, car, units, title, subtitle), *_key_figure(sheet, car, dress)]
    body += [*pieces, *_foot(sheet, dress, units)]
    if values is not None:
        body.append(_value_legend(sheet, dress, value_name, value_unit))
    return document(
        sheet.page_mm,
        body,
        title=title or f"Pattern sheet of {car.label}",
        description=_description(sheet, panels, values, value_name, value_unit, decimals),
        ident=IDENT,
    )


def _piece(
    sheet: Sheet,
    placement: Placement,
    panel: Panel,
    dress: Dress,
    cells: Sequence[tuple[str, Polygon]] | None,
) -> str:
    def paper(points: Sequence[Point]) -> Polyline:
        return on_sheet(sheet, placement, points)

    fill = dress.fill(panel.id)
    ink, quiet = inks_on(fill)
    outline = shape_path([paper(panel.outline_mm)])
    kept = [paper(k.outline_mm) for k in panel.keep_outs]
    parts = [
        tag("title", _told(panel, placement, dress)),
        tag("path", d=outline, fill=fill, stroke=INK, stroke_width=0.35),
        *(dashes(paper(body_line), stroke=quiet) for body_line in panel.body_lines_mm),
        *(_cell(paper(p), name, ink, kept) for name, p in cells or ()),
        *(_keep_out(points) for points in kept),
        *(tag("path", d=shape_path([paper(n)]), fill=INK) for n in _notched(sheet, panel)),
        *_labels(sheet, placement, panel, dress, brief=bool(cells)),
    ]
    return tag("g", "".join(parts))


def _told(panel: Panel, placement: Placement, dress: Dress) -> str:
    """Return what a pointer or screen reader is told of a piece."""
    word = dress.word(panel.id)
    return safe(f"{placement.number} {panel.name}" + (f": {word}" if word else ""))


def _notched(sheet: Sheet, panel: Panel) -> tuple[Polygon, ...]:
    return notches(panel, size_mm=1.3 / sheet.scale)


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


def _labels(
    sheet: Sheet, placement: Placement, panel: Panel, dress: Dress, *, brief: bool
) -> list[str]:
    """Return number, name, value and grain arrow, as many as the piece has room for."""
    spot = label_spot(panel)
    if brief:
        top = on_sheet(sheet, placement, [_top_at(panel, spot)])[0]
        beside = (top[0] + 3.0, top[1] - 0.9)
        name = text(beside, panel.name, size=2.5, anchor="start", halo=True)
        return [name, number_mark(top, placement.number, radius=2.4)]
    label = Label(
        at=on_sheet(sheet, placement, [spot.centre])[0],
        room=spot.radius * sheet.scale,
        number=placement.number,
        name=panel.name,
        words=dress.word(panel.id),
        ground=dress.fill(panel.id),
        outline=on_sheet(sheet, placement, panel.outline_mm),
    )
    parts = label.draw()
    clear = label.half_width / sheet.scale
    mark = grain(panel, spot, clear_mm=clear, longest_mm=26.0 / sheet.scale)
    if mark:
        tail, head = on_sheet(sheet, placement, [mark.tail, mark.head])
        parts.append(arrow(tail, head, mark.word, stroke=label.quiet))
    return parts


def _top_at(panel: Panel, spot: Spot) -> Point:
    from shapely import LinearRing, LineString

    u = spot.centre[0]
    hits = LinearRing(panel.outline_mm).intersection(LineString([(u, spot.centre[1]), (u, 2e4)]))
    heights = [part.coords[0][1] for part in getattr(hits, "geoms", [hits])]
    return u, min(heights)


def _key_figure(sheet: Sheet, car: Car, dress: Dress) -> list[str]:
    """Return the left side of the car put together, small, in the sheet's upper right corner."""
    pieces = [(p, p.place_mm) for p in car.panels if p.side == "left" and p.place_mm is not None]
    if not pieces:
        return []
    scale = min(62.0 / car.length_mm, 17.0 / car.height_mm)
    left, base = sheet.page_mm[0] - 11.0 - scale * car.length_mm, 20.5
    return [
        tag(
            "path",
            d=shape_path(
                [[(left + scale * (x + u), base - scale * (y + v)) for u, v in panel.outline_mm]]
            ),
            fill=dress.fill(panel.id),
            stroke=INK,
            stroke_width=0.2,
        )
        for panel, (x, y) in pieces
    ]


def _head(
    sheet: Sheet, car: Car, units: UnitSystem, title: str | None, subtitle: str | None
) -> list[str]:
    area = show(sum(painted_area_m2(p) for p in car.panels), "meter**2", units)
    facts = f"{len(sheet.placements)} pieces, {area} of paint, drawn 1 : {1 / sheet.scale:.0f}"
    x = 9.0
    return [
        text((x, 10.0), title or car.label, size=6.0, anchor="start", bold=True),
        text((x, 15.2), subtitle or facts, size=3.0, anchor="start", fill=QUIET),
    ]


def _foot(sheet: Sheet, dress: Dress, units: UnitSystem) -> list[str]:
    base = sheet.page_mm[1] - 7.0
    x = 11.0 + 66.0
    parts = [scale_bar((11.0, base), sheet.scale, units=units)]
    fields = [(f"url(#{IDENT}-keepout)", "keep off")]
    if dress.values is not None:
        fields.append((f"url(#{IDENT}-unmeasured)", "not measured"))
    for fill, words in fields:
        parts += [swatch((x, base), fill, words)]
        x += 12.0 + 1.5 * len(words)
    for marks, words in ((1, "front edge"), (2, "rear edge")):
        for i in range(marks):
            parts.append(tag("path", d=_triangle(x + 2.2 * i, base - 0.6), fill=INK))
        parts.append(text((x + 2.2 * marks + 0.8, base - 0.5), words, size=2.6, anchor="start"))
        x += 6.0 + 2.2 * marks + 1.35 * len(words)
    return parts


def _triangle(x: float, y: float) -> str:
    return shape_path([[(x, y), (x + 1.6, y), (x + 0.8, y - 1.6)]])


def _value_legend(sheet: Sheet, dress: Dress, name: str, unit: str) -> str:
    width = 60.0
    at = (sheet.page_mm[0] - 11.0 - width, sheet.page_mm[1] - 7.0)
    words = f"{name} [{unit}]" if unit else name
    return legend(
        at, dress.ramp, dress.shown(dress.low), dress.shown(dress.high), words, width=width
    )


def _description(
    sheet: Sheet,
    panels: Mapping[str, Panel],
    values: Mapping[str, float | None] | None,
    name: str,
    unit: str,
    decimals: int,
) -> str:
    lines = [f"All panels to one scale, 1 to {num(round(1 / sheet.scale))}, in order of work."]
    for placement in sheet.placements:
        words = f"{placement.number} {panels[placement.panel].name}"
        if values is not None:
            value = values.get(placement.panel)
            shown = "not measured" if value is None else f"{value:.{decimals}f} {unit}".strip()
            words += f", {name}: {shown}" if name else f": {shown}"
        lines.append(words + ".")
    return " ".join(lines)
