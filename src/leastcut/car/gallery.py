"""The body classes side by side, to one scale, to choose the one nearest to the car at hand."""

from collections.abc import Sequence

from leastcut.car._marks import dashes, scale_bar
from leastcut.car._svg import QUIET, document, line, shape_path, tag, text
from leastcut.car.outline import painted_area_m2
from leastcut.car.ramp import INK, PAPER
from leastcut.car.records import Car, Panel, Point
from leastcut.car.units import UnitSystem, show

_IDENT = "gallery"
_COLUMNS = 2
_WORDS_MM = 11.0  # below each car
_GAP_MM = 7.0


def draw_gallery(
    cars: Sequence[Car], *, units: UnitSystem = "metric", width_mm: float = 200.0
) -> str:
    """Return the left sides of several cars, put together, to one scale, as an SVG document.

    Parameters
    ----------
    cars : sequence of Car
        Cars whose side panels know their place, as built from a body class; at least one.
    units : {"metric", "us"}
        Of the words below each car.
    width_mm : float
        Paper width [mm]; the height follows.

    Returns
    -------
    str
        Well-formed SVG with title and description.
    """
    cell = (width_mm - _GAP_MM * (_COLUMNS + 1)) / _COLUMNS
    scale = cell / max(car.length_mm for car in cars)
    rows = [cars[i : i + _COLUMNS] for i in range(0, len(cars), _COLUMNS)]
    base, body = 0.0, []
    for row in rows:
        base += _GAP_MM + scale * max(car.height_mm for car in row)
        for column, car in enumerate(row):
            left = _GAP_MM + column * (cell + _GAP_MM)
            body += _side_view(car, (left, base), cell, scale)
            body += _words(car, (left, base), units)
        base += _WORDS_MM
    body.append(scale_bar((_GAP_MM + 2, base + 8.0), scale, units=units, most_mm=0.3 * cell))
    told = "; ".join(f"{car.label}, {car.length_mm:.0f} mm long" for car in cars)
    return document(
        (width_mm, base + 12.0), body, title="Body classes", description=told, ident=_IDENT
    )


def _side_view(car: Car, at: Point, cell: float, scale: float) -> list[str]:
    panels = [(p, p.place_mm) for p in car.panels if p.side == "left" and p.place_mm is not None]
    ground = line((at[0], at[1]), (at[0] + cell, at[1]), stroke=QUIET, width=0.2)
    return [ground, *(_panel(panel, place, at, scale) for panel, place in panels)]


def _panel(panel: Panel, place: Point, at: Point, scale: float) -> str:
    def paper(points: Sequence[Point]) -> tuple[Point, ...]:
        x, y = at[0] + scale * place[0], at[1] - scale * place[1]
        return tuple((x + scale * u, y - scale * v) for u, v in points)

    outline = shape_path([paper(panel.outline_mm)])
    kept = shape_path([paper(k.outline_mm) for k in panel.keep_outs])
    return tag(
        "g",
        tag("title", panel.name)
        + tag("path", d=outline, fill=PAPER, stroke=INK, stroke_width=0.25)
        + "".join(dashes(paper(body_line), width=0.12) for body_line in panel.body_lines_mm)
        + tag("path", d=kept, fill=f"url(#{_IDENT}-keepout)", stroke=QUIET, stroke_width=0.15),
    )


def _words(car: Car, at: Point, units: UnitSystem) -> list[str]:
    sides = " × ".join(
        show(side, "millimeter", units) for side in (car.length_mm, car.width_mm, car.height_mm)
    )
    area = show(sum(painted_area_m2(panel) for panel in car.panels), "meter**2", units)
    facts = f"{sides}, {area} of paint"
    return [
        text((at[0], at[1] + 4.4), car.label, size=3.4, anchor="start", bold=True),
        text((at[0], at[1] + 8.2), facts, size=2.5, anchor="start", fill=QUIET),
    ]
