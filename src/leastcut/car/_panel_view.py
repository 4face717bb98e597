"""One panel, large: sections as numbered cells, strokes, readings, what to tape."""

from collections.abc import Mapping, Sequence

from leastcut.car._marks import (
    arrow,
    dashes,
    grain,
    legend,
    notches,
    roomiest,
    scale_bar,
)
from leastcut.car._svg import QUIET, document, link, shape_path, tag, text
from leastcut.car.ramp import CHALK, INK, PAPER, Ramp
from leastcut.car.records import Panel, Point, Polygon, Polyline
from leastcut.car.units import UnitSystem

_IDENT = "panel"
_STROKE = "#2f6f8f"  # 5.6:1 on paper


def draw_panel(
    panel: Panel,
    *,
    sections: Sequence[tuple[str, Polygon]] = (),
    strokes: Sequence[tuple[Point, Point]] = (),
    readings: Sequence[tuple[Point, str]] = (),
    taped: Sequence[Polyline] = (),
    tiles: Sequence[tuple[Polygon, float]] = (),
    tile_name: str = "",
    tile_range: tuple[float, float] | None = None,
    decimals: int = 0,
    ramp: Ramp = CHALK,
    units: UnitSystem = "metric",
    width_mm: float = 180.0,
    title: str | None = None,
    links: Mapping[str, str] | None = None,
) -> str:
    """Return one panel as an SVG document.

    Parameters
    ----------
    panel : Panel
        The panel.
    sections : sequence of (id, polygon)
        Cells in the panel's mm, numbered as they are to be worked.
    strokes : sequence of ((x, y), (x, y))
        Pad strokes in walking order [mm].
    readings : sequence of ((x, y), words)
        Places of measurement with what shall stand beside them.
    taped : sequence of polyline
        Edges to be taped, drawn as double lines [mm].
    tiles : sequence of (polygon, value)
        A map, such as the film left: small polygons with a value each.
    tile_name, tile_range, decimals
        Legend of the map, ends of the ramp, decimals shown.
    units : {"metric", "us"}
        Of the scale bar.
    width_mm : float
        Paper width [mm]; the height follows the panel.
    title : str, optional
        Instead of the panel's name.
    links : mapping, optional
        Where each section leads, by its id, for a drawing on a page.

    Returns
    -------
    str
        Well-formed SVG with title and description.
    """
    view = _View(panel, width_mm)
    low, high = tile_range or _range([value for _, value in tiles])
    body = [
        _outline(view, PAPER),
        *(_tile(view, polygon, (value - low) / (high - low), ramp) for polygon, value in tiles),
        *(_crease(view, body_line, on_map=bool(tiles)) for body_line in panel.body_lines_mm),
        *_strokes(view, strokes),
        *(
            link(
                _cell(view, name, polygon, on_map=bool(tiles), solid=bool(links)),
                (links or {}).get(name),
            )
            for name, polygon in sections
        ),
        *(_keep_out(view, keep.name, keep.outline_mm) for keep in panel.keep_outs),
        *(_tape(view, edge) for edge in taped),
        _outline(view, "none"),
        *(
            tag("path", d=shape_path([view.paper(n)]), fill=INK)
            for n in notches(panel, size_mm=view.mm(1.8))
        ),
        *(_reading(view, at, words) for at, words in readings),
        *_frame(view, panel, title, units),
    ]
    if not sections and not tiles:
        body.append(_grain(view))
    if tiles:
        ends = f"{low:.{decimals}f}", f"{high:.{decimals}f}"
        body.append(legend((width_mm - 70, view.height - 6), ramp, *ends, tile_name))
    words = f"{len(sections)} sections, {len(readings)} readings, {len(panel.keep_outs)} keep-outs."
    return document(
        (width_mm, view.height),
        body,
        title=title or panel.name,
        description=words,
        ident=_IDENT,
        role="group" if links else "img",
    )


class _View:
    """How a panel's plane maps to its own small page."""

    def __init__(self, panel: Panel, width_mm: float) -> None:
        self.panel = panel
        self.low = tuple(min(p[a] for p in panel.outline_mm) for a in (0, 1))
        high = tuple(max(p[a] for p in panel.outline_mm) for a in (0, 1))
        w, h = high[0] - self.low[0], high[1] - self.low[1]
        self.scale = min((width_mm - 16) / w, 1.2 * width_mm / h)
        self.left = (width_mm - self.scale * w) / 2
        self.bottom = 16 + self.scale * h
        self.height = self.bottom + 18

    def paper(self, points: Sequence[Point]) -> Polyline:
        """Return panel millimetres as paper millimetres."""
        return tuple(
            (
                self.left + self.scale * (x - self.low[0]),
                self.bottom - self.scale * (y - self.low[1]),
            )
            for x, y in points
        )

    def mm(self, paper: float) -> float:
        """Return a paper length as a length on the panel."""
        return paper / self.scale


