"""Cut the path into strokes, sort them into the two directions, count how often each was covered.

The path is simplified (Douglas & Peucker, Cartographica 10 (1973) 112; from memory); long pieces
are strokes, short ones the steps between. The two directions come from the mean of four times the
angle, which strokes square to each other share.
"""

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from leastcut.inspect.arrays import F64
from leastcut.work.path import Path
from leastcut.work.records import Laid

BEND_SHARE = 0.1  # of the pad's diameter that a stroke may bend
STRAIGHT_DEG = 20.0
FAMILY_DEG = 25.0
LONG_SHARE = 0.4  # of the long strokes' length that a stroke has at least
LEAST_PADS = 0.5
SAME_LINE = 0.3  # of the spacing within which a line counts as walked again
FULL = 0.6  # of the extent that a cover must span


@dataclass(frozen=True)
class Hatch:
    """The strokes and what they add up to.

    ``across_mm`` are the distances of neighbouring strokes.
    """

    strokes: tuple[Laid, ...]
    degrees: float
    covers: tuple[int, int]
    across_mm: F64

    @property
    def spacing_mm(self) -> float | None:
        """Middle distance of neighbouring strokes [mm], None with fewer than two."""
        return float(np.median(self.across_mm)) if len(self.across_mm) else None


def hatch(path: Path, *, pad_mm: float) -> Hatch:
    """Return the strokes of a path.

    Parameters
    ----------
    path : Path
        The pad's way while down.
    pad_mm : float
        Pad diameter [mm].
    """
    runs = [run for n in np.unique(path.piece) for run in _runs(path, n, BEND_SHARE * pad_mm)]
    long = _long(path, runs, pad_mm)
    if not long:
        return Hatch((), 0.0, (0, 0), np.empty(0))
    raw = [_laid(path, a, b) for a, b in long]
    degrees = _axis(raw)
    sorted_ = [_with(s, _family(s.degrees, degrees), 0) for s in raw]
    strokes, across = _covered(sorted_, degrees)
    return Hatch(tuple(strokes), degrees, _full(strokes, degrees), np.array(across))


def _runs(path: Path, number: int, bend_mm: float) -> list[tuple[int, int]]:
    """Return first and last row of each straight run of one piece."""
    rows = np.flatnonzero(path.piece == number)
    if len(rows) < 3:
        return []
    xy = path.xy_mm[rows]
    knots = simplified(xy, bend_mm)
    ends = [(knots[k], knots[k + 1]) for k in range(len(knots) - 1)]
    merged: list[tuple[int, int]] = []
    for a, b in ends:
        if merged and _bend(xy, merged[-1], (a, b)) < STRAIGHT_DEG:
            merged[-1] = (merged[-1][0], b)
        else:
            merged.append((a, b))
    return [(int(rows[a]), int(rows[b])) for a, b in merged]


def simplified(xy: F64, bend_mm: float) -> list[int]:
    """Return the rows that stay when no point may lie further than `bend_mm` from the chain.

    Examples
    --------
    >>> simplified(np.array([[0, 0], [5, 0.1], [10, 0], [10, 10]], float), 1.0)
    [0, 2, 3]
    """
    keep = {0, len(xy) - 1}
    stack = [(0, len(xy) - 1)]
    while stack:
        a, b = stack.pop()
        if b - a < 2:
            continue
        far = _off_chord(xy[a + 1 : b], xy[a], xy[b])
        k = int(far.argmax())
        if far[k] > bend_mm:
            keep.add(a + 1 + k)
            stack += [(a, a + 1 + k), (a + 1 + k, b)]
    return sorted(keep)


def _off_chord(points: F64, a: F64, b: F64) -> F64:
    """Return the distances of points from the straight piece between two places."""
    chord = b - a
    square = max(float(chord @ chord), 1e-12)
    along = np.clip((points - a) @ chord / square, 0, 1)
    away = points - a - along[:, None] * chord
    return np.hypot(away[:, 0], away[:, 1])


def _bend(xy: F64, one: tuple[int, int], other: tuple[int, int]) -> float:
    u, v = xy[one[1]] - xy[one[0]], xy[other[1]] - xy[other[0]]
    turn = math.atan2(u[0] * v[1] - u[1] * v[0], float(u @ v))
    return abs(math.degrees(turn))


def _long(path: Path, runs: list[tuple[int, int]], pad_mm: float) -> list[tuple[int, int]]:
    if not runs:
        return []
    xy = path.xy_mm
    lengths = np.array([np.hypot(*(xy[b] - xy[a])) for a, b in runs])
    least = max(LONG_SHARE * float(np.quantile(lengths, 0.9)), LEAST_PADS * pad_mm)
    return [run for run, length in zip(runs, lengths, strict=True) if length >= least]


