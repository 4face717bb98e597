"""Outlines to lay out: rectangles, L and U shapes, stars, pillars, with and without holes."""

import math

import numpy as np

from leastcut.car.records import KeepOut, Panel


def panel(outline, keep_outs=(), **more):
    holes = tuple(
        KeepOut(name=f"hole {i}", outline_mm=tuple(map(tuple, h))) for i, h in enumerate(keep_outs)
    )
    given = {"id": "p", "name": "p", "side": "left", "facing": "side", **more}
    return Panel(
        outline_mm=tuple((float(x), float(y)) for x, y in outline), keep_outs=holes, **given
    )


def box(width, height, x=0.0, y=0.0):
    return [(x, y), (x + width, y), (x + width, y + height), (x, y + height)]


def ell(rng):
    w, h = rng.uniform(500, 2000, 2)
    a, b = rng.uniform(0.25, 0.75, 2)
    return [(0, 0), (w, 0), (w, h * b), (w * a, h * b), (w * a, h), (0, h)]


def star(rng):
    n = int(rng.integers(7, 40))
    turn = np.sort(rng.uniform(0, 2 * math.pi, n)) + rng.uniform(0, 1e-3)
    gaps = np.diff(np.append(turn, turn[0] + 2 * math.pi))
    if gaps.max() > 2.5:
        return star(rng)
    mean = rng.uniform(300, 1100)
    radius = mean * rng.uniform(0.7, 1.3, n)
    return np.column_stack([radius * np.cos(turn), radius * np.sin(turn) * rng.uniform(0.5, 1)])


def smooth_star(rng):
    turn = np.linspace(0, 2 * math.pi, 120, endpoint=False)
    mean = rng.uniform(350, 1100)
    radius = np.full(turn.shape, 1.0)
    for k in range(2, 6):
        radius += rng.normal(0, 0.12 / k) * np.cos(k * turn + rng.uniform(0, 6.28))
    return mean * np.column_stack([radius * np.cos(turn), 0.75 * radius * np.sin(turn)])


def holes_in(outline, rng, count):
    import shapely

    shape = shapely.Polygon(outline)
    found = []
    for _ in range(50):
        if len(found) == count:
            break
        x0, y0, x1, y1 = shape.bounds
        x, y = rng.uniform(x0, x1), rng.uniform(y0, y1)
        hole = box(*rng.uniform(40, 260, 2), x, y)
        if shapely.Polygon(hole).within(shape) and all(
            not shapely.Polygon(hole).intersects(shapely.Polygon(h)) for h in found
        ):
            found.append(hole)
    return found


def sweep(count=320, seed=7):
    """Yield (name, panel): a fixed mix of shapes."""
    rng = np.random.default_rng(seed)
    makers = [star, smooth_star, ell, lambda r: box(*r.uniform(400, 2200, 2))]
    for index in range(count):
        maker = makers[index % 4]
        outline = maker(rng)
        holes = holes_in(outline, rng, int(rng.integers(0, 3))) if index % 3 == 0 else []
        yield f"{index}", panel(outline, holes)
