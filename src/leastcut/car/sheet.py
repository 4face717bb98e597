"""The pattern sheet: every panel of a car to one scale, like the pieces of a sewing pattern.

First a record (:func:`lay_out`), then a drawing of it (:func:`draw`), so that the page, the PDF
and the command show the same sheet. :func:`draw_panel` shows one panel large.
"""

from collections.abc import Mapping, Sequence

from leastcut.car._layout import Placement, Sheet, SheetError, lay_out, on_sheet
from leastcut.car._marks import (
    Spot,
    arrow,
    dashes,
    grain,
    legend,
    notches,
    number_mark,
    roomiest,
    scale_bar,
)
from leastcut.car._panel_view import draw_panel
from leastcut.car._svg import QUIET, document, num, shape_path, tag, text
from leastcut.car.outline import painted_area_m2
from leastcut.car.ramp import CHALK, INK, PAPER, Ramp, readable_on
from leastcut.car.records import Car, Panel, Point, Polygon
from leastcut.car.units import UnitSystem, show

__all__ = ["Placement", "Sheet", "SheetError", "draw", "draw_panel", "lay_out", "on_sheet"]

Cells = Mapping[str, Sequence[tuple[str, Polygon]]]
_IDENT = "sheet"


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
    dress = _Dress(values, value_range, decimals, ramp)
    pieces = [
        _piece(sheet, placement, panels[placement.panel], dress, (cells or {}).get(placement.panel))
        for placement in sheet.placements
    ]
    body = [*_head(sheet, car, units, title, subtitle), *pieces, *_foot(sheet, dress, units)]
    if values is not None:
        body.append(_value_legend(sheet, dress, value_name, value_unit))
    return document(
        sheet.page_mm,
        body,
        title=title or f"Pattern sheet of {car.label}",
        description=_description(sheet, panels, values, value_name, value_unit, decimals),
        ident=_IDENT,
    )


class _Dress:
    """How numbers become fill colours and printed words."""

    def __init__(
        self,
        values: Mapping[str, float | None] | None,
        value_range: tuple[float, float] | None,
        decimals: int,
        ramp: Ramp,
    ) -> None:
        self.values = values
        self.decimals = decimals
        self.ramp = ramp
        known = [v for v in (values or {}).values() if v is not None]
        low, high = value_range or (min(known, default=0.0), max(known, default=1.0))
        self.low, self.high = low, high if high > low else low + 1.0

    def fill(self, panel: str) -> str:
        """Return the fill of a panel: paper, hatching, or its colour."""
        if self.values is None:
            return PAPER
        value = self.values.get(panel)
        if value is None:
            return f"url(#{_IDENT}-unmeasured)"
        return self.ramp.colour((value - self.low) / (self.high - self.low))

    def word(self, panel: str) -> str:
        """Return the printed value of a panel, empty when there is none."""
        value = None if self.values is None else self.values.get(panel)
        return "" if value is None else self.shown(value)

    def shown(self, value: float) -> str:
        """Return a value with the sheet's decimals."""
        return f"{value:.{self.decimals}f}"


def _piece(
    sheet: Sheet,
    placement: Placement,
    panel: Panel,
    dress: _Dress,
    cells: Sequence[tuple[str, Polygon]] | None,
) -> str:
    def paper(points: Sequence[Point]) -> Sequence[Point]:
        return on_sheet(sheet, placement, points)

    fill = dress.fill(panel.id)
    solid = fill if fill.startswith("#") else PAPER
    ink, quiet = readable_on(solid), QUIET if solid == PAPER else readable_on(solid)
    parts = [
        tag("title", text_of(panel, placement, dress)),
        tag(
            "path",
            d=shape_path([paper(panel.outline_mm)]),
            fill=fill,
            stroke=INK,
            stroke_width=0.35,
        ),
        *(dashes(paper(body_line), stroke=quiet) for body_line in panel.body_lines_mm),
        *(_cell(paper(polygon), name, ink) for name, polygon in cells or ()),
        *(_keep_out(paper(k.outline_mm)) for k in panel.keep_outs),
        *(tag("path", d=shape_path([paper(n)]), fill=INK) for n in _notched(sheet, panel)),
        *_labels(sheet, placement, panel, dress, solid, labelled=not cells),
    ]
    return tag("g", "".join(parts))


