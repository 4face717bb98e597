"""What a piece wears on the sheet: its fill, its number, its name, its value."""

import math
from collections.abc import Mapping
from dataclasses import dataclass

from leastcut.car._marks import number_mark
from leastcut.car._svg import QUIET, tag, text
from leastcut.car.ramp import INK, PAPER, Ramp, readable_on
from leastcut.car.records import Point, Polyline

IDENT = "sheet"
_ROOMY_MM = 7.5  # a label of three lines fits
_NAME_MM = 2.5
_ADVANCE = 0.55  # mean width of a letter, as a share of its size


class Dress:
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
            return f"url(#{IDENT}-unmeasured)"
        return self.ramp.colour((value - self.low) / (self.high - self.low))

    def word(self, panel: str) -> str:
        """Return the printed value of a panel, empty when there is none."""
        value = None if self.values is None else self.values.get(panel)
        return "" if value is None else self.shown(value)

    def shown(self, value: float) -> str:
        """Return a value with the sheet's decimals."""
        return f"{value:.{self.decimals}f}"


def inks_on(fill: str) -> tuple[str, str]:
    """Return the colours of text and of secondary lines on a fill; hatching counts as paper."""
    if not fill.startswith("#") or fill == PAPER:
        return INK, QUIET
    ink = readable_on(fill)
    return ink, ink


@dataclass(frozen=True, kw_only=True)
class Label:
    """Number, name and value of a piece, at a place with so much room [mm of paper]."""

    at: Point
    room: float
    number: int
    name: str
    words: str
    ground: str
    outline: Polyline = ()

    @property
    def quiet(self) -> str:
        """Colour of secondary lines."""
        return inks_on(self.ground)[1]

    @property
    def half_width(self) -> float:
        """Half of the width that the label takes, with a little air."""
        name = _ADVANCE * _NAME_MM * len(self.name) / 2
        return max(name, 7.0) + 2.6 if self.room >= _ROOMY_MM else 10.0

    def draw(self) -> list[str]:
        """Return the label as SVG."""
        if self.room >= _ROOMY_MM:
            return self._stacked()
        return self._up_the_side() if self._slender() else self._beside()

    def _slender(self) -> bool:
        """Tell whether the piece is a standing strip, too thin for its value."""
        xs, ys = ([p[axis] for p in self.outline] for axis in (0, 1))
        return max(ys) - min(ys) > 3 * (max(xs) - min(xs))

    def _up_the_side(self) -> list[str]:
        """Return the number on a standing strip, name and value turned along its right side."""
        ys = [p[1] for p in self.outline]
        place = (max(p[0] for p in self.outline) + 3.4, (min(ys) + max(ys)) / 2)
        words = f"{self.name}  {self.words}".rstrip()
        turned = text(place, words, size=_NAME_MM, halo=True, turn=-90)
        return [number_mark(self.at, self.number, radius=min(2.4, max(1.9, self.room))), turned]

    def _name_below(self) -> str:
        """Return the name under the lowest edge of the piece above it."""
        x, y = self.at
        half = _ADVANCE * _NAME_MM * len(self.name) / 2
        near = [py for px, py in _dense(self.outline) if abs(px - x) <= half]
        return text((x, max([y, *near]) + 3.0), self.name, size=_NAME_MM, halo=True)

    def _stacked(self) -> list[str]:
        x, y = self.at
        ink = inks_on(self.ground)[0]
        lift = 2.2 if self.words else 0.0
        wide = _ADVANCE * _NAME_MM * len(self.name)
        parts = [
            self._patch(x - wide / 2 - 0.6, y + 1.2 - lift, wide + 1.2, 3.2),
            number_mark((x, y - 2.6 - lift), self.number, radius=2.9),
            text((x, y + 3.6 - lift), self.name, size=_NAME_MM, fill=ink),
        ]
        if self.words:
            wide = 0.62 * 4.6 * len(self.words)
            parts.insert(0, self._patch(x - wide / 2, y + 2.6, wide, 4.2))
            parts.append(text((x, y + 6.4), self.words, size=4.6, fill=ink, bold=True))
        return parts

    def _beside(self) -> list[str]:
        """Return number and value in one line, the name below: for thin pieces."""
        x, y = self.at
        radius = min(2.4, max(1.9, 0.85 * self.room))
        name = self._name_below()
        if not self.words:
            return [number_mark(self.at, self.number, radius=radius), name]
        size = min(3.6, 1.5 * max(self.room, 1.9))
        wide = 0.62 * size * len(self.words)
        left = x - wide / 2 - 0.4
        return [
            self._patch(left + radius, y - 0.5 * size, wide + 0.8, size),
            number_mark((left, y), self.number, radius=radius),
            text(
                (left + radius + 0.6, y + 0.36 * size),
                self.words,
                size=size,
                fill=inks_on(self.ground)[0],
                anchor="start",
                bold=True,
            ),
            name,
        ]

    def _patch(self, x: float, y: float, width: float, height: float) -> str:
        """Return ground without lines or hatching, for text to stand on."""
        fill = self.ground if self.ground.startswith("#") else PAPER
        return tag("rect", x=x, y=y, width=width, height=height, fill=fill, rx=0.6)


def _dense(outline: Polyline) -> list[Point]:
    """Return points along a closed outline, at most a millimetre of paper apart."""
    points: list[Point] = []
    for a, b in zip(outline, (*outline[1:], *outline[:1]), strict=True):
        steps = max(1, round(math.dist(a, b)))
        points += [
            (a[0] + (b[0] - a[0]) * i / steps, a[1] + (b[1] - a[1]) * i / steps)
            for i in range(steps)
        ]
    return points
