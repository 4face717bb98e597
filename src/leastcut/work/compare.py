"""Two takes side by side, a take against the plan, and a class over its weeks."""

import math
from collections.abc import Callable, Sequence
from statistics import median

import numpy as np
import shapely

from leastcut.errors import Refusal
from leastcut.polish.records import Stroke
from leastcut.work.records import Attempt, Measure, Progress, Takes, TechniqueFinding, Wanted
from leastcut.work.strokes import turned

ALIKE = 0.03  # relative difference below which two takes count as the same
SPREAD = "evenness of the arm speed (slowest over fastest twentieth)"
ON_LINE = 0.15  # of the pad's diameter within which a planned line counts as walked
ALONG_DEG = 20.0


def compare(first: TechniqueFinding, second: TechniqueFinding, *, wanted: Wanted) -> Takes:
    """Set two takes side by side.

    Parameters
    ----------
    first, second : TechniqueFinding
        The earlier and the later take.
    wanted : Wanted
        What both were asked for: better is what comes nearer to it.
    """
    if first.refused or second.refused:
        which = "first" if first.refused else "second"
        refused = first.refused or second.refused
        assert refused is not None
        why = f"the {which} take could not be judged: {refused.why}"
        return Takes(measures=(), say=why, refused=Refusal(why=why, do=refused.do))
    rows = tuple(
        _measure(what, unit, read, aim, first, second) for what, unit, read, aim in _rows(wanted)
    )
    return Takes(measures=rows, say=_said(rows))


Reader = Callable[[TechniqueFinding], float | None]


def _rows(wanted: Wanted) -> list[tuple[str, str, Reader, float]]:
    """Return what is compared: name, unit, how to read it, and the value to come near to."""
    return [
        ("arm speed", "mm/s", lambda f: f.arm_speed_mm_s and f.arm_speed_mm_s.median,
         wanted.arm_speed_mm_s),
        (SPREAD, "", _evenness, 1.0),
        ("overlap", "", lambda f: f.overlap_fraction, _overlap(wanted)),
        ("coverage", "", lambda f: f.coverage_fraction, 1.0),
        ("time standing", "s", lambda f: sum((p.seconds for p in f.parked), 0.0), 0.0),
        ("time over the tape", "s", lambda f: f.tape_s, 0.0),
        ("evenness of the cut (thin over thick)", "", _even_cut, 1.0),
    ]  # fmt: skip


def _overlap(wanted: Wanted) -> float:
    spacing = wanted.stroke_spacing_mm
    return 0.5 if spacing is None else 1 - spacing / wanted.settings.pad_diameter_mm


def _evenness(f: TechniqueFinding) -> float | None:
    s = f.arm_speed_mm_s
    return None if s is None else s.p05 / max(s.p95, 1e-9)


def _even_cut(f: TechniqueFinding) -> float | None:
    return None if f.cut is None else f.cut.p05_um / max(f.cut.p95_um, 1e-12)


def _measure(
    what: str, unit: str, read: Reader, aim: float,
    first: TechniqueFinding, second: TechniqueFinding,
) -> Measure:  # fmt: skip
    a, b = read(first), read(second)
    better = None
    if a is not None and b is not None and abs(a - b) > ALIKE * max(abs(a), abs(b), 0.1):
        better = abs(b - aim) < abs(a - aim)
    word = {None: "as before", True: "nearer to what was asked", False: "further off"}[better]
    say = f"{what}: {_shown(a, unit)} → {_shown(b, unit)}, {word}"
    return Measure(what=what, first=a, second=b, unit=unit, better=better, say=say)


def _shown(value: float | None, unit: str) -> str:
    if value is None:
        return "not measured"
    return f"{value:.0f} {unit}" if unit == "mm/s" else f"{value:.2f} {unit}".strip()


def _said(rows: Sequence[Measure]) -> str:
    up = [r.what for r in rows if r.better is True]
    down = [r.what for r in rows if r.better is False]
    if not up and not down:
        return "Both takes are alike."
    parts = [f"better: {', '.join(up)}"] if up else []
    parts += [f"worse: {', '.join(down)}"] if down else []
    return "; ".join(parts).capitalize() + "."


