"""Outlines as a person gives them: checked, rectified from a photo, measured.

Polygons are counter-clockwise, in mm, not closed by repetition.
"""

from collections.abc import Iterable, Sequence
from typing import Any

import msgspec

from leastcut.car._checked import OutlineError, checked
from leastcut.car._panel_dict import panel_from_dict
from leastcut.car._rectify import click_error_mm, rectify
from leastcut.car.records import Panel, Polygon

__all__ = [
    "Area",
    "OutlineError",
    "checked",
    "click_error_mm",
    "painted_area_m2",
    "panel_from_dict",
    "rectify",
    "workable",
]


class Area(msgspec.Struct, frozen=True, kw_only=True):
    """A piece of surface with its holes [mm]."""

    outline_mm: Polygon
    holes_mm: tuple[Polygon, ...] = ()


def painted_area_m2(panel: Panel) -> float:
    """Return the area of a panel without its keep-outs [m²]."""
    return float(_surface(panel).area) / 1e6


def workable(panel: Panel, *, edge_margin_mm: float) -> tuple[Area, ...]:
    """Return where the pad may go: the panel without keep-outs, a margin in from every edge.

    Parameters
    ----------
    panel : Panel
        The panel.
    edge_margin_mm : float
        How far to stay from the outline and from keep-outs [mm], ≥ 0.

    Returns
    -------
    tuple of Area
        Largest first; empty when the margin eats the panel.
    """
    from shapely.geometry.polygon import orient

    inner = _surface(panel).buffer(-edge_margin_mm, join_style="mitre")
    parts = sorted(getattr(inner, "geoms", [inner]), key=lambda part: -part.area)
    return tuple(
        Area(
            outline_mm=_ring(orient(part).exterior.coords),
            holes_mm=tuple(_ring(list(hole.coords)[::-1]) for hole in orient(part).interiors),
        )
        for part in parts
        if part.area > 0
    )


def _surface(panel: Panel) -> Any:
    from shapely import Polygon as Shape
    from shapely import union_all

    return Shape(panel.outline_mm) - union_all([Shape(k.outline_mm) for k in panel.keep_outs])


def _ring(coords: Iterable[Sequence[float]]) -> Polygon:
    return tuple((float(x), float(y)) for x, y in coords)[:-1]
