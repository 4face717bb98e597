"""Car and panel as immutable records. Lengths are millimetres in the panel's own plane.

A panel's plane has its origin at the lower left of the panel as seen from outside the car, u to the
right and v up. For panels that face upwards (bonnet, roof, boot), u runs from the car's left to its
right and v towards the rear. Polygons are counter-clockwise and not closed by repetition.
"""

from typing import Literal

import msgspec

Point = tuple[float, float]
Polygon = tuple[Point, ...]
Polyline = tuple[Point, ...]

Material = Literal["steel", "aluminium", "plastic", "composite", "unknown"]
Side = Literal["left", "right", "centre"]
Facing = Literal["top", "side", "front", "rear"]
PaintSystem = Literal["clear-over-base", "single-stage", "matt", "unknown"]
Shade = Literal["dark", "medium", "light", "unknown"]
PaintHistory = Literal["factory", "repainted", "unknown"]
BodyClass = Literal["two-box", "three-box", "estate", "suv", "pickup", "van", "coupe"]


class Interval(msgspec.Struct, frozen=True, kw_only=True):
    """A best estimate and the bounds that hold the truth with 95 % probability."""

    mean: float
    low: float
    high: float


class KeepOut(msgspec.Struct, frozen=True, kw_only=True):
    """An area of a panel that the pad must not touch: lamp, handle, badge, nozzle."""

    name: str
    outline_mm: Polygon


class Panel(msgspec.Struct, frozen=True, kw_only=True):
    """One body panel side.

    Attributes
    ----------
    id : str
        Short name in lower case with hyphens, unique on the car: ``door-front-left``.
    name : str
        The panel as a person calls it: ``Left front door``.
    outline_mm : Polygon
        True-size outline in the panel's plane [mm].
    keep_outs : tuple of KeepOut
        Areas that the pad must not touch.
    body_lines_mm : tuple of Polyline
        Creases and raised edges, where the paint is thinnest and a pad cuts fastest [mm].
    centre_height_mm : float
        Height of the middle of the panel above the ground [mm]: work goes from the top down.
    curvature_radius_mm : float or None
        Smallest radius of curvature of the face away from body lines [mm]; None if unknown.
    place_mm : tuple or None
        Where the panel's origin lies in its view of the car [mm]: for the sides from the front
        end and from the ground, seen from the left; None if unknown. Only drawings use it.
    """

    id: str
    name: str
    side: Side
    facing: Facing
    outline_mm: Polygon
    material: Material = "unknown"
    keep_outs: tuple[KeepOut, ...] = ()
    body_lines_mm: tuple[Polyline, ...] = ()
    centre_height_mm: float = 0.0
    curvature_radius_mm: float | None = None
    place_mm: Point | None = None


class Paint(msgspec.Struct, frozen=True, kw_only=True):
    """What is known of the paint before anything is measured."""

    system: PaintSystem = "unknown"
    shade: Shade = "unknown"
    history: PaintHistory = "unknown"
    label: str = ""


class Car(msgspec.Struct, frozen=True, kw_only=True):
    """A car: a label, a body in true size, and its paint."""

    label: str
    body: BodyClass
    length_mm: float
    width_mm: float
    height_mm: float
    wheelbase_mm: float
    panels: tuple[Panel, ...]
    paint: Paint = Paint()
    year: int | None = None
