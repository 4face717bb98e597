"""The section sheet of a panel: cells in order of work, strokes with their direction, a scale."""

from collections.abc import Callable

from leastcut.car._svg import QUIET, document, line, shape_path, tag, text
from leastcut.car.ramp import CHALK, INK, PAPER
from leastcut.car.records import Panel, Point, Polygon
from leastcut.plan.records import Layout, Section

EDGE_MM = 12.0
STROKE = CHALK.colour(0.75)
TINTS = CHALK.steps(12)[:4]  # pale, so that strokes and numbers read on them


def section_sheet(panel: Panel, layout: Layout, *, width_mm: float = 190.0) -> str:
    """Return the panel with its sections and strokes as an SVG document.

    Parameters
    ----------
    panel : Panel
        The panel.
    layout : Layout
        Its sections.
    width_mm : float
        Width of the drawing on paper [mm].

    Returns
    -------
    str
        The document; every section carries its number, its strokes begin at a dot.
    """
    xs, ys = zip(*panel.outline_mm, strict=True)
    x0, y1 = min(xs), max(ys)
    scale = (width_mm - 2 * EDGE_MM) / (max(xs) - x0)
    height = (y1 - min(ys)) * scale

    def at(point: Point) -> Point:
        return (EDGE_MM + (point[0] - x0) * scale, EDGE_MM + 6 + (y1 - point[1]) * scale)

    def ring(polygon: Polygon) -> str:
        return shape_path([[at(p) for p in polygon]])

    body = [text((EDGE_MM, 9), panel.name, size=4.5, anchor="start", bold=True)]
    for index, section in enumerate(layout.sections):
        tint = TINTS[index % len(TINTS)]
        body.append(tag("path", d=ring(section.cell_mm), fill=tint, stroke=INK, stroke_width=0.3))
    for section in layout.sections:
        body += _strokes(section, ring(section.worked_mm), at)
    body += [
        tag(
            "path",
            d=ring(hole.outline_mm),
            fill="url(#sections-keepout)",
            stroke=INK,
            stroke_width=0.25,
        )
        for hole in panel.keep_outs
    ]
    for crease in panel.body_lines_mm:
        path = shape_path([[at(p) for p in crease]], closed=False)
        body.append(tag("path", d=path, stroke=INK, stroke_width=0.35, stroke_dasharray="3 1"))
    body.append(tag("path", d=ring(panel.outline_mm), stroke=INK, stroke_width=0.5))
    for section in layout.sections:
        body += _number(section, at)
    foot = EDGE_MM + 6 + height
    body += _scale_bar(foot + 8, scale)
    notes = [f"{s.id}: {s.note}" for s in layout.sections if s.note]
    for index, note in enumerate(notes):
        body.append(text((EDGE_MM, foot + 17 + 4.5 * index), note, size=3.2, anchor="start"))
    size = (width_mm, foot + 20 + 4.5 * len(notes))
    said = f"{len(layout.sections)} sections of {panel.name}, numbered in order of work"
    return document(
        size, body, title=f"Sections of {panel.name}", description=said, ident="sections"
    )


def _strokes(section: Section, worked: str, at: Callable[[Point], Point]) -> list[str]:
    """Return the overlap's dashed line, and each stroke with a dot where it starts."""
    body = [tag("path", d=worked, stroke=QUIET, stroke_width=0.12, stroke_dasharray="1 0.8")]
    for a, b in section.strokes_mm:
        body.append(line(at(a), at(b), width=0.14, stroke=STROKE))
        body.append(tag("circle", cx=at(a)[0], cy=at(a)[1], r=0.35, fill=STROKE))
    return body


def _number(section: Section, at: Callable[[Point], Point]) -> list[str]:
    """Return the section's number on a paper disc at the middle of its cell."""
    place = at(_middle(section.cell_mm))
    return [
        tag("circle", cx=place[0], cy=place[1], r=3.4, fill=PAPER, stroke=INK, stroke_width=0.25),
        text((place[0], place[1] + 1.5), section.id, size=4.2, bold=True),
    ]


def _middle(cell: Polygon) -> Point:
    """Return the place farthest from the edges of a cell."""
    import shapely

    x, y = shapely.maximum_inscribed_circle(shapely.Polygon(cell), tolerance=5.0).coords[0]
    return (float(x), float(y))


def _scale_bar(y: float, scale: float) -> list[str]:
    """Return a bar of a round length about a quarter of a metre long."""
    length = 250.0 if scale * 250 < 80 else 100.0
    end = EDGE_MM + length * scale
    return [
        line((EDGE_MM, y), (end, y), width=0.4),
        *(line((x, y - 1), (x, y + 1), width=0.4) for x in (EDGE_MM, end)),
        text((end + 2, y + 1), f"{length:g} mm", size=3, anchor="start", fill=QUIET),
        text(
            (end + 22, y + 1),
            "strokes start at the dot; dashes show the overlap",
            size=3,
            anchor="start",
            fill=QUIET,
        ),
    ]