def _range(values: Sequence[float]) -> tuple[float, float]:
    low, high = min(values, default=0.0), max(values, default=1.0)
    return (low, high) if high > low else (low, low + 1.0)


def _outline(view: _View, fill: str) -> str:
    points = view.paper(view.panel.outline_mm)
    return tag("path", d=shape_path([points]), fill=fill, stroke=INK, stroke_width=0.45)


def _tile(view: _View, polygon: Polygon, share: float, ramp: Ramp) -> str:
    colour = ramp.colour(share)
    return tag(
        "path",
        d=shape_path([view.paper(polygon)]),
        fill=colour,
        stroke=colour,
        stroke_width=0.1,
    )


def _crease(view: _View, points: Polyline, *, on_map: bool) -> str:
    """Return a body line; on a map it stands on a pale thread, to be seen on any colour."""
    paper = view.paper(points)
    d = shape_path([paper], closed=False)
    pale = tag("path", d=d, stroke=PAPER, stroke_width=0.5, opacity=0.7) if on_map else ""
    return pale + dashes(paper, stroke=INK if on_map else QUIET)


def _cell(view: _View, name: str, polygon: Polygon, *, on_map: bool, solid: bool) -> str:
    """Return a section with its number; `solid` ones can be tapped all over."""
    points = view.paper(polygon)
    spot = roomiest(points, [view.paper(k.outline_mm) for k in view.panel.keep_outs])
    size = min(7.0, 0.9 * spot.radius)
    at = (spot.centre[0], spot.centre[1] + 0.35 * size)
    tappable = {"pointer_events": "all"} if solid else {}
    edge = tag("path", d=shape_path([points]), stroke=INK, stroke_width=0.3, **tappable)
    return edge + text(at, name, size=size, bold=True, halo=True, fill=INK if on_map else QUIET)


def _keep_out(view: _View, name: str, polygon: Polygon) -> str:
    points = view.paper(polygon)
    hatched = tag(
        "path",
        tag("title", name),
        d=shape_path([points]),
        fill=f"url(#{_IDENT}-keepout)",
        stroke=QUIET,
        stroke_width=0.25,
    )
    spot = roomiest(points)
    wide = max(x for x, _ in points) - min(x for x, _ in points)
    if spot.radius < 2.0 or wide < 1.5 * len(name) + 2:
        return hatched
    at = (spot.centre[0], spot.centre[1] + 0.9)
    return hatched + text(at, name, size=2.6, halo=True)


def _tape(view: _View, edge: Polyline) -> str:
    d = shape_path([view.paper(edge)], closed=False)
    return tag("path", d=d, stroke=INK, stroke_width=1.1) + tag(
        "path", d=d, stroke=PAPER, stroke_width=0.6
    )


def _strokes(view: _View, strokes: Sequence[tuple[Point, Point]]) -> list[str]:
    """Return the strokes as one thin run with a dot where it begins."""
    if not strokes:
        return []
    lines = [view.paper(stroke) for stroke in strokes]
    x, y = lines[0][0]
    return [
        tag("path", d=shape_path(lines, closed=False), stroke=_STROKE, stroke_width=0.25),
        tag("circle", cx=x, cy=y, r=1.0, fill=_STROKE),
    ]


def _reading(view: _View, at: Point, words: str) -> str:
    x, y = view.paper([at])[0]
    cross = f"M{x - 1.2:.2f} {y:.2f}h2.4M{x:.2f} {y - 1.2:.2f}v2.4"
    return tag("path", d=cross, stroke=INK, stroke_width=0.3) + text(
        (x + 1.8, y - 0.8), words, size=3.0, anchor="start", halo=True
    )


def _grain(view: _View) -> str:
    spot = roomiest(view.panel.outline_mm, [k.outline_mm for k in view.panel.keep_outs])
    mark = grain(view.panel, spot, clear_mm=view.mm(1.0), longest_mm=view.mm(50.0))
    if mark is None:
        return ""
    tail, head = view.paper([mark.tail, mark.head])
    return arrow(tail, head, mark.word, stroke=QUIET, size=3.0)


def _frame(view: _View, panel: Panel, title: str | None, units: UnitSystem) -> list[str]:
    material = "" if panel.material == "unknown" else panel.material
    side = {"top": "from above, front below", "rear": "from behind", "front": "from the front"}
    seen = side.get(panel.facing, "from outside")
    facts = ", ".join(filter(None, [material, f"seen {seen}"]))
    return [
        text((8, 8.5), title or panel.name, size=5.0, anchor="start", bold=True),
        text((8, 13.0), facts, size=2.8, anchor="start", fill=QUIET),
        scale_bar((10, view.height - 6), view.scale, units=units),
    ]
