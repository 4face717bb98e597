"""What the sections command reads."""

import msgspec

from leastcut.car.records import Facing, Point, Polygon, Polyline


class OutlineInput(msgspec.Struct, frozen=True, kw_only=True, forbid_unknown_fields=True):
    """One panel's outline with the limits of its sections."""

    panel: str
    outline_mm: tuple[Point, ...]
    keep_out_mm: tuple[Polygon, ...] = ()
    max_side_mm: float = 610.0
    overlap_mm: float = 50.0
    stroke_spacing_mm: float = 40.0
    pad_diameter_mm: float = 130.0
    edge_margin_mm: float = 0.0
    facing: Facing = "side"
    body_lines_mm: tuple[Polyline, ...] = ()

    def options(self) -> dict[str, float]:
        """Return the limits as keyword arguments of the layout."""
        names = (
            "max_side_mm",
            "overlap_mm",
            "stroke_spacing_mm",
            "pad_diameter_mm",
            "edge_margin_mm",
        )
        return {name: getattr(self, name) for name in names}
