"""Outlines to lay out: rectangles, L shapes, stars, with and without holes; and a checker.

The checker uses the geometry library's own smallest rectangle and set operations, not ours.
"""

import itertools
import math
from collections.abc import Callable, Iterator, Sequence
from typing import Any

import numpy as np
import shapely
from shapely import affinity

from leastcut.car.records import KeepOut, Panel
from leastcut.plan.limits import Limits
from leastcut.plan.records import Layout

# One car of each body class: length, width, height, wheelbase [mm]; invented sizes.
SIZES = {
    "two-box": (4250, 1790, 1470, 2630),
    "three-box": (4700, 1830, 1450, 2800),
    "estate": (4750, 1830, 1480, 2810),
    "suv": (4650, 1880, 1670, 2720),
    "pickup": (5400, 1900, 1830, 3220),
    "van": (5300, 1950, 1950, 3270),
    "coupe": (4500, 1850, 1320, 2700),
}

Points = Sequence[Sequence[float]]


def panel(outline: Points, keep_outs: Sequence[Points] = (), **more: Any) -> Panel:
    holes = tuple(
        KeepOut(name=f"hole {i}", outline_mm=tuple((float(x), float(y)) for x, y in hole))
        for i, hole in enumerate(keep_outs)
    )
    given = {"id": "p", "name": "p", "side": "left", "facing": "side", **more}
    points = tuple((float(x), float(y)) for x, y in outline)
    return Panel(outline_mm=points, keep_outs=holes, **given)


def box(width: float, height: float, x: float = 0.0, y: float = 0.0) -> Points:
    return [(x, y), (x + width, y), (x + width, y + height), (x, y + height)]


def rectangle(rng: np.random.Generator) -> Points:
    return box(*rng.uniform(400, 2200, 2))


def ell(rng: np.random.Generator) -> Points:
    w, h = rng.uniform(500, 2000, 2)
    a, b = rng.uniform(0.25, 0.75, 2)
    return [(0, 0), (w, 0), (w, h * b), (w * a, h * b), (w * a, h), (0, h)]


def star(rng: np.random.Generator) -> Points:
    n = int(rng.integers(7, 40))
    turn = np.sort(rng.uniform(0, 2 * math.pi, n))
    gaps = np.diff(np.append(turn, turn[0] + 2 * math.pi))
    if gaps.max() > 2.5 or gaps.min() < 1e-4:
        return star(rng)
    radius = rng.uniform(300, 1100) * rng.uniform(0.7, 1.3, n)
    flat = rng.uniform(0.5, 1)
    points: Points = np.column_stack([radius * np.cos(turn), radius * flat * np.sin(turn)]).tolist()
    return points


def smooth_star(rng: np.random.Generator) -> Points:
    turn = np.linspace(0, 2 * math.pi, 120, endpoint=False)
    radius = np.full(turn.shape, 1.0)
    for k in range(2, 6):
        radius += rng.normal(0, 0.12 / k) * np.cos(k * turn + rng.uniform(0, 6.28))
    mean = rng.uniform(350, 1100)
    points = mean * np.column_stack([radius * np.cos(turn), 0.75 * radius * np.sin(turn)])
    listed: Points = points.tolist()
    return listed


def holes_in(outline: Points, rng: np.random.Generator, count: int) -> list[Points]:
    shape, found = shapely.Polygon(outline), list[Points]()
    x0, y0, x1, y1 = shape.bounds
    for _ in range(50):
        hole = box(*rng.uniform(40, 260, 2), rng.uniform(x0, x1), rng.uniform(y0, y1))
        apart = all(not shapely.Polygon(hole).intersects(shapely.Polygon(h)) for h in found)
        if len(found) < count and apart and shapely.Polygon(hole).within(shape):
            found.append(hole)
    return found