def against_plan(finding: TechniqueFinding, strokes: Sequence[Stroke], *, wanted: Wanted) -> Takes:
    """Set a take beside the planned strokes.

    Parameters
    ----------
    finding : TechniqueFinding
        The take.
    strokes : sequence of Stroke
        The planned strokes of one set, in the square's frame [mm].
    wanted : Wanted
        Planned arm speed, spacing and sets.
    """
    if finding.refused or not strokes:
        refused = finding.refused or Refusal(why="the plan has no stroke", do="Plan sections first")
        return Takes(measures=(), say=refused.why, refused=refused)
    rows = (
        _beside("distance of the strokes from the planned lines (rms)", "mm",
                _off_lines_mm(finding, strokes), 0.0, 10.0),
        _beside("planned lines walked", "", _walked_share(finding, strokes), 1.0, 0.05),
        _beside("arm speed", "mm/s",
                finding.arm_speed_mm_s.median if finding.arm_speed_mm_s else None,
                wanted.arm_speed_mm_s, 0.15 * wanted.arm_speed_mm_s),
        _beside("sets", "", float(finding.sets or 0), float(wanted.sets or finding.sets or 0), 0.5),
    )  # fmt: skip
    off = [r.what for r in rows if r.better is False]
    say = f"Off the plan: {', '.join(off)}." if off else "As planned."
    return Takes(measures=rows, say=say)


def _beside(what: str, unit: str, found: float | None, planned: float, within: float) -> Measure:
    fits = None if found is None else abs(found - planned) <= within
    say = f"{what}: {_shown(found, unit)} against {_shown(planned, unit)}"
    return Measure(what=what, first=planned, second=found, unit=unit, better=fits, say=say)


def _off_lines_mm(finding: TechniqueFinding, strokes: Sequence[Stroke]) -> float | None:
    """Return the rms distance of the walked strokes from the planned lines [mm]."""
    if not finding.strokes:
        return None
    path = np.array(finding.path)
    inside = np.zeros(len(path), bool)
    for s in finding.strokes:
        inside |= (path[:, 0] >= s.t_s) & (path[:, 0] <= s.t_s + s.seconds)
    lines = shapely.MultiLineString([list(stroke) for stroke in strokes])
    away = shapely.distance(shapely.points(path[inside, 1:]), lines)
    return float(np.sqrt((away**2).mean()))


def _walked_share(finding: TechniqueFinding, strokes: Sequence[Stroke]) -> float:
    """Return how much of the planned lines was walked along, crossing them left aside."""
    near = ON_LINE * (finding.pad_diameter_mm or 130.0)
    walked = length = 0.0
    for a, b in strokes:
        line = shapely.LineString([a, b])
        heading = math.degrees(math.atan2(b[1] - a[1], b[0] - a[0]))
        along = [
            shapely.LineString([s.start_mm, s.end_mm])
            for s in finding.strokes
            if turned(s.degrees, heading) < ALONG_DEG
        ]
        band = shapely.buffer(shapely.MultiLineString(along), near)
        walked += shapely.intersection(line, band).length
        length += line.length
    return walked / max(length, 1e-9)


def progress(attempts: Sequence[Attempt], *, wanted: Wanted) -> tuple[Progress, ...]:
    """Return how each learner of a class moves along, in order of name.

    The change per week is the median of all slopes between two weeks (Theil 1950, Sen 1968; from
    memory), which one bad day does not turn.
    """
    names = sorted({a.learner for a in attempts})
    return tuple(
        _learner(name, [a for a in attempts if a.learner == name], wanted) for name in names
    )


def _learner(name: str, own: list[Attempt], wanted: Wanted) -> Progress:
    judged = [a for a in sorted(own, key=lambda a: a.week) if a.finding.arm_speed_mm_s]
    errors = [_speed_error(a.finding, wanted) for a in judged]
    weeks = [a.week for a in judged]
    slopes = [
        (errors[j] - errors[i]) / (weeks[j] - weeks[i])
        for i in range(len(weeks))
        for j in range(i + 1, len(weeks))
        if weeks[j] > weeks[i]
    ]
    return Progress(
        learner=name,
        weeks=tuple(weeks),
        speed_error=tuple(errors),
        coverage=tuple(a.finding.coverage_fraction or 0.0 for a in judged),
        per_week=median(slopes) if slopes else None,
        refused_takes=len(own) - len(judged),
        next=judged[-1].finding.advice[0]
        if judged and judged[-1].finding.advice
        else _film_again(),
    )


def _film_again() -> str:
    return "Film one set with the whole taped square in view."


def _speed_error(finding: TechniqueFinding, wanted: Wanted) -> float:
    assert finding.arm_speed_mm_s is not None
    return abs(finding.arm_speed_mm_s.median / wanted.arm_speed_mm_s - 1)