def text_of(panel: Panel, placement: Placement, dress: _Dress) -> str:
    """Return what a pointer or screen reader is told of a piece."""
    from leastcut.car._svg import safe

    word = dress.word(panel.id)
    return safe(f"{placement.number} {panel.name}" + (f": {word}" if word else ""))


def _notched(sheet: Sheet, panel: Panel) -> tuple[Polygon, ...]:
    return notches(panel, size_mm=1.3 / sheet.scale)


def _keep_out(points: Sequence[Point]) -> str:
    return tag(
        "path",
        d=shape_path([points]),
        fill=f"url(#{_IDENT}-keepout)",
        stroke=QUIET,
        stroke_width=0.2,
    )


def _cell(points: Sequence[Point], name: str, ink: str) -> str:
    spot = roomiest(tuple(points))
    size = min(2.6, 1.1 * spot.radius)
    edge = tag("path", d=shape_path([points]), stroke=ink, stroke_width=0.18)
    at = (spot.centre[0], spot.centre[1] + 0.35 * size)
    return edge + text(at, name, size=size, fill=ink)


def _labels(
    sheet: Sheet,
    placement: Placement,
    panel: Panel,
    dress: _Dress,
    solid: str,
    *,
    labelled: bool,
) -> list[str]:
    """Return number, name, value and grain arrow, as many as the piece has room for."""
    spot = roomiest(panel.outline_mm, [k.outline_mm for k in panel.keep_outs])
    centre = on_sheet(sheet, placement, [spot.centre])[0]
    room = spot.radius * sheet.scale
    if not labelled:
        top = on_sheet(sheet, placement, [_top_at(panel, spot)])[0]
        return [number_mark(top, placement.number, radius=2.4)]
    words = dress.word(panel.id)
    parts = _block(centre, room, placement.number, panel.name, words, solid)
    clear = (2.2 + 0.27 * max(len(panel.name) * 2.3, 14.0) if room >= _ROOMY else 9.0) / sheet.scale
    mark = grain(panel, spot, clear_mm=clear, longest_mm=26.0 / sheet.scale)
    if mark:
        tail, head = on_sheet(sheet, placement, [mark.tail, mark.head])
        quiet = QUIET if solid == PAPER else readable_on(solid)
        parts.append(arrow(tail, head, mark.word, stroke=quiet))
    return parts


_ROOMY = 7.5  # mm on paper: a label of three lines fits


def _block(centre: Point, room: float, number: int, name: str, words: str, solid: str) -> list[str]:
    x, y = centre
    ink = readable_on(solid)
    halo = solid == PAPER
    if room >= _ROOMY:
        lift = 2.2 if words else 0.0
        parts = [number_mark((x, y - 2.6 - lift), number, radius=2.9)]
        parts.append(text((x, y + 3.6 - lift), name, size=2.5, fill=ink, halo=halo))
        if words:
            parts.append(text((x, y + 6.4), words, size=4.6, fill=ink, bold=True, halo=halo))
        return parts
    radius = min(2.4, max(1.9, 0.8 * room))
    if not words:
        return [number_mark(centre, number, radius=radius)]
    if room >= 2.4:
        mark = number_mark((x - 4.0, y), number, radius=radius)
        return [
            mark,
            text(
                (x - 0.8, y + 1.3), words, size=3.6, fill=ink, anchor="start", bold=True, halo=halo
            ),
        ]
    mark = number_mark(centre, number, radius=radius)
    return [mark, text((x, y + radius + 3.4), words, size=3.2, bold=True, halo=True)]


def _top_at(panel: Panel, spot: Spot) -> Point:
    from shapely import LinearRing, LineString

    u = spot.centre[0]
    hits = LinearRing(panel.outline_mm).intersection(LineString([(u, spot.centre[1]), (u, 2e4)]))
    points = [part.coords[0] for part in getattr(hits, "geoms", [hits]) if not part.is_empty]
    return min(points, key=lambda p: p[1])


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


def _foot(sheet: Sheet, dress: _Dress, units: UnitSystem) -> list[str]:
    del dress
    base = sheet.page_mm[1] - 7.0
    key = "numbers: order of work   ▲ front edge   ▲▲ rear edge"
    return [
        scale_bar((11.0, base), sheet.scale, units=units),
        text((sheet.page_mm[0] / 2, base), key, size=2.5, fill=QUIET),
    ]


def _value_legend(sheet: Sheet, dress: _Dress, name: str, unit: str) -> str:
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