def _laid(path: Path, a: int, b: int) -> Laid:
    """Return one run as a stroke; its speed is the middle one away from both ends."""
    (x0, y0), (x1, y1) = path.xy_mm[a], path.xy_mm[b]
    inner = slice(a + (b - a) // 8, b - (b - a) // 8 + 1)
    seconds = float(path.t_s[b] - path.t_s[a])
    return Laid(
        t_s=float(path.t_s[a]),
        seconds=seconds,
        start_mm=(float(x0), float(y0)),
        end_mm=(float(x1), float(y1)),
        degrees=math.degrees(math.atan2(y1 - y0, x1 - x0)) % 180.0,
        speed_mm_s=float(np.median(path.speed_mm_s[inner])),
        family=-1,
        cover=0,
    )


def _with(stroke: Laid, family: int, cover: int) -> Laid:
    import msgspec

    return msgspec.structs.replace(stroke, family=family, cover=cover)


def _axis(strokes: Sequence[Laid]) -> float:
    """Return the direction of the first family, in [0, 180)."""
    angle = np.radians([4 * s.degrees for s in strokes])
    length = np.array([math.dist(s.start_mm, s.end_mm) for s in strokes])
    axis = (
        math.degrees(math.atan2(float(length @ np.sin(angle)), float(length @ np.cos(angle)))) / 4
    )
    first = strokes[0].degrees
    return min((axis + 90 * k for k in range(-2, 4)), key=lambda d: turned(first, d)) % 180.0


def turned(one: float, other: float) -> float:
    """Return the angle between two undirected directions [degrees], 0 to 90."""
    return abs((one - other + 90) % 180 - 90)


def _family(degrees: float, axis: float) -> int:
    if turned(degrees, axis) <= FAMILY_DEG:
        return 0
    return 1 if turned(degrees, axis + 90) <= FAMILY_DEG else -1


def across(stroke: Laid, degrees: float) -> float:
    """Return where a stroke lies across the direction `degrees` [mm]."""
    a = math.radians(degrees)
    x = 0.5 * (stroke.start_mm[0] + stroke.end_mm[0])
    y = 0.5 * (stroke.start_mm[1] + stroke.end_mm[1])
    return -x * math.sin(a) + y * math.cos(a)


def _covered(strokes: list[Laid], axis: float) -> tuple[list[Laid], list[float]]:
    """Give each cover its number; return the strokes and the distances of neighbours within a cover."""
    numbered: list[Laid] = []
    steps: list[float] = []
    cover = -1
    before = -2
    lines: list[float] = []
    extents = [_extent(strokes, axis, f) for f in (0, 1)]
    for stroke in strokes:
        if stroke.family < 0:
            numbered.append(_with(stroke, -1, max(cover, 0)))
            continue
        low, high, spacing = extents[stroke.family]
        at = across(stroke, axis + 90 * stroke.family)
        if stroke.family != before or _turns_back(lines, at, (low, high), spacing):
            cover, lines = cover + 1, []
        if lines and abs(at - lines[-1]) > SAME_LINE * spacing:
            steps.append(abs(at - lines[-1]))
        lines.append(at)
        before = stroke.family
        numbered.append(_with(stroke, stroke.family, cover))
    return numbered, steps


def _extent(strokes: list[Laid], axis: float, family: int) -> tuple[float, float, float]:
    """Return least and greatest place across, and a first guess of the spacing."""
    places = [across(s, axis + 90 * family) for s in strokes if s.family == family]
    if not places:
        return 0.0, 0.0, 1.0
    steps = np.abs(np.diff(places))
    wide = max(places) - min(places)
    steps = steps[(steps > 0.05 * max(wide, 1.0)) & (steps < 0.7 * max(wide, 1.0))]
    return min(places), max(places), float(np.median(steps)) if len(steps) else max(wide, 1.0)


def _turns_back(lines: list[float], at: float, ends: tuple[float, float], spacing: float) -> bool:
    """Tell whether a new cover begins: the sweep went over most of the section and turns or jumps."""
    span = max(lines) - min(lines) if lines else 0.0
    if len(lines) < 2 or span < FULL * (ends[1] - ends[0]):
        return False
    step = (at - lines[-1]) * math.copysign(1.0, lines[-1] - lines[0])
    if abs(step) < SAME_LINE * spacing:  # the same line again: a turn only at the very end
        return min(at - ends[0], ends[1] - at) < 0.5 * spacing
    return step < 0


def _full(strokes: Sequence[Laid], axis: float) -> tuple[int, int]:
    """Count the covers of each family that go over most of what the family ever covers."""
    counts = [0, 0]
    for family in (0, 1):
        own = [s for s in strokes if s.family == family]
        by_cover = {s.cover: [] for s in own}  # type: dict[int, list[float]]
        for s in own:
            by_cover[s.cover].append(across(s, axis + 90 * family))
        if not by_cover:
            continue
        extent = max(max(p) - min(p) for p in by_cover.values())
        counts[family] = sum(max(p) - min(p) >= FULL * extent for p in by_cover.values())
    return counts[0], counts[1]
