"""The film on the panels themselves: maps and the pattern sheet, coloured by clear coat left.

Colours show the lower bound; readings are dots with their values. Lengths in the drawings are paper
millimetres.
"""

from collections.abc import Mapping, Sequence
from typing import TYPE_CHECKING, Any

import numpy as np

from leastcut.car._svg import tag, text
from leastcut.car.ramp import CHALK, INK, PAPER, readable_on
from leastcut.car.records import Car, Panel, Point, Polygon
from leastcut.car.units import UnitSystem, convert, symbol
from leastcut.inspect.film_map import FilmMap
from leastcut.inspect.records import FilmFinding, Reading

if TYPE_CHECKING:
    from leastcut.car.sheet import Sheet


def tiles(
    panel: Panel, drawn: FilmMap, *, size_mm: float = 25.0
) -> tuple[tuple[Polygon, float], ...]:
    """Return the map's lower bound as tiles for a drawing, the thinnest place of each tile.

    Parameters
    ----------
    panel : Panel
        Its outline cuts the tiles.
    drawn : FilmMap
        Its map.
    size_mm : float
        Side of a tile [mm].

    Returns
    -------
    tuple of (Polygon, float)
        Tiles with paint in them, in the panel's plane [mm], and their value [µm].
    """
    import shapely

    frame = drawn.raster.frame
    step = max(1, round(size_mm / frame.grid_mm))
    outline = shapely.Polygon(panel.outline_mm)
    found: list[tuple[Polygon, float]] = []
    for row in range(0, frame.rows, step):
        for column in range(0, frame.columns, step):
            block = drawn.low_um[row : row + step, column : column + step]
            if np.isfinite(block).any():
                square = shapely.box(*_bounds(drawn, row, column, block.shape))
                value = float(np.nanmin(block))
                found += [(ring, value) for ring in _rings(square & outline)]
    return tuple(found)


def _bounds(
    drawn: FilmMap, row: int, column: int, shape: tuple[int, ...]
) -> tuple[float, float, float, float]:
    frame = drawn.raster.frame
    x = frame.origin_mm[0] + (column - 0.5) * frame.grid_mm
    y = frame.origin_mm[1] + (row - 0.5) * frame.grid_mm
    return x, y, x + shape[1] * frame.grid_mm, y + shape[0] * frame.grid_mm


def _rings(shape: Any) -> list[Polygon]:
    """Return the outer rings of whatever a tile and an outline have in common."""
    parts = getattr(shape, "geoms", [shape])
    return [tuple(p.exterior.coords[:-1]) for p in parts if p.geom_type == "Polygon"]


def draw_map(
    panel: Panel,
    drawn: FilmMap,
    *,
    reserve_um: float = 0.0,
    sections: Sequence[tuple[str, Polygon]] = (),
    units: UnitSystem = "metric",
) -> str:
    """Return one panel coloured by the lower bound of its clear coat, readings as dots.

    The pale end of the colours is the reserve: paler than that cannot be, so pale means spent.
    """
    from leastcut.car.sheet import draw_panel

    unit = "thou" if units == "us" else "micrometer"
    dots: list[tuple[Point, str]] = [
        (
            (float(x), float(y)),
            f"{convert(float(um), 'micrometer', unit):.{2 if units == 'us' else 0}f}",
        )
        for (x, y), um in zip(drawn.spots_mm, drawn.spots_um, strict=True)
    ]
    low = convert(reserve_um, "micrometer", unit)
    coloured = [(square, convert(um, "micrometer", unit)) for square, um in tiles(panel, drawn)]
    return draw_panel(
        panel,
        sections=sections,
        readings=dots,
        tiles=coloured,
        tile_range=(low, max([low, *(value for _, value in coloured)]) + 1e-6),
        tile_name=f"clear coat left, lower bound [{symbol('micrometer', units)}]",
        decimals=2 if units == "us" else 0,
        units=units,
    )


def draw_sheet(
    car: Car,
    findings: Sequence[FilmFinding],
    *,
    readings: Sequence[Reading] = (),
    units: UnitSystem = "metric",
) -> str:
    """Return the pattern sheet coloured by the lower bound of each panel's clear coat.

    Parameters
    ----------
    car : Car
        The car.
    findings : sequence of FilmFinding
        One per panel.
    readings : sequence of Reading
        Those with a place become dots with their spot's mean beside them.
    units : {"metric", "us"}
        Of all values.

    Returns
    -------
    str
        Well-formed SVG with title and description.
    """
    from leastcut.car.sheet import draw, lay_out

    unit = "thou" if units == "us" else "micrometer"
    values = {
        f.panel: convert(max(0.0, f.low_um or 0.0), "micrometer", unit)
        for f in findings
        if f.low_um is not None
    }
    low, high = min(values.values(), default=0.0), max(values.values(), default=1.0)
    high = max(high, low + 1e-6)
    inks = {
        panel: readable_on(CHALK.colour((v - low) / (high - low))) for panel, v in values.items()
    }
    sheet = lay_out(car.panels)
    drawn = draw(
        sheet,
        car,
        values=values,
        value_range=(low, high),
        value_name="clear coat left, lower bound",
        value_unit=symbol("micrometer", units),
        decimals=2 if units == "us" else 0,
        units=units,
    )
    return drawn.replace("</svg>", "".join(_dots(sheet, readings, inks, units)) + "</svg>")


def _dots(
    sheet: "Sheet", readings: Sequence[Reading], inks: Mapping[str, str], units: UnitSystem
) -> list[str]:
    """Draw the mean of the readings at each place on the sheet."""
    from leastcut.car.sheet import on_sheet

    at: dict[tuple[str, float, float], list[float]] = {}
    for r in readings:
        if r.x_mm is not None and r.y_mm is not None:
            at.setdefault((r.panel, r.x_mm, r.y_mm), []).append(r.reading_um)
    unit, decimals = ("thou", 1) if units == "us" else ("micrometer", 0)
    placed = {placement.panel: placement for placement in sheet.placements}
    parts = []
    for (panel, x, y), shown in at.items():
        ((px, py),) = on_sheet(sheet, placed[panel], [(x, y)])
        words = f"{convert(sum(shown) / len(shown), 'micrometer', unit):.{decimals}f}"
        parts.append(tag("circle", cx=px, cy=py, r=0.8, fill=PAPER, stroke=INK, stroke_width=0.25))
        ink = inks.get(panel, INK)
        parts.append(text((px + 1.3, py + 0.7), words, size=2.2, anchor="start", fill=ink))
    return parts
