"""Where the pieces lie on the pattern sheet.

Three columns: left pieces, the middle, right pieces; each filled in order of work from the top,
row by row, then drawn together until the pieces nearly touch. Pieces are never turned, so 'up'
and 'front' keep one direction over the whole sheet.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from itertools import accumulate
from typing import Any

import msgspec

from leastcut.car.records import Panel, Point, Polyline
from leastcut.errors import InputError

_GAP = 0.018  # between pieces, as a share of the sheet's longer side
_CANDIDATES = 24


class SheetError(InputError):
    """Panels that cannot be laid out on one sheet."""


class Placement(msgspec.Struct, frozen=True, kw_only=True):
    """Where one panel lies: its number in the order of work, its origin on the sheet.

    ``at_mm`` is where the panel's own origin (its lower left) comes to lie, in paper millimetres
    from the sheet's upper left corner, y downwards.
    """

    panel: str
    number: int
    at_mm: Point


class Sheet(msgspec.Struct, frozen=True, kw_only=True):
    """A laid-out pattern sheet.

    ``scale`` is paper millimetres per car millimetre: 0.05 draws a car at 1 : 20. Head, foot and
    margin [mm] are free of pieces.
    """

    page_mm: Point
    scale: float
    placements: tuple[Placement, ...]
    head_mm: float = 20.0
    foot_mm: float = 20.0
    margin_mm: float = 9.0


@dataclass(frozen=True)
class _Item:
    panel: Panel
    number: int
    width: float
    height: float


@dataclass(frozen=True)
class _Column:
    """Items with the lower left corner of each; y downwards from the column's top."""

    items: tuple[_Item, ...]
    corners: tuple[Point, ...]
    width: float
    height: float


def lay_out(
    panels: Sequence[Panel],
    *,
    page_mm: Point = (420.0, 297.0),
    head_mm: float = 20.0,
    foot_mm: float = 20.0,
    margin_mm: float = 9.0,
) -> Sheet:
    """Return where every panel lies on a page, all to one scale, none touching another.

    Parameters
    ----------
    panels : sequence of Panel
        In order of work.
    page_mm : tuple of float
        Paper width and height [mm]; only their proportion matters on a screen.
    head_mm, foot_mm, margin_mm : float
        Kept free for the title, for the scale and legend, and around [mm].

    Raises
    ------
    SheetError
        If there is no panel, two share an id, or the page leaves no room.
    """
    room = (page_mm[0] - 2 * margin_mm, page_mm[1] - head_mm - foot_mm)
    _check(panels, room)
    items = [_item(panel, i) for i, panel in enumerate(panels, start=1)]
    groups = [[i for i in items if i.panel.side == side] for side in ("left", "centre", "right")]
    gap = _GAP * _longest(items, room)
    columns = _best(groups, room, gap)
    columns = [_drawn_together(column, gap) for column in columns]
    width = sum(c.width for c in columns) + gap * 1.5 * (len(columns) - 1)
    height = max(c.height for c in columns)
    scale = min(room[0] / width, room[1] / height)
    columns = [_spread(column, 0.95 * room[1] / scale) for column in columns]
    height = max(c.height for c in columns)
    left = margin_mm + (room[0] - scale * width) / 2
    top = head_mm + (room[1] - scale * height) / 2
    placements = _placements(columns, scale, (left, top), gap * 1.5)
    return Sheet(
        page_mm=page_mm,
        scale=scale,
        placements=placements,
        head_mm=head_mm,
        foot_mm=foot_mm,
        margin_mm=margin_mm,
    )


def on_sheet(sheet: Sheet, placement: Placement, points: Sequence[Point]) -> Polyline:
    """Return points of a panel's plane as paper millimetres, y downwards."""
    x, y = placement.at_mm
    return tuple((x + sheet.scale * u, y - sheet.scale * v) for u, v in points)


def _check(panels: Sequence[Panel], room: Point) -> None:
    if not panels:
        raise SheetError("there is no panel to lay out", do="Add panels to the car")
    ids = [panel.id for panel in panels]
    twice = sorted({i for i in ids if ids.count(i) > 1})
    if twice:
        raise SheetError(f"two panels are called {twice[0]!r}", do="Give each panel its own id")
    if min(room) < 40:
        raise SheetError(
            f"the page leaves {room[0]:.0f} × {room[1]:.0f} mm for drawing",
            do="Choose a page of at least A6",
        )


def _item(panel: Panel, number: int) -> _Item:
    width, height = (
        max(p[axis] for p in panel.outline_mm) - min(p[axis] for p in panel.outline_mm)
        for axis in (0, 1)
    )
    return _Item(panel, number, width, height)


def _longest(items: Sequence[_Item], room: Point) -> float:
    """Return a first guess of the sheet's longer side in car millimetres."""
    area = 1.8 * sum(i.width * i.height for i in items)
    return float(max((area * room[0] / room[1]) ** 0.5, (area * room[1] / room[0]) ** 0.5))


