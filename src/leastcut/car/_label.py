"""What a piece wears on the sheet: its fill, its number, its name, its value."""

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from functools import cached_property
from typing import Any

from leastcut.car._marks import number_mark
from leastcut.car._svg import QUIET, tag, text
from leastcut.car.ramp import INK, PAPER, Ramp, readable_on
from leastcut.car.records import Point, Polyline

IDENT = "sheet"
_ROOMY_MM = 7.5  # a label of three lines fits
_NAME_MM = 2.5
_VALUE_MM = 4.6
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
class NamePlace:
    """A name that may stand beside its piece, and the paper it would cover."""

    svg: str
    box: tuple[float, float, float, float]


@dataclass(frozen=True, kw_only=True)
class Label:
    """Number, name and value of a piece, at a place with so much room [mm of paper].

    `grade` makes letters smaller on small paper; `on_edge` puts the number on the piece's upper
    edge, out of the way of its cells.
    """

    at: Point
    room: float
    number: int
    name: str
    words: str
    ground: str
    outline: Polyline
    kept: tuple[Polyline, ...] = ()
    grade: float = 1.0
    on_edge: bool = False

    @property
    def quiet(self) -> str:
        """Colour of secondary lines."""
        return inks_on(self.ground)[1]

    @property
    def size(self) -> float:
        """Letter size of the name [mm]."""
        return _NAME_MM * self.grade

    @property
    def name_width(self) -> float:
        """Width of the name [mm]."""
        return _ADVANCE * self.size * len(self.name)

    @cached_property
    def _free(self) -> Any:
        """The piece without its keep-outs, on paper."""
        from shapely import Polygon as Shape
        from shapely import union_all

        return Shape(self.outline) - union_all([Shape(k) for k in self.kept])

    @cached_property
    def stacked(self) -> bool:
        """Whether name and value fit inside the piece, below the number."""
        if self.on_edge or self.room < _ROOMY_MM * self.grade:
            return False
        x, y = self.at
        half, lift = self.name_width / 2 + 1.0, (2.2 * self.grade if self.words else 0.0)
        top, low = y + 1.2 * self.grade - lift, y + 4.2 * self.grade - lift
        return self._holds((x - half, top, x + half, low))

    @cached_property
    def _in_line(self) -> bool:
        """Whether the value fits inside the piece, beside the number."""
        left, base, size, wide = self._value_place()
        return self._holds((left, base - 0.72 * size, left + wide, base))

    def _holds(self, rectangle: tuple[float, float, float, float]) -> bool:
        from shapely import box

        return bool(self._free.contains(box(*rectangle)))

    @property
    def _aside(self) -> str:
        """What is written beside the piece: the name, and the value when it is not inside."""
        inside = self.stacked or self.on_edge or self._in_line
        return self.name if inside or not self.words else f"{self.name}  {self.words}"

    @property
    def half_width(self) -> float:
        """Half of the width that the label takes, with a little air."""
        half = max(self.name_width / 2, 7.0 * self.grade) + 2.6 * self.grade
        return half if self.stacked else 10.0 * self.grade

    def draw(self) -> list[str]:
        """Return what stands on the piece itself."""
        if self.on_edge:
            return [number_mark(self.at, self.number, radius=2.4 * self.grade)]
        if self.stacked:
            return self._stacked()
        if self.words and self._in_line:
            return self._beside()
        return [number_mark(self.at, self.number, radius=self._radius)]

    def name_places(self) -> list[NamePlace]:
        """Return where the name may stand beside the piece, best first; none if it is inside."""
        if self.stacked:
            return []
        if self._slender:
            return self._up_the_sides()
        return self._on_edge() if self.on_edge else self._below_and_above()

    @property
    def _radius(self) -> float:
        return self.grade * min(2.4, max(1.9, 0.85 * self.room / self.grade))

    @property
    def _slender(self) -> bool:
        """Whether the piece is a standing strip."""
        xs, ys = ([p[axis] for p in self.outline] for axis in (0, 1))
        return max(ys) - min(ys) > 3 * (max(xs) - min(xs))

    def _up_the_sides(self) -> list[NamePlace]:
        """Return the name turned along the right or the left of a standing strip."""
        xs, ys = ([p[axis] for p in self.outline] for axis in (0, 1))
        middle, half = (min(ys) + max(ys)) / 2, _ADVANCE * self.size * len(self._aside) / 2
        places = []
        for x in (max(xs) + 1.2 * self.size, min(xs) - 0.6 * self.size):
            svg = text((x, middle), self._aside, size=self.size, turn=-90)
            box = (x - 0.8 * self.size, middle - half, x + 0.2 * self.size, middle + half)
            places.append(NamePlace(svg=svg, box=box))
        return places

    def _below_and_above(self) -> list[NamePlace]:
        x, y = self.at
        half = _ADVANCE * self.size * len(self._aside) / 2
        places = []
        for middle in (x, x - half, x + half):
            near = [y, *_edge_heights(self.outline, middle - half, middle + half)]
            places.append(self._place(middle - half, max(near) + 1.25 * self.size))
            places.append(self._place(middle - half, min(near) - 0.45 * self.size))
        return places

    def _on_edge(self) -> list[NamePlace]:
        x, y = self.at
        gap = 3.0 * self.grade
        places = []
        for left in (x + gap, x - gap - self.name_width):
            near = _edge_heights(self.outline, left, left + self.name_width)
            lift = min([y, *(h for h in near if abs(h - y) < 5)])
            places.append(self._place(left, lift - 0.4 * self.size))
        return places

    def _place(self, left: float, base: float) -> NamePlace:
        words = self._aside
        svg = text((left, base), words, size=self.size, anchor="start")
        top, low = base - 0.75 * self.size, base + 0.2 * self.size
        right = left + _ADVANCE * self.size * len(words)
        return NamePlace(svg=svg, box=(left, top, right, low))

    def _stacked(self) -> list[str]:
        x, y = self.at
        ink, g = inks_on(self.ground)[0], self.grade
        lift = 2.2 * g if self.words else 0.0
        wide = self.name_width
        parts = [
            self._patch(x - wide / 2 - 0.6, y + 1.2 * g - lift, wide + 1.2, 3.2 * g),
            number_mark((x, y - 2.6 * g - lift), self.number, radius=2.9 * g),
            text((x, y + 3.6 * g - lift), self.name, size=self.size, fill=ink),
        ]
        if self.words:
            size = _VALUE_MM * g
            wide = 0.62 * size * len(self.words)
            parts.insert(0, self._patch(x - wide / 2, y + 2.6 * g, wide, 4.2 * g))
            parts.append(text((x, y + 6.4 * g), self.words, size=size, fill=ink, bold=True))
        return parts

    def _value_place(self) -> tuple[float, float, float, float]:
        """Return left end, base line, letter size and width of a value beside the number."""
        size = min(3.6 * self.grade, 1.5 * max(self.room, 1.9 * self.grade))
        wide = 0.62 * size * len(self.words)
        left = self.at[0] - wide / 2 + self._radius + 0.2
        return left, self.at[1] + 0.36 * size, size, wide

    def _beside(self) -> list[str]:
        """Return number and value in one line."""
        left, base, size, wide = self._value_place()
        ink = inks_on(self.ground)[0]
        centre = (left - self._radius - 0.6, self.at[1])
        return [
            self._patch(left - 0.4, base - 0.78 * size, wide + 0.6, 0.84 * size),
            number_mark(centre, self.number, radius=self._radius),
            text((left, base), self.words, size=size, fill=ink, anchor="start", bold=True),
        ]

    def _patch(self, x: float, y: float, width: float, height: float) -> str:
        """Return ground without lines or hatching, for text to stand on."""
        fill = self.ground if self.ground.startswith("#") else PAPER
        return tag("rect", x=x, y=y, width=width, height=height, fill=fill, rx=0.6)


