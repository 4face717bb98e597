"""What the pad went over, what it missed, how long it was at the edge, where it stood still."""

from dataclasses import dataclass

import numpy as np
import shapely
from shapely.geometry.base import BaseGeometry

from leastcut.car.records import Polygon
from leastcut.inspect.arrays import F64
from leastcut.polish import heat
from leastcut.polish.records import PadMotion
from leastcut.work.path import STILL_MM_S, Path
from leastcut.work.records import Parked
from leastcut.work.strokes import simplified

LEAST_MISS_MM2 = 200.0
EDGE_MM = 15.0
TAPE_MM = 5.0  # the rim must reach this far over the tape
PARKED_S = 1.0
CHAIN_MM = 1.0


@dataclass(frozen=True)
class Edges:
    """Time at the section's edge and over the tape [s], and the arm's speed over the tape."""

    edge_s: float
    tape_s: float
    tape_speed_mm_s: float | None


def swept(path: Path, pad_mm: float) -> BaseGeometry:
    """Return the area the pad went over."""
    lines = []
    for number in np.unique(path.piece):
        xy = path.xy_mm[path.piece == number]
        kept = xy[simplified(xy, CHAIN_MM)] if len(xy) > 2 else xy
        lines.append(shapely.Point(kept[0]) if len(kept) < 2 else shapely.LineString(kept))
    return shapely.union_all([shapely.buffer(line, pad_mm / 2, quad_segs=16) for line in lines])


def missed(section_mm: Polygon, area: BaseGeometry) -> tuple[float, tuple[Polygon, ...]]:
    """Return the share of the section that was covered, and what was not, largest first."""
    section = shapely.Polygon(section_mm)
    rest = shapely.difference(section, area)
    parts = [p for p in shapely.get_parts(rest) if p.area >= LEAST_MISS_MM2]
    parts.sort(key=lambda p: -p.area)
    rings = (shapely.geometry.polygon.orient(p).exterior.coords[:-1] for p in parts)
    polygons = tuple(tuple((float(x), float(y)) for x, y in ring) for ring in rings)
    return 1.0 - float(rest.area / section.area), polygons


def edges(path: Path, section_mm: Polygon, pad_mm: float) -> Edges:
    """Return how long the pad's rim was near the edge, and over the tape."""
    section = shapely.Polygon(section_mm)
    points = shapely.points(path.xy_mm)
    inside = shapely.distance(points, section.exterior)
    inside = np.where(shapely.contains(section, points), inside, -inside)
    to_rim = inside - pad_mm / 2
    spell = path.spells_s()
    over = to_rim < -TAPE_MM
    speed = float(np.median(path.speed_mm_s[over])) if spell[over].sum() > 0.2 else None
    return Edges(float(spell[to_rim < EDGE_MM].sum()), float(spell[over].sum()), speed)


def parked(path: Path, settings: PadMotion) -> tuple[Parked, ...]:
    """Return where the pad stood for a second or more, with a bound on the heat."""
    still = path.speed_mm_s < STILL_MM_S
    starts = np.flatnonzero(still & ~np.insert(still[:-1], 0, False))
    found = []
    for a in starts:
        b = a
        while b + 1 < len(still) and still[b + 1] and path.piece[b + 1] == path.piece[a]:
            b += 1
        seconds = float(path.t_s[b] - path.t_s[a])
        if seconds >= PARKED_S:
            middle: F64 = path.xy_mm[a : b + 1].mean(0)
            found.append(_stood(float(path.t_s[a]), seconds, middle, settings))
    return tuple(found)


def _stood(t_s: float, seconds: float, at: F64, settings: PadMotion) -> Parked:
    face = np.pi * (settings.pad_diameter_mm / 2) ** 2
    flux = heat.flux_w_m2(heat.friction_power_w(settings), float(face))
    rise = heat.standing_rise_k(flux, seconds)
    return Parked(
        t_s=t_s, seconds=seconds, x_mm=float(at[0]), y_mm=float(at[1]), rise_k=float(rise)
    )