def _best(groups: list[list[_Item]], room: Point, gap: float) -> list[_Column]:
    """Return the columns whose widths give the largest scale; left and right share a width."""
    used = [group for group in groups if group]
    side_widths = _widths([*groups[0], *groups[2]], gap) if groups[0] or groups[2] else [0.0]
    middle_widths = _widths(groups[1], gap) if groups[1] else [0.0]
    best: tuple[float, list[_Column]] | None = None
    for side in side_widths:
        for middle in middle_widths:
            columns = [
                _rows(group, middle if group is groups[1] else side, gap, mirror=group is groups[2])
                for group in used
            ]
            width = sum(c.width for c in columns) + gap * 1.5 * (len(columns) - 1)
            scale = min(room[0] / width, room[1] / max(c.height for c in columns))
            if best is None or scale > best[0] * 1.001:
                best = scale, columns
    assert best is not None
    return best[1]


def _widths(items: Sequence[_Item], gap: float) -> list[float]:
    """Return column widths worth trying: what some run of neighbouring pieces needs."""
    least = max(item.width for item in items)
    runs = {
        total + gap * k
        for i in range(len(items))
        for k, total in enumerate(accumulate(item.width for item in items[i:]))
    }
    widths = sorted(w for w in runs if w >= least)
    step = max(1, len(widths) // _CANDIDATES)
    return widths[::step]


def _rows(items: Sequence[_Item], limit: float, gap: float, *, mirror: bool) -> _Column:
    """Return the items in rows no wider than `limit`, each row centred, from the top down."""
    rows: list[list[_Item]] = []
    for item in items:
        taken = sum(i.width + gap for i in rows[-1]) if rows else 0.0
        if rows and taken + item.width <= limit + 1e-6:
            rows[-1].append(item)
        else:
            rows.append([item])
    width = max(sum(i.width for i in row) + gap * (len(row) - 1) for row in rows)
    corners: list[Point] = []
    y = 0.0
    for row in rows:
        spare = width - sum(i.width for i in row) - gap * (len(row) - 1)
        x, tall = spare / 2, max(i.height for i in row)
        for item in row:
            corners.append((x, y + (tall + item.height) / 2))
            x += item.width + gap
        y += tall + gap
    if mirror:
        corners = [(width - x - i.width, y) for (x, y), i in zip(corners, items, strict=True)]
    return _Column(tuple(items), tuple(corners), width, y - gap)


def _drawn_together(column: _Column, gap: float) -> _Column:
    """Return the column with every piece raised as far as the true outlines above it allow."""
    from shapely import Polygon as Shape
    from shapely import STRtree
    from shapely.affinity import translate

    step = gap / 4
    placed: list[Any] = []
    corners: list[Point] = []
    for item, (x, y) in zip(column.items, column.corners, strict=True):
        flipped = [(u, -v) for u, v in item.panel.outline_mm]
        u0, v0 = min(p[0] for p in flipped), max(p[1] for p in flipped)
        shape = translate(Shape(flipped), x - u0, y - v0)
        tree = STRtree(placed)
        raised = 0.0
        while y - raised - step >= item.height:
            trial = translate(shape, 0, -raised - step)
            if len(tree.query(trial, predicate="dwithin", distance=gap)):
                break
            raised += step
        placed.append(translate(shape, 0, -raised))
        corners.append((x, y - raised))
    height = max(y for _, y in corners)
    return _Column(column.items, tuple(corners), column.width, height)


def _spread(column: _Column, height: float) -> _Column:
    """Return the column let out over a height that is left, its first piece kept at the top.

    Tops move apart in proportion, at most by a third. No pieces can meet: each was raised straight
    from below, so the way back down is free.
    """
    tops = [
        (y - item.height, item.height)
        for item, (_, y) in zip(column.items, column.corners, strict=True)
    ]
    lower = [(height - tall) / top for top, tall in tops if top > 0]
    factor = max(1.0, min([4 / 3, *lower]))
    corners = tuple(
        (x, top * factor + tall) for (x, _), (top, tall) in zip(column.corners, tops, strict=True)
    )
    return _Column(column.items, corners, column.width, max(y for _, y in corners))


def _placements(
    columns: Sequence[_Column], scale: float, start: Point, gap: float
) -> tuple[Placement, ...]:
    placements = []
    left, tallest = start[0], max(c.height for c in columns)
    for column in columns:
        top = start[1] + scale * (tallest - column.height) / 2
        for item, (x, y) in zip(column.items, column.corners, strict=True):
            u0, v0 = (min(p[axis] for p in item.panel.outline_mm) for axis in (0, 1))
            at = (round(left + scale * (x - u0), 3), round(top + scale * (y + v0), 3))
            placements.append(Placement(panel=item.panel.id, number=item.number, at_mm=at))
        left += scale * (column.width + gap)
    return tuple(sorted(placements, key=lambda p: p.number))