def sweep(count: int = 320, seed: int = 7) -> Iterator[tuple[str, Panel]]:
    """Yield (name, panel): a fixed mix of shapes, a third of them with holes."""
    rng = np.random.default_rng(seed)
    makers = [star, smooth_star, ell, rectangle]
    for index in range(count):
        outline = makers[index % 4](rng)
        holes = holes_in(outline, rng, int(rng.integers(0, 3))) if index % 3 == 0 else []
        yield f"{makers[index % 4].__name__}-{index}", panel(outline, holes)


def shape_of(given: Panel) -> Any:
    """Return outline less keep-outs by the library alone."""
    outline = shapely.Polygon(given.outline_mm)
    return outline - shapely.union_all([shapely.Polygon(k.outline_mm) for k in given.keep_outs])


def sides(polygon: Any) -> tuple[float, float]:
    """Return the sides of the library's own smallest rectangle."""
    corners = list(shapely.minimum_rotated_rectangle(polygon).exterior.coords)
    return math.dist(corners[0], corners[1]), math.dist(corners[1], corners[2])


def shared_out(union: Any, worked: Callable[[Any], Any], least: float, limit: float) -> bool:
    """Return whether one of 960 straight lines parts a union into two sections within the limit."""
    for angle in np.arange(24) * 7.5:
        turned = affinity.rotate(union, -angle, origin=(0, 0))
        x0, y0, x1, y1 = turned.bounds
        for x in np.linspace(x0, x1, 42)[1:-1]:
            boxes = shapely.box(x0 - 1, y0 - 1, x, y1 + 1), shapely.box(x, y0 - 1, x1 + 1, y1 + 1)
            halves = [turned.intersection(one) for one in boxes]
            if any(h.geom_type != "Polygon" or h.area < least for h in halves):
                continue
            back = [affinity.rotate(h, angle, origin=(0, 0)) for h in halves]
            if all(max(sides(worked(h))) <= limit for h in back):
                return True
    return False


def unforced(given: Panel, layout: Layout, limits: Limits) -> list[str]:
    """Return the slivers that need not be: a neighbour has room for it, or can share with it.

    A sliver has less than 35 % of the mean area. It is forced if the union with no neighbour fits
    one section, and no straight line through such a union parts it into two sections that are
    within the limit, of one piece each, and no slivers.
    """
    area, found = shape_of(given), list[str]()
    cells = {s.id: shapely.Polygon(s.cell_mm) for s in layout.sections}
    least = 0.35 * area.area / max(1, len(cells))
    for name, other in itertools.permutations(cells, 2):
        union = cells[name].union(cells[other].buffer(2e-6))
        if cells[name].area >= least or union.geom_type != "Polygon":
            continue
        if max(sides(limits.worked(union, area))) <= limits.max_side_mm:
            found.append(f"{name} fits {other}")
        elif shared_out(union, lambda h: limits.worked(h, area), least, limits.max_side_mm):
            found.append(f"{name} can share with {other}")
    return found


def faults(given: Panel, layout: Layout, *, limit: float = 610.0) -> list[str]:
    """Return what is wrong with a layout; nothing for a sound one."""
    area = shape_of(given)
    cells = [shapely.Polygon(s.cell_mm) for s in layout.sections]
    worked = [shapely.Polygon(s.worked_mm) for s in layout.sections]
    wrong = [s.id for s, c in zip(layout.sections, cells, strict=True) if not c.is_valid]
    wrong += [s.id for s, w in zip(layout.sections, worked, strict=True) if not w.is_valid]
    found = [f"{name} is not valid" for name in wrong]
    total = sum(c.area for c in cells)
    if abs(total - area.area) > 1e-5 * area.area:
        found.append(f"areas add up to {total / area.area}")
    if shapely.union_all(cells).intersection(area).area < (1 - 1e-5) * area.area:
        found.append("not covered")
    for s, c, w in zip(layout.sections, cells, worked, strict=True):
        if max(sides(w)) > limit + 0.01:
            found.append(f"{s.id} measures {sides(w)}")
        if c.difference(w.buffer(1e-3)).area > 0.5:
            found.append(f"{s.id} is not inside its worked area")
        if w.difference(area.buffer(1e-3)).area > 0.5:
            found.append(f"{s.id} is worked beyond the panel")
    return found