def placed_names(labels: Sequence[Label], room: tuple[float, float, float, float]) -> list[str]:
    """Return the names that stand beside their pieces, none over a piece, a name or the rim.

    `room` is where names may stand: left, top, right, bottom [mm of paper].

    A name that finds no free place is left out: it is told to the pointer and in the description.
    """
    from shapely import Polygon as Shape
    from shapely import STRtree, box

    taken = [Shape(label.outline) for label in labels]
    rim = box(*room)
    names = []
    for label in labels:
        tree = STRtree(taken)
        for place in label.name_places():
            cover = box(*place.box)
            if rim.contains(cover) and not len(tree.query(cover, predicate="intersects")):
                names.append(place.svg)
                taken.append(cover)
                break
    return names


def _edge_heights(outline: Polyline, left: float, right: float) -> list[float]:
    return [y for x, y in _dense(outline) if left <= x <= right]


def _dense(outline: Polyline) -> list[Point]:
    """Return points along a closed outline, at most a millimetre of paper apart."""
    points: list[Point] = []
    for a, b in zip(outline, (*outline[1:], *outline[:1]), strict=True):
        steps = max(1, math.ceil(2 * math.dist(a, b)))
        points += [
            (a[0] + (b[0] - a[0]) * i / steps, a[1] + (b[1] - a[1]) * i / steps)
            for i in range(steps)
        ]
    return points
